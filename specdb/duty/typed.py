"""A requirement in words, as one types it, made plain data: "clean drop at most 30 kPa at 100 L/min and 46 mm2/s"."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from specdb.characteristics import CHARACTERISTICS, CONDITIONS
from specdb.errors import QuestionError
from specdb.vocabulary import characteristics_named

_BOUNDS = {
    # A limit belongs to what is asked, as it does to what is stated on file: "more than 80 g" is at least 80 g.
    "at_least": (
        ">=", "=>", "≥", ">", "at least", "not less than", "no less than", "not below", "more than", "above",
        "minimum", "min.", "min",
    ),
    "at_most": (
        "<=", "=<", "≤", "<", "at most", "not more than", "no more than", "not above", "not exceeding", "less than",
        "below", "under", "up to", "maximum", "max.", "max",
    ),
}  # fmt: skip
_BOUND_OF = {spelling: bound for bound, spellings in _BOUNDS.items() for spelling in spellings}


def _spelt(spellings: Iterable[str]) -> str:
    return "|".join(re.escape(each).replace(r"\ ", r"\s+") for each in sorted(spellings, key=len, reverse=True))


_SIGN = _spelt(each for each in _BOUND_OF if not each[0].isalpha())
_WORD = _spelt(each for each in _BOUND_OF if each[0].isalpha())
# The "min" of "100 L/min" or "100 L per min" is none: before a word stands a blank, and behind it a number.
_BOUNDED = re.compile(
    rf"(?P<named>.+?)(?:\s*(?P<sign>{_SIGN})(?!\s*[<>=])\s*"
    rf"|(?<=[\s)])(?<!\bnot\s)(?P<word>{_WORD})\s*(?=[\d.,+\N{{MINUS SIGN}}-]))"
    r"(?P<limit>.+)",
    re.IGNORECASE,
)
_AT = re.compile(r"\s+at\s+|\s*@\s*", re.IGNORECASE)
_BETWEEN = re.compile(r"\s+and\s+|,\s+(?:and\s+)?", re.IGNORECASE)
_OF = re.compile(r"(?:\s+of|\s*[:,])$", re.IGNORECASE)
_WITH_SIZE = re.compile(r"(?:β|ß|beta|b)\s*(?P<size>\d[\d.,]*)\s*(?:µm|μm|um)?\s*(?P<scale>\(\w+\))?", re.IGNORECASE)


def requirement_of(text: str, field: str = "--require") -> dict[str, str]:
    """A requirement as typed: "filtration_ratio >= 200; size 10 um(c)", or with conditions that their units name,
    "clean drop at most 30 kPa at 100 L/min and 46 mm2/s". Raises QuestionError, said of ``field``."""
    first, *rest = (clause.strip() for clause in text.split(";"))
    match = _BOUNDED.fullmatch(first)
    if match is None:
        raise QuestionError(
            "This is no requirement.",
            value=text,
            field=field,
            remedy='Write a characteristic, >= or <= and a limit, then conditions after ";" or "at": '
            '"filtration_ratio >= 200; size 10 um(c)".',
        )
    (named, *before), (limit, *after) = _AT.split(match["named"], 1), _AT.split(match["limit"], 1)
    characteristic, size = _named_with_size(_OF.sub("", named.strip()), field)
    bound = _BOUND_OF[" ".join((match["sign"] or match["word"]).casefold().split())]
    asked = {"characteristic": characteristic, bound: limit.strip()}
    conditions = [condition.strip() for stated in (*before, *after) for condition in _BETWEEN.split(stated)]
    stated = [*_by_unit(filter(None, [size, *conditions]), characteristic, field)]
    for name, value in (*stated, *map(named_value, filter(None, rest))):
        if name in asked:
            raise QuestionError(f"The {name} is stated twice.", value=text, field=field, remedy="State it once.")
        asked[name] = value
    return asked


def named_value(text: str) -> tuple[str, str]:
    """A field and its value as typed: "thread 1-12 UNF", "outside_diameter 96 mm +- 2 mm", "at_4=1e8 /min"."""
    name, _, value = text.strip().replace("=", " ", 1).partition(" ")
    return name, value.strip()


def _named_with_size(text: str, field: str) -> tuple[str, str | None]:
    """The characteristic that is named, and the size that stands beside a beta: "β10(c)". A name that is not known is
    left as it is, for the question to refuse with all else."""
    if match := _WITH_SIZE.fullmatch(text):
        return "filtration_ratio", f"{match['size']} um{match['scale'] or ''}"
    keys = characteristics_named(text)
    if len(keys) > 1:
        several, remedy = "This is said of several.", f"Write one of {', '.join(keys)}."
        raise QuestionError(several, value=text, field=field, remedy=remedy)
    return keys[0] if keys else text, None


def _by_unit(conditions: Iterable[str], characteristic: str, field: str) -> Iterator[tuple[str, str]]:
    """Conditions with the names that their units say, of several those that the characteristic is judged with."""
    from specdb.units import kinds_of

    judged_with = CHARACTERISTICS[characteristic].judged_with if characteristic in CHARACTERISTICS else ()
    for condition in conditions:
        kinds = kinds_of(condition)
        names = [name for name, kind in CONDITIONS.items() if kind in kinds]
        if not names:
            raise QuestionError(
                "The unit of this condition does not say what it is.",
                value=condition,
                field=field,
                remedy='Write a quantity with its unit, "at 100 L/min and 46 mm2/s", or name it after ";".',
            )
        yield next((name for name in names if name in judged_with), names[0]), condition
