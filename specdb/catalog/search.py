"""Finding elements by a part number that was read off a label, half of one, or a maker's name.

A search finds what is near and says how near it is; it never takes one number for another. ``NEAR``
lists the degrees of nearness. What holds the text as typed stands before what holds it only without its
signs or with look-alikes read as one. One character off is another part, and stands behind every number
that what was asked may be a part of; a slip in a beginning is looked for only where nothing else is near,
and of a number that was found by a slip alone, what goes on after it.

Texts are compared by the keys of :mod:`specdb.catalog.identity`. A slip is one character wrong,
missing, added, or two neighbours swapped: a distance of 1 in optimal string alignment.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import OSA, Prefix

from specdb.bounds import IntArray
from specdb.catalog.facts import Row, in_force, rows_of
from specdb.catalog.identity import identity_key, search_key, stated_text
from specdb.catalog.tables import element, element_attribute, interchange_claim, source
from specdb.errors import NotOnFileError, QuestionError

NEAR = {
    "same_number": "the same number, letter for letter or but for letter case and spaces",
    "other_signs": "the same letters and digits, other dashes or signs",
    "reads_like": "the same but for characters that are taken for one another (0/O, 1/I/L, 2/Z, 5/S, 8/B)",
    "begins_with": "begins with what was asked, and goes on",
    "contains": "has what was asked within it",
    "begins_alike": "begins with what reads like it but for signs or look-alikes, and goes on: may be another part",
    "contains_alike": "has within it what reads like it but for signs or look-alikes: may be another part",
    "one_character_differs": "one character differs: another part",
    "one_character_missing": "what was asked lacks one character of it: another part",
    "one_character_added": "what was asked has one character more: another part",
    "two_characters_swapped": "two neighbouring characters are swapped: another part",
    "begins_with_a_slip": "begins with what was asked but for one character, and goes on: may be another part",
    "maker": "an element of the maker that was asked for",
    "maker_alike": "an element of a maker whose name, or its beginning, is one character off",
}
"""How near a number is to what was asked: code and meaning, nearest first."""

_CODES = tuple(NEAR)
_PLACE = {code: place for place, code in enumerate(_CODES)}
_READS_LIKE, _FIRST_SLIP, _FAR = _PLACE["reads_like"], _PLACE["one_character_differs"], len(_CODES)
_AS_PART = {_PLACE["begins_with"]: _PLACE["begins_alike"], _PLACE["contains"]: _PLACE["contains_alike"]}
"""Nearness of a number that holds the text as typed: that of one which holds it only as search folds it."""
_OF_MAKER_ONLY = ("maker", "maker_alike")
SHORTEST_SLIP = 3
"""Letters and digits that a text must have to be taken for one with a slip in it: shorter ones are near everything."""
SHORTEST_PART = 2
"""Letters and digits that a text must have to be looked for within numbers, where no maker is named with it."""
SHORTEST_BEGINNING = 4
"""Letters and digits that a text must have to be taken for the beginning of a number with a slip in it."""
LONGEST_COMPARED = 64
"""Letters and digits of a text that are compared with each number where nothing is near it."""
SHORTEST_NAME = 3
"""Letters and digits that a text must have to be taken for the beginning of a maker's name."""
ALIKE_AT_MOST = 5
"""Numbers that are offered in place of one that is not on file."""

_BESIDE_A_NUMBER = (
    # What labels and orders print beside a number (common practice).
    "p/n", "pn", "part", "part no", "part number", "no", "nr", "number", "ref", "reference", "cat", "cat no", "art",
    "article", "order", "order no", "filter", "filter element", "oil filter", "hydraulic filter", "element",
)  # fmt: skip
_WORDS_BESIDE = "|".join(re.escape(each) for each in sorted(_BESIDE_A_NUMBER, key=len, reverse=True))
_LABELLED = re.compile(
    rf"(?P<before>(?:(?:(?:{_WORDS_BESIDE})(?:[.:#]\s*|\s+)|#\s*)[.:#]?\s*)*)(?P<number>.*?)"
    r"(?P<after>(?:\s+(?:filter|element|oil filter|hydraulic filter))*)",
    re.IGNORECASE,
)

_STATUS_PLACE = {"current": 0, None: 1, "superseded": 2, "obsolete": 3}
_CLAIMED = 4
_NAMES = ("maker", "number", "maker_key", "number_key", "search_key")

Near = NDArray[np.uint8]
Side = Literal["replacing", "replaced"]


