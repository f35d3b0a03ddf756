"""The fields of a form that asks what is to be replaced: what each is called, its unit, and how what is typed in it is
tidied.

A bare number takes the unit that is printed beside its field, and the address that the form leads to writes it out, so
that an address means the same to every reader. Everything else stays as typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from api.pages.oil import read_oil
from specdb.catalog.measured import read_measured
from specdb.characteristics import FLUID_CLASSES, KINDS
from specdb.duty.question import MOST_REQUIREMENTS
from specdb.errors import QuantityError
from specdb.units import UnitSystem, read_quantity

UNITS: Mapping[str, tuple[str, str]] = {
    # what is printed beside a field: to a reader of SI, to one of US units
    "flow": ("L/min", "US gpm"),
    "pressure": ("bar", "psi"),
    "bubble pressure": ("mbar", "inH₂O"),
    "temperature": ("°C", "°F"),
    "viscosity": ("mm²/s", "cSt"),
    "size": ("µm(c)", "µm(c)"),
    "opening": ("µm", "µm"),
    "mass": ("g", "g"),
    "length": ("mm", "in"),
    "percent": ("%", "%"),
}
_WRITTEN = str.maketrans({"µ": "u", "²": "2", "₂": "2"})
_KIND_OF_QUANTITY = {"bubble pressure": "pressure"}
_LESS = re.compile(r"^\s*(?:minus\s+|[‐‑‒–—―−]\s*)(?=[\d.,])", re.IGNORECASE)
_SIGN_OF_A_DIAMETER = re.compile(r"^\s*(?:[Øø⌀∅]|dia\b\.?)\s*(?=[\d.,])", re.IGNORECASE)
_SIZE_WITHOUT_SCALE = re.compile(r"([\d.,]+)\s*[uµμ]m", re.IGNORECASE)


@dataclass(frozen=True)
class Field:
    """One field. ``kind`` is one of ``UNITS``, "" where no unit stands beside it; ``choices`` are values with their
    words; ``decided_by`` the characteristics that an original decides it by where it is left empty."""

    name: str
    label: str
    kind: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    suggested: tuple[str, ...] = ()
    decided_by: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        return f"f-{self.name.replace('.', '-')}"

    def unit(self, units: UnitSystem) -> str:
        return UNITS[self.kind][units == "us"] if self.kind else ""

    def tidied(self, text: str, units: UnitSystem) -> str:
        """``text`` with the unit beside the field, where it is a number that the unit makes a quantity of; a sign of
        less in one way, whichever was typed; a diameter without the sign for it."""
        if not self.kind:
            return text
        text = _LESS.sub("-", text)
        if self.name.endswith("diameter"):
            text = _SIGN_OF_A_DIAMETER.sub("", text)
        if self.kind == "size" and (size := _SIZE_WITHOUT_SCALE.fullmatch(text)):
            text = size[1]  # the scale stands beside the field
        kind = _KIND_OF_QUANTITY.get(self.kind, self.kind)
        written = f"{text} {self.unit(units).translate(_WRITTEN)}"
        return written if not _is_read(text, kind) and _is_read(written, kind) else text


def _is_read(text: str, kind: str) -> bool:
    try:
        # The density is any: whether there is one is for the duty to say.
        read_quantity(text, kind, density_kg_m3=900.0, temperature_degc=40.0)
    except QuantityError:
        return False
    return True


# --- the fields ------------------------------------------------------------------------------------

GRADES = tuple(f"ISO VG {grade}" for grade in (10, 15, 22, 32, 46, 68, 100, 150, 220, 320))

_PLACES = (
    ("return", "return line, back to the tank"),
    ("pressure", "pressure line, behind the pump"),
    ("suction", "suction line, before the pump"),
    ("off-line", "off-line loop with a pump of its own"),
    ("breather", "breather on the tank"),
)
_VALVES = (
    ("element", "in the element, the can"),
    ("head", "in the filter head"),
    ("both", "in both"),
    ("none", "nowhere"),
)
_CLASS_WORDS = {
    "HH": "mineral oil, nothing added",
    "HL": "mineral oil against rust and ageing",
    "HM": "mineral oil, also against wear",
    "HR": "as HL, of high viscosity index",
    "HV": "as HM, of high viscosity index",
    "HG": "as HM, also for slideways",
    "HS": "synthetic, nothing against fire",
    "HFAE": "oil in water",
    "HFAS": "water with chemicals, no oil",
    "HFB": "water in oil",
    "HFC": "water glycol",
    "HFDR": "phosphate ester",
    "HFDU": "other without water, hard to burn",
    "HETG": "vegetable oil",
    "HEPG": "polyglycol",
    "HEES": "synthetic ester",
    "HEPR": "polyalphaolefin and its like",
}
"""Classes by ISO 6743-4, in the words of the trade."""
_CLASSES = tuple((name, f"{name}: {_CLASS_WORDS[name]}") for name in FLUID_CLASSES)

ORIGINAL = (
    Field("original.number", "Number to be replaced"),
    Field("original.maker", "Its maker", hint="if several have it"),
)
MACHINE = (
    Field("machine", "Machine", hint="for the sheet; not judged"),
    Field("location", "Place in the circuit", choices=_PLACES),
    Field(
        "fluid.grade",
        "Oil",
        hint="such as 46, HM 46, HLP 46, water glycol",
        suggested=GRADES,
    ),
    Field("fluid.class", "Class of fluid", choices=_CLASSES, hint="the element must list it, and its seal suit it"),
    Field("operating_temperature", "Oil at work", "temperature", decided_by=("temperature_high",)),
    Field("cold_start_temperature", "Coldest morning", "temperature", decided_by=("temperature_low",)),
    Field("flow", "Flow, if known", "flow"),
    Field("bypass", "Bypass valve", choices=_VALVES, decided_by=("bypass_valve",)),
)
MACHINE_FURTHER = (
    Field("fluid.viscosity_index", "Viscosity index", hint="a common mineral oil has about 100"),
    Field("fluid.viscosity", "Viscosity at work", "viscosity", hint="instead of grade and temperature"),
    Field(
        "bypass_cracking_pressure", "Bypass opens at", "pressure", decided_by=("bypass_cracking_pressure",)
    ),
    Field("working_pressure", "Working pressure", "pressure", decided_by=("working_pressure",)),
    Field("target_cleanliness", "Cleanliness to keep", hint="code by ISO 4406, such as 18/16/13"),
    Field("original.allow", "Allowance on the original", "percent", hint="share by which its figures are relaxed"),
)
FIT = (
    Field("fit.kind", "Kind of element", choices=tuple((k, k) for k in KINDS), decided_by=("kind",)),
    Field("fit.thread", "Thread", hint="such as 1-12 UNF; 1-12 is read as that", decided_by=("thread",)),
    Field("fit.outside_diameter", "Outside diameter", "length", decided_by=("outside_diameter",)),
    Field("fit.length", "Length", "length", decided_by=("length",)),
    Field("fit.gasket_outside_diameter", "Gasket, outside", "length", decided_by=("gasket_outside_diameter",)),
    Field("fit.gasket_inside_diameter", "Gasket, inside", "length", decided_by=("gasket_inside_diameter",)),
)


@dataclass(frozen=True)
class Printed:
    """A result that a label prints: which, the requirement that it is by default, and its fields, their names without
    the requirement's number."""

    characteristic: str
    number: int
    fields: tuple[Field, ...]


