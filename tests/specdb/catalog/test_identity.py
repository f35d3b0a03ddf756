"""Keys of makers' names and part numbers."""

from __future__ import annotations

import hashlib
import unicodedata

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from specdb.catalog.identity import element_id, identity_key, search_key, stated_text
from specdb.errors import QuestionError

DASHES = "-\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe58\ufe63\uff0d\u2043\u02d7"
printed = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=40)
part_numbers = st.from_regex(r"[A-Z0-9]{1,6}(-[A-Z0-9]{1,4}){0,2}", fullmatch=True)


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("dw 12-1", "DW12-1"),
        ("  DW\u00a012\u20131 ", "DW12-1"),
        ("\uff24\uff37\uff11\uff12\uff0d\uff11", "DW12-1"),
        ("DW12\u00ad-\u200b1", "DW12-1"),
        ("m\u00fcller", "M\u00dcLLER"),
        ("mu\u0308ller", "M\u00dcLLER"),
        ("Stra\u00dfe", "STRASSE"),
        ("A/B.7", "A/B.7"),
    ],
)
def test_identity_key_forgives_what_nobody_means(typed: str, key: str) -> None:
    assert identity_key(typed) == key


def test_a_dash_tells_two_numbers_apart_but_not_two_searches() -> None:
    assert identity_key("12-1") != identity_key("121")
    assert element_id("Demo", "12-1") != element_id("Demo", "121")
    assert search_key("12-1") == search_key("121") == "121"


@given(printed)
def test_the_key_of_a_key_is_the_key(text: str) -> None:
    try:
        key = identity_key(text)
    except QuestionError:
        assume(False)
    assert identity_key(key) == key
    assert unicodedata.is_normalized("NFKC", key)
    assert not any(c.isspace() for c in key)
    assert search_key(key) == search_key(text)


@given(part_numbers, st.sampled_from(DASHES), st.sampled_from(["", " ", "\u00a0", "\u2009"]))
def test_every_dash_space_and_case_gives_one_key(number: str, dash: str, space: str) -> None:
    typed = space + number.replace("-", f"{space}{dash}{space}").lower() + space
    assert identity_key(typed) == number
    assert element_id("demo works", typed) == element_id("Demo Works", number)


@given(part_numbers, part_numbers)
def test_different_numbers_are_different_elements(one: str, other: str) -> None:
    assert (element_id("Demo", one) == element_id("Demo", other)) == (one == other)


@given(part_numbers)
def test_search_key_forgets_dashes_and_look_alikes(number: str) -> None:
    worn = number.translate(str.maketrans("0125 8-", "OIZS B."))
    assert search_key(worn) == search_key(number) == search_key(number.replace("-", ""))
    assert not set(search_key(number)) & set("OILZSB-")


def test_search_key_reads_greek_and_cyrillic_capitals_as_latin() -> None:
    assert search_key("\u0410\u0412\u041512") == search_key("\u0391\u0392\u039512") == search_key("ABE12")


def test_element_id_is_the_digest_of_both_keys_joined_by_nul() -> None:
    assert element_id("Demo Works", "dw 12\u20131") == hashlib.sha256(b"DEMOWORKS\0DW12-1").hexdigest()[:16]
    assert element_id("AB", "C") != element_id("A", "BC")


@pytest.mark.parametrize(
    "text", ["", "   ", "a\0b", "a\tb", "a\nb", "a\x7fb", "a\ud800b", "x" * 201, "-", "...", "\u200b", "\ufdfa" * 14]
)
def test_texts_that_name_nothing_are_refused_with_a_remedy(text: str) -> None:
    for key in (identity_key, search_key):
        with pytest.raises(QuestionError) as caught:
            key(text)
        assert caught.value.remedy
        assert caught.value.value is not None


def test_a_refusal_names_the_field() -> None:
    with pytest.raises(QuestionError) as of_maker:
        element_id("", "1")
    with pytest.raises(QuestionError) as of_number:
        element_id("Demo", "\0")
    assert (of_maker.value.field, of_number.value.field) == ("maker", "number")


def test_the_longest_name_is_taken() -> None:
    assert identity_key("x" * 200) == "X" * 200
    assert stated_text(" x ") == "x"
    with pytest.raises(QuestionError, match="at most 3"):
        stated_text("four", longest=3)