@dataclass(frozen=True)
class Claim:
    """An interchange claim by which a number is known. ``number_is`` says which side of it the number stands on:
    it is claimed to replace the other, or to be replaced by it."""

    row: Row
    number_is: Side

    @property
    def words(self) -> str:
        return f"{sourced_claim_words(self.row)}: a claim, no proof"

    @property
    def other_side(self) -> tuple[str, str]:
        """Maker and number at the claim's other side."""
        column = "" if self.number_is == "replaced" else "replaces_"
        return self.row[f"{column}maker"], self.row[f"{column}number"]


def claim_words(row: Row) -> str:
    return f"{row['maker']} {row['number']} is claimed to replace {row['replaces_maker']} {row['replaces_number']}"


def sourced_claim_words(row: Row) -> str:
    """The claim with its document and date. ``row`` has the names of the table of claims, and the source's key."""
    where = ", ".join(filter(None, (row["source"], row["date"])))
    return f"{claim_words(row)}{f' ({where})' if where else ''}"


@dataclass(frozen=True)
class Entry:
    """One number that can be found. ``element_id`` is the element that has it; of a number that is known from a
    claim only, the element on file at the claim's other side, None where there is none."""

    maker: str
    number: str
    maker_key: str
    number_key: str
    search_key: str
    element_id: str | None
    status: str | None = None
    claim: Claim | None = None


@dataclass(frozen=True)
class Hit:
    """An entry that is near what was asked: how near, as a code of ``NEAR`` and in words."""

    near: str
    words: str
    entry: Entry


@dataclass(frozen=True)
class SearchResult:
    """The nearest hits, how many there are in all, and how many different numbers those are: of a number that is known
    from claims only, each claim is a hit."""

    query: str
    hits: tuple[Hit, ...]
    total: int
    numbers: int


@dataclass(frozen=True)
class _Reading:
    """One way to read what was asked: a number, of any maker or of some. ``name`` is what was read as the maker's."""

    number: str
    key: str
    makers: tuple[int, ...] | None = None
    name: str = ""
    slip_in_name: str = ""

    @property
    def folded(self) -> str:
        return search_key(self.key)

    @property
    def same(self) -> tuple[str, ...]:
        """Identity keys that are this very number: between a maker and a number may stand any sign."""
        bare = self.key if self.makers is None else re.sub(r"^[\W_]+|[\W_]+$", "", self.key)
        return tuple(dict.fromkeys((self.key, bare)))


