"""What a fluid does to seals, filter media and zinc: a table by seal material or media and fluid class (ISO 6743-4).

Each cell has its source. What is only remembered may warn and never clears: a cell from memory says *depends* or *not
suitable*, and what memory would call suitable is *unknown*, since a seal that was wrongly cleared lets fluid under
pressure out. A table speaks of a material as a kind; compound, temperature and additives decide in the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from specdb.trade.fluids import FLUIDS, fluid_of, is_water_bearing

Level = Literal["suitable", "depends", "not_suitable", "unknown"]
Doubt = Literal["depends", "not_suitable"]

LEVEL_WORDS: dict[Level, str] = {
    "suitable": "suitable",
    "depends": "depends",
    "not_suitable": "not suitable",
    "unknown": "unknown",
}

LUBE_TECH = "Lube-Tech 138, 2022"
MEMORY = "common practice, from memory"
NO_SOURCE = "no source at hand"
NOTHING_TO_JUDGE = "there is no seal that the fluid could attack"


@dataclass(frozen=True)
class Cell:
    """What the table says of one material in one class of fluid. ``why`` is empty where there is nothing to say."""

    level: Level
    source: str
    why: str = ""

    @property
    def words(self) -> str:
        """``not suitable (swells strongly; common practice, from memory)``."""
        return f"{LEVEL_WORDS[self.level]} ({'; '.join(filter(None, (self.why, self.source)))})"


UNKNOWN = Cell("unknown", NO_SOURCE)
_NOTHING_TO_JUDGE = Cell("suitable", NOTHING_TO_JUDGE)

_MINERAL = ("HH", "HL", "HM", "HR", "HV", "HG")
_WATER_BEARING = tuple(key for key in FLUIDS if is_water_bearing(key))
_WITH_OIL_IN_WATER = ("HFAE", "HFB")


def _remembered(level: Doubt, why: str) -> Cell:
    """A cell from memory, which is never *suitable*."""
    return Cell(level, MEMORY, why)


def _each(classes: tuple[str, ...], cell: Cell) -> dict[str, Cell]:
    return dict.fromkeys(classes, cell)


_OIL_SWELLS_EPDM = _remembered("not_suitable", "hydrocarbons and vegetable oils swell it strongly")
_BASE_DECIDES = _remembered("depends", "the class leaves the base fluid open, which decides")
_BELOW_FKM = Cell("depends", LUBE_TECH, "rated below FKM in esters")
_HYDROLYSES = _remembered("depends", "warm water takes polyester types apart, polyether types less")
_SWELLS_SILICONE = _remembered("depends", "thin oils swell it, and it is weak where it moves")

SEAL_TABLE: dict[str, dict[str, Cell]] = {
    "NBR": {
        "HS": _BASE_DECIDES,
        "HFDR": _remembered("not_suitable", "phosphate ester swells and softens it"),
        "HFDU": _BASE_DECIDES,
        "HETG": _remembered("depends", "vegetable oil hardens or swells it when warm"),
        "HEPG": _remembered("depends", "by polyglycol and temperature"),
        "HEES": _BELOW_FKM,
    },
    "HNBR": {
        "HS": _BASE_DECIDES,
        "HFDR": _remembered("not_suitable", "phosphate ester swells and softens it"),
        "HFDU": _BASE_DECIDES,
        "HEPG": _remembered("depends", "by polyglycol and temperature"),
        "HEES": _BELOW_FKM,
    },
    "FKM": {
        "HS": _BASE_DECIDES,
        **_each(_WATER_BEARING, _remembered("depends", "hot water attacks many grades of it")),
        "HFDR": _remembered("depends", "by phosphate ester: aryl types spare it, alkyl types do not"),
        "HFDU": _BASE_DECIDES,
        "HEES": Cell("suitable", LUBE_TECH, "rated very good in esters"),
    },
    "EPDM": {
        **_each((*_MINERAL, "HETG", "HEPR"), _OIL_SWELLS_EPDM),
        **_each(_WITH_OIL_IN_WATER, _remembered("not_suitable", "the oil in the emulsion swells it strongly")),
        "HS": _BASE_DECIDES,
        "HFDR": _remembered("depends", "made for phosphate ester, and spoilt by traces of mineral oil"),
        "HFDU": _BASE_DECIDES,
        "HEES": Cell("not_suitable", LUBE_TECH, "rated unsuitable in esters"),
    },
    "PU": {
        "HS": _BASE_DECIDES,
        **_each(_WATER_BEARING, _HYDROLYSES),
        "HFDR": _remembered("not_suitable", "phosphate ester attacks it"),
        "HFDU": _BASE_DECIDES,
        "HEPG": _remembered("depends", "by polyglycol and temperature"),
        "HEES": _remembered("depends", "water in the ester takes polyester types apart"),
    },
    "silicone": {
        **_each((*_MINERAL, "HEPR"), _SWELLS_SILICONE),
        "HS": _BASE_DECIDES,
        "HFDU": _BASE_DECIDES,
    },
    "PTFE": {},
    "none": _each(tuple(FLUIDS), _NOTHING_TO_JUDGE),
}
"""Seal material: fluid class: the cell; a cell that is not there is :data:`UNKNOWN`."""

MEDIA_TABLE: dict[str, dict[str, Cell]] = {
    "glass fibre": {},
    "cellulose": _each(_WATER_BEARING, _remembered("not_suitable", "the fluid's water swells and weakens it")),
    "polyester": _each(_WATER_BEARING, _remembered("depends", "hot water takes polyester apart")),
    "wire mesh": {},
    "metal fibre": {},
    "water absorbing": {
        **_each(_WATER_BEARING, _remembered("not_suitable", "it swells shut on the fluid's own water")),
        "HEPG": _remembered("depends", "polyglycol binds water and may feed it"),
    },
}
"""Media: fluid class: the cell; a cell that is not there is :data:`UNKNOWN`."""

_ZINC = _each(_WATER_BEARING, _remembered("not_suitable", "water-bearing fluids attack zinc"))


def seal_with(seal: str, fluid_class: str) -> Cell:
    """What the table says of a seal material. Raises :class:`~specdb.errors.ConditionsError` for an unknown class."""
    return SEAL_TABLE.get(seal, {}).get(fluid_of(fluid_class).key, UNKNOWN)


def media_with(media: str, fluid_class: str) -> Cell:
    """What the table says of a filter medium. Raises :class:`~specdb.errors.ConditionsError` for an unknown class."""
    return MEDIA_TABLE.get(media, {}).get(fluid_of(fluid_class).key, UNKNOWN)


def zinc_with(fluid_class: str) -> Cell:
    """What the table says of zinc on parts in the fluid. Raises :class:`~specdb.errors.ConditionsError` likewise."""
    return _ZINC.get(fluid_of(fluid_class).key, UNKNOWN)
