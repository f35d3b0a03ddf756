"""Measures as people type them in one line, ``1-12 UNF 96 mm x 140``, read into the filters of a list of elements.

Understood are threads, lengths with or without their unit, names of measures before or after them, kinds of element
and makers. Each thing read is told with what had to be taken for granted, and each thing not read with why.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from specdb.characteristics import KINDS
from specdb.errors import QuestionError
from specdb.trade.threads import normal_thread
from specdb.units import TEXT_LIMIT, UnitSystem, spellings

UNIT_WHERE_NONE: Mapping[UnitSystem, str] = {"si": "mm", "us": "in"}
"""The unit of a measure that is stated without one, by what the reader reads in."""

_NAMED = {
    # How the trade names measures (common practice): filter and its spellings.
    "gasket_outside_diameter": ("gasket outside diameter", "gasket outer diameter", "gasket od", "gasket o.d.",
                                "gasket"),
    "gasket_inside_diameter": ("gasket inside diameter", "gasket inner diameter", "gasket id", "gasket i.d.",
                               "gasket bore"),
    "second_inside_diameter": ("bore at the other end", "second bore"),
    "inside_diameter": ("inside diameter", "inner diameter", "bore", "id", "i.d."),
    "outside_diameter": ("outside diameter", "outer diameter", "diameter", "dia.", "dia", "od", "o.d.", "ø", "⌀"),
    "length": ("length", "len", "long", "height", "high"),
    "thread": ("thread", "thd"),
}  # fmt: skip
_STANDS_AFTER = ("long", "high")
"""Names that stand after their measure; the others may stand on either side, and mostly before it."""
_UNNAMED = ("outside_diameter", "length")
"""What measures without a name are, in their order: 96 x 140 is a diameter and a length (common practice)."""
_JOINED_TO = {"gasket_outside_diameter": "gasket_inside_diameter"}
"""What a measure is that an x joins to one of this name: of a gasket, the outer and the inner diameter."""
_WORDS_OF_A_THREAD = 6

_UNIT_OF = {spelled.casefold(): code for spelled, (_, code) in spellings("length").items()}
_UNITS_OF_ELEMENTS = ("mm", "cm", "in")

_DASHES = dict.fromkeys("‐‑‒–—―−", "-")
_PLAIN = str.maketrans(_DASHES | {"×": "x", "✕": "x", "″": '"', "”": '"', "“": '"', "⁄": "/", "∅": "ø", "\t": " "})


def _any_of(spelled: Sequence[str]) -> str:
    """A pattern for any of some spellings, the longest first; space and dash in them are alike."""
    return "|".join(re.sub(r"\\[ -]", "[ -]", re.escape(each)) for each in sorted(spelled, key=len, reverse=True))


_NEXT_IS_JOINED = r"\s*(?:x|by\b)\s*(?=[.,]?\d)"
_END = rf"(?=$|[\s,;]|{_NEXT_IS_JOINED})"
_END_OF_ONE = re.compile(_END, re.IGNORECASE)
_NAME_OF = {spelled: name for name, each in _NAMED.items() for spelled in each}
_LABEL = re.compile(rf"(?P<name>{_any_of(list(_NAME_OF))})(?:\s*[:=])?(?=$|[\s,;\d.])", re.IGNORECASE)
_KIND = re.compile(rf"(?P<kind>{_any_of(KINDS)})s?{_END}", re.IGNORECASE)
_NUMBER = r"(?:\d+[ -]\d{1,2}/(?:2|4|8|16|32|64)|\d{1,2}/(?:2|4|8|16|32|64)|\d+(?:[.,]\d+)?|[.,]\d+)(?![\d/])"
_AND_UNIT = rf"(?:\s*({_any_of(list(_UNIT_OF))})\.?(?=$|[^a-z0-9-]|{_NEXT_IS_JOINED}))?"
_PLUS_MINUS = r"\s*(?:±|\+\s*/?\s*-)\s*"
_MEASURE = re.compile(rf"({_NUMBER}){_AND_UNIT}(?:{_PLUS_MINUS}({_NUMBER}){_AND_UNIT})?{_END}", re.IGNORECASE)
_BARE = re.compile(rf"{_NUMBER}(?:{_PLUS_MINUS}{_NUMBER})?")
_JOINED = re.compile(_NEXT_IS_JOINED, re.IGNORECASE)
_BETWEEN = re.compile(r"(?:[\s,;&]|(?:and|with)\s)+", re.IGNORECASE)
_WORD_ENDS = re.compile(r"(?=[\s,;]|$)")
_NAMES_ITS_FAMILY = re.compile(r"\b(?:m|g|r[cp]?)[ -]{0,3}[\d.]|un|npt|bsp", re.IGNORECASE)
_THREAD_WITHOUT_SERIES = re.compile(r'(?:\d{1,2}[ -])?\d{1,2}(?:/\d{1,2})?"? ?- ?\d{1,2}')
_THREAD_WITH_AN_X = re.compile(r'((?:\d{1,2}[ -])?\d{1,2}(?:/\d{1,2})?)"? ?x ?(\d{1,2})', re.IGNORECASE)
_WITH_MORE_AFTER = re.compile(rf"\s*(?:{_any_of(list(_UNIT_OF))})\b|\s*[±+]|{_NEXT_IS_JOINED}", re.IGNORECASE)
_SIZE = r"(?:\d{1,2}[ -])?\d{1,2}(?:/\d{1,2})?\"?"
_BSP_ALONE = re.compile(rf"(?:bsp[ -]?(?P<after>{_SIZE})|(?P<before>{_SIZE})[ -]?bsp){_END}", re.IGNORECASE)
_METRIC_WITH_PITCH = re.compile(r"\d\s*[x*-]\s*\d", re.IGNORECASE)


@dataclass(frozen=True)
class Part:
    """One thing that was read: the filter, the text that it takes, what was typed, and what was taken for granted."""

    name: str
    text: str
    typed: str
    taken: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unread:
    """What was typed and takes no part, and why, or what would be right."""

    typed: str
    why: str


@dataclass(frozen=True)
class Measured:
    """A text read as measures. ``is_guess`` tells that it holds bare numbers and nothing that says what they are."""

    parts: tuple[Part, ...]
    unread: tuple[Unread, ...]
    is_guess: bool = False

    @property
    def filters(self) -> dict[str, str]:
        """Texts by the names of filters, as a list of elements takes them."""
        return {part.name: part.text for part in self.parts}


@dataclass(frozen=True)
class _Piece:
    """A stretch of the text. ``value`` is a filter's name, a thread, a kind of element, a number, or the two threads
    that it may be, by ``what``; ``apart`` tells that a comma or an x stands before it, ``joined`` that it is an x."""

    what: Literal["name", "thread", "kind", "measure", "word", "either"]
    typed: str
    value: str = ""
    unit: str | None = None
    tolerance: str | None = None
    apart: bool = False
    joined: bool = False


def with_unit(text: str, unit: str) -> str:
    """A measure, with ``unit`` where neither it nor its tolerance states one."""
    return f"{text.strip()} {unit}" if _BARE.fullmatch(text.strip()) else text


def read_measured(
    text: str, units: UnitSystem = "si", maker_of: Callable[[str], str | None] = lambda _: None
) -> Measured | None:
    """``text`` as filters, None where it is no measures: where it holds no thread, unit, name of a measure, kind of
    element nor two numbers joined by an x, and is more than bare numbers.

    ``maker_of`` gives the maker that words name, None where they name none. A measure without a unit takes the one
    that is stated in the text, else that of ``units``.
    """
    if len(text) > TEXT_LIMIT:
        return None
    pieces = list(_pieces(_folded(text)))
    says = any(piece.what in ("name", "thread", "kind", "either") or piece.unit or piece.joined for piece in pieces)
    is_guess = not says and len(pieces) > 1 and all(piece.what == "measure" for piece in pieces)
    if not says and not is_guess:
        return None
    parts, unread = _parts(pieces, units)
    makers, left = _makers(pieces, maker_of)
    found, again = _once([*parts, *makers])
    told = (*unread, *again, *left)
    is_told = any(piece.what == "either" for piece in pieces)
    return Measured(tuple(found), told, is_guess) if found or is_told else None


def _folded(text: str) -> str:
    """One kind of dash, x and quotation mark, single spaces, nothing unseen; "½" as " 1/2"."""
    spaced = "".join(f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    plain = unicodedata.normalize("NFKC", spaced.translate(_PLAIN)).translate(_PLAIN)
    return " ".join("".join(c for c in plain if unicodedata.category(c) not in ("Cc", "Cf")).split())


# --- pieces of the text ---------------------------------------------------------------------------


def _pieces(text: str) -> Iterator[_Piece]:
    at, last = 0, _Piece("word", "")
    while True:
        at, apart, joined = _past_the_gap(text, at, last)
        if at == len(text):
            return
        end, piece = _piece(text, at, last)
        last = replace(piece, typed=text[at:end], apart=apart, joined=joined)
        at = end
        yield last


def _past_the_gap(text: str, at: int, last: _Piece) -> tuple[int, bool, bool]:
    """Where the next piece begins, whether it stands apart from the last one, and whether an x joins it to it."""
    if last.what != "word" and (match := _JOINED.match(text, at)):
        return match.end(), True, last.what in ("measure", "name")
    match = _BETWEEN.match(text, at)
    return (match.end(), "," in match.group() or ";" in match.group(), False) if match else (at, False, False)


def _piece(text: str, at: int, last: _Piece) -> tuple[int, _Piece]:
    """The piece that begins at a place, and where it ends."""
    if match := _LABEL.match(text, at):
        return match.end(), _Piece("name", "", match["name"].casefold().replace("-", " "))
    if match := _BSP_ALONE.match(text, at):
        size = (match["after"] or match["before"]).replace('"', "")
        return match.end(), _Piece("either", "", f"{size} BSPP (parallel, G) or {size} BSPT (taper, R)")
    if found := _thread_at(text, at, named=last.what == "name" and _NAME_OF[last.value] == "thread"):
        return found
    if match := _KIND.match(text, at):
        word = match["kind"].casefold().replace("-", " ")
        return match.end(), _Piece("kind", "", next(kind for kind in KINDS if kind.replace("-", " ") == word))
    if match := _MEASURE.match(text, at):
        number, unit, tolerance, its_unit = match.groups()
        unit, its_unit = (_UNIT_OF.get((each or "").casefold()) for each in (unit or its_unit, its_unit or unit))
        return match.end(), _Piece("measure", "", number, unit, tolerance and f"{tolerance} {its_unit or ''}".rstrip())
    return _end_of_word(text, at), _Piece("word", "")


def _end_of_word(text: str, at: int) -> int:
    found = _WORD_ENDS.search(text, at + 1)
    return found.start() if found else len(text)


def _thread_at(text: str, at: int, *, named: bool) -> tuple[int, _Piece] | None:
    """The longest designation that begins at a place."""
    ends = [at]
    while len(ends) <= _WORDS_OF_A_THREAD and ends[-1] < len(text):
        ends.append(_end_of_word(text, ends[-1]))
    for end in reversed(ends[1:]):
        if thread := _thread(text[at:end], named=named):
            return end, _Piece("thread", "", thread)
    crossed = _THREAD_WITH_AN_X.match(text, at)
    if crossed and _END_OF_ONE.match(text, crossed.end()) and not _WITH_MORE_AFTER.match(text, crossed.end()):
        # 3 1/2 x 8 is a diameter and a length, although there is a thread 3 1/2-8 UN.
        thread = _thread(f"{crossed[1]}-{crossed[2]}", named=named)
        is_thread = thread is not None and (named or thread.endswith(("UNF", "UNC")))
        return (crossed.end(), _Piece("thread", "", str(thread))) if is_thread else None
    return None


def _thread(typed: str, *, named: bool) -> str | None:
    """The designation in one spelling. Without its series it counts where it is said to be a thread, is one of UNF or
    UNC, or is a fraction of an inch with a customary pitch: 1-12, 1 1/2-16."""
    is_bare = _THREAD_WITHOUT_SERIES.fullmatch(typed) is not None
    if not is_bare and not _NAMES_ITS_FAMILY.search(typed):
        return None
    try:
        found = normal_thread(f"{typed} UN" if is_bare else typed)
    except QuestionError:
        return None
    is_customary = found.endswith(("UNF", "UNC")) or ("/" in typed and found.endswith("UN"))
    return found if not is_bare or named or is_customary else None


# --- what each piece is ---------------------------------------------------------------------------


def _parts(pieces: Sequence[_Piece], units: UnitSystem) -> tuple[list[Part], list[Unread]]:
    """What the pieces state, in their order, and those of them that state nothing; words are left to others."""
    names, nameless = _named(pieces)
    behind = _diameter_before_its_name(pieces, names)
    parts: list[Part] = []
    unread: list[Unread] = []
    taken = {*names.values()}
    for at, piece in enumerate(pieces):
        if piece.what == "thread":
            parts.append(Part("thread", piece.value, piece.typed, _taken_of_a_thread(piece)))
        elif piece.what == "kind":
            parts.append(Part("kind", piece.value, piece.typed))
        elif piece.what == "either":
            unread.append(Unread(piece.typed, f"which of two threads is not said: write {piece.value}"))
        elif piece.what == "measure":
            said = ["its name stands after it"] if at in behind else []
            name = names.get(at) or _name_by_place(pieces, at, names, taken, said)
            read = _measured(pieces, at, name, units, said) if name else _too_many(piece)
            parts.append(read) if isinstance(read, Part) else unread.append(read)
            names[at] = name or ""
            taken.add(names[at])
    unread += [Unread(pieces[at].typed, "no measure stands beside it") for at in nameless]
    return parts, unread


def _named(pieces: Sequence[_Piece]) -> tuple[dict[int, str], list[int]]:
    """The measures that have a name, by their places, and the names that have no measure.

    A name belongs to what stands after it, else to what stands before it; where that leaves a name without a measure,
    they may all stand after theirs: 96 mm od 140 mm long.
    """
    found = _with_names(pieces, before=True)
    other = _with_names(pieces, before=False) if found[1] else found
    return other if len(other[1]) < len(found[1]) else found


def _diameter_before_its_name(pieces: Sequence[_Piece], names: dict[int, str]) -> set[int]:
    """The measure before the word for the outside diameter, where that was given to what stands after it: 98 mm od 140.

    Of two measures the first is the diameter where no name says otherwise, so that a name beside it is its own. Moves
    the name in ``names``, and leaves the measure behind to its place.
    """
    for at, name in list(names.items()):
        first, label = at - 2, at - 1
        if name != _UNNAMED[0] or first < 0 or pieces[label].what != "name" or pieces[label].apart:
            continue
        if pieces[first].what == "measure" and first not in names and not pieces[at].joined:
            del names[at]
            names[first] = name
            return {first}
    return set()


def _with_names(pieces: Sequence[_Piece], *, before: bool) -> tuple[dict[int, str], list[int]]:
    names: dict[int, str] = {}
    nameless: list[int] = []
    for at, piece in enumerate(pieces):
        if piece.what != "name":
            continue
        wanted = "thread" if _NAME_OF[piece.value] == "thread" else "measure"
        places = [at - 1, at + 1] if piece.value in _STANDS_AFTER or not before else [at + 1, at - 1]
        beside = [p for p in places if 0 <= p < len(pieces) and pieces[p].what == wanted and p not in names]
        close = [p for p in beside if not pieces[max(p, at)].apart]
        if beside:
            names[(close or beside)[0]] = _NAME_OF[piece.value]
        else:
            nameless.append(at)
    return names, nameless


def _name_by_place(
    pieces: Sequence[_Piece], at: int, names: Mapping[int, str], taken: set[str], said: list[str]
) -> str | None:
    """What a measure without a name is, by where it stands, which is told; None where that does not tell."""
    joined_to = _JOINED_TO.get(names.get(at - 1, "")) if pieces[at].joined else None
    name = joined_to or next((each for each in _UNNAMED if each not in taken), None)
    if name is None or name in taken:
        return None
    said.append("no name typed: taken by its place")
    return name


def _too_many(piece: _Piece) -> Unread:
    return Unread(piece.typed, "what it measures is not said: write od, length, gasket or bore before it")


def _measured(pieces: Sequence[_Piece], at: int, name: str, units: UnitSystem, said: list[str]) -> Part | Unread:
    piece = pieces[at]
    unit = piece.unit
    if unit is None:
        stated = {each.unit for each in pieces if each.unit}
        if len(stated) > 1:
            return Unread(piece.typed, f"its unit is not stated, and others are in {' and in '.join(sorted(stated))}")
        unit = next(iter(stated), UNIT_WHERE_NONE[units])
        said.append(f"no unit typed: {unit}, {'as beside it' if stated else f'as {units.upper()} units are shown'}")
    if unit not in _UNITS_OF_ELEMENTS:
        return Unread(piece.typed, "elements are measured in mm, cm or in")
    tolerance = f" ± {with_unit(piece.tolerance, unit)}" if piece.tolerance else ""
    return Part(name, f"{piece.value} {unit}{tolerance}", piece.typed, tuple(said))


def _taken_of_a_thread(piece: _Piece) -> tuple[str, ...]:
    if piece.value.startswith("M") and not _METRIC_WITH_PITCH.search(piece.typed):
        return ("no pitch typed: the coarse one",)
    if _THREAD_WITH_AN_X.fullmatch(piece.typed) and not piece.value.startswith("M"):
        return ("x typed for the dash of a thread", "no series typed: by diameter and pitch")
    if _THREAD_WITHOUT_SERIES.fullmatch(piece.typed):
        return ("no series typed: by diameter and pitch",)
    return ()


def _makers(pieces: Sequence[_Piece], maker_of: Callable[[str], str | None]) -> tuple[list[Part], list[Unread]]:
    """Runs of words that name a maker, and those that say nothing known here."""
    parts: list[Part] = []
    unread: list[Unread] = []
    run: list[str] = []
    for piece in (*pieces, _Piece("measure", "")):
        if piece.what == "word":
            run.append(piece.typed)
        elif run:
            typed, run = " ".join(run), []
            maker = maker_of(typed)
            if maker is None:
                unread.append(Unread(typed, "no measure, kind or maker on file"))
            else:
                parts.append(Part("maker", maker, typed))
    return parts, unread


def _once(parts: Sequence[Part]) -> tuple[list[Part], list[Unread]]:
    """The parts but for those of a filter that was stated before."""
    found: dict[str, Part] = {}
    again = []
    for part in parts:
        if found.setdefault(part.name, part) is not part:
            again.append(Unread(part.typed, f'stated before, as "{found[part.name].typed}"'))
    return list(found.values()), again