class SearchIndex:
    """Every number that was known at one revision, ready to be searched by any number of threads."""

    def __init__(self, entries: Sequence[Entry]):
        self._entries = sorted(entries, key=lambda e: (e.maker_key, e.number_key))
        self._number_keys = [e.number_key for e in self._entries]
        of_number = [(e.maker_key, e.number_key) for e in self._entries]
        self._is_first_of_number = np.array(
            [place == 0 or each != of_number[place - 1] for place, each in enumerate(of_number)], dtype=bool
        )
        self._elements = {e.element_id: e for e in self._entries if e.claim is None}
        self._makers = {e.maker_key: e.maker for e in self._elements.values()}
        self._status = np.array(
            [_CLAIMED if e.claim else _STATUS_PLACE.get(e.status, 1) for e in self._entries], dtype=np.int64
        )
        makers = sorted({e.maker_key for e in self._entries})
        self._maker_names = [search_key(key) for key in makers]
        self._maker = _codes([e.maker_key for e in self._entries], {key: code for code, key in enumerate(makers)})
        self._keys = sorted({e.search_key for e in self._entries})
        self._place = {key: place for place, key in enumerate(self._keys)}
        self._key = _codes([e.search_key for e in self._entries], self._place)
        self._digits = [_digits(key) for key in self._number_keys]
        self._joined = "\n".join(self._keys)
        lengths = np.array([len(key) + 1 for key in self._keys], dtype=np.int64)
        self._starts = np.cumsum(lengths) - lengths
        self._alphabets = _alphabets(self._keys)
        self._alphabet = "".join(sorted({character for key in self._keys for character in key}))

    @classmethod
    def of(cls, connection: sa.Connection, revision: int) -> SearchIndex:
        """What was on file or claimed at ``revision``."""
        status = sa.and_(
            element_attribute.c.element_id == element.c.element_id,
            element_attribute.c.name == "status",
            in_force(element_attribute, "attribute", revision),
        )
        names = [element.c[name] for name in (*_NAMES, "element_id")]
        held = sa.select(*names, element_attribute.c.code.label("status")).select_from(
            element.join(element_attribute, status, isouter=True)
        )
        entries = [Entry(**row) for row in rows_of(connection, held.where(element.c.added_in <= revision))]
        claims = sa.select(interchange_claim, source.c.key.label("source")).join(source, isouter=True)
        claims = claims.where(in_force(interchange_claim, "claim", revision)).order_by(interchange_claim.c.id)
        return cls.holding(entries, rows_of(connection, claims))

    @classmethod
    def holding(cls, elements: Sequence[Entry], claims: Iterable[Row]) -> SearchIndex:
        """Numbers of elements, and those that are known from ``claims`` only: rows of their table, with the source's
        key."""
        on_file = {(e.maker_key, e.number_key): e.element_id for e in elements}
        return cls([*elements, *(entry for row in claims for entry in _known_by(row, on_file))])

    def search(self, text: str, limit: int = 20, *, field: str = "q") -> SearchResult:
        """The nearest ``limit`` numbers, ordered by nearness, status (current first), maker and number.

        ``text`` is a number, a part of one, a maker's name, or name and number in either order.
        Raises QuestionError for a text that ``identity_key`` refuses.
        """
        key = identity_key(text, field=field)
        readings = self._readings(text, key)
        near, which = self._nearest(readings)
        if _FIRST_SLIP <= near.min(initial=_FAR) < _FAR:
            self._going_on_after_slips(near, which)
        self._by_maker_alone(search_key(key), near)
        if (near == _FAR).all():
            near, which = self._begun_with_a_slip(readings)
        if (near == _FAR).all():
            near[np.isin(self._maker, self._makers_begun_with_a_slip(search_key(key)))] = _PLACE["maker_alike"]
        rows = self._ordered(near)
        hits = tuple(self._hit(int(row), int(near[row]), text, readings[which[row]]) for row in rows[:limit])
        return SearchResult(stated_text(text), hits, len(rows), int(self._is_first_of_number[rows].sum()))

    def least_far(self, text: str, limit: int = 5) -> SearchResult:
        """The ``limit`` numbers that differ least from ``text``, however much that is, each with all its claims; of the
        maker that it names with its whole name, if any. Letters and digits as search folds them are compared, and the
        digits alone, which are mistaken less often than what stands around them.

        Raises QuestionError for a text that ``identity_key`` refuses.
        """
        key = identity_key(text, field="q")
        reading = next(self._with_whole_name(key), _Reading(text.strip(), key))
        asked = reading.folded[:LONGEST_COMPARED]
        off = _distances(asked, self._keys)[self._key]
        digits = _digits(reading.key)[:LONGEST_COMPARED]
        digits_off = _distances(digits, self._digits) if digits else np.zeros_like(off)
        is_sought = np.isin(self._maker, reading.makers) if reading.makers else np.ones(len(off), bool)
        rows = np.flatnonzero(is_sought)
        order = np.lexsort((rows, self._status[rows], off[rows], (off + digits_off)[rows]))
        hits: list[Hit] = []
        numbers = 0
        for row in rows[order].tolist():
            numbers += int(self._is_first_of_number[row])
            if numbers > limit:
                break
            hits.append(Hit("far", _far_words(int(off[row])), self._entries[row]))
        return SearchResult(stated_text(text), tuple(hits), len(hits), min(numbers, limit))

    def near_number(self, number: str, maker: str | None, at_most: int = ALIKE_AT_MOST) -> list[Hit]:
        """Numbers to offer where ``number`` is not on file: those that read the same, else those that it is part of
        or that are one slip off, look-alikes not forgiven as well; those of ``maker`` first."""
        key = identity_key(number, field="number")
        readings = self._readings(number, key)
        near, which = self._nearest(readings)
        if (near <= _READS_LIKE).any():
            near[near > _READS_LIKE] = _FAR
        rows = [int(row) for row in self._ordered(near) if self._is_offered(row, near[row], readings[which[row]])]
        if maker is not None:
            wanted = identity_key(maker, field="maker")
            rows.sort(key=lambda row: self._entries[row].maker_key != wanted)
        return [self._hit(row, int(near[row]), number, readings[which[row]]) for row in rows[:at_most]]

    def _is_offered(self, row: int, place: int, reading: _Reading) -> bool:
        if place < _FIRST_SLIP or reading.slip_in_name:
            return True
        return OSA.distance(_letters_of(self._entries[row].number_key), _letters_of(reading.key), score_cutoff=1) <= 1

    def element(self, element_id: str) -> Entry:
        """The entry of an element on file."""
        return self._elements[element_id]

    @property
    def elements(self) -> int:
        """How many elements are on file."""
        return len(self._elements)

    def maker_of(self, text: str) -> str | None:
        """The maker whose name ``text`` is, but for letter case and spaces, None where no element is of such a one."""
        try:
            return self._makers.get(identity_key(text))
        except QuestionError:
            return None

    def longest_beginning(self, text: str) -> str | None:
        """As much of ``text`` as a number on file, or known from a claim, begins with, after the maker's name if it
        has one; None where that is less than ``SHORTEST_PART`` letters and digits.

        Raises QuestionError for a text that ``identity_key`` refuses.
        """
        readings = self._readings(text, identity_key(text, field="q"))
        shared = [self._shared(reading) for reading in readings]
        longest = max(shared)
        begun = readings[shared.index(longest)]
        if longest < SHORTEST_PART:
            return None
        maker = "" if begun.makers is None else self._entries[int(np.argmax(self._maker == begun.makers[0]))].maker
        # A letter as typed may fold to several: the longest beginning that is not too much.
        cuts = (begun.number[:at].strip() for at in range(len(begun.number), 0, -1) if begun.number[at - 1].isalnum())
        return next((f"{maker} {cut}".strip() for cut in cuts if len(search_key(cut)) <= longest), None)

    def _shared(self, reading: _Reading) -> int:
        """How many letters and digits of a reading some number begins with."""
        place, codes = bisect_left(self._keys, reading.folded), self._key
        if reading.makers is not None:
            codes = codes[np.isin(self._maker, reading.makers)]
        beside = (codes[codes < place].max(initial=-1), codes[codes >= place].min(initial=len(self._keys)))
        keys = [self._keys[code] for code in beside if 0 <= code < len(self._keys)]
        return max((Prefix.similarity(reading.folded, key) for key in keys), default=0)

    # --- how what was asked may be read -----------------------------------------------------------

    def _readings(self, text: str, key: str) -> list[_Reading]:
        readings = [_Reading(text.strip(), key)]
        readings += self._with_whole_name(key)
        readings += self._with_part_of_name(text)
        return readings

    def _with_whole_name(self, key: str) -> Iterator[_Reading]:
        """The maker's name before or after the number, with or without a space between."""
        folded = search_key(key)
        at = [place for place, c in enumerate(key) if c.isalnum()]
        for name in sorted({n for n in self._maker_names if len(n) < len(folded)}):
            rests = []
            if folded.startswith(name):
                rests.append(key[at[len(name) - 1] + 1 :])
            if folded.endswith(name):
                rests.append(key[: at[-len(name)]])
            for rest in rests:
                yield _Reading(rest, rest, self._makers_named(name), name)

    def _with_part_of_name(self, text: str) -> Iterator[_Reading]:
        """The beginning of a maker's name, or the name with a slip, and beside it after a space the number."""
        words = text.split()
        cuts = range(1, min(len(words), 5))
        parted = [(words[:cut], words[cut:]) for cut in cuts] + [(words[-cut:], words[:-cut]) for cut in cuts]
        for named, others in parted:
            try:
                name, rest = identity_key(" ".join(named)), " ".join(others)
                key = identity_key(rest)
            except QuestionError:  # signs alone are no name and no number
                continue
            folded = search_key(name)
            if self._makers_begun(folded):
                yield _Reading(rest, key, self._makers_begun(folded), name)
            for maker in self._makers_one_off(folded):
                slip = _slip_of(self._maker_names[maker], folded)
                yield _Reading(rest, key, (maker,), name, slip_in_name=slip)

    def _makers_named(self, asked: str) -> tuple[int, ...]:
        return tuple(code for code, name in enumerate(self._maker_names) if name == asked)

    def _makers_begun(self, asked: str) -> tuple[int, ...]:
        """Makers whose name goes on after ``asked``."""
        if len(asked) < SHORTEST_NAME:
            return ()
        return tuple(code for code, name in enumerate(self._maker_names) if name.startswith(asked) and name != asked)

    def _makers_begun_with_a_slip(self, name: str) -> tuple[int, ...]:
        """Makers whose name goes on after ``name`` with one slip in it."""
        if len(name) < SHORTEST_BEGINNING:
            return ()
        ends = range(len(name) - 1, len(name) + 2)
        return tuple(
            code
            for code, its in enumerate(self._maker_names)
            if any(OSA.distance(name, its[:end], score_cutoff=1) == 1 for end in ends)
        )

    def _makers_one_off(self, name: str) -> tuple[int, ...]:
        if len(name) < SHORTEST_SLIP:
            return ()
        found = process.extract(name, self._maker_names, scorer=OSA.distance, score_cutoff=1, limit=None)
        return tuple(sorted(code for _, distance, code in found if distance == 1))

    # --- how near each entry is -------------------------------------------------------------------

    def _nearest(self, readings: Sequence[_Reading]) -> tuple[Near, IntArray]:
        """For each entry the nearest that any reading makes it, and that reading."""
        near = np.full(len(self._entries), _FAR, dtype=np.uint8)
        which = np.zeros(len(self._entries), dtype=np.int64)
        # A name with a slip may be that of many makers, and the number beside it is one: it is looked up once.
        lookups = {(reading.folded, reading.makers is None): reading for reading in readings}
        looked_up = {asked: self._near_keys(reading) for asked, reading in lookups.items()}
        for place, reading in enumerate(readings):
            found = self._near_in(reading, looked_up[reading.folded, reading.makers is None])
            nearer = found < near
            near[nearer], which[nearer] = found[nearer], place
        return near, which

    def _begun_with_a_slip(self, readings: Sequence[_Reading]) -> tuple[Near, IntArray]:
        """For each entry whether it goes on after what was asked with one slip in it, and the reading that says so.

        Looked for only where nothing is nearer.
        """
        near = np.full(len(self._entries), _FAR, dtype=np.uint8)
        which = np.zeros(len(self._entries), dtype=np.int64)
        for place, reading in enumerate(readings):
            if len(reading.folded) < SHORTEST_BEGINNING or reading.slip_in_name:
                continue
            begun = np.zeros(len(self._keys), bool)
            lengths = dict.fromkeys(range(len(reading.folded) - 1, len(reading.folded) + 2), self._alphabet)
            for _, beginning in _one_off(reading.folded, lengths):
                begun[bisect_left(self._keys, beginning) : bisect_left(self._keys, beginning + chr(0x10FFFF))] = True
            found = begun[self._key] & (near == _FAR)
            if reading.makers is not None:
                found &= np.isin(self._maker, reading.makers)
            near[found], which[found] = _PLACE["begins_with_a_slip"], place
        return near, which

    def _going_on_after_slips(self, near: Near, which: IntArray) -> None:
        """Mark what goes on after a number of the same maker that was found by a slip: its version with or without a
        valve, say, which the slip would hide."""
        for row in np.flatnonzero(near < _FAR):
            taken_for = self._entries[row].search_key
            if len(taken_for) < SHORTEST_SLIP:
                continue
            first, past = (bisect_left(self._keys, taken_for + end) for end in ("", chr(0x10FFFF)))
            going_on = (self._key >= first) & (self._key < past) & (self._maker == self._maker[row]) & (near == _FAR)
            near[going_on], which[going_on] = _PLACE["begins_with_a_slip"], which[row]

    def _near_in(self, reading: _Reading, near_keys: Near) -> Near:
        near: Near = near_keys[self._key]
        if reading.makers is not None:
            near[~np.isin(self._maker, reading.makers)] = _FAR
        for row in np.flatnonzero(near == _READS_LIKE):
            near[row] = _exactly(self._entries[row].number_key, reading)
        if reading.slip_in_name:
            # One slip is forgiven, not two.
            near[near > _READS_LIKE] = _FAR
            near[near <= _READS_LIKE] = _PLACE[reading.slip_in_name]
            return near
        same, keys = reading.same, self._number_keys
        for place, alike in _AS_PART.items():
            rows = np.flatnonzero(near == place).tolist()
            if place == _PLACE["begins_with"]:
                near[[row for row in rows if not keys[row].startswith(same)]] = alike
            else:
                near[[row for row in rows if not any(key in keys[row] for key in same)]] = alike
        return near

    def _near_keys(self, reading: _Reading) -> Near:
        """How near each search key is, as far as search keys tell: the nearer is written over the farther."""
        near = np.full(len(self._keys), _FAR, dtype=np.uint8)
        folded = reading.folded
        if len(folded) >= SHORTEST_SLIP:
            for code, key in _one_off(folded, self._alphabets):
                if key in self._place:
                    near[self._place[key]] = _PLACE[code]
        if len(folded) >= SHORTEST_PART or reading.makers is not None:
            at = [found.start() for found in re.finditer(re.escape(folded), self._joined)]
            near[np.searchsorted(self._starts, np.array(at, dtype=np.int64), side="right") - 1] = _PLACE["contains"]
        first, past = bisect_left(self._keys, folded), bisect_left(self._keys, folded + chr(0x10FFFF))
        near[first:past] = _PLACE["begins_with"]
        if folded in self._place:
            near[self._place[folded]] = _READS_LIKE
        return near

    def _by_maker_alone(self, name: str, near: Near) -> None:
        """Mark what is of a maker of this name and not near by its number."""
        # A whole name with one more character is that name and a number.
        alike = [m for m in self._makers_one_off(name) if self._maker_names[m] not in (name[1:], name[:-1])]
        near[np.isin(self._maker, alike) & (near == _FAR)] = _PLACE["maker_alike"]
        named = self._makers_named(name) + self._makers_begun(name)
        near[np.isin(self._maker, named) & (near >= _PLACE["maker"])] = _PLACE["maker"]

    def _ordered(self, near: Near) -> IntArray:
        rows = np.flatnonzero(near < _FAR)
        return rows[np.lexsort((rows, self._status[rows], near[rows]))]

    def _hit(self, row: int, place: int, text: str, reading: _Reading) -> Hit:
        entry, code = self._entries[row], _CODES[place]
        return Hit(code, _words(code, entry, text, reading), entry)