_DROP_OF = (("element", "the element alone"), ("assembly", "the element in its housing"))

LABEL = (
    Printed(
        "filtration_ratio",
        1,
        (
            Field(
                "at_least",
                "Beta ratio at least",
                hint="ISO 16889, older ISO 4572; or an efficiency: 99.5 %",
                decided_by=("filtration_ratio",),
            ),
            Field("size", "at size", "size", hint="by ISO 4572: write um(acftd) behind it"),
            Field("flow", "at flow", "flow", hint="empty: the flow of the machine"),
        ),
    ),
    Printed(
        "retained_capacity",
        2,
        (
            Field(
                "at_least",
                "Capacity at least",
                "mass",
                hint="ISO 16889, older ISO 4572",
                decided_by=("retained_capacity",),
            ),
            Field("flow", "at flow", "flow", hint="empty: the flow of the machine"),
            Field("terminal_pressure_drop", "to a terminal drop of", "pressure"),
        ),
    ),
    Printed("bubble_point", 3, (Field("at_least", "Bubble point at least", "bubble pressure", hint="ISO 2942"),)),
    Printed(
        "collapse_pressure",
        4,
        (Field("at_least", "Collapse at least", "pressure", hint="ISO 2941", decided_by=("collapse_pressure",)),),
    ),
    Printed(
        "clean_pressure_drop",
        5,
        (
            Field("at_most", "Clean drop at most", "pressure", hint="ISO 3968", decided_by=("clean_pressure_drop",)),
            Field("viscosity", "at viscosity", "viscosity", hint="empty: that of the oil at work"),
            Field("flow", "at flow", "flow", hint="empty: the flow of the machine"),
            Field("drop_of", "of", choices=_DROP_OF),
        ),
    ),
    Printed(
        "mesh_opening",
        6,
        (Field("at_most", "Mesh opening at most", "opening", hint="of a strainer", decided_by=("mesh_opening",)),),
    ),
)

