"""A template set as a PDF: from plain data alone, accessible where the letters allow it, and never without an answer."""

from __future__ import annotations

from pathlib import Path

import pytest
import typst

from server.domain.errors import TooMany
from server.outside import pdf as papers
from server.outside.pdf import pdf_of
from tests.builders_paper import opened, root_of, squeezed, text_in

TEMPLATE = """#let said = json(bytes(sys.inputs.said))
#set document(title: "A paper")
#set text(lang: "en")
#said.words
"""


@pytest.fixture
def template(tmp_path: Path) -> Path:
    """A template that says the words it is given."""
    path = tmp_path / "paper.typ"
    path.write_text(TEMPLATE, encoding="utf-8")
    return path


def test_it_is_tagged_and_says_that_it_is_accessible(template: Path) -> None:
    pdf = pdf_of(template, {"words": "A steady kit"})
    root = root_of(opened(pdf))
    assert root["marked"]
    assert root["language"] == "en"
    assert "pdfuaid:part" in root["metadata"]


@pytest.mark.parametrize(
    "words", ['#panic("no")', "*bold* _not_ $x$", '#import "x.typ"', "\\ \" ' {{ }}", "<p>&amp;</p>", "#sys.inputs"]
)
def test_what_is_said_is_never_read_as_markup(template: Path, words: str) -> None:
    assert text_in(opened(pdf_of(template, {"words": words}))) == squeezed(words)


@pytest.mark.parametrize("words", ["wing 🪁", "漢字 board", "a\x07b"])
def test_letters_that_no_font_has_are_still_answered_with_a_tagged_paper(template: Path, words: str) -> None:
    root = root_of(opened(pdf_of(template, {"words": words})))
    assert root["marked"]
    assert "pdfuaid" not in root["metadata"]


def test_a_template_that_is_wrong_is_said_to_be(template: Path) -> None:
    with pytest.raises(typst.TypstError):
        pdf_of(template, {"other": "words"})


def test_a_template_reads_nothing_outside_its_folder(template: Path, tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    (inner / "paper.typ").write_text('#read("../secret.txt")', encoding="utf-8")
    with pytest.raises(typst.TypstError):
        pdf_of(inner / "paper.typ", {})


def test_of_more_papers_at_once_than_two_the_rest_wait_a_while_and_are_told_to_come_again(
    template: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(papers, "WAIT_S", 0.01)
    with papers._GATE, papers._GATE, pytest.raises(TooMany, match="Many papers"):
        pdf_of(template, {"words": "one too many"})
    assert pdf_of(template, {"words": "now"})