def without_words_beside(text: str) -> str:
    """A number without what labels and orders print beside it: ``P/N 00417`` is ``00417``. A text that has nothing
    beside the number, or is nothing else, stays."""
    match = _LABELLED.fullmatch(text.strip())
    return match["number"] if match and any(map(str.isalnum, match["number"])) else text


def _distances(asked: str, keys: Sequence[str]) -> IntArray:
    """How far each key is from ``asked``, in characters."""
    if not keys:
        return np.zeros(0, dtype=np.int64)
    return np.asarray(process.cdist([asked], keys, scorer=OSA.distance, dtype=np.int64)[0], dtype=np.int64)


def _digits(key: str) -> str:
    return "".join(c for c in key if c.isdigit())


def _far_words(off: int) -> str:
    """How far a number is, in words."""
    return f"{off} character{'s' if off != 1 else ''} off: another part"


def _codes(values: Sequence[str], codes: Mapping[str, int]) -> IntArray:
    return np.array([codes[value] for value in values], dtype=np.int64)


def _alphabets(keys: Sequence[str]) -> dict[int, str]:
    """The characters that stand in keys of each length."""
    found: dict[int, set[str]] = {}
    for key in keys:
        found.setdefault(len(key), set()).update(key)
    return {length: "".join(sorted(characters)) for length, characters in found.items()}


