"""How near a number is to what was asked, told slowly: one entry at a time, no index, no library.

The rules are those of ``docs/search.md``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from specdb.catalog.identity import identity_key, search_key
from specdb.catalog.search import NEAR, Entry
from specdb.errors import QuestionError

CODES = list(NEAR)
SAME, OTHER_SIGNS, READS_LIKE = "same_number", "other_signs", "reads_like"
SLIPS = [code for code in CODES if code.startswith(("one_character", "two_characters"))]


def distance(a: str, b: str) -> int:
    """Optimal string alignment distance (L. Boytsov, *ACM Journal of Experimental Algorithmics* 16, 2011, section 2;
    citation from memory)."""
    rows = [[i + j if i * j == 0 else 0 for j in range(len(b) + 1)] for i in range(len(a) + 1)]
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            rows[i][j] = min(
                rows[i - 1][j] + 1, rows[i][j - 1] + 1, rows[i - 1][j - 1] + (a[i - 1] != b[j - 1])
            )
            if i > 1 and j > 1 and a[i - 1] == b[j - 2] and a[i - 2] == b[j - 1]:
                rows[i][j] = min(rows[i][j], rows[i - 2][j - 2] + 1)
    return rows[-1][-1]


def slip(there: str, asked: str) -> str | None:
    if there == asked or distance(there, asked) != 1:
        return None
    if len(there) > len(asked):
        return "one_character_missing"
    if len(there) < len(asked):
        return "one_character_added"
    return "one_character_differs" if sorted(there) != sorted(asked) else "two_characters_swapped"


def alnum(text: str) -> str:
    return "".join(c for c in text if c.isalnum())


def near_number(entry: Entry, asked: str, with_maker: bool) -> str | None:
    """``asked`` is an identity key, or one from which a maker's name was taken."""
    there, folded = search_key(entry.number), search_key(asked)
    if there == folded:
        begin = next(i for i, c in enumerate(asked) if c.isalnum())
        end = max(i for i, c in enumerate(asked) if c.isalnum())
        if entry.number_key == asked or (with_maker and entry.number_key == asked[begin : end + 1]):
            return SAME
        return OTHER_SIGNS if alnum(entry.number_key) == alnum(asked) else READS_LIKE
    bare = asked.strip("".join(c for c in asked if not c.isalnum()))
    typed = [asked, bare] if with_maker else [asked]
    if there.startswith(folded):
        return "begins_with" if any(entry.number_key.startswith(each) for each in typed) else "begins_alike"
    if folded in there and (len(folded) >= 2 or with_maker):
        return "contains" if any(each in entry.number_key for each in typed) else "contains_alike"
    return slip(there, folded) if len(folded) >= 3 else None


def begun(entry: Entry, asked: str, with_maker: bool) -> str | None:  # noqa: ARG001 - as near_number
    """A number that goes on after ``asked``, with one slip in that."""
    there, folded = search_key(entry.number), search_key(asked)
    ends = range(len(folded) - 1, len(folded) + 2)
    slipped = len(folded) >= 4 and any(distance(there[:end], folded) == 1 for end in ends)
    return "begins_with_a_slip" if slipped else None


def each_reading(
    entry: Entry, text: str, near_number: Callable[[Entry, str, bool], str | None]
) -> Iterator[str | None]:
    key, maker = identity_key(text), search_key(entry.maker)
    folded = search_key(key)
    yield near_number(entry, key, False)
    if len(maker) < len(folded):
        places = [i for i, c in enumerate(key) if c.isalnum()]
        if folded.startswith(maker):
            yield near_number(entry, key[places[len(maker) - 1] + 1 :], True)
        if folded.endswith(maker):
            yield near_number(entry, key[: places[len(folded) - len(maker)]], True)
    words = text.split()
    cuts = range(1, min(len(words), 5))
    for named, others in [(words[:cut], words[cut:]) for cut in cuts] + [(words[-cut:], words[:-cut]) for cut in cuts]:
        try:
            name, rest = search_key(" ".join(named)), identity_key(" ".join(others))
        except QuestionError:
            continue
        if len(name) >= 3 and maker.startswith(name) and maker != name:
            yield near_number(entry, rest, True)
        if len(name) >= 3 and (slipped := slip(maker, name)):
            exact = near_number(entry, rest, True)
            yield slipped if exact in (SAME, OTHER_SIGNS, READS_LIKE) else None
    if maker == folded or (len(folded) >= 3 and maker.startswith(folded)):
        yield "maker"
    elif len(folded) >= 3 and slip(maker, folded) and maker not in (folded[1:], folded[:-1]):
        yield "maker_alike"


def maker_begun(entry: Entry, text: str) -> str | None:
    """An element of a maker whose name goes on after the text, with one slip in that."""
    maker, folded = search_key(entry.maker), search_key(text)
    ends = range(len(folded) - 1, len(folded) + 2)
    slipped = len(folded) >= 4 and any(distance(maker[:end], folded) == 1 for end in ends)
    return "maker_alike" if slipped else None


def nearest(entry: Entry, text: str, how: Callable[[Entry, str, bool], str | None] = near_number) -> str | None:
    found = [code for code in each_reading(entry, text, how) if code is not None]
    return min(found, key=CODES.index) if found else None


def goes_on(entry: Entry, slipped: list[tuple[str, str]]) -> bool:
    """After a number of the same maker that a slip led to."""
    there = search_key(entry.number)
    return any(maker == entry.maker_key and len(key) >= 3 and there.startswith(key) for maker, key in slipped)


def ordered(entries: list[Entry], text: str) -> list[tuple[str, str, str]]:
    """Nearness, maker and number of each entry that is near, in the order of a search."""
    status = {"current": 0, None: 1, "superseded": 2, "obsolete": 3}
    near = [(nearest(entry, text), entry) for entry in entries]
    codes = [code for code, _ in near if code not in (None, "maker", "maker_alike")]
    if codes and all(code in SLIPS for code in codes):
        slipped = [(e.maker_key, search_key(e.number)) for code, e in near if code in SLIPS]
        near = [("begins_with_a_slip" if code not in SLIPS and goes_on(e, slipped) else code, e) for code, e in near]
    if not any(code for code, _ in near):
        near = [(nearest(entry, text, begun), entry) for entry in entries]
    if not any(code for code, _ in near):
        near = [(maker_begun(entry, text), entry) for entry in entries]
    found = sorted(
        (CODES.index(code), 4 if e.claim else status[e.status], e.maker_key, e.number_key, e.maker, e.number)
        for code, e in near
        if code is not None
    )
    return [(CODES[place], maker, number) for place, _, _, _, maker, number in found]
