"""Every page in every state is valid HTML, whole and as the fragment that htmx asks for, and its parts find each other."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

import pytest
from sqlmodel import Session

from server.app import create_app
from server.persistence.engine import sqlite_file
from server.settings import Settings
from tests.builders_accounts import CHEAP
from tests.builders_http import ADDRESS, Client
from tests.builders_seen import World
from tests.builders_shop import Clock
from tests.builders_states import STATES
from tests.conftest import COMPILED
from tests.pace import IS_WHOLE
from tests.pages.reader import parsed, parsed_fragment

REFERENCES = ("for", "aria-labelledby", "aria-describedby", "aria-controls")
IDENTIFIERS_ARE_UNIQUE = "https://html.spec.whatwg.org/multipage/dom.html#the-id-attribute"


def check_references(tree: Element) -> None:
    """Identifiers are unique, and what names one finds it."""
    ids = Counter(element.get("id") for element in tree.iter() if element.get("id") is not None)
    assert [name for name, count in ids.items() if count > 1] == [], IDENTIFIERS_ARE_UNIQUE
    named = [name for element in tree.iter() for key in REFERENCES for name in (element.get(key) or "").split()]
    assert [name for name in named if name not in ids] == []


COUNTS_TRIES = ("/desk/find", "/desk/deposits/")
"""Where a code is looked for: tries are counted, so that nobody tries them all."""


AS_FRAGMENTS = frozenset(STATES if IS_WHOLE else list(STATES)[::3])
"""Which states are asked for as fragments, too: a second page to make and to read strictly."""


@dataclass
class Watched:
    """Opens sessions, and none to write while somebody only looks."""

    sessions: Callable[[bool], Session]
    is_looked_at: bool = False

    def __call__(self, for_writing: bool) -> Session:
        assert not (for_writing and self.is_looked_at), "somebody who only looks was about to write"
        return self.sessions(for_writing)


@pytest.fixture(scope="module")
def watched() -> list[Watched]:
    """Where the shop's own maker of sessions stands."""
    return []


@pytest.fixture(scope="module")
def world(seeded: Path, tmp_path_factory: pytest.TempPathFactory, watched: list[Watched]) -> Iterator[World]:
    """One application for all states; each makes what it shows."""
    data = tmp_path_factory.mktemp("valid")
    shutil.copyfile(sqlite_file(seeded), sqlite_file(data))
    app = create_app(Settings(data=data, base_address=ADDRESS, public_burst=0), COMPILED)
    app.state.shop.clock = Clock()
    app.state.passwords = CHEAP
    watched.append(Watched(app.state.shop.sessions))
    app.state.shop.sessions = watched[0]
    with Client(app) as client:
        yield World.of(client, app.state.shop)
    app.state.shop.close()


@pytest.mark.parametrize("state", STATES)
def test_the_page_is_valid_its_parts_find_each_other_and_looking_changes_nothing(
    world: World, watched: list[Watched], state: str
) -> None:
    client = world.client
    seen = STATES[state](world.fill())
    watched[0].is_looked_at = seen.posted is None and not seen.address.startswith(COUNTS_TRIES)
    answer = seen.answer(client)
    watched[0].is_looked_at = False
    assert answer.status_code == seen.status
    tree = parsed(answer.text)
    check_references(tree)
    anchors = [link.get("href", "") for link in tree.iter("a")]
    ids = {element.get("id") for element in tree.iter()}
    assert [anchor for anchor in anchors if anchor.startswith("#") and anchor[1:] not in ids] == []
    assert len(list(tree.iter("h1"))) == 1
    assert len(list(tree.iter("main"))) == 1
    if state not in AS_FRAGMENTS:
        return
    fragment = seen.answer(client, as_fragment=True)
    if "<!doctype" in fragment.text:
        parsed(fragment.text)
    else:
        check_references(parsed_fragment(fragment.text))
