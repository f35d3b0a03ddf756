"""What is not on file of an element, though one of its kind is usually judged by it: characteristics, attributes, and
conditions that its tests leave unstated.

Which they are for each kind is common practice. Nothing here is judged, and no verdict comes of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from specdb.advice.asking import STATEMENT, as_asked, result_words, run_words, standards_of
from specdb.amounts import listed
from specdb.bounds import BoolArray
from specdb.catalog.snapshot import Points, Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, SCALES
from specdb.duty import Requirement
from specdb.duty.derived.envelope import WITH_A_CAN

_TEMPERATURES = ("temperature_low", "temperature_high")
_IN_LIQUID = (
    *("filtration_ratio", "retained_capacity", "clean_pressure_drop", "collapse_pressure", "flow_fatigue_cycles"),
    *_TEMPERATURES,
)
_OF_A_CAN = ("working_pressure", "burst_pressure", "pressure_fatigue_cycles")
_OF_A_STRAINER = ("clean_pressure_drop", "mesh_opening", *_TEMPERATURES)
_OF_A_BREATHER = ("air_pressure_drop", "air_particle_size", *_TEMPERATURES)
_MULTI_PASS = ("filtration_ratio", "retained_capacity")

_WHAT_IT_IS = ("kind", "media", "seal", "outside_diameter", "length")
_FIT_OF: dict[str | None, tuple[str, ...]] = {
    None: ("bypass_valve",),
    "spin-on": ("bypass_valve", "thread", "gasket_outside_diameter", "gasket_inside_diameter", "anti_drain_back"),
    "cartridge": ("bypass_valve", "inside_diameter", "end_form", "flow_direction", "core"),
    "in-tank": ("bypass_valve", "inside_diameter", "end_form", "flow_direction", "core"),
    "suction strainer": ("bypass_valve", "thread"),
    "breather": ("thread",),
}
_FLUIDS = ("fluids_compatible", "fluids_tested")
"""Either list tells for what fluids the element is."""

_UNSTATED = {
    "size": "the scale of the particle size",
    "flow": "the flow",
    "viscosity": "the viscosity",
    "density": "the density",
    "terminal_pressure_drop": "the terminal pressure drop",
    "cycle_pressure": "the cycle pressure",
    "dust": "the dust",
    "test_liquid": "the test liquid",
    "drop_of": "whether the drop is of the element or of an assembly",
    "capacity_basis": "whether the mass is retained or injected",
    "standard": "the standard",
}
_ASKED_WITH = {**_UNSTATED, "size": "the particle size and its scale"}
"""What is to be stated with a result, of each condition that it is judged with."""


@dataclass(frozen=True)
class Unstated:
    """Results of one characteristic that leave the same conditions unstated: ``results`` of the ``of`` on file, and the
    keys of the sources of their tests, as far as one is named."""

    characteristic: str
    lacks: tuple[str, ...]
    results: int
    of: int
    sources: tuple[str, ...]

    @property
    def words(self) -> str:
        leave = "leaves" if self.of == 1 or self.results == 1 else "leave"
        return f"Of its {CHARACTERISTICS[self.characteristic].title} {self.which} {leave} unstated {self.lacking}"

    @property
    def which(self) -> str:
        """The results that it is so of: "2 of 4 results"."""
        if self.of == 1:
            return "the one result"
        return f"{self.results} of {self.of} results" if self.results < self.of else "all results"

    @property
    def lacking(self) -> str:
        return listed([_UNSTATED[name] for name in self.lacks])


@dataclass(frozen=True)
class Gaps:
    """``characteristics`` and ``attributes`` have nothing on file, ``unstated`` is left open by tests that are."""

    characteristics: tuple[str, ...]
    attributes: tuple[str, ...]
    unstated: tuple[Unstated, ...]

    @property
    def is_empty(self) -> bool:
        return not (self.characteristics or self.attributes or self.unstated)

    def words(self) -> list[str]:
        """Of what there is nothing, in plain sentences."""
        told = [f"Nothing is on file of its {_titled(key)}." for key in self.characteristics]
        titles = [ATTRIBUTES[key].title for key in self.attributes]
        return told + ([f"Of what it is, nothing is on file of {listed(titles)}."] if titles else [])


def _titled(characteristic: str) -> str:
    """The title with the standards whose tests would report it."""
    known = CHARACTERISTICS[characteristic]
    return f"{known.title} ({' or '.join(known.standards)})" if known.standards else known.title


def gaps(snapshot: Snapshot, row: int) -> Gaps:
    """What is not on file of the element in ``row``."""
    points = {key: _points_of(snapshot, row, key) for key in CHARACTERISTICS}
    return Gaps(
        tuple(key for key in usual_characteristics(snapshot, row) if not len(points[key])),
        tuple(_attributes_missing(snapshot, row)),
        tuple(each for key, of in points.items() if len(of) for each in _unstated(snapshot, key, of)),
    )


def asked_of_makers(missing: Mapping[int, Gaps]) -> dict[str, dict[str, list[int]]]:
    """What to ask for where no duty says what is required, of the elements in the rows that ``missing`` is of: by test
    in words (:func:`specdb.advice.asking.run_words`) each result, with what is to be stated with it, and the rows."""
    found: dict[str, dict[str, list[int]]] = {}
    for row, its in missing.items():
        for key in (*its.characteristics, *its.attributes):
            asked = as_asked(Requirement("", key, "stated"))
            found.setdefault(run_words(asked), {}).setdefault(_result_asked(asked), []).append(row)
    # What a maker may simply say stands behind the tests.
    return dict(sorted(found.items(), key=lambda each: each[0] == STATEMENT))


def _result_asked(asked: Requirement) -> str:
    """The result that is wanted, with each condition that it is judged with and that its test does not say."""
    known = CHARACTERISTICS.get(asked.characteristic)
    said = {
        "dust": asked.dust is not None,
        "test_liquid": asked.test_liquid is not None,
        "capacity_basis": asked.capacity_basis is not None,
        "standard": len(standards_of(asked)) == 1,
    }
    conditions = [_ASKED_WITH[name] for name in (known.judged_with if known else ()) if not said.get(name)]
    return result_words(asked) + (f", with {listed(conditions)}" if conditions else "")


def usual_characteristics(snapshot: Snapshot, row: int) -> list[str]:
    """What an element of this kind is usually judged by, in the order of the list of characteristics; of one whose kind
    is not on file, what any element in liquid is."""
    words = snapshot.elements.words
    kind, media, bypass = (words[key].word(row) for key in ("kind", "media", "bypass_valve"))
    usual = {"suction strainer": _OF_A_STRAINER, "breather": _OF_A_BREATHER}.get(kind or "", _IN_LIQUID)
    wanted = {*usual, *(_OF_A_CAN if kind in WITH_A_CAN else ())}
    if media == "water absorbing":
        wanted = wanted - {*_MULTI_PASS} | {"water_capacity"}
    if bypass == "yes":
        wanted.add("bypass_cracking_pressure")
    return [key for key in CHARACTERISTICS if key in wanted]


def _points_of(snapshot: Snapshot, row: int, characteristic: str) -> Points:
    points = snapshot.of(characteristic)
    return points.rows(np.flatnonzero(points.element == row))


def _attributes_missing(snapshot: Snapshot, row: int) -> list[str]:
    elements = snapshot.elements
    wanted = {*_WHAT_IT_IS, *_FIT_OF[elements.words["kind"].word(row)]}

    def is_stated(key: str) -> bool:
        measure = elements.measures.get(key)
        return bool(elements.words[key].stated[row] if measure is None else np.isfinite(measure[row]))

    missing = [key for key in ATTRIBUTES if key in wanted and not is_stated(key)]
    return missing + ([] if any(map(is_stated, _FLUIDS)) else [_FLUIDS[0]])


def _unstated(snapshot: Snapshot, characteristic: str, points: Points) -> list[Unstated]:
    """Results grouped by what they lack, in the order of the results."""
    lacking = _lacking(snapshot, points)
    judged_with = CHARACTERISTICS[characteristic].judged_with
    groups: dict[tuple[str, ...], list[int]] = {}
    for place in range(len(points)):
        lacks = tuple(name for name in judged_with if lacking[name][place])
        if lacks:
            groups.setdefault(lacks, []).append(place)
    return [
        Unstated(characteristic, lacks, len(places), len(points), _sources(snapshot, points, places))
        for lacks, places in groups.items()
    ]


def _lacking(snapshot: Snapshot, points: Points) -> dict[str, BoolArray]:
    """By condition, whether each result leaves it unstated; what follows from the standard of a test is stated."""
    tests, at = snapshot.tests, points.test
    by_mass_retained = tests.standard.equals("ISO 16889")
    return {
        "size": points.scale == SCALES.index("?"),
        "flow": np.isnan(points.flow_l_min),
        "viscosity": np.isnan(points.viscosity_mm2_s),
        "density": np.isnan(points.density_kg_m3),
        "terminal_pressure_drop": np.isnan(tests.terminal_pressure_drop_kpa)[at],
        "cycle_pressure": np.isnan(tests.cycle_pressure_kpa)[at],
        "dust": ~tests.dust.stated[at],
        "test_liquid": ~tests.test_liquid.stated[at],
        "drop_of": ~tests.drop_of.stated[at],
        "capacity_basis": ~(tests.capacity_basis.stated | by_mass_retained)[at],
        "standard": ~tests.standard.stated[at],
    }


def _sources(snapshot: Snapshot, points: Points, places: list[int]) -> tuple[str, ...]:
    ids = dict.fromkeys(int(snapshot.tests.source_id[points.test[place]]) for place in places)
    return tuple(snapshot.sources[each].key for each in ids if each in snapshot.sources)