def _known_by(claim: Row, on_file: Mapping[tuple[str, str], str | None]) -> Iterator[Entry]:
    """An entry for each side of a claim that is not on file itself."""
    sides: dict[Side, str] = {"replacing": "", "replaced": "replaces_"}
    keys = {side: (claim[f"{column}maker_key"], claim[f"{column}number_key"]) for side, column in sides.items()}
    for side, column in sides.items():
        if keys[side] not in on_file:
            other = keys["replaced" if side == "replacing" else "replacing"]
            names = {name: claim[f"{column}{name}"] for name in _NAMES}
            yield Entry(**names, element_id=on_file.get(other), claim=Claim(claim, side))


def _one_off(folded: str, alphabets: Mapping[int, str]) -> Iterator[tuple[str, str]]:
    """Every key that ``folded`` becomes by undoing one slip, with the slip.

    Looking these few hundred up is much quicker than measuring the distance to every key on file.
    """
    length = len(folded)
    if length - 1 in alphabets:
        yield from (("one_character_added", folded[:i] + folded[i + 1 :]) for i in range(length))
    if length in alphabets:
        for i in range(length - 1):
            if folded[i] != folded[i + 1]:
                yield "two_characters_swapped", folded[:i] + folded[i + 1] + folded[i] + folded[i + 2 :]
        for i in range(length):
            for c in alphabets[length]:
                if c != folded[i]:
                    yield "one_character_differs", folded[:i] + c + folded[i + 1 :]
    for i in range(length + 1):
        for c in alphabets.get(length + 1, ""):
            yield "one_character_missing", folded[:i] + c + folded[i:]