_OWN = re.compile(r"require\.([0-9]+)\.(.+)")


@dataclass(frozen=True)
class LabelFields:
    """The fields for one result of a label, with the names that they have in an address."""

    printed: Printed
    number: int
    fields: tuple[Field, ...]

    @property
    def prefix(self) -> str:
        return f"require.{self.number}."

    @property
    def hidden(self) -> str:
        return f"{self.prefix}characteristic"


def label_fields(names: Mapping[str, str]) -> list[LabelFields]:
    """The fields for a label: each result at the requirement that states it already, else at its own number, else at
    one that is free."""
    stated = {
        int(match[1]): re.sub(r"[\s_-]+", "", text.casefold())
        for name, text in names.items()
        if (match := _OWN.fullmatch(name)) and match[2] == "characteristic" and text
    }
    found, taken = [], set(stated)
    free = [number for number in range(len(LABEL) + 1, MOST_REQUIREMENTS + 1) if number not in taken]
    for printed in LABEL:
        wanted = printed.characteristic.replace("_", "")
        own = [number for number in sorted(stated) if stated[number] == wanted]
        number = own[0] if own else printed.number if printed.number not in taken else free.pop(0) if free else None
        if number is not None:
            found.append(LabelFields(printed, number, tuple(_numbered(printed, number))))
    return found


def _numbered(printed: Printed, number: int) -> Iterator[Field]:
    for field in printed.fields:
        yield Field(**{**vars(field), "name": f"require.{number}.{field.name}"})


def all_fields(names: Mapping[str, str]) -> list[Field]:
    printed = [field for each in label_fields(names) for field in each.fields]
    return [*ORIGINAL, *MACHINE, *MACHINE_FURTHER, *FIT, *printed]


_LABELS = {
    spelled: field.label
    for field in (*ORIGINAL, *MACHINE, *MACHINE_FURTHER, *FIT)
    for spelled in (f"duty.{field.name}", field.name, field.name.rpartition(".")[2])
    if "_" in spelled or "." in spelled
}
_LIMITS = {"at_least": "at least", "at_most": "at most"}
_ANY_NAME = "|".join(map(re.escape, sorted(_LABELS, key=len, reverse=True)))
_NAME = re.compile(rf"(?<![\w.])(?:{_ANY_NAME})(?!\.?\w)")


_WAITS = re.compile(r"(?<=Asks nothing while )[^.]*(?:\.\w[^.]*)*(?= (?:is|are) not stated)")
_PLAIN_NAME = re.compile(r"(?<![\w.“])(?:bypass|flow|location)(?![\w.”])")
_PLAIN_LABELS = {"bypass": "Bypass valve", "flow": "Flow", "location": "Place in the circuit"}


def by_label(words: str) -> str:
    """Words in which fields stand under their names, with what the form calls them in place of the names."""
    # Names that are plain words are names only where a rule lists what it waits for.
    words = _WAITS.sub(lambda waits: _PLAIN_NAME.sub(lambda name: f"“{_PLAIN_LABELS[name[0]]}”", waits[0]), words)
    words = words.replace(" (or fluid.points)", "")  # the form has no field for them
    words = words.replace("require mesh_opening", "state “Mesh opening at most”")
    words = _NAME.sub(lambda match: f"“{_LABELS[match[0]]}”", words)
    words = words.replace("leave out maker.", "leave out “Its maker”.")
    return re.sub(r"\bat_(?:least|most)\b", lambda match: _LIMITS[match[0]], words)


# --- tidying ---------------------------------------------------------------------------------------


