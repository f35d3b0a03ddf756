"""Searching by number and maker: what is found, how near it is said to be, and in what words."""

from __future__ import annotations

import random
import re
import string
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from specdb.answers import FILTERS
from specdb.catalog.identity import element_id, identity_key, search_key
from specdb.catalog.reading import find_element
from specdb.catalog.search import NEAR, Entry, SearchIndex, names_alike, not_on_file, without_words_beside
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session, write_session
from specdb.catalog.writing import begin_revision, supersede
from specdb.errors import NotOnFileError, QuestionError
from specdb.exchange import import_folder
from tests.specdb.catalog import search_reference as slow


def entry(maker: str, number: str, status: str | None = None) -> Entry:
    return Entry(
        maker,
        number,
        identity_key(maker),
        identity_key(number),
        search_key(number),
        element_id(maker, number),
        status,
    )


def found(entries: list[Entry], text: str) -> list[tuple[str, str, str]]:
    """All hits: nearness, maker and number."""
    result = SearchIndex(entries).search(text, limit=len(entries))
    assert result.total == len(result.hits)
    return [(hit.near, hit.entry.maker, hit.entry.number) for hit in result.hits]


@pytest.fixture(scope="session")
def demo_index(demo_store_url: str) -> SearchIndex:
    engine = open_store(demo_store_url)
    with read_session(engine) as connection:
        index = SearchIndex.of(connection, 1)
    engine.dispose()
    return index


# --- what is found and how it is labelled ---------------------------------------------------------

WORDS = [
    # number, what was asked, nearness, words
    ("12-1", "12-1", "same_number", "the same number, letter for letter"),
    ("Dulse 23", "dulse23", "same_number", "the same number but for letter case or spaces"),
    ("12–1", "12-1", "same_number", "the same number but for letter case or spaces"),
    (
        "12-1",
        "121",
        "other_signs",
        "the same letters and digits, other dashes or signs (12-1, not 121): may be another part",
    ),
    ("AO-1", "a0 1", "reads_like", "reads like it: O instead of 0 at character 2: may be another part"),
    ("12-1", "I2-l", "reads_like",
     "reads like it: 1 instead of I at character 1, 1 instead of L at character 4: "
     "may be another part"),
    ("00417/B", "00417", "begins_with", "begins with what was asked, and goes on"),
    ("X 00417", "0417", "contains", "has what was asked within it"),
    ("X-Dulse 23", "dulse23", "contains", "has what was asked within it"),
    ("10-K", "/10", "begins_alike",
     "begins with the same letters and digits, other dashes or signs (10, not /10), and goes on: may be another part"),
    ("IO-K", "10", "begins_alike",
     "begins with what reads like it (I instead of 1 at character 1, O instead of 0 at "
     "character 2), and goes on: may be another part"),
    ("0052-0", "5/20", "contains_alike",
     "has within it the same letters and digits, other dashes or signs (52-0, not 5/20): may be another part"),
    ("XXXII-12a", "1-12", "contains_alike",
     "has within it what reads like it (I instead of 1 at character 5): may be another part"),
    ("2024-07", "2021-07", "one_character_differs", "4 instead of 1 at character 4: another part"),
    ("2024-07", "2024-7", "one_character_missing", "with 0 more, at character 6: another part"),
    ("2024-07", "2024-077", "one_character_added",
     "without 7 after character 7: another part"),
    ("2024-07", "9-2024-07", "one_character_added",
     "without 9 before the first character: another part"),
    ("Dulse 23", "dulce 2", "begins_with_a_slip",
     "begins with what was asked but for one character, and goes on: may be another part "
     "(they part at its character 4)"),
    ("2024-07", "2042-07", "two_characters_swapped", "24 instead of 42 at character 3: another part"),
    ("2024-07", "2O21-07", "one_character_differs",
     "4 instead of 1 at character 4: another part; reads like it otherwise: "
     "0 instead of O at character 2"),
    ("Dulse 23", "Quollbeck Dulse 23", "same_number", "the same number, letter for letter"),
    ("Dulse 23", "Dulse 23 Quollbeck", "same_number", "the same number, letter for letter"),
    ("Dulse 23", "quollbeckdulse23", "same_number", "the same number but for letter case or spaces"),
    ("=7-K", "Quollbeck =7-K", "same_number", "the same number, letter for letter"),
    ("7-K", "Quollbeck/7-K", "same_number", "the same number but for letter case or spaces"),
    ("Dulse 23", "quoll dulse 2", "begins_with",
     "begins with what was asked, and goes on; of Quollbeck, whose name begins so"),
    ("Dulse 23", "quolbeck dulse 23", "one_character_missing",
     "in the maker's name: with L more, at character 5; the same number but for letter case or spaces"),
    ("Dulse 23", "Quollbock Dulse 23", "one_character_differs",
     "in the maker's name: E instead of O at character 7; the same number but for letter case or spaces"),
    ("Dulse 23", "QUOLLBECK", "maker", "of Quollbeck: an element of the maker that was asked for"),
    ("Dulse 23", "quol", "maker", "of Quollbeck: an element of the maker that was asked for"),
    ("Dulse 23", "quolbeck", "maker_alike",
     "of Quollbeck: an element of a maker whose name, or its beginning, is one character off"),
    ("Dulse 23", "quolb", "maker_alike",
     "of Quollbeck: an element of a maker whose name, or its beginning, is one character off"),
    ("Dulse 23", "dulse 23 quoll", "same_number",
     "the same number but for letter case or spaces; of Quollbeck, whose name begins so"),
    ("Dulse 23", "dulse 23 qoullbeck", "two_characters_swapped",
     "in the maker's name: UO instead of OU at character 2; the same number but for letter case or spaces"),
]  # fmt: skip