def _slip_of(there: str, asked: str) -> str:
    """The slip by which ``asked`` is one character off ``there``."""
    if len(there) != len(asked):
        return "one_character_missing" if len(there) > len(asked) else "one_character_added"
    return "one_character_differs" if sum(map(str.__ne__, there, asked)) == 1 else "two_characters_swapped"


def _exactly(number_key: str, reading: _Reading) -> int:
    """How near a number is whose search key is the one asked for."""
    if number_key in reading.same:
        return _PLACE["same_number"]
    return _PLACE["other_signs" if _letters_of(number_key) == _letters_of(reading.key) else "reads_like"]


def _letters_of(key: str) -> str:
    return "".join(c for c in key if c.isalnum())


# --- how near it is, in words ---------------------------------------------------------------------


@dataclass(frozen=True)
class _Letter:
    """One letter or digit of a text: as printed, in capitals; as search folds it; and its place, counted from 1."""

    shown: str
    folded: str
    at: int


def _letters(text: str, key: str) -> list[_Letter]:
    """Letters and digits of ``text``, whose identity key is ``key``."""
    found = []
    for at, character in enumerate(text, start=1):
        for shown in filter(str.isalnum, unicodedata.normalize("NFKC", character).upper()):
            found.append(_Letter(shown, search_key(shown), at))
    if "".join(letter.folded for letter in found) != search_key(key):  # it is composed of several characters
        return [_Letter(c, search_key(c), at) for at, c in enumerate(key, start=1) if c.isalnum()]
    return found


