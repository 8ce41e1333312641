"""Static files under names that hold a digest of their content, so that they can be kept for ever."""

from __future__ import annotations

import gzip
import hashlib
from importlib.util import find_spec
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

STATIC = Path(__file__).parents[2] / "static"
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml; charset=utf-8",
}
FOR_EVER = "public, max-age=31536000, immutable"


def _htmx() -> Path:
    """htmx as its own package on the package index carries it; no copy of it lies in this repository."""
    spec = find_spec("js_lib_htmx")
    if spec is None or spec.origin is None:
        raise RuntimeError("the package django-js-lib-htmx is not installed")
    return Path(spec.origin).parent / "static" / "htmx" / "htmx.min.js"


class StaticFiles:
    """All static files, read and compressed once."""

    def __init__(self) -> None:
        sources = {path.name: path for path in sorted(STATIC.iterdir()) if path.suffix in TYPES}
        sources["htmx.js"] = _htmx()
        self._names: dict[str, str] = {}
        self._files: dict[str, tuple[bytes, bytes, str]] = {}
        for name, path in sources.items():
            content = path.read_bytes()
            stem, suffix = name.rsplit(".", 1)
            hashed = f"{stem}-{hashlib.sha256(content).hexdigest()[:12]}.{suffix}"
            self._names[name] = hashed
            self._files[hashed] = (content, gzip.compress(content, 9, mtime=0), TYPES["." + suffix])

    def address(self, name: str) -> str:
        """Where a file is found now."""
        return f"/static/{self._names[name]}"

    def answer(self, request: Request, name: str) -> Response:
        """The file, compressed where the browser takes that; 404 where there is none of this name and content."""
        found = self._files.get(name)
        if found is None:
            raise HTTPException(404)
        plain, packed, kind = found
        headers = {"Cache-Control": FOR_EVER, "Vary": "Accept-Encoding"}
        if "gzip" in request.headers.get("accept-encoding", ""):
            return Response(packed, media_type=kind, headers={**headers, "Content-Encoding": "gzip"})
        return Response(plain, media_type=kind, headers=headers)