@pytest.mark.parametrize(("number", "asked", "near", "words"), WORDS)
def test_each_degree_of_nearness_is_said_in_a_code_and_in_words(
    number: str, asked: str, near: str, words: str
) -> None:
    (hit,) = SearchIndex([entry("Quollbeck", number)]).search(asked).hits
    assert (hit.near, hit.words) == (near, words)


def test_every_code_is_exercised() -> None:
    assert {near for _, _, near, _ in WORDS} == set(NEAR)


def test_a_dash_tells_two_numbers_apart_and_both_are_shown() -> None:
    both = [entry("Tarnwhistle", "121"), entry("Tarnwhistle", "12-1")]
    assert found(both, "12-1") == [("same_number", "Tarnwhistle", "12-1"), ("other_signs", "Tarnwhistle", "121")]
    assert found(both, "121") == [("same_number", "Tarnwhistle", "121"), ("other_signs", "Tarnwhistle", "12-1")]
    assert {near for near, *_ in found(both, "l2l")} == {"reads_like"}


def test_what_holds_the_text_as_typed_comes_first() -> None:
    entries = [entry("A", "00520", "current"), entry("A", "52-1", "current"), entry("Z", "45/2", "obsolete")]
    assert found(entries, "5/2") == [
        ("contains", "Z", "45/2"), ("begins_alike", "A", "52-1"), ("contains_alike", "A", "00520")
    ]  # fmt: skip


@pytest.mark.parametrize("asked", ["dusle 23", "dulse 023", "quolbeck dulse 23"])
def test_a_slip_hides_no_version_of_what_it_was_taken_for(asked: str) -> None:
    entries = [entry("Quollbeck", number) for number in ("Dulse 23", "Dulse 23/B", "Dulse 3")]
    entries.append(entry("Other", "Dulse 23/CD"))
    hits = SearchIndex(entries).search(asked).hits
    assert [hit.entry.number for hit in hits] == ["Dulse 23", "Dulse 23/B"]
    assert hits[1].near == "begins_with_a_slip"
    # Where the number itself is near, what is a slip away brings nothing with it.
    assert ("Quollbeck", "Dulse 13/B") not in [
        (maker, number) for _, maker, number in found([*entries, entry("Quollbeck", "Dulse 13/B")], "dulse 23")
    ]


