"""Answers that fit into one cell of a sheet: short texts for a spreadsheet's web function.

A text is one line of at most :data:`LONGEST` characters. What could not be answered is a short word behind a
:data:`SIGN` that no answer begins with, so that a formula can tell: one of :data:`WORDS`. No text begins with what a
program may take for a formula; the minus of a number is all that there is of that kind.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from math import floor, isfinite, log10
from typing import Literal, get_args

from specdb.advice.spoken import sentence
from specdb.answers.elements import TYPED
from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.catalog.facts import Row
from specdb.catalog.reading import ElementOnFile
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, CONDITIONS, title_of
from specdb.criteria import Judged
from specdb.duty.dotted import comparison_names, dotted_names
from specdb.errors import InputError, NotOnFileError, QuantityError, QuestionError, SpecdbError, StoreError, meant_by
from specdb.formula_guard import guarded, unguarded
from specdb.ranking import Ranking
from specdb.units import Quantity, UnitSystem, express, read_quantity, restate
from specdb.vocabulary import chosen, folded, one_line

SIGN = "!"
LONGEST = 255
"""Characters. Longer a text in a formula may not be in programs of this kind (common practice)."""

WORDS = {
    "not_on_file": "no element on file has this number, or this state of the catalogue is not there",
    "several_makers": "several makers have this number: name the maker",
    "nothing_required": "nothing is required of the element: the original has no ratings, or none is named",
    "no_candidate": "fewer elements serve as candidates than the place that was asked for",
    "not_stated": "nothing of the kind is on file of the element, or not at these conditions",
    "several": "several ratings on file answer to this: name more conditions",
    "unit": "no unit, or not one that this is measured in",
    "bad_value": "a text cannot be read or judged",
    "bad_name": "a name in the address is not known, or stands there twice",
    "missing": "a name is missing that this cell cannot do without",
    "bad_address": "the address cannot be read",
    "too_long": "the address is too long",
    "no_such_cell": "there is no cell at this address",
    "method": "cells are read with GET",
    "store": "the store cannot be reached or used",
    "failed": "the service failed",
}
"""Short word: what it says."""

Give = Literal["maker_number", "number", "maker", "verdict", "sentence"]
GIVES: tuple[Give, ...] = get_args(Give)

WORDED = (*(name for name, kind in CONDITIONS.items() if kind is None), "laboratory", "source")
"""Conditions of a rating that are words, and what else tells it from others."""

SAME_CONDITION = 0.01
"""Share by which a condition on file may differ from the one that is asked for and still be the same."""

_SIGNIFICANT_DIGITS = 6
_BEFORE_A_VALUE = {"equal": "", "at_least": ">= ", "at_most": "<= ", "about": "~ "}

_ASCII = str.maketrans(
    {
        "µ": "u", "μ": "u", "²": "2", "³": "3", "⁰": "0", "¹": "1", "⁴": "4", "≥": ">=", "≤": "<=", "±": "+/-",
        "×": "x", "·": ".", "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "°": "deg", "…": "...", "β": "beta",
        "Δ": "delta", "Ω": "ohm", "“": '"', "”": '"', "„": '"', "’": "'", "‘": "'", "ß": "ss", "Ø": "O", "ø": "o",
        "Æ": "AE", "æ": "ae", "Ł": "L", "ł": "l", "÷": "/", "≈": "~", "∞": "inf", "€": "EUR", "½": "1/2", "¼": "1/4",
        "¾": "3/4",
    }
)  # fmt: skip


# --- a text as a cell takes it ---------------------------------------------------------------------


def cell_text(text: str, *, ascii_only: bool = False) -> str:
    """An answer as it is sent: one line, printable, no formula, no error by its looks, and not too long."""
    seen = _seen(text, ascii_only)
    return _cut(f"'{seen}" if seen.startswith(SIGN) else guarded(seen))


def text_of_cell(text: str) -> str:
    """The text that :func:`cell_text` was given, so that one cell may be asked of by another."""
    return text[1:] if text.startswith(f"'{SIGN}") else unguarded(text)


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def number_text(value: float) -> str:
    """A number in plain decimals with a point: six significant digits, and every digit before the point."""
    if not isfinite(value) or value == 0:
        return "0" if value == 0 else "inf"
    places = max(0, _SIGNIFICANT_DIGITS - 1 - floor(log10(abs(value))))
    plain = format(Decimal(repr(round(value, places))), "f")
    return (plain.rstrip("0").rstrip(".") if "." in plain else plain) or "0"


def problem_text(word: str, detail: str = "", *, ascii_only: bool = False) -> str:
    """The short word of what is wrong, and behind it, if given, the ``detail``."""
    told = f"{SIGN}{word}: {detail}" if detail else f"{SIGN}{word}"
    return _cut(_seen(told, ascii_only))


def word_of(error: SpecdbError) -> str:
    """The short word of an error of ours; of several faults that of the first."""
    first = next((fault for fault in error.faults if isinstance(fault, SpecdbError)), error)
    if first.word is not None:
        return first.word
    by_class = {NotOnFileError: "not_on_file", InputError: "bad_value", StoreError: "store"}
    return next((word for kind, word in by_class.items() if isinstance(first, kind)), "failed")


def in_ascii(text: str) -> str:
    """``text`` in one line of ASCII: ``µ`` as ``u``, accents dropped, ``?`` for what has no other spelling."""
    return _seen(text, True)


def _seen(text: str, ascii_only: bool) -> str:
    """``text`` in one line, without what cannot be seen."""
    line = one_line("".join(c if c.isprintable() else " " for c in text))
    if not ascii_only:
        return line
    spelled = unicodedata.normalize("NFKD", line.translate(_ASCII))
    bare = "".join(c for c in spelled if not unicodedata.combining(c))
    return one_line(bare.translate(_ASCII).encode("ascii", "replace").decode())


# --- what is asked ---------------------------------------------------------------------------------


ABOUT = {
    "number": "part number of the element that the cell is about; where it is empty, so is the cell",
    "maker": "its maker, where several have the number",
    "element_id": "its identifier in the catalogue, in place of number and maker",
}
NAMED = tuple(ABOUT)
"""Names by which the element is named that a cell is about."""

_ABOUT = "elements.1."


def verdict_names() -> dict[str, str]:
    """Names that the cell of a verdict takes, with what each is: those of a comparison of one element."""
    asked = {name: field.description for name, field in comparison_names().items() if not name.startswith("elements.")}
    about = {f"{_ABOUT}{name}": f"the same as {name}" for name in NAMED}
    return {**ABOUT, **about, **_without(asked, ("include_windows",))}


def best_names() -> dict[str, str]:
    """Names of a question that the cell of a candidate takes, with what each is."""
    listed = ("limit", "include_without_evidence", "include_windows")
    return _without({name: field.description for name, field in dotted_names().items()}, listed)


def rating_names() -> dict[str, str]:
    """Names that tell a rating of an element, with what each is."""
    conditions = dict.fromkeys((*TYPED, *WORDED), "a condition of the test, as it is stated on file")
    return {
        **ABOUT,
        "characteristic": "what is wanted: a characteristic or an attribute, by its key or its title",
        "rating": "label of the rating, in place of conditions",
        **conditions,
        "as_of": "a revision number or a date: the catalogue as it was then",
    }


def _without(names: Mapping[str, str], left: Collection[str]) -> dict[str, str]:
    return {name: told for name, told in names.items() if name not in left}


def refuse_unknown(stated: Iterable[str], known: Collection[str]) -> None:
    """Raises QuestionError where a name is none of those known."""
    for name in stated:
        if name not in known:
            near = meant_by(name, list(known))
            remedy = f"Is {near} meant?" if near else "Leave it out."
            raise _at(name, QuestionError("This cell has no such name.", remedy=remedy)).worded("bad_name")


def compared_texts(stated: Mapping[str, str]) -> dict[str, str] | None:
    """The dotted names of a comparison of the one element that is named; None where its name is there and empty.

    Raises QuestionError where it is not named, or twice.
    """
    texts = {name: text for name, text in stated.items() if name not in NAMED}
    for name in NAMED:
        if name in stated and _ABOUT + name in stated:
            told = f"This is stated by {_ABOUT}{name} too."
            raise _at(name, QuestionError(told, remedy="State it once.")).worded("bad_name")
        if name in stated:
            texts[_ABOUT + name] = stated[name]
    naming = [text for name in ("number", "element_id") if (text := texts.get(_ABOUT + name)) is not None]
    if not naming:
        told = "No element is named."
        raise _at("number", QuestionError(told, remedy="State its number.")).worded("missing")
    return texts if any(text.strip() for text in naming) else None


def name_as_typed(error: SpecdbError, stated: Collection[str]) -> None:
    """Have faults of the one element that a comparison names tell their fields as they are ``stated``."""
    faults = [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    for fault in faults:
        if fault.field is not None and fault.field.startswith(_ABOUT) and fault.field not in stated:
            fault.field = fault.field.removeprefix(_ABOUT)
    if error.faults:
        error.message = "; ".join(map(str, error.faults))


def is_unasked(stated: Mapping[str, str]) -> bool:
    """Whether the number of the original is there and empty, and no requirement is stated either."""
    required = any(text.strip() for name, text in stated.items() if name.startswith("require."))
    return "original.number" in stated and not stated["original.number"].strip() and not required


def choice(stated: Mapping[str, str], name: str, choices: Iterable[str], default: str) -> str:
    """The one of ``choices`` that is stated, ``default`` where the text is empty. Raises QuestionError."""
    text = stated.get(name, "")
    found = chosen(text, choices) if text.strip() else default
    if found is None:
        told = QuestionError("This is none of the words known.", value=text, remedy=f"One of {', '.join(choices)}.")
        raise _at(name, told)
    return found


def place_asked(text: str, most: int) -> int:
    """A place in a ranking, 1 where the text is empty. Raises QuestionError."""
    if not text.strip():
        return 1
    if not (text.strip().isdecimal() and text.isascii() and 1 <= int(text.strip()[:9]) <= most):
        told = f"A place is a whole number from 1 to {most}."
        raise _at("place", QuestionError(told, value=text, remedy="Write 1 for the best."))
    return int(text)


def _at(name: str, error: QuestionError) -> QuestionError:
    error.field, error.whole = name, True
    return error


# --- verdicts and candidates -----------------------------------------------------------------------


def verdict_words(ranking: Ranking, row: int) -> str:
    """``meets``, ``meets on assumptions``, ``misses: …``, ``misses: …; not shown: …`` or ``not shown: …``, each with
    the titles of the criteria, parted by commas; several requirements of one characteristic count once, at the worst.
    """
    counted = [judged for judged in ranking.judged if not judged.requirement.advisory]
    missed, unshown = (_titles(counted, row, verdict) for verdict in (MISSES, NOT_SHOWN))
    unshown = [title for title in unshown if title not in missed]
    if not missed and not unshown:
        by_proof = all(judged.verdict_without_assumptions[row] == MEETS for judged in counted)
        return "meets" if by_proof else "meets on assumptions"
    told = (("misses", missed), ("not shown", unshown))
    return "; ".join(f"{verdict}: {', '.join(titles)}" for verdict, titles in told if titles)


def _titles(counted: Iterable[Judged], row: int, verdict: int) -> list[str]:
    """Each criterion once, without what explains its title."""
    titles = (title_of(judged.requirement.characteristic) for judged in counted if judged.verdict[row] == verdict)
    return list(dict.fromkeys(title.partition(" (")[0] for title in titles))


def candidate_words(ranking: Ranking, row: int, give: Give, units: UnitSystem) -> str:
    """What is wanted of the candidate in ``row``."""
    maker, number = str(ranking.snapshot.elements.maker[row]), str(ranking.snapshot.elements.number[row])
    if give == "verdict":
        return verdict_words(ranking, row)
    if give == "sentence":
        return sentence(ranking, row, units)
    return {"maker_number": f"{maker} {number}", "number": number, "maker": maker}[give]


def no_candidate(place: int, there_are: int) -> QuestionError:
    """That a ranking has no candidate at a place."""
    told = QuestionError(f"There are {there_are} candidates.", value=place, remedy="Ask for an earlier place.")
    return _at("place", told).worded("no_candidate")


# --- ratings ---------------------------------------------------------------------------------------


def rating_words(found: ElementOnFile, stated: Mapping[str, str], units: UnitSystem, *, bare: bool) -> str:
    """The one rating or attribute of an element that ``stated`` names by ``characteristic``, ``rating`` and conditions:
    a number in ``unit``, and before it, unless ``bare``, ``>=``, ``<=`` or ``~`` where it is no plain value.

    Raises QuestionError and QuantityError, ``worded``.
    """
    key = _characteristic(stated.get("characteristic", ""))
    if key in ATTRIBUTES:
        return _attribute(found, key, stated, units)
    there = [row for row in found.ratings if row["characteristic"] == key]
    fitting = [row for row in there if _answers(row, stated)]
    if not fitting:
        known = "; ".join(map(_conditions_of, there)) or "none"
        told = QuestionError(f"Not on file at these conditions. On file: {known}.")
        raise _at("characteristic", told).worded("not_stated")
    values = {_value(row, stated.get("unit", ""), units, bare): row for row in reversed(fitting)}
    if len(values) > 1:
        told = QuestionError(f"Several are on file: {'; '.join(map(_conditions_of, fitting))}.")
        raise _at("characteristic", told).worded("several")
    return next(iter(values))


def _characteristic(text: str) -> str:
    if not text.strip():
        told = QuestionError("Nothing is asked for.", remedy="State a characteristic, such as retained_capacity.")
        raise _at("characteristic", told).worded("missing")
    known = {key: title_of(key) for key in (*CHARACTERISTICS, *ATTRIBUTES)}
    bare = {title.partition(" (")[0]: key for key, title in known.items()}
    titled = {title: key for key, title in known.items()}
    spelled = chosen(text, (*known, *titled, *bare))
    if spelled is None:
        near = meant_by(text, list(known))
        remedy = f"Is {near} meant?" if near else "Take one that /v1/characteristics lists."
        raise _at("characteristic", QuestionError("This is not known.", value=text, remedy=remedy))
    return spelled if spelled in known else titled.get(spelled) or bare[spelled]


def _answers(row: Row, stated: Mapping[str, str]) -> bool:
    """Whether a rating has the label and the conditions that are stated."""
    worded = ("rating", "label"), *((name, name) for name in WORDED)
    for name, its in worded:
        asked = stated.get(name, "")
        if asked.strip() and folded(asked) != folded(str(row[its] or "")):
            return False
    return all(
        _is_at(row, name, column, kind, stated[name])
        for name, (column, kind) in TYPED.items()
        if stated.get(name, "").strip()
    )


def _is_at(row: Row, name: str, column: str, kind: str, text: str) -> bool:
    try:
        asked = read_quantity(text, kind)
    except QuantityError as error:
        error.field, error.whole = name, True
        raise
    there = row[column]
    if there is None or abs(there - asked.value) > SAME_CONDITION * abs(asked.value):
        return False
    return name != "size" or asked.scale in ("?", row["size_scale"])


def _value(row: Row, unit: str, units: UnitSystem, bare: bool) -> str:
    kind = CHARACTERISTICS[row["characteristic"]].kind
    told = number_text(_in_unit(row["value"], kind, unit, units))
    return told if bare else f"{_BEFORE_A_VALUE[row['qualifier']]}{told}"


def _in_unit(value: float, kind: str, unit: str, units: UnitSystem) -> float:
    """A canonical value in the unit asked for, or in that of the system of units."""
    if not unit.strip():
        return express(value, kind, units)[0] if kind else value
    if not kind:
        told = QuestionError("This is a plain number.", value=unit, remedy="Leave the unit out.")
        raise _at("unit", told).worded("unit")
    try:
        return restate(Quantity(kind, value, 0.0, "", ""), unit)[0]
    except QuantityError as error:
        error.field, error.whole = "unit", True
        raise error.worded("unit") from None


def _attribute(found: ElementOnFile, key: str, stated: Mapping[str, str], units: UnitSystem) -> str:
    row = next((row for row in found.attributes if row["name"] == key), None)
    if row is None:
        raise _at("characteristic", QuestionError("Not on file.", value=title_of(key))).worded("not_stated")
    kind = "length" if row["number"] is not None else ""
    if kind:
        return number_text(_in_unit(row["number"], kind, stated.get("unit", ""), units))
    _in_unit(0.0, "", stated.get("unit", ""), units)
    return str(row["code"] or row["text"])


def _conditions_of(row: Row) -> str:
    """A rating as typed, and what tells it from others."""
    typed = [row[f"{name}_text"] for name in TYPED] + [row[name] for name in WORDED]
    return ", ".join(filter(None, [row["text"], *typed, row["label"]]))
