"""The one list of what standard tests report of a filter element.

Database checks, API fields, CSV headings, the command line and the documentation follow from
``CHARACTERISTICS`` or are tested against it. ``ATTRIBUTES`` is its counterpart for what an element
*is*: kind, seal, fit measures.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Sense = Literal["higher", "lower", "as_required", "covers_below", "covers_above", "shown"]
"""Which way is better. ``covers_below``: the element's limit must lie at or below the required
one (lowest temperature); ``covers_above``: at or above. ``shown`` is never judged."""

Gate = Literal["fit", "seal_and_fluid", "envelope", "collapse", "bypass", "temperature"]

QUALIFIERS = ("equal", "at_least", "at_most", "about")
SCALES = ("c", "acftd", "?")
STANDARD_OF_SCALE = {"ISO 16889": "c", "ISO 4572": "acftd"}
DUST_OF_STANDARD = {"ISO 16889": "ISO 12103-1 A3", "ISO 4572": "ACFTD"}
DROP_OF = ("element", "assembly")
CAPACITY_BASES = ("retained", "injected")
LABORATORIES = ("maker", "independent")
CONDITIONS = {
    # condition: kind of quantity, or None where it is a word
    "size": "size",
    "flow": "flow",
    "viscosity": "viscosity",
    "density": "density",
    "terminal_pressure_drop": "pressure",
    "cycle_pressure": "pressure",
    "gravimetric_level": "concentration",
    "dust": None,
    "test_liquid": None,
    "drop_of": None,
    "capacity_basis": None,
    "standard": None,
}


@dataclass(frozen=True)
class Characteristic:
    """One thing a standard test reports.

    ``kind`` is the kind of quantity (``specdb.units``), ``""`` for a plain number. ``judged_with``
    names the conditions that decide whether a test answers a requirement; ``shown_with`` those that
    are only shown. ``ordinary`` is False where the result takes no part in margin or order.
    """

    key: str
    title: str
    standards: tuple[str, ...]
    kind: str
    sense: Sense
    sentence: str
    judged_with: tuple[str, ...] = ()
    shown_with: tuple[str, ...] = ()
    gate: Gate | None = None
    ratio_scale: bool = True
    ordinary: bool = True


CHARACTERISTICS: dict[str, Characteristic] = {
    c.key: c
    for c in (
        Characteristic(
            "filtration_ratio", "filtration ratio (beta)", ("ISO 16889", "ISO 4572"), "", "higher",
            "particles of the stated size upstream for each one downstream",
            judged_with=("size", "flow", "dust"), shown_with=("gravimetric_level", "terminal_pressure_drop"),
        ),
        Characteristic(
            "retained_capacity", "retained capacity", ("ISO 16889", "ISO 4572"), "mass", "higher",
            "test dust held when the terminal pressure drop is reached",
            judged_with=("flow", "terminal_pressure_drop", "dust", "capacity_basis"), shown_with=("gravimetric_level",),
        ),
        Characteristic(
            "clean_pressure_drop", "clean pressure drop", ("ISO 3968",), "pressure", "lower",
            "pressure lost across the clean element or assembly",
            judged_with=("flow", "viscosity", "density", "drop_of"),
        ),
        Characteristic(
            "bubble_point", "bubble point", ("ISO 2942",), "pressure", "higher",
            "air pressure at the first bubble through the wetted element, a check of fabrication integrity",
            judged_with=("test_liquid",), ordinary=False,
        ),
        Characteristic(
            "collapse_pressure", "collapse pressure", ("ISO 2941",), "pressure", "higher",
            "pressure drop across the element at which it gives way",
            gate="collapse",
        ),
        Characteristic(
            "flow_fatigue_cycles", "flow fatigue", ("ISO 3724", "ISO 23181"), "", "higher",
            "cycles of flow that the element stands",
            judged_with=("cycle_pressure", "standard"),
        ),
        Characteristic(
            "working_pressure", "working pressure", ("ISO 10771-1", "NFPA T2.6.1"), "pressure", "higher",
            "pressure that the can or housing is rated for",
            gate="envelope",
        ),
        Characteristic(
            "burst_pressure", "burst pressure", ("ISO 10771-1", "NFPA T2.6.1"), "pressure", "higher",
            "pressure at which the can or housing gives way",
            gate="envelope",
        ),
        Characteristic(
            "pressure_fatigue_cycles", "pressure fatigue", ("ISO 10771-1", "NFPA T2.6.1"), "", "higher",
            "cycles of pressure that the can or housing stands",
            judged_with=("cycle_pressure",), gate="envelope",
        ),
        Characteristic(
            "bypass_cracking_pressure", "bypass cracking pressure", ("ISO 3968",), "pressure", "as_required",
            "pressure drop at which the bypass valve in the element begins to open",
            gate="bypass", ratio_scale=False,
        ),
        Characteristic(
            "temperature_low", "lowest temperature", (), "temperature", "covers_below",
            "coldest that the maker states for the element",
            gate="temperature", ratio_scale=False,
        ),
        Characteristic(
            "temperature_high", "highest temperature", (), "temperature", "covers_above",
            "hottest that the maker states for the element",
            gate="temperature", ratio_scale=False,
        ),
        Characteristic(
            "air_pressure_drop", "pressure drop of air", (), "pressure", "lower",
            "pressure lost by the stated flow of air through the clean breather",
            judged_with=("flow",),
        ),
        Characteristic(
            "air_particle_size", "particle size held back from air", (), "opening", "lower",
            "size of the particles that the maker states the breather holds back",
        ),
        Characteristic(
            "water_capacity", "water capacity", (), "mass", "higher",
            "water that the breather or element takes up before it is spent",
        ),
        Characteristic(
            "mesh_opening", "mesh opening", (), "opening", "lower",
            "width of the openings in the mesh of a strainer",
        ),
        Characteristic(
            "rated_flow", "rated flow", (), "flow", "shown",
            "flow that the maker states for the element",
        ),
    )
}

KINDS = ("spin-on", "cartridge", "in-tank", "suction strainer", "breather")
MEDIA = ("glass fibre", "cellulose", "polyester", "wire mesh", "metal fibre", "water absorbing")
SEALS = ("NBR", "HNBR", "FKM", "EPDM", "PU", "silicone", "PTFE", "none")
STATUSES = ("current", "superseded", "obsolete")
FLUID_CLASSES = (
    # ISO 6743-4
    "HH", "HL", "HM", "HR", "HV", "HG", "HS",
    "HFAE", "HFAS", "HFB", "HFC", "HFDR", "HFDU",
    "HETG", "HEPG", "HEES", "HEPR",
)
CLASS_OF_TRADE = {"HLP": "HM", "HVLP": "HV"}
"""Names of DIN 51524, parts 2 and 3, for classes of ISO 6743-4 (common practice)."""
YES_NO = ("yes", "no")
LOCATIONS = ("suction", "pressure", "return", "off-line", "breather")
"""Places of a filter in the circuit."""
BYPASSES = ("element", "head", "both", "none")
"""Where a circuit has its bypass valve."""


@dataclass(frozen=True)
class Attribute:
    """One thing an element is. ``kind`` is a kind of quantity, ``word`` (one of ``choices`` where
    they are given), ``words`` (a list of them), ``thread`` or ``text``."""

    key: str
    title: str
    kind: str
    choices: tuple[str, ...] = field(default=())


ATTRIBUTES: dict[str, Attribute] = {
    a.key: a
    for a in (
        Attribute("kind", "kind of element", "word", KINDS),
        Attribute("media", "media", "word", MEDIA),
        Attribute("seal", "seal material", "word", SEALS),
        Attribute("seal_type", "seal type", "word", ("flat gasket", "O-ring", "square ring", "radial lip")),
        Attribute("end_form", "end form", "word", ("open both ends", "open one end", "closed with spigot", "threaded")),
        Attribute("flow_direction", "flow direction", "word", ("outside to inside", "inside to outside")),
        Attribute("core", "core", "word", ("in element", "in housing")),
        Attribute("bypass_valve", "bypass valve in the element", "word", YES_NO),
        Attribute("anti_drain_back", "anti-drain-back valve", "word", YES_NO),
        Attribute("thread", "thread", "thread"),
        Attribute("outside_diameter", "outside diameter", "length"),
        Attribute("inside_diameter", "bore", "length"),
        Attribute("second_inside_diameter", "bore at the other end", "length"),
        Attribute("length", "length", "length"),
        Attribute("gasket_outside_diameter", "gasket outside diameter", "length"),
        Attribute("gasket_inside_diameter", "gasket inside diameter", "length"),
        Attribute("fluids_compatible", "compatible fluid classes", "words", FLUID_CLASSES),
        Attribute("fluids_excluded", "excluded fluid classes", "words", FLUID_CLASSES),
        Attribute("fluids_tested", "fluid classes passed (ISO 2943)", "words", FLUID_CLASSES),
        Attribute("fluids_failed", "fluid classes failed (ISO 2943)", "words", FLUID_CLASSES),
        Attribute("zinc_parts", "zinc parts in the fluid", "word", YES_NO),
        Attribute("status", "status", "word", STATUSES),
        Attribute("successor", "successor", "text"),
        Attribute("series", "series", "text"),
    )
}


CONTRARY = {"fluids_excluded": "fluids_compatible", "fluids_failed": "fluids_tested"}
"""Lists of fluid classes that contradict one another: no document puts one class into both."""

FLUID_CRITERIA = {
    "fluid_class": "fluid class",
    "seal_compatibility": "seal and fluid",
    "media_compatibility": "media and fluid",
}
"""Criteria on the duty's fluid, which no one attribute answers, and their titles."""


WORKED_OUT = {"collapse_over_own_drop": "collapse pressure over the element's own clean drop"}
"""Criteria worked out from the results of several characteristics, and their titles."""


def title_of(criterion: str) -> str:
    """Title of a characteristic, of an attribute, of a criterion on the fluid or of one that is worked out."""
    further = FLUID_CRITERIA | WORKED_OUT
    if criterion in further:
        return further[criterion]
    known = CHARACTERISTICS.get(criterion)
    return known.title if known else ATTRIBUTES[criterion].title