def test_order_is_nearness_then_status_then_maker_and_number() -> None:
    entries = [
        entry("B", "77-1", "obsolete"), entry("A", "77-1", "superseded"), entry("C", "77-1", "current"),
        entry("D", "77-1"), entry("A", "77-10", "current"), entry("A", "9", "current"), entry("C", "771", "current"),
    ]  # fmt: skip
    assert found(entries, "77-1") == [
        *(("same_number", maker, "77-1") for maker in "CDAB"),
        ("other_signs", "C", "771"),
        ("begins_with", "A", "77-10"),
    ]


@pytest.mark.parametrize(
    ("asked", "numbers"),
    [
        ("7", ["7-A", "71"]),
        ("7A", ["7-A"]),
        ("71", ["71", "171"]),
        ("Maker 7", ["7-A", "71", "171"]),  # with the maker named, a single character is sought anywhere
    ],
)
def test_short_texts_are_sought_at_the_beginning_first_and_never_taken_for_slips(
    asked: str, numbers: list[str]
) -> None:
    entries = [entry("Maker", number) for number in ("7-A", "71", "171", "8")]
    assert [number for _, _, number in found(entries, asked)] == numbers


def test_the_limit_cuts_the_list_and_not_the_count(demo_index: SearchIndex) -> None:
    whole = demo_index.search("tarnwhistle", limit=100)
    part = demo_index.search("tarnwhistle", limit=3)
    assert part.total == whole.total == len(whole.hits) > 3
    assert part.hits == whole.hits[:3]


@pytest.mark.parametrize(
    "asked", ["", "   ", "---", "/ .", "\u200b", "a\x00b", "a\tb", "\ud800", "x" * 300, "\ufdfa" * 20]
)
def test_what_is_no_number_and_no_name_is_refused(demo_index: SearchIndex, asked: str) -> None:
    with pytest.raises(QuestionError) as caught:
        demo_index.search(asked)
    assert caught.value.field == "q"
    assert caught.value.remedy


@pytest.mark.parametrize("asked", ["(", "12-1)", "[a-z]*1", "\\d+2", "%_1", "٣٤", "ΒΟ1", "x" * 200, "1 " * 90])
def test_signs_of_other_languages_and_of_patterns_are_text(demo_index: SearchIndex, asked: str) -> None:
    if any(map(str.isalnum, asked)):
        result = demo_index.search(asked)
        assert len(result.hits) <= 20
    else:
        with pytest.raises(QuestionError):
            demo_index.search(asked)


def test_nothing_is_found_in_nothing() -> None:
    assert SearchIndex([]).search("12-1").total == 0


# --- the page in docs ------------------------------------------------------------------------------

PAGE = (Path(__file__).parents[3] / "docs" / "search.md").read_text(encoding="utf-8")


def test_every_code_and_filter_has_its_place_on_the_page() -> None:
    table = re.findall(r"^\| `(\w+)` \| [^`]* \| [^`]* \|$", PAGE, re.MULTILINE)
    assert table == list(NEAR)
    assert {name for name in FILTERS if f"`{name}`" not in PAGE} == set()


EXAMPLES = re.findall(r"^\| `([^`]+)` \| (.+) \| `(\w+)` \|$", PAGE, re.MULTILINE)


def test_the_page_has_its_examples() -> None:
    assert len(EXAMPLES) > 5


@pytest.mark.parametrize(("asked", "first", "near"), EXAMPLES)
def test_the_examples_on_the_page_are_true(demo_index: SearchIndex, asked: str, first: str, near: str) -> None:
    hit = demo_index.search(asked).hits[0]
    assert (f"{hit.entry.maker} {hit.entry.number}", hit.near) == (first, near)


# --- against the slow reference -------------------------------------------------------------------

MAKERS = ("Demo Works", "Dem", "O1", "Quill", "Quilt")
numbers = st.text("10OIBZ2-/ A", min_size=1, max_size=7).filter(lambda t: any(map(str.isalnum, t)))
catalogues = st.lists(
    st.tuples(st.sampled_from(MAKERS), numbers, st.sampled_from(("current", "obsolete", "superseded", None))),
    max_size=8,
    unique_by=lambda each: (identity_key(each[0]), identity_key(each[1])),
)