def tidy(names: Mapping[str, str], units: UnitSystem) -> dict[str, str]:
    """The names and texts with units written out, the oil by its grade and class, and without what states nothing."""
    tidied = dict(names)
    for name in names:
        match = _OWN.fullmatch(name)
        if match and match[2] == "characteristic" and sum(n.startswith(f"require.{match[1]}.") for n in names) == 1:
            del tidied[name]
    tidied |= _printed_ratio(tidied)
    for field in all_fields(tidied):
        if field.name in tidied:
            tidied[field.name] = field.tidied(_without_limit(field, tidied[field.name]), units)
    if "fit.thread" in tidied:
        tidied["fit.thread"] = _thread(tidied["fit.thread"])
    for name, text in read_oil(tidied).items():
        tidied.pop(name, None) if text is None else tidied.update({name: text})
    return tidied


_AT = {
    "at_least": re.compile(r"(?:[≥⩾>]|>\s*=|=\s*>|at least|min\.?|=)\s*(?=[\d.,])", re.IGNORECASE),
    "at_most": re.compile(r"(?:[≤⩽<]|<\s*=|=\s*<|at most|max\.?|=)\s*(?=[\d.,])", re.IGNORECASE),
}
_RATIO = re.compile(
    r"(?:β|ß|beta)\s*(?:(?P<size>[\d.,]+)\s*(?:[uµμ]m)?\s*\((?P<scale>c|acftd)\))?"
    r"(?P<ratio>(?:\s*(?:ratio|[≥⩾>]=?|=>?|at least))*\s*[\d.,]+)",
    re.IGNORECASE,
)
"""A filtration ratio as a can prints it: β 200, β10(c) ≥ 200. A size without its scale may be of either standard, so
that β10 = 200 is not read."""


_SIZE_ALONE = re.compile(r"[\d.,]+\s*(?:[uµμ]m|micron|microns)\s*(?:\((?:c|acftd|\?)\))?", re.IGNORECASE)
_RATIO_AT_A_SIZE = re.compile(r"(?:β|ß|beta)\s*(?P<size>[\d.,]+)\s*(?:[uµμ]m)?\s*[≥⩾>=].*", re.IGNORECASE)


def why_ratio_unread(text: str) -> tuple[str, str] | None:
    """Of a filtration ratio that is typed with its size, or of a size in its place, why it is not read, and what to
    state; None of any other."""
    if _SIZE_ALONE.fullmatch(text):
        return f"{text} is a size, and no ratio.", "State it in the box beside this one, “at size”, and the ratio here."
    match = _RATIO_AT_A_SIZE.fullmatch(text)
    if match is None:
        return None
    size = match["size"]
    return (
        f"The size in {text} has no scale, so that it may be by either standard.",
        f"State the ratio alone here, and at size “{size} um(c)” by ISO 16889 or “{size} um(acftd)” by ISO 4572.",
    )


def _without_limit(field: Field, text: str) -> str:
    """A limit of a label without the sign for what its field is called already: ≥ 200 at least."""
    sign = _AT.get(field.name.rpartition(".")[2])
    match = sign.match(text) if sign else None
    return text[match.end() :] if match else text


def _printed_ratio(names: Mapping[str, str]) -> dict[str, str]:
    """A filtration ratio without its letter, and the size that stands at it, where none, or the same, is stated."""
    label = {each.printed.characteristic: each for each in label_fields(names)}
    if (ratio := label.get("filtration_ratio")) is None:
        return {}
    at_least, size = f"{ratio.prefix}at_least", f"{ratio.prefix}size"
    match = _RATIO.fullmatch(names.get(at_least, ""))
    if match is None:
        return {}
    read = {at_least: re.sub(r"^\s*ratio\b", "", match["ratio"], flags=re.IGNORECASE).strip()}
    if match["size"] is None:
        return read
    own = f"{match['size']} um({match['scale'].lower()})"
    stated = names.get(size, own)
    is_same = stated in (own, match["size"])
    return {**read, size: own} if is_same else {}


def _thread(text: str) -> str:
    """A thread without its series as Find reads it: 1-12 is 1-12 UNF. Any other stays as typed."""
    read = read_measured(f"thread {text}")
    parts = read.parts if read is not None and not read.unread else ()
    return parts[0].text if len(parts) == 1 and parts[0].name == "thread" and parts[0].taken else text
