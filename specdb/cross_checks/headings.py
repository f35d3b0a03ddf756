"""Headings of a sheet of lines: the API's dotted names, and the plain words that the trade has for them.

``Flow [L/min]``, ``flow (L/min)``, ``flow, L/min`` and ``flow_l_min`` are one heading. A heading that is nearly a known
one is never passed over: the answers would lack what it holds. One that is clearly of something else is.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from types import MappingProxyType

from openpyxl.utils import get_column_letter
from rapidfuzz import process
from rapidfuzz.distance import OSA

from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, CONDITIONS
from specdb.cross_checks.heading_words import ALTERNATIVES, ORIGINALS, Doubt, is_of_a_line, meant_by_words, words_of
from specdb.cross_checks.lines import ASIDE, FAULT_HEADING
from specdb.duty.dotted import compared_names, dotted_names
from specdb.duty.question import MOST_COMPARED, MOST_REQUIREMENTS
from specdb.errors import QuantityError, QuestionError, SpecdbError, shown
from specdb.units import kinds_of, name_and_unit, with_unit
from specdb.vocabulary import one_line

LABEL = "line"
"""What the caller calls a line; no part of what is asked."""
ORIGINAL = "original.number"
NAMES_OF_THE_ORIGINAL = (ORIGINAL, "original.maker")
DECIMAL = "decimal"
"""The decimal mark of a row, as in the files of a catalogue."""
LONGEST_HEADING_CHARACTERS = 200
HEADINGS_WITHIN_ROWS = 20
"""Rows among which the headings stand: above them there may be a title, a date."""

_LABELS = (
    "line", "line number", "line no", "item", "item no", "item number", "pos", "position", "machine", "machine name",
    "row", "tag", "asset", "asset number", "asset no", "equipment", "name", "id", "label",
)  # fmt: skip

ALIASES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "original.number": (
            "original", "original part number", "original part no", "original no", "old number", "old part number",
            "old part no", "old no", "part number", "part no", "part #", "part nr", "part", "number", "our number",
            "our part number", "our part no", "existing number", "existing part number", "element",
        ),
        "original.maker": (
            "maker", "make", "manufacturer", "brand", "original make", "original manufacturer", "old maker", "old make",
            "our maker", "existing maker", "element maker",
        ),
        "flow": ("flow rate", "flowrate", "volume flow", "required flow", "system flow"),
        "pump_flow": ("flow of the pump", "pump delivery"),
        "fluid.grade": ("grade", "oil", "fluid", "oil grade", "viscosity grade", "iso vg", "vg"),
        "fluid.class": ("oil class", "class of fluid"),
        "fluid.viscosity_index": ("viscosity index", "vi"),
        "fluid.viscosity": ("viscosity", "oil viscosity", "kinematic viscosity"),
        "fluid.density": ("density", "oil density"),
        "operating_temperature": (
            "temperature", "temp", "oil temperature", "oil temp", "fluid temperature", "operating temp",
            "working temperature",
        ),
        "cold_start_temperature": (
            "cold start", "coldest start", "cold start temp", "start temperature", "lowest start temperature",
        ),
        "working_pressure": ("pressure", "system pressure", "line pressure", "operating pressure"),
        "relief_pressure": ("relief", "relief setting", "relief valve", "relief valve setting"),
        "bypass_cracking_pressure": (
            "bypass setting", "bypass cracking", "bypass pressure", "bypass opening pressure", "bypass opens at",
            "bypass valve setting", "cracking pressure",
        ),
        "maximum_pressure_drop": ("max pressure drop", "maximum drop", "max drop"),
        "location": ("place", "place in circuit", "place in the circuit", "filter location"),
        "reservoir_volume": ("reservoir", "tank", "tank volume"),
        "target_cleanliness": (
            "target", "target code", "cleanliness", "cleanliness code", "cleanliness target", "iso code",
            "iso cleanliness code", "iso 4406", "iso 4406 code", "iso target", "iso 4406 target",
        ),
        "service_interval": ("interval", "change interval"),
        "assumptions": ("assume", "assumed"),
        "limit": ("candidates", "how many", "best"),
    }
)  # fmt: skip
"""Dotted name: what else a sheet may call it. Alternatives, labels and requirements follow below."""

_OF_AN_ALTERNATIVE = {
    "number": ("", "number", "no", "part number", "part no", "element"),
    "maker": ("maker", "make", "manufacturer", "brand"),
    "element_id": ("element id",),
}

_OF_LETTERS = (("offer", "number"), ("offer", "no"))
"""What may be the number of a letter, and is no heading of an alternative by itself."""

_FOREIGN = (
    "remark", "remarks", "note", "notes", "comment", "comments", "price", "unit price", "total", "total price", "cost",
    "amount", "currency", "delivery", "delivery time", "lead time", "quantity", "qty", "stock", "description", "type",
    "model", "code", "size", "weight", "date", "year", "customer", "supplier", "vendor", "department", "plant", "site",
    "hall", "contact", "order", "drawing", "page", "picture", "link", "state", "status",
    "hours", "owner", "group", "category", "title", "text", "info", "rate", "count", "series", "unit", "units",
    "per year", "port", "offer date", "quote", "quote date", "task", "parts", "fault",
)  # fmt: skip
"""Headings of something else, however like a known one they are spelt."""

OF_THE_TEMPLATE = (
    "found first", "its verdict", "found second", "verdict of second", "verdict of alternative", "asked",
)  # fmt: skip
"""Columns of the template workbook that hold formulas."""

_OF_ANSWERS = (
    "criteria_met", "criteria_missed", "criteria_not_shown", "smallest_margin", "verdict", "element_status",
    "element_id", "verdict_without_assumptions", "requirement", "characteristic", "size_scale", "test_liquid",
    "drop_of", "capacity_basis",
)  # fmt: skip
"""Columns of tables and sheets of answers, however they are spelt there, that no list of lines has."""

_OURS_AT_LEAST = 3
"""Headings that mark a sheet as one of ours."""

_KINDS: Mapping[str, str] = MappingProxyType(
    {
        "original.allow": "percent", "flow": "flow", "pump_flow": "flow", "fluid.viscosity": "viscosity",
        "fluid.density": "density", "fluid.density_temperature": "temperature", "operating_temperature": "temperature",
        "cold_start_temperature": "temperature", "working_pressure": "pressure", "relief_pressure": "pressure",
        "bypass_cracking_pressure": "pressure", "bypass_full_flow_drop": "pressure",
        "maximum_pressure_drop": "pressure", "pump_inlet_pressure": "pressure", "reservoir_volume": "volume",
        "air_flow": "flow", "air_pressure_drop": "pressure", "ingression.at_4": "count_rate",
        "ingression.at_6": "count_rate", "ingression.at_14": "count_rate", "ingression.mass": "mass_rate",
        "service_interval": "time", "capacity_used": "percent", "fit.clearance": "length",
        "assumptions.about_within": "percent", "assumptions.viscous_share_at_least": "percent",
    }
)  # fmt: skip
_OF_A_REQUIREMENT = {"allow": "percent", **{name: kind for name, kind in CONDITIONS.items() if kind}}
ANY = "any"
"""In place of a kind of quantity: which one, the unit or another column says."""


@dataclass(frozen=True)
class Column:
    """What a heading means. ``name`` is a dotted name, LABEL or DECIMAL; ``unit`` the unit that the heading states for
    bare numbers. Of a heading that is a requirement, such as "beta at 10 um(c) >=", ``name`` is its bound,
    "at_least", and ``beside`` holds what else it says of the requirement."""

    heading: str
    name: str
    unit: str = ""
    kind: str = ""
    beside: Mapping[str, str] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Foreign:
    """A heading of something else. ``near`` is a known one that it reminds of; ``doubts`` are names that it may well
    stand for, so that it is left aside only where another column states them."""

    heading: str
    near: str | None = None
    doubts: tuple[str, ...] = ()

    @property
    def is_marked(self) -> bool:
        """Whether it says itself that it is no part of the question."""
        return self.heading.casefold().startswith(ASIDE.strip())

    def fault(self, stated: Iterable[str]) -> QuestionError | None:
        """What is wrong with it beside the names that are ``stated``; None for nothing."""
        groups = {_group(name) for name in stated}
        name = next((each for each in self.doubts if _group(each) not in groups), None)
        if name is None:
            return None
        aside = f'or "{ASIDE}{shown(self.heading)}", and it is left aside.'
        remedy = f"Is {_PLAINLY.get(name) or _said(key_of(name))} meant? Write it so, {aside}"
        return fault_at(self.heading, "This heading is not known.", remedy)


@dataclass(frozen=True)
class Slip:
    """A heading that is nearly a known one, or a known one wrongly stated."""

    heading: str
    message: str
    remedy: str

    def fault(self) -> QuestionError:
        return fault_at(self.heading, self.message, self.remedy)


_PLAINLY = {
    "original.number": '"original number" (original.number)', "original.maker": '"original maker" (original.maker)',
    "elements.1.number": '"alternative" (elements.1.number)', "elements.1.maker": '"alternative maker"',
}  # fmt: skip


def _group(name: str) -> str:
    """Alternatives are one group, whatever their number."""
    return re.sub(r"^elements\.[0-9]+\.", "elements.", name)


def fault_at(heading: str, message: str, remedy: str | None, value: str | None = None) -> QuestionError:
    """A fault that stands under a heading, as it was typed."""
    error = QuestionError(message, field=shown(heading), remedy=remedy, value=value)
    error.whole = True
    return error


def key_of(text: str) -> str:
    """``text`` without case, blanks, underscores, dashes, dots and colons."""
    return re.sub(r"[\s_.:*\-\N{EN DASH}]+", "", unicodedata.normalize("NFKC", text).casefold())


@cache
def known() -> Mapping[str, str]:
    """Key of each heading that is known by itself: the name it stands for."""
    found = {key_of(name): name for name in (*dotted_names(), *compared_names())}
    for name, aliases in ALIASES.items():
        found |= {key_of(alias): name for alias in aliases}
    found |= {key_of(alias): LABEL for alias in _LABELS} | {DECIMAL: DECIMAL}
    for word in ALTERNATIVES:
        for number in ("", *map(str, range(1, MOST_COMPARED + 1))):
            for part, endings in _OF_AN_ALTERNATIVE.items():
                name = f"elements.{number or 1}.{part}"
                said = [ending for ending in endings if (word, ending) not in _OF_LETTERS]
                found |= {key_of(f"{word}{number}{ending}"): name for ending in said}
                found |= {key_of(f"{word}{ending}{number}"): name for ending in said}
    return MappingProxyType(found)


@cache
def kind_of(name: str) -> str:
    """The kind of quantity that stands under a name; "" for a word or a plain number."""
    parts = name.split(".")
    if parts[0] == "require" and parts[-1] in ("at_least", "at_most"):
        return ANY
    if parts[0] == "require":
        return _OF_A_REQUIREMENT.get(parts[-1], "")
    if parts[0] == "fit" and (parts[1] == "clearance" or ATTRIBUTES[parts[1]].kind == "length"):
        return "length"
    return _KINDS.get(name, "")


def is_plain_number(name: str) -> bool:
    """Whether a number without a unit stands under a name."""
    known_field = dotted_names().get(name)
    return known_field is not None and bool(known_field.kinds & {"number", "integer"}) and name != "as_of"


def takes_yes_or_no(name: str) -> bool:
    """Whether a plain yes or no stands under a name."""
    known_field = dotted_names().get(name)
    if known_field is None:
        return False
    return "boolean" in known_field.kinds or {"yes", "no"} <= set(known_field.schema.get("enum", ()))


def takes_number(column: Column) -> bool:
    """Whether numbers stand in a column, with a unit or without."""
    return bool(column.kind) or is_plain_number(column.name)


# --- one heading -----------------------------------------------------------------------------------

_BRACKETED = re.compile(r"(?P<name>[^\[\]]*?)\s*\[(?P<unit>[^\[\]]*)\]")
_IN_PARENTHESES = re.compile(r"(?P<name>.*\S)\s*\((?P<unit>[^()]*(?:\([^()]*\))?)\)")
_AFTER_A_COMMA = re.compile(r"(?P<name>.*\S)\s*,\s*(?P<unit>[^,]+)")
_NO_UNIT = ("", "-", "1")


@lru_cache(maxsize=4096)
def meaning_of(heading: str) -> Column | Foreign | Slip:
    """What a heading means."""
    text = one_line(heading)
    if len(text) > LONGEST_HEADING_CHARACTERS:
        return Foreign(text)
    found = _known_meaning(text)
    return _unknown(text, found) if isinstance(found, str) else found


def _known_meaning(text: str) -> Column | Slip | str:
    """What a heading means that is known; of any other its name without what may be a unit."""
    if text.casefold().startswith(ASIDE.strip()):
        return text
    if (name := _named(text)) is not None:
        return Column(text, name, kind=kind_of(name))
    split = _split(text)
    if isinstance(split, Column | Slip):
        return split
    required = _required(text)
    return split if required is None else required


def _named(text: str) -> str | None:
    """The name that a heading without a unit stands for: as it is written, by its words in any order, or by those that
    decide."""
    name = known().get(key_of(text))
    if name is None and key_of(text) not in _foreign():
        name = _by_words().get(frozenset(words_of(text)))
        by_words = None if name else meant_by_words(text)
        name = by_words if isinstance(by_words, str) and by_words else name
    return LABEL if name is None and is_of_a_line(text) else name


@cache
def _by_words() -> Mapping[frozenset[str], str]:
    """Words of each heading of a duty, of which several may be told in any order: "temperature of oil"."""
    texts = [(alias, name) for name, aliases in ALIASES.items() for alias in aliases]
    texts += [(name, name) for name in dotted_names()]
    found: dict[frozenset[str], str] = {}
    for text, name in texts:
        if not name.startswith(("original.", "require.")):
            found.setdefault(frozenset(words_of(text)), name)
    return MappingProxyType(found)


def _split(text: str) -> Column | Slip | str:
    """A heading with a unit; else its name without what may have been one."""
    bare = text
    for form in (_BRACKETED, _IN_PARENTHESES, _AFTER_A_COMMA):
        match = form.fullmatch(text)
        if match is None:
            continue
        name, unit = _named(match["name"]), match["unit"].strip()
        if name is not None:
            return _with_unit(text, name, unit)
        bare = match["name"] if form is not _AFTER_A_COMMA else bare
    return _unit_within(text) or bare


def _with_unit(heading: str, name: str, unit: str) -> Column | Slip:
    if name == "bypass" and "pressure" in _kinds(unit):
        name = "bypass_cracking_pressure"
    kind = kind_of(name)
    if unit in _NO_UNIT or (name == "fluid.grade" and key_of(unit) in ("isovg", "vg")):
        return Column(heading, name, kind=kind)
    if not kind:
        return Slip(heading, f"{name} takes no unit.", "Say without brackets what the column holds.")
    if kind == ANY:
        kind = next(iter(_kinds(unit)), ANY)
    if kind == ANY:
        return Slip(heading, f'"{unit}" is no unit known here.', "State the unit in brackets, or in each cell.")
    try:
        with_unit("1", kind, unit)
    except QuantityError as error:
        return Slip(heading, error.message, error.remedy or "State the unit in each cell.")
    return Column(heading, name, unit, kind)


def _kinds(unit: str) -> Sequence[str]:
    try:
        return kinds_of(unit)
    except QuantityError:
        return ()


class _TakingUnits:
    """The names that may be followed by a unit, however they are written."""

    def __contains__(self, stem: object) -> bool:
        name = known().get(key_of(str(stem)))
        return name is not None and (name == "bypass" or bool(kind_of(name)))


def _unit_within(text: str) -> Column | Slip | None:
    """``flow_l_min``, ``Flow l/min``, ``flow in l/min``."""
    folded = unicodedata.normalize("NFKC", text).replace("\N{GREEK SMALL LETTER MU}", "u")
    folded = folded.replace("°", "deg").replace("%", "percent").replace(" in ", " ")
    split = name_and_unit(re.sub(r"[^\w.]+", "_", folded).strip("_"), _TakingUnits())
    return None if split is None else _with_unit(text, known()[key_of(split[0])], split[1])


# --- requirements ----------------------------------------------------------------------------------

_BOUNDS = re.compile(
    r"(?P<at_least>>=|=>|≥|\bat least\b|\bminimum\b|(?<!/)\bmin\b\.?)"
    r"|(?P<at_most><=|=<|≤|\bat most\b|\bmaximum\b|\bmax\b\.?)",
    re.IGNORECASE,
)
_SENSES = {"higher": "at_least", "covers_above": "at_least", "lower": "at_most", "covers_below": "at_most"}
_BETA_AT = re.compile(r"(?P<beta>beta|β)\s*(?:at\s*|@\s*)?(?P<size>[0-9]+(?:[.,][0-9]+)?)\s*(?:um|µm|μm)?\s*"
                      r"(?P<scale>\((?:c|acftd)\))?", re.IGNORECASE)  # fmt: skip
_CHARACTERISTICS = {
    "beta": "filtration_ratio", "β": "filtration_ratio", "beta ratio": "filtration_ratio",
    "filtration ratio": "filtration_ratio", "capacity": "retained_capacity", "dirt capacity": "retained_capacity",
    "dirt holding capacity": "retained_capacity", "clean drop": "clean_pressure_drop",
    "pressure drop": "clean_pressure_drop", "collapse": "collapse_pressure", "burst": "burst_pressure",
    **{key.replace("_", " "): key for key, c in CHARACTERISTICS.items() if c.sense in _SENSES},
    **{c.title: key for key, c in CHARACTERISTICS.items() if c.sense in _SENSES},
}  # fmt: skip
_CONDITION_OF = {"size": "size", "flow": "flow", "viscosity": "viscosity", "pressure": "terminal_pressure_drop"}


def _required(text: str) -> Column | Slip | None:
    """A heading that states a requirement: "capacity at least [g]", "clean drop at 100 L/min, at most [kPa]"."""
    match = _BRACKETED.fullmatch(text)
    words, unit = (match["name"], match["unit"].strip()) if match else (text, "")
    words = re.sub(r"[\s_]+", " ", words)
    bounds = {name for found in _BOUNDS.finditer(words) for name, sign in found.groupdict().items() if sign}
    words = " ".join(_BOUNDS.sub(" ", words).replace(",", " , ").split()).strip(" ,")
    of_beta = _BETA_AT.fullmatch(words)
    if of_beta is not None:
        if of_beta["scale"] is None:
            return Slip(text, "The size has no scale.", f'Write "beta at {of_beta["size"]} um(c) at least".')
        return _requirement(text, "filtration_ratio", bounds, {"size": f"{of_beta['size']} um{of_beta['scale']}"}, unit)
    named, *conditions = re.split(r"\s*(?:@|\bat\b|\band\b|(?<=\s),(?=\s))\s*", words, flags=re.IGNORECASE)
    key = _CHARACTERISTICS.get(named.strip().casefold())
    if key is None or not (bounds or conditions):
        return None
    stated: dict[str, str] = {}
    for condition in filter(None, map(str.strip, conditions)):
        kinds = [kind for kind in _kinds(condition) if kind in _CONDITION_OF]
        if not kinds or _CONDITION_OF[kinds[0]] in stated:
            return Slip(text, f'"{shown(condition)}" is no condition of a requirement.', _STATED_BY_NAMES)
        stated[_CONDITION_OF[kinds[0]]] = condition
    return _requirement(text, key, bounds, stated, unit)


_STATED_BY_NAMES = "State it by require.1.characteristic, require.1.at_least and so on, or once for all lines."


def _requirement(
    heading: str, key: str, bounds: set[str], conditions: Mapping[str, str], unit: str
) -> Column | Slip:
    characteristic = CHARACTERISTICS[key]
    if len(bounds) > 1:
        return Slip(heading, "This says at least and at most.", "Give each a column of its own.")
    bound = next(iter(bounds), _SENSES[characteristic.sense])
    kind = characteristic.kind or ("percent" if unit not in _NO_UNIT else "")
    beside = MappingProxyType({"characteristic": key, **conditions})
    if unit in _NO_UNIT:
        return Column(heading, bound, "", kind or ANY, beside)
    try:
        with_unit("1", kind, unit)
    except QuantityError as error:
        return Slip(heading, error.message, error.remedy or "State the unit in each cell.")
    return Column(heading, bound, unit, kind, beside)


# --- unknown headings ------------------------------------------------------------------------------

_NUMBERED = re.compile(r"(require|requirement|elements?|{})\D?([0-9]+)(.*)".format("|".join(ALTERNATIVES)))


@cache
def _foreign() -> frozenset[str]:
    return frozenset(map(key_of, _FOREIGN))


def _unknown(text: str, bare: str) -> Foreign | Slip:
    key = key_of(bare)
    if text.casefold().startswith(ASIDE.strip()) or key in _foreign() or not key:
        return Foreign(text)
    numbered = _NUMBERED.fullmatch(key)
    if numbered and numbered[3] in {key_of(name.split(".", 2)[2]) for name in _first_of_each()} | {""}:
        most, group = (MOST_REQUIREMENTS, "require") if numbered[1].startswith("req") else (MOST_COMPARED, "elements")
        return Slip(text, "There is no such name.", f"Numbers of {group} go from 1 to {most}.")
    without_duty = known().get(key.removeprefix("duty"))
    if without_duty is not None:
        return Slip(text, "There is no such name.", f'Write "{without_duty}".')
    by_words = meant_by_words(bare)
    if by_words == "":
        return Foreign(text)
    if isinstance(by_words, Doubt) and by_words.remedy:
        return Slip(text, "This heading may mean two things.", by_words.remedy)
    allowed = 0 if len(key) < 4 else 1 if len(key) < 8 else 2
    if isinstance(by_words, Doubt) and {*words_of(bare)} & {*ORIGINALS, *ALTERNATIVES, "quote"}:
        allowed = 0  # it is spelt as it is meant
    found = process.extractOne(key, known().keys(), scorer=OSA.distance, score_cutoff=allowed) if allowed else None
    if found is not None:
        meant = f"Is {_said(found[0])} meant? Write it so, or rename the column."
        return Slip(text, "This heading is not known.", meant)
    doubts = (by_words.name,) if isinstance(by_words, Doubt) else ()
    asked = _qualified(bare)
    near = asked or _reminded_of(bare)
    if near is not None and near.startswith(("original.", "elements.")):
        near = None
    return Foreign(text, near, doubts if asked is None else (*doubts, asked))


_QUALIFYING = frozenset(
    (
        "max", "maximum", "min", "minimum", "required", "design", "nominal", "rated", "normal", "average", "avg",
        "mean", "typical", "total", "actual", "peak", "type", "kind", "sort", "data", "spec", "specification", "level",
        "class", "range", "system", "working", "operating", "our", "new", "wanted", "desired", *ORIGINALS,
    )
)  # fmt: skip


def _qualified(text: str) -> str | None:
    """The name of a duty that a heading tells with more words: "max. flow", "oil type"."""
    words = frozenset(words_of(text))
    left = words - _QUALIFYING
    return _by_words().get(left) if left and left != words else None


@cache
def _first_of_each() -> tuple[str, ...]:
    names = (*dotted_names(), *compared_names())
    return tuple(name for name in names if name.startswith(("require.1.", "elements.1.")))


@cache
def _spelt() -> Mapping[str, str]:
    words = (*(alias for aliases in ALIASES.values() for alias in aliases), *ALTERNATIVES)
    return {key_of(text): text for text in (*words, *_LABELS, *dotted_names(), *compared_names())}


def _said(key: str) -> str:
    """A known heading as it is written, with the name that it stands for."""
    name = known()[key]
    spelt = _spelt().get(key, name)
    return f'"{name}"' if spelt == name else f'"{spelt}" ({name})'


def _reminded_of(text: str) -> str | None:
    """A known name of which a word of the heading is one: "oil type" of fluid.grade, "length" of fit.length; of what
    a test shows, how it would be required."""
    characteristic = _CHARACTERISTICS.get(one_line(text.replace("_", " ")).casefold())
    if characteristic is not None:
        return f"{one_line(text)} {_SENSES[CHARACTERISTICS[characteristic].sense].replace('_', ' ')}"
    words = [key_of(text), *map(key_of, re.split(r"[\s_./()\[\],-]+", text))]
    for word in words:
        if (name := known().get(f"fit{word}")) is not None:
            return name
    named = (known()[word] for word in words if word in known() and len(word) > 2)
    return next((name for name in named if name not in (LABEL, DECIMAL)), None)


# --- a row of headings -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Columns:
    """Where what is known stands in a row of headings. ``requirements`` are those of ``asked`` that are headings of
    requirements, with the number that each takes. ``notes`` tell what was left aside; ``aside`` are the columns of it
    that are carried along, with what they are called."""

    headings: tuple[str, ...]
    asked: Mapping[int, Column]
    labels: tuple[int, ...]
    decimal: int | None = None
    requirements: Mapping[int, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    aside: Mapping[int, str] = field(default_factory=dict)

    @property
    def original(self) -> str | None:
        """The heading of the column that holds the number of the original, if there is one."""
        return next((column.heading for column in self.asked.values() if column.name == ORIGINAL), None)

    @property
    def width(self) -> int:
        """Cells that a row has at the least: up to the last one that has a heading."""
        return len(self.headings)


def known_among(headings: Iterable[str]) -> int:
    """How many of the headings ask something."""
    said = (one_line(heading) for heading in headings if 0 < len(heading) <= LONGEST_HEADING_CHARACTERS)
    found = (_known_meaning(heading) for heading in said if heading)
    return sum(isinstance(each, Column) and each.name not in (LABEL, DECIMAL) for each in found)


def read_columns(headings: Sequence[str]) -> Columns:
    """The columns of a sheet of lines. Raises QuestionError that names every heading at fault: one that is nearly a
    known one, two that mean the same, or that none is known; and for a table of answers."""
    refuse_answers(headings)
    formulas = _formulas_of_the_template(headings)
    asked: dict[int, Column] = {}
    labels: list[int] = []
    decimal: int | None = None
    faults: list[SpecdbError] = []
    left: dict[int, Foreign] = {}
    for place, heading in enumerate(headings):
        if not heading.strip() or place in formulas:
            continue
        meaning = meaning_of(heading)
        if isinstance(meaning, Slip):
            faults.append(meaning.fault())
        elif isinstance(meaning, Foreign):
            left[place] = meaning
        elif meaning.name == LABEL:
            labels.append(place)
        elif meaning.name == DECIMAL:
            if decimal is not None:
                faults.append(_twice(decimal, place, meaning))
            decimal = place
        else:
            asked[place] = meaning
    stated = {column.name for column in asked.values()}
    faults += filter(None, (each.fault(stated) for each in left.values()))
    faults += _said_twice(asked)
    if not asked and not faults:
        faults.append(none_known(headings))
    if faults:
        raise QuestionError.of(faults)
    rows = [place for place in labels if key_of(headings[place]) == "row"]
    if len(labels) > len(rows):
        labels = [place for place in labels if place not in rows]
    trimmed = tuple(headings)
    while trimmed and not trimmed[-1].strip():
        trimmed = trimmed[:-1]
    if _are_of_the_finished_workbook(headings, asked):
        left = {place: foreign for place, foreign in left.items() if foreign.heading != FAULT_HEADING}
    requirements = _numbered(asked)
    notes = tuple(_notes(list(left.values()), [headings[place] for place in formulas], asked, requirements))
    return Columns(trimmed, asked, tuple(labels), decimal, requirements, notes, _aside(left))


MOST_ASIDE = 20
"""Columns that are no part of the question and are carried along."""


def _aside(left: Mapping[int, Foreign]) -> dict[int, str]:
    """How the columns are called that are carried along, by their places; of those that are called alike, the later by
    its letter too."""
    found: dict[int, str] = {}
    for place, foreign in left.items():
        if len(found) < MOST_ASIDE:
            name = carried_as(foreign)
            found[place] = name if name not in found.values() else f"{name} ({get_column_letter(place + 1)})"
    return found


def carried_as(foreign: Foreign) -> str:
    """What a column is called that is carried along, without what has it left aside."""
    heading = foreign.heading[:LONGEST_HEADING_CHARACTERS]
    return heading[len(ASIDE.strip()) :].strip() or heading if foreign.is_marked else heading


def refuse_answers(headings: Iterable[str]) -> None:
    """Raises QuestionError where these are headings of a table of answers: it lacks the duties that were stated, and
    the numbers in it are those of candidates."""
    if len({key_of(name) for name in _OF_ANSWERS} & {key_of(heading) for heading in headings}) >= _OURS_AT_LEAST:
        remedy = "Put in the finished workbook, with its sheet Lines, or the answer in JSON: they hold what was asked."
        raise QuestionError("These are answers, without what was asked.", remedy=remedy)


def _formulas_of_the_template(headings: Sequence[str]) -> list[int]:
    """Places of the columns of the template workbook that hold formulas."""
    names = {key_of(name) for name in OF_THE_TEMPLATE}
    places = [place for place, heading in enumerate(headings) if key_of(heading) in names]
    return places if len({key_of(headings[place]) for place in places}) >= _OURS_AT_LEAST else []


def _are_of_the_finished_workbook(headings: Sequence[str], asked: Mapping[int, Column]) -> bool:
    """Whether they are headed as the lines of the finished workbook are: by dotted names, behind what the line is
    called."""
    return headings[0] == LABEL and all(column.heading.partition(" [")[0] == column.name for column in asked.values())


def _said_twice(columns: Mapping[int, Column]) -> list[SpecdbError]:
    first: dict[tuple[object, ...], int] = {}
    faults: list[SpecdbError] = []
    for place, column in columns.items():
        before = first.setdefault((column.name, *sorted(column.beside.items())), place)
        if before != place:
            faults.append(_twice(before, place, column, columns[before].heading))
    return faults


def _twice(before: int, place: int, column: Column, heading: str | None = None) -> QuestionError:
    """The fault of two columns that mean the same; that at ``before`` may have another ``heading``."""
    name = column.name if not column.beside else "the same requirement"
    letters = f"columns {get_column_letter(before + 1)} and {get_column_letter(place + 1)}"
    here = shown(column.heading)
    message = f'"{shown(heading or column.heading)}" and "{here}" both mean {name} ({letters}).'
    remedy = "Leave one of the two columns out, or rename it."
    if name.startswith("elements."):
        word = here if known().get(key_of(f"{here} 1")) == name else ALTERNATIVES[0]
        remedy = f'Where they are two alternatives, write "{word} 1" and "{word} 2"; else leave one out.'
    return fault_at(column.heading, message, remedy)


EXAMPLE_HEADINGS = "Machine, Original number, Flow [L/min], Oil, Temperature, Target code"


def none_known(headings: Iterable[str], message: str = "No heading is known here that asks anything.") -> QuestionError:
    """The fault of headings of which none asks anything: each with what it was taken for, and what would be right."""
    found = ", ".join(map(_taken_for, [heading for heading in headings if heading.strip()][:8]))
    return QuestionError(
        message + (f" Found: {found}." if found else ""),
        remedy=f"Lines begin with a row of headings, such as: {EXAMPLE_HEADINGS}. All that are known: docs/lines.md.",
    )


def _taken_for(heading: str) -> str:
    """A heading among none that ask anything, with what it was taken for."""
    meaning = meaning_of(heading)
    if isinstance(meaning, Column):
        what = "what the line is called" if meaning.name == LABEL else "the decimal mark"
        return f'"{shown(heading)}" ({what})'
    near = meaning.near if isinstance(meaning, Foreign) else None
    return f'"{shown(heading)}"' + (f" (is {near} meant?)" if near else "")


def _numbered(asked: Mapping[int, Column]) -> dict[int, int]:
    """Numbers of requirements that are headings: those that no dotted name takes, in the order of the columns."""
    taken = {int(c.name.split(".")[1]) for c in asked.values() if c.name.startswith("require.")}
    free = iter([number for number in range(1, MOST_REQUIREMENTS + 1) if number not in taken])
    places = [place for place, column in asked.items() if column.beside]
    if len(places) + len(taken) > MOST_REQUIREMENTS:
        message = f"The headings state {len(places) + len(taken)} requirements."
        raise QuestionError(message, remedy=f"At most {MOST_REQUIREMENTS} are read.")
    return dict(zip(places, free, strict=False))


def _notes(
    left: Sequence[Foreign],
    formulas: Sequence[str],
    asked: Mapping[int, Column],
    requirements: Mapping[int, int],
) -> Iterable[str]:
    not_known = [foreign for foreign in left if not foreign.is_marked]
    if not_known:
        yield f"columns left aside, as their headings are not known here: {told_of(not_known)}"
    if not any(column.name.startswith("original.") for column in asked.values()):
        yield "no column names an original: each line asks for what it requires, and what follows from the duty"
    if formulas:
        yield f"columns of formulas of the template, left aside: {', '.join(formulas)}"
    for place in requirements:
        column = asked[place]
        conditions = " and ".join(value for name, value in column.beside.items() if name != "characteristic")
        what = CHARACTERISTICS[column.beside["characteristic"]].title
        at = f" at {conditions}" if conditions else ""
        bound = column.name.replace("_", " ")
        yield f'the column "{shown(column.heading)}" was read as a requirement: {what}{at}, {bound}'


MOST_TOLD = 20


def told_of(left: Sequence[Foreign]) -> str:
    """Headings that were left aside, the first of them, each with the name that it reminds of."""
    first = left[:MOST_TOLD]
    told = [f'"{shown(each.heading)}"' + (f" (is {each.near} meant?)" if each.near else "") for each in first]
    return ", ".join(told) + (f" and {len(left) - MOST_TOLD} more" if len(left) > MOST_TOLD else "")