@st.composite
def disguised(draw: st.DrawFn, text: str) -> str:
    """A text as it may come off a worn label."""
    ways = ("as it is", "wrong", "missing", "added", "swapped", "cut", "half", "no signs", "look-alike")
    how = draw(st.sampled_from(ways))
    at = draw(st.integers(0, max(0, len(text) - 1)))
    other = draw(st.sampled_from("017AXO-"))
    return {
        "as it is": text.lower(),
        "wrong": text[:at] + other + text[at + 1 :],
        "missing": text[:at] + text[at + 1 :],
        "added": text[:at] + other + text[at:],
        "swapped": text[:at] + text[at : at + 2][::-1] + text[at + 2 :],
        "cut": text[at:],
        "half": (text[:at] + other + text[at + 1 :])[:-1],
        "no signs": "".join(filter(str.isalnum, text)),
        "look-alike": text.replace("0", "O").replace("1", "l"),
    }[how]


@st.composite
def searches(draw: st.DrawFn) -> tuple[list[Entry], str]:
    entries = [entry(*row) for row in draw(catalogues)]
    if not entries or draw(st.integers(0, 9)) == 0:
        return entries, draw(numbers)
    one = draw(st.sampled_from(entries))
    form = draw(st.sampled_from(("{number}", "{number}", "{maker} {number}", "{number} {maker}", "{maker}")))
    text = form.format(maker=draw(disguised(one.maker)), number=draw(disguised(one.number)))
    return entries, text if any(map(str.isalnum, text)) else one.number


@given(searches())
@settings(max_examples=150, deadline=None, derandomize=True)
def test_a_search_agrees_with_the_slow_reference(search: tuple[list[Entry], str]) -> None:
    entries, text = search
    assert found(entries, text) == slow.ordered(entries, text)


ALPHABET = string.digits + string.ascii_uppercase


def _disguises(number: str, rng: random.Random) -> Iterator[str]:
    yield from (number, number.lower(), f"  {number} ", " ".join(number), number.replace(" ", ""))
    yield "".join(c for c in number if c.isalnum())
    yield number.translate(str.maketrans("01258", "OIZSB"))
    yield number.upper().translate(str.maketrans("OILZSB", "011258"))
    letters = [place for place, c in enumerate(number) if c.isalnum()]
    for at in letters:
        yield number[:at] + number[at + 1 :]
        yield number[:at] + rng.choice(ALPHABET) + number[at + 1 :]
        yield number[:at] + rng.choice(ALPHABET) + number[at:]
    for first, second in pairwise(letters):
        swapped = list(number)
        swapped[first], swapped[second] = swapped[second], swapped[first]
        yield "".join(swapped)


def test_each_element_is_found_under_every_disguise_of_its_number(demo: Snapshot) -> None:
    rng = random.Random(7)
    elements = demo.elements
    entries = [entry(m, n) for m, n in zip(elements.maker, elements.number, strict=True)]
    index = SearchIndex(entries)
    tried = 0
    for one in entries[::3]:
        for text in _disguises(one.number, rng):
            if len(search_key(text) if any(map(str.isalnum, text)) else "") < 3:
                continue  # what is left of a very short number names nothing
            hits = {hit.entry: hit.near for hit in index.search(text, limit=len(entries)).hits}
            assert one in hits, text
            assert hits[one] == slow.nearest(one, text), text
            tried += 1
    assert tried > 1000


# --- claims and states ----------------------------------------------------------------------------

Take = Callable[..., int]


