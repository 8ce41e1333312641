"""What a caller says, read in every way it can be meant; and codes read back to them."""

from __future__ import annotations

import base32_crockford
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.codes import CODES
from server.domain.finding import folded, is_meant, read_sought, said_code, spelled

NAMES = [
    ("sean murchu", "Seán Ó Murchú"),
    ("MURCHU", "Seán Ó Murchú"),
    ("murchu sean", "Seán Ó Murchú"),
    ("obrien", "Nora O’Brien"),
    ("O'Brien", "Nora OBrien"),
    ("anna lena", "Anna-Lena Strand"),
    ("strasse", "Ida Straße"),
    ("oster", "Bjørn Øster"),
    ("nova", "Eva Nováková"),
]
NOT_MEANT = [("%", "Seán Ó Murchú"), ("s_an", "Sean"), ("sean bell", "Seán Ó Murchú"), ("", "Sean")]


@pytest.mark.parametrize(("typed", "name"), NAMES)
def test_a_name_is_found_by_a_part_without_case_or_accents(typed: str, name: str) -> None:
    assert is_meant(read_sought(typed), name)


@pytest.mark.parametrize(("typed", "name"), NOT_MEANT)
def test_no_sign_means_any_other(typed: str, name: str) -> None:
    assert not is_meant(read_sought(typed), name)


@given(st.integers(0, CODES - 1))
def test_a_code_is_right_where_crockfords_own_check_symbol_stands(number: int) -> None:
    """Against the library base32_crockford, an implementation of its own of the same published alphabet."""
    code = base32_crockford.encode(number, checksum=True).rjust(8, "0")
    sought = read_sought(f" {code[:4].lower()}-{code[4:].lower()} ")
    can_be_said = code[-1] not in "*~$=U"
    assert (sought.said_code, sought.is_right) == ((code, True) if can_be_said else ("", False))


@given(st.integers(0, CODES - 1), st.integers(0, 7), st.sampled_from("0123456789ABCDEFGHJKMNPQRSTVWXYZ"))
def test_one_sign_heard_wrong_is_never_taken_for_right(number: int, place: int, heard: str) -> None:
    code = base32_crockford.encode(number, checksum=True).rjust(8, "0")
    wrong = code[:place] + heard + code[place + 1 :]
    if wrong != code:
        assert not read_sought(wrong).is_right


@pytest.mark.parametrize(
    ("said", "code"), [("hkbn o4qa", "HKBN04QA"), ("HKBN-04QA", "HKBN04QA"), ("1L1I.OoQA", "111100QA")]
)
def test_look_alikes_and_spaces_are_no_mistake(said: str, code: str) -> None:
    assert said_code(said) == code


def test_a_number_is_meant_by_its_last_digits_and_an_address_by_itself() -> None:
    assert read_sought("+353 20 910 0177").digits == read_sought("020 910 0177").digits == "209100177"
    assert read_sought("0177").digits == ""  # Three figures without the zero in front would mean too many.
    assert read_sought("9177").digits == "9177"
    assert read_sought(" Some.One@Example.ORG ").email == "some.one@example.org"
    assert read_sought("\0 \ud800").is_nothing
    eight = read_sought("20910017")
    assert (eight.said_code, eight.digits) == ("20910017", "20910017")


def test_a_code_is_read_back_by_the_alphabet_for_radiotelephony() -> None:
    """Spellings as in the ITU Radio Regulations, Appendix 14: Alfa, Juliett and X-ray are written so."""
    assert spelled("7KQ") == "7, Kilo, Quebec"
    assert spelled("AJXWZ0") == "Alfa, Juliett, X-ray, Whiskey, Zulu, 0"


@given(st.text(max_size=30))
def test_folding_twice_is_folding_once(name: str) -> None:
    assert folded(folded(name)) == folded(name)
