"""The oil as it is said across a counter: its grade, its class, or what it is instead of either."""

from __future__ import annotations

import re
from collections.abc import Mapping

from specdb.characteristics import CLASS_OF_TRADE, FLUID_CLASSES

_SPOKEN = {
    "water glycol": "HFC",
    "glycol water": "HFC",
    "phosphate ester": "HFDR",
}
"""Names that are of one class of ISO 6743-4 alone (common practice)."""
_BIODEGRADABLE = ("HETG", "HEPG", "HEES", "HEPR")
_OF_NO_CLASS = r"(?:hydraulic|hyd\.?)\s+(?:oil|fluid)|hydraulic|oil"
_GRADE = re.compile(
    rf"(?:(?:{_OF_NO_CLASS})\s+)?(?:([A-Z]{{2,4}})[\s-]*)??(?:ISO[\s-]*)?(?:VG[\s-]*)?([0-9]{{1,4}})"
    rf"(?:[\s-]*([A-Z]{{2,4}}))?(?:\s+(?:{_OF_NO_CLASS}))?",
    re.IGNORECASE,
)
_VISCOSITY = re.compile(r"\d+(?:[.,]\d+)?\s*(?:cst|mm2/s|mm²/s)", re.IGNORECASE)
_ENGINE_OIL = re.compile(r"(?:sae\s*)?\d{1,2}\s*w(?:[\s/-]*\d{1,3})?", re.IGNORECASE)
_SAE = re.compile(r"sae\s*\d{1,3}", re.IGNORECASE)
_ATF = re.compile(r"atf\b.*|.*transmission (?:oil|fluid)", re.IGNORECASE)
_BIO = re.compile(r"(?:bio|biodegradable|environmentally acceptable)[\s-]*(?:hydraulic )?(?:oil|fluid)?", re.IGNORECASE)

_AT_WORK = "State its viscosity under “Viscosity at work”, with the class under “Class of fluid” if it is known."


def read_oil(names: Mapping[str, str]) -> dict[str, str | None]:
    """What the text in the oil's field states by other names, or in one spelling: the grade, and the class where one is
    said and none, or the same, is chosen. None leaves a name out; nothing where the text is read in no one way."""
    text = " ".join(names.get("fluid.grade", "").split())
    grade = _GRADE.fullmatch(text)
    said = (grade[1] or grade[3] or "") if grade else text
    fluid_class = _class_of(said)
    found: dict[str, str | None] = {"fluid.grade": f"ISO VG {int(grade[2])}" if grade else None}
    if grade and not said:
        return found
    if fluid_class is None or names.get("fluid.class", fluid_class).upper() != fluid_class:
        return {}
    return {**found, "fluid.class": fluid_class}


def _class_of(said: str) -> str | None:
    told = said.casefold().replace("-", " ").replace("/", " ")
    name = _SPOKEN.get(told, said.upper())
    name = CLASS_OF_TRADE.get(name, name)
    return name if name in FLUID_CLASSES else None


def why_unread(text: str) -> tuple[str, str] | None:
    """Of a text that is no grade what it is instead, and what to state; None where that is not known."""
    text = " ".join(text.split())
    if _VISCOSITY.fullmatch(text):
        return (
            f"{text} is a viscosity, and it is not said at which temperature.",
            "State it under “Viscosity at work” if it is that; at 40 °C it is what a grade ISO VG names.",
        )
    if _ENGINE_OIL.fullmatch(text):
        return f"{text} is a grade of engine oil by SAE J300, and no ISO VG grade.", _AT_WORK
    if _SAE.fullmatch(text):
        return f"{text} is an SAE grade, and no ISO VG grade.", _AT_WORK
    if _ATF.fullmatch(text):
        return f"{text} names an oil for transmissions, and no ISO VG grade.", _AT_WORK
    if _BIO.fullmatch(text):
        return (
            f"{text} may be of any of the classes {', '.join(_BIODEGRADABLE)}.",
            "Choose which under “Class of fluid”, and state the grade here, as in “ISO VG 46”.",
        )
    return None