def _words(code: str, entry: Entry, text: str, reading: _Reading) -> str:
    if code in _OF_MAKER_ONLY:
        return f"of {entry.maker}: {NEAR[code]}"
    if reading.slip_in_name:
        number = _number_words(_CODES[_but_for_the_name(entry, reading)], entry, text, reading)
        there, asked = _letters(entry.maker, entry.maker_key), _letters(reading.name, reading.name)
        return f"in the maker's name: {_slip_words(reading.slip_in_name, there, asked)}; {number}"
    words = _number_words(code, entry, text, reading)
    begun = reading.makers is not None and search_key(entry.maker_key) != search_key(reading.name)
    return f"{words}; of {entry.maker}, whose name begins so" if begun else words


def _but_for_the_name(entry: Entry, reading: _Reading) -> int:
    """How near a number is by itself, where the slip is in its maker's name."""
    if entry.search_key == reading.folded:
        return _exactly(entry.number_key, reading)
    begins = _PLACE["begins_with"]
    return begins if entry.number_key.startswith(reading.same) else _AS_PART[begins]


def _number_words(code: str, entry: Entry, text: str, reading: _Reading) -> str:
    if code == "same_number":
        asked = " ".join(text.split())
        to_the_letter = asked in (entry.number, f"{entry.maker} {entry.number}", f"{entry.number} {entry.maker}")
        return f"the same number{', letter for letter' if to_the_letter else ' but for letter case or spaces'}"
    if code in ("begins_with", "contains"):
        return NEAR[code]
    there, asked_letters = _letters(entry.number, entry.number_key), _letters(reading.number, reading.key)
    if code in ("begins_alike", "contains_alike"):
        return _part_words(code, entry, there, reading, asked_letters)
    if code == "begins_with_a_slip":
        return f"{NEAR[code]} (they part at its character {there[_first_other(there, asked_letters)].at})"
    if code == "other_signs":
        return f"{NEAR[code]} ({entry.number}, not {reading.number.strip()}): may be another part"
    if code == "reads_like":
        return f"reads like it: {_look_alikes(there, asked_letters)}: may be another part"
    first = _first_other(there, asked_letters)
    there_slips, asked_slips = _SLIP_WIDTHS[code]
    told = f"{_slip_words(code, there, asked_letters)}: another part"
    rest = there[:first] + there[first + there_slips :], asked_letters[:first] + asked_letters[first + asked_slips :]
    alike = _look_alikes(*rest)
    return f"{told}; reads like it otherwise: {alike}" if alike else told


