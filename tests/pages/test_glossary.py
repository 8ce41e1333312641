"""The trade's words are explained in plain ones, and a page links to that where a beginner first meets one."""

from __future__ import annotations

import re
from statistics import mean
from urllib.parse import urldefrag

import pytest
from jinja2 import Environment, nodes

from server.domain.slots import SLOT_WORDS
from server.web.glossary import ENTRIES, GLOSSARY_PATH, SLUGS, Entry, linked, term
from server.web.render import TEMPLATES, environment
from tests.builders_http import Client
from tests.pages.reader import Reader, at_the_kit, parsed_fragment, started, text_of

NAMES = sorted(path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html"))
LINK = re.compile(r"\[[^\]]+\]")


def unmarked(entry: Entry) -> str:
    """An explanation as it is read."""
    return text_of(parsed_fragment(str(entry.shown)))


def sentences(text: str) -> list[str]:
    """The sentences of a text; a decimal point ends none."""
    return [piece for piece in re.split(r"(?<=[.!?])\s+", text) if piece]


def words_of(sentence: str) -> list[str]:
    """The words of a sentence."""
    return re.findall(r"[^\W_]+(?:['’.-][^\W_]+)*", sentence)


# --- The table ------------------------------------------------------------------------------------------------------


def test_every_slot_has_an_entry() -> None:
    assert {word for word in SLOT_WORDS.values() if word not in SLUGS} == set()


def test_no_two_entries_answer_to_the_same_word() -> None:
    names = [name.lower() for entry in ENTRIES.values() for name in {entry.word, *entry.aliases}]
    assert len(names) == len(set(names))
    assert all(re.fullmatch(r"[a-z][a-z0-9-]*", slug) for slug in ENTRIES)


@pytest.mark.parametrize("entry", ENTRIES.values(), ids=lambda entry: entry.slug)
def test_an_explanation_is_one_or_a_few_short_sentences(entry: Entry) -> None:
    said = sentences(unmarked(entry))
    assert 1 <= len(said) <= 3
    # Common practice of plain writing: 15 to 20 words a sentence on the average, hardly one over 25.
    assert all(len(words_of(sentence)) <= 25 for sentence in said)
    assert unmarked(entry).endswith(".")


def test_the_sentences_are_under_twenty_words_on_the_average() -> None:
    lengths = [len(words_of(sentence)) for entry in ENTRIES.values() for sentence in sentences(unmarked(entry))]
    assert mean(lengths) < 20


@pytest.mark.parametrize("entry", ENTRIES.values(), ids=lambda entry: entry.slug)
def test_a_word_of_the_trade_in_an_explanation_is_linked_where_it_first_stands(entry: Entry) -> None:
    own = {name for name, slug in SLUGS.items() if slug == entry.slug}
    explained = {SLUGS[(link.partition("|")[2] or link).lower()] for link in re.findall(r"\[([^\]]+)\]", entry.says)}
    rest = LINK.sub(" ", entry.says).lower()
    for name in own:  # An entry's own word, such as "wind" in that of a wind, is what is explained.
        rest = re.sub(rf"\b{re.escape(name)}\b", " ", rest)
    met = {slug for name, slug in SLUGS.items() if re.search(rf"\b{re.escape(name)}\b", rest)}
    assert met - explained == set()


def test_an_explanation_never_links_to_itself_and_all_links_lead_somewhere() -> None:
    for entry in ENTRIES.values():
        slugs = [urldefrag(link.get("href", ""))[1] for link in parsed_fragment(str(entry.shown)).iter("a")]
        assert entry.slug not in slugs
        assert set(slugs) <= ENTRIES.keys()
        assert len(slugs) == len(set(slugs)), "once is enough"


# --- The link -------------------------------------------------------------------------------------------------------


def test_a_word_is_linked_by_its_name_or_another_name_and_said_as_it_stands() -> None:
    assert str(term("front foil")) == '<a class="term" href="/words#front-foil">front foil</a>'
    assert str(term("Litres")) == '<a class="term" href="/words#volume">Litres</a>'
    assert str(term("rocks-less", "calmer")) == '<a class="term" href="/words#rocks-less">calmer</a>'
    with pytest.raises(KeyError):
        term("flux")


def test_what_is_said_is_escaped() -> None:
    assert ">&lt;b&gt;</a>" in str(term("tail", "<b>"))
    assert str(linked("<i> [a <b>|tail]")) == '&lt;i&gt; <a class="term" href="/words#tail">a &lt;b&gt;</a>'


@pytest.fixture(scope="module")
def env() -> Environment:
    """The environment of the running program."""
    return environment(lambda name: f"/static/{name}")


def terms_in(env: Environment, name: str) -> list[nodes.Expr]:
    """What a template asks `term` for."""
    tree = env.parse((TEMPLATES / name).read_text(encoding="utf-8"))
    calls = tree.find_all(nodes.Call)
    return [call.args[0] for call in calls if isinstance(call.node, nodes.Name) and call.node.name == "term"]


def test_templates_use_terms_and_each_has_an_entry(env: Environment) -> None:
    asked = [word for name in NAMES for word in terms_in(env, name)]
    fixed = [word.value for word in asked if isinstance(word, nodes.Const)]
    assert len(fixed) >= 20
    assert [word for word in fixed if word.lower() not in SLUGS] == []
    others = {word.attr for word in asked if isinstance(word, nodes.Getattr)}
    assert others <= {"word"}, "else only the word of a slot, which has an entry"
    assert all(isinstance(word, (nodes.Const, nodes.Getattr)) for word in asked)


# --- Pages ----------------------------------------------------------------------------------------------------------


def test_the_page_has_every_word_under_an_anchor_of_its_own(client: Client) -> None:
    reader = Reader(client).open(GLOSSARY_PATH)
    assert reader.status == 200
    ids = [element.get("id") for element in reader.page.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert set(ENTRIES) <= set(ids)
    for slug, entry in ENTRIES.items():
        assert text_of(reader.by_id(slug)).endswith(unmarked(entry))


def test_every_page_leads_to_it_and_no_link_to_a_word_leads_nowhere(client: Client) -> None:
    kit = at_the_kit(client)
    pages = [kit.html]
    steps = [kit.address.replace("/kit", f"/{step}") for step in ("you", "flying", "where", "gear", "extras")]
    pages += [client.get(address).text for address in ("/", "/privacy", GLOSSARY_PATH, *steps)]
    pages.append(kit.press("Keep this quote").html)
    words = [re.findall(r'href="/words#([^"]*)"', html) for html in pages]
    assert all('href="/words"' in html for html in pages)
    assert {slug for found in words for slug in found} <= ENTRIES.keys()
    assert [len(found) for found in words[1:-1]].count(0) <= 1, "the privacy page alone needs none"
    assert set(words[-1]) >= {"board", "mast", "fuselage", "front-foil", "tail", "hand-wing"}


def test_on_a_step_no_word_is_explained_twice(client: Client) -> None:
    address = started(client).address.removesuffix("/you")
    for step in ("you", "flying", "where", "gear", "extras"):
        found = re.findall(r'href="/words#([^"]*)"', client.get(f"{address}/{step}").text)
        assert found
        assert len(found) == len(set(found)), step