@pytest.fixture
def take(any_store: sa.Engine, tmp_path: Path) -> Take:
    """Imports sheets into ``any_store``; gives the revision."""

    def taken(**sheets: str) -> int:
        folder = tmp_path / "catalogue"
        folder.mkdir(exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for name, text in {"elements": "maker,number\n", **sheets}.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        revision = import_folder(any_store, folder, actor="test", reason="for a test").revision
        assert revision is not None
        return revision

    return taken


SOURCES = "source,title\nS1,Demo sheet\n"
CLAIMS = (
    "maker,number,replaces_maker,replaces_number,source,date,remark\n"
    "Demo Works,DW 7,Old Maker,99-44,S1,2024-05,no test named\n"
    "Third,T 1,Old Maker,99-44,S1,,\n"
    "Newer,N-5,Demo Works,DW 7,,,\n"
    "Demo Works,DW 8,Demo Works,DW 7,,,\n"
)


def search(engine: sa.Engine, revision: int, text: str) -> list[tuple[str, str, str | None, str | None, str]]:
    """Maker, number, side, words of the claim and the element of each hit."""
    with read_session(engine) as connection:
        hits = SearchIndex.of(connection, revision).search(text).hits
    told = []
    for hit in hits:
        claim = hit.entry.claim
        told.append((
            hit.entry.maker, hit.entry.number, claim and claim.number_is, claim and claim.words, hit.entry.element_id
        ))  # fmt: skip
    return told


def test_a_number_known_from_a_claim_is_found_with_the_claim_and_the_element_at_its_other_side(
    any_store: sa.Engine, take: Take
) -> None:
    elements = "maker,number,status\nDemo Works,DW 7,current\nDemo Works,DW 8,obsolete\n"
    revision = take(sources=SOURCES, elements=elements, interchanges=CLAIMS)
    own = element_id("Demo Works", "DW 7")
    assert search(any_store, revision, "9944") == [
        ("Old Maker", "99-44", "replaced",
         "Demo Works DW 7 is claimed to replace Old Maker 99-44 (S1, 2024-05): a claim, no proof", own),
        ("Old Maker", "99-44", "replaced",
         "Third T 1 is claimed to replace Old Maker 99-44 (S1): a claim, no proof", None),
    ]  # fmt: skip
    assert search(any_store, revision, "n5") == [
        ("Newer", "N-5", "replacing", "Newer N-5 is claimed to replace Demo Works DW 7: a claim, no proof", own)
    ]
    # A number that is on file is found as itself, once, whatever is claimed of it.
    assert search(any_store, revision, "dw7")[0] == ("Demo Works", "DW 7", None, None, own)
    assert [number for _, number, *_ in search(any_store, revision, "dw7")].count("DW 7") == 1
    assert search(any_store, revision, "third")[0][:3] == ("Third", "T 1", "replacing")


def test_a_search_tells_what_was_known_then(any_store: sa.Engine, take: Take) -> None:
    first = take(interchanges=CLAIMS.replace(",S1,", ",,"), elements="maker,number,status\nDemo Works,DW 7,current\n")
    second = take(elements="maker,number,status\nOld Maker,99-44,obsolete\n")
    with write_session(any_store) as connection:
        third = begin_revision(connection, "test", "withdrawn")
        supersede(connection, third, "claim", old=3, new=None, reason="the claim was a misprint")
    assert [hit[2] for hit in search(any_store, first, "99-44")] == ["replaced", "replaced"]
    assert search(any_store, second, "99-44") == [
        ("Old Maker", "99-44", None, None, element_id("Old Maker", "99-44"))
    ]
    assert len(search(any_store, second, "N-5")) == 1
    assert search(any_store, third, "N-5") == []


# --- numbers that are not on file -----------------------------------------------------------------


def remedy(engine: sa.Engine, number: str, maker: str | None = None, revision: int = 1) -> str:
    with read_session(engine) as connection, pytest.raises(NotOnFileError) as caught:
        find_element(connection, number, maker, revision)
    assert caught.value.field == "number"
    return str(caught.value.remedy)


def test_a_number_that_is_not_on_file_is_told_with_those_near_it(any_store: sa.Engine, take: Take) -> None:
    take(
        interchanges=CLAIMS.replace(",S1,", ",,"),
        elements="maker,number\nTarn,2024-07\nTarn,12-1\nTarn,121\nOther,2024-08\nDemo Works,DW 7\nOther,12-1\n",
    )
    near = "Near it on file, each an element of its own: "
    assert remedy(any_store, "2024-7") == f"{near}Tarn 2024-07 (one character more)."
    assert remedy(any_store, "l2-1") == f"{near}Other 12-1, Tarn 12-1, Tarn 121."
    assert remedy(any_store, "l2-1", "Tarn").endswith("Tarn 12-1, Tarn 121, Other 12-1.")
    assert remedy(any_store, "2024-07", "Other").startswith("This number is on file of Tarn.")
    assert remedy(any_store, "Tarn 12-1") == f"{near}Tarn 12-1, Tarn 121."
    assert "Demo Works DW 7 is claimed to replace Old Maker 99-44" in remedy(any_store, "99-44")
    assert remedy(any_store, "2024") == f"{near}Other 2024-08, Tarn 2024-07."
    # Look-alikes and a slip together are offered by a search, not in place of a number.
    assert remedy(any_store, "ZO24-7") == "Check its dashes and letters."
    assert remedy(any_store, "QX 77777") == "Check its dashes and letters."


def test_the_error_decides_nothing() -> None:
    index = SearchIndex([entry("Tarn", "2024-07")])
    error = not_on_file("2024-7", None, index.near_number("2024-7", None))
    assert isinstance(error, NotOnFileError)
    assert error.value == "2024-7"


@pytest.mark.parametrize(
    ("asked", "alike"),
    [
        ("quolbeck", ["Quollbeck"]),
        ("Quollbock Ltd", []),
        ("Quollbeck Ltd", ["Quollbeck"]),
        ("quoll", ["Quollbeck"]),
        ("Qoulbeck", ["Quollbeck"]),
        ("Tarm", ["Tarn"]),
        ("Tram", []),
        ("whistle", ["Tarnwhistle"]),
    ],
)
def test_names_near_a_name(asked: str, alike: list[str]) -> None:
    assert names_alike(asked, ["Quollbeck", "Tarn", "Tarnwhistle"]) == alike


@pytest.mark.parametrize(
    ("asked", "beginning"),
    [
        ("2024-99x", "2024"),
        ("2024/0-99", "2024/0"),
        ("Z0Z4 55", "Z0Z4"),
        ("tarn 2024-9", "Tarn 2024"),
        ("other 2024-9", "Other 2024"),
        ("½ 024-07", "½"),
        ("1", None),
        ("QX", None),
    ],
)
def test_the_longest_beginning_that_some_number_has(asked: str, beginning: str | None) -> None:
    index = SearchIndex([entry("Tarn", "2024-07"), entry("Other", "2024-08"), entry("Tarn", "12-1")])
    assert index.longest_beginning(asked) == beginning


def test_what_is_near_nothing_is_answered_with_what_differs_least() -> None:
    entries = [entry("Tarn", "12-1"), entry("Tarn", "99821"), entry("Other", "K-99812"), entry("Other", "XY-7")]
    index = SearchIndex(entries)
    assert [(hit.entry.number, hit.words) for hit in index.least_far("QXK-99812", 2).hits] == [
        ("K-99812", "2 characters off: another part"), ("99821", "4 characters off: another part"),
    ]  # fmt: skip
    assert [hit.entry.number for hit in index.least_far("tarn QXK-99812", 9).hits] == ["99821", "12-1"]
    assert len(index.least_far("W" * 200, 9).hits) == len(entries)
    assert SearchIndex([]).least_far("12-1").hits == ()


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("P/N 00417", "00417"),
        ("P/N: 00417", "00417"),
        ("No. 12-1", "12-1"),
        ("no.12-1", "12-1"),
        ("Part No. #12-1", "12-1"),
        ("filter dulse 23", "dulse 23"),
        ("dulse 23 filter", "dulse 23"),
        ("part 12-1", "12-1"),
        ("NO-1", "NO-1"),
        ("north 7", "north 7"),
        ("filter", "filter"),
        ("part no.", "part no."),
    ],
)
def test_what_labels_print_beside_a_number_is_no_part_of_it(text: str, number: str) -> None:
    assert without_words_beside(text) == number


def test_a_maker_is_known_by_the_whole_name_alone() -> None:
    claim = {
        "maker": "Third", "number": "7", "maker_key": "THIRD", "number_key": "7", "search_key": "7",
        "replaces_maker": "Tarn", "replaces_number": "12-1", "replaces_maker_key": "TARN",
        "replaces_number_key": "12-1", "replaces_search_key": "121",
    }  # fmt: skip
    index = SearchIndex.holding([entry("Tarn Whistle", "12-1"), entry("Tarn", "12-1")], [claim])
    assert index.elements == 2
    names = ("tarnwhistle", "TARN", "Tarm", "Third", "-")
    assert [index.maker_of(name) for name in names] == ["Tarn Whistle", "Tarn", None, None, None]