def _part_words(
    code: str, entry: Entry, there: Sequence[_Letter], reading: _Reading, asked: Sequence[_Letter]
) -> str:
    """What of a number reads like what was asked: other signs between the same letters and digits, or look-alikes."""
    opening, ending = ("begins with", ", and goes on") if code == "begins_alike" else ("has within it", "")
    letters, wanted = _letters_of(entry.number_key), _letters_of(reading.key)
    if letters.startswith(wanted) if code == "begins_alike" else wanted in letters:
        places = [place for place, c in enumerate(entry.number_key) if c.isalnum()]
        first = letters.index(wanted)
        held = entry.number_key[places[first] : places[first + len(wanted) - 1] + 1]
        other_signs = f"the same letters and digits, other dashes or signs ({held}, not {reading.number.strip()})"
        return f"{opening} {other_signs}{ending}: may be another part"
    first = entry.search_key.index(reading.folded)
    alike = _look_alikes(there[first : first + len(asked)], asked)
    return f"{opening} what reads like it ({alike}){ending}: may be another part"


_SLIP_WIDTHS = {
    # characters of the number and of the query that a slip touches
    "one_character_differs": (1, 1),
    "one_character_missing": (1, 0),
    "one_character_added": (0, 1),
    "two_characters_swapped": (2, 2),
}


def _look_alikes(there: Sequence[_Letter], asked: Sequence[_Letter]) -> str:
    """Characters that were taken for one another, of two texts that fold to the same."""
    pairs = [(a, b) for a, b in zip(there, asked, strict=True) if a.shown != b.shown]
    told = ", ".join(f"{a.shown} instead of {b.shown} at character {a.at}" for a, b in pairs[:3])
    return f"{told}, and more" if len(pairs) > 3 else told


def _first_other(there: Sequence[_Letter], asked: Sequence[_Letter]) -> int:
    """The place of the first letter or digit in which the two differ."""
    pairs = enumerate(zip(there, asked, strict=False))
    return next((i for i, (a, b) in pairs if a.folded != b.folded), min(len(there), len(asked)))


def _slip_words(code: str, there: Sequence[_Letter], asked: Sequence[_Letter]) -> str:
    """Where the one slip is, counted along what is on file as printed."""
    first = _first_other(there, asked)
    if code == "one_character_added":
        after = f"after character {there[first - 1].at}" if first else "before the first character"
        return f"without {asked[first].shown} {after}"
    if code == "one_character_missing":
        return f"with {there[first].shown} more, at character {there[first].at}"
    width = 2 if code == "two_characters_swapped" else 1
    on_file, query = ("".join(a.shown for a in letters[first : first + width]) for letters in (there, asked))
    return f"{on_file} instead of {query} at character {there[first].at}"


# --- names that are not on file -------------------------------------------------------------------

_SHORTLY = {
    "one_character_differs": " (one character differs)",
    "one_character_missing": " (one character more)",
    "one_character_added": " (one character less)",
    "two_characters_swapped": " (two characters swapped)",
}


def not_on_file(number: str, maker: str | None, near: Sequence[Hit]) -> NotOnFileError:
    """The error for a number that nobody has, naming those that are near it, and claims of it with what they lead to.
    It decides nothing."""
    claims = [(hit.entry.claim, hit.entry.element_id is not None) for hit in near if hit.entry.claim]
    told = [f"{claim.words}." for claim, _ in claims]
    instead = tuple(dict.fromkeys(claim.other_side for claim, is_on_file in claims if is_on_file))
    if instead:
        told.append(f"Ask for what is on file: {', '.join(f'{maker} {its}' for maker, its in instead)}.")
    on_file = [hit for hit in near if not hit.entry.claim]
    key = identity_key(number)
    same = [hit.entry.maker for hit in on_file if hit.entry.number_key == key]
    if same:
        told.append(f"This number is on file of {' and of '.join(same)}.")
    elif on_file:
        names = (f"{hit.entry.maker} {hit.entry.number}{_SHORTLY.get(hit.near, '')}" for hit in on_file)
        told.append(f"Near it on file, each an element of its own: {', '.join(names)}.")
    error = NotOnFileError(
        f"No element{f' of {maker}' if maker else ''} has this number.",
        value=number,
        field="number",
        remedy=" ".join(told) or "Check its dashes and letters.",
    )
    error.instead = instead
    return error


def names_alike(name: str, names: Sequence[str]) -> list[str]:
    """Of ``names`` (of makers or series), those that are near ``name``: one begins with or holds the other, or they
    are up to two characters off (one, of a short name)."""
    asked = search_key(name)
    off = 1 if len(asked) < 6 else 2
    found = []
    for known in names:
        its = search_key(known)
        shorter, longer = sorted((asked, its), key=len)
        held = len(shorter) >= SHORTEST_NAME and shorter in longer
        if held or OSA.distance(asked, its, score_cutoff=off) <= off:
            found.append(known)
    return found[:ALIKE_AT_MOST]
