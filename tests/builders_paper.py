"""A PDF as a reader of it finds it: its text, its root, and the words told in place of its pictures."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from pypdf import PdfReader


def opened(content: bytes) -> PdfReader:
    """A PDF's pages and objects."""
    return PdfReader(BytesIO(content))


def root_of(pdf: PdfReader) -> dict[str, Any]:
    """The root of its objects as plain values."""
    root: Any = pdf.root_object
    return {
        "marked": root["/MarkInfo"]["/Marked"].value,
        "language": str(root["/Lang"]),
        "structure": root["/StructTreeRoot"],
        "metadata": root["/Metadata"].get_data().decode(),
        "names": root.get("/Names", {}),
    }


def fonts_of(pdf: PdfReader) -> set[str]:
    """The names of the fonts on its pages, without the marks of their subsets."""
    pages: list[Any] = list(pdf.pages)
    fonts = [font.get_object() for page in pages for font in page["/Resources"]["/Font"].values()]
    return {str(font["/BaseFont"]).rpartition("+")[2] for font in fonts}


def pictures_told(element: Any) -> list[str]:
    """The words told in place of pictures, in reading order."""
    node = element.get_object()
    if isinstance(node, list):
        return [words for inner in node for words in pictures_told(inner)]
    if not isinstance(node, dict):
        return []
    own = [str(node["/Alt"])] if "/Alt" in node else []
    return own + (pictures_told(node["/K"]) if "/K" in node else [])


def squeezed(words: str) -> str:
    """Words without their spaces: where a line ends on paper is nobody's matter."""
    return "".join(words.split())


def text_in(pdf: PdfReader) -> str:
    """All that can be read on paper, without its spaces."""
    return squeezed("".join(page.extract_text() for page in pdf.pages))
