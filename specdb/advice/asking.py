"""What to ask for: for each requirement that is not shown of somebody, the test or statement that would settle it.

A test run as :func:`as_asked` says settles the requirement whatever its result, but for one within its own
uncertainty of the limit. What no test can settle is told apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from specdb.amounts import amount, listed
from specdb.bounds import NOT_SHOWN
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.characteristics import CHARACTERISTICS, DUST_OF_STANDARD, STANDARD_OF_SCALE, title_of
from specdb.criteria import REASONS, Judged
from specdb.criteria.fluid import PART_OF, ground_of
from specdb.duty import Requirement
from specdb.ranking import Ranking
from specdb.units import UnitSystem, show
from specdb.wording import source_of, unstated_conditions

STATEMENT = "maker's statement"
"""Where no standard test reports what is asked."""

_STANDARD_OF_DUST = {dust: standard for standard, dust in DUST_OF_STANDARD.items()}
_USUAL_STANDARD = "ISO 16889"
_ON_FLUIDS = ("fluid_class", "seal_compatibility", "media_compatibility")
_SOAKED = ("fluid_class", "media_compatibility")
"""ISO 2943 soaks the element; the mounting seal is no part of it."""
_MULTI_PASS = ("filtration_ratio", "retained_capacity")
_CYCLES = ("flow_fatigue_cycles", "pressure_fatigue_cycles")

_LABORATORIES = {"maker": "the maker's laboratory", "independent": "an independent laboratory"}

_TEST_NAMES = {
    "filtration_ratio": "multi-pass test",
    "retained_capacity": "multi-pass test",
    "clean_pressure_drop": "pressure drop test",
    "bubble_point": "first bubble point test",
    "collapse_pressure": "collapse test",
    "collapse_over_own_drop": "collapse test",
    "flow_fatigue_cycles": "flow fatigue test",
    "working_pressure": "fatigue pressure test of the can or housing",
    "burst_pressure": "burst test of the can or housing",
    "pressure_fatigue_cycles": "fatigue pressure test of the can or housing",
    "bypass_cracking_pressure": "pressure drop test of the bypass valve",
    "fluid_class": "fluid compatibility test",
    "media_compatibility": "fluid compatibility test",
}


@dataclass(frozen=True)
class Document:
    """What says so: its key and title, and where it was tested, None where that is not stated."""

    name: str
    laboratory: str | None

    @property
    def words(self) -> str:
        return self.name if self.laboratory is None else f"{self.name}, {_LABORATORIES[self.laboratory]}"


@dataclass(frozen=True)
class Unsettled:
    """One element of which a requirement is not shown.

    ``reason`` is one of ``REASONS``; ``lacks`` names what its test leaves unstated though it is asked, which the maker
    may only have to say; ``documents`` are those of the test that was told of and of the one that contradicts it.
    """

    row: int
    reason: str
    lacks: tuple[str, ...]
    documents: tuple[Document, ...]


@dataclass(frozen=True)
class Request:
    """One requirement, what would settle it (``asked``: with all that a test must state), and of whom."""

    judged: Judged
    asked: Requirement
    unsettled: tuple[Unsettled, ...]

    @property
    def requirement(self) -> Requirement:
        return self.judged.requirement


@dataclass(frozen=True)
class Requests:
    """``by_test`` in order of how many elements each settles, then of the requirements; ``beyond_tests`` is what no
    test can settle, in order of the requirements."""

    by_test: tuple[Request, ...]
    beyond_tests: tuple[Request, ...]


def requests(ranking: Ranking, rows: Sequence[int]) -> Requests:
    """What to ask for, of the elements in ``rows``, in their order."""
    return Requests(
        tuple(_request(ranking.snapshot, judged, settled) for judged, settled in settled_by_tests(ranking, rows)),
        tuple(
            _request(ranking.snapshot, judged, hopeless)
            for judged in ranking.judged
            if (hopeless := [row for row in _not_shown(judged, rows) if _beyond_tests(judged, row)])
        ),
    )


def settled_by_tests(ranking: Ranking, rows: Sequence[int]) -> list[tuple[Judged, list[int]]]:
    """Each requirement that a test would settle, with those of ``rows`` that it would settle it for; most first, then
    in order of the requirements."""
    found = [
        (judged, [row for row in _not_shown(judged, rows) if not _beyond_tests(judged, row)])
        for judged in ranking.judged
    ]
    return sorted(((judged, settled) for judged, settled in found if settled), key=lambda each: -len(each[1]))


def _not_shown(judged: Judged, rows: Sequence[int]) -> list[int]:
    return [row for row in rows if judged.verdict[row] == NOT_SHOWN]


def _request(snapshot: Snapshot, judged: Judged, rows: Sequence[int]) -> Request:
    return Request(judged, as_asked(judged.requirement), tuple(_unsettled(snapshot, judged, row) for row in rows))


def _beyond_tests(judged: Judged, row: int) -> bool:
    """A limit that is not known or is an estimate, sources that disagree already, and a seal of which the table leaves
    open whether the fluid suits it: no standard test says so of a mounting seal."""
    if judged.requirement.open or judged.requirement.estimated:
        return True
    of_table = ("depends", "not_in_table") if judged.requirement.characteristic == "seal_compatibility" else ()
    return _reason(judged, row) in ("sources_disagree", *of_table)


def _reason(judged: Judged, row: int) -> str:
    return REASONS[judged.reason[row]]


def _unsettled(snapshot: Snapshot, judged: Judged, row: int) -> Unsettled:
    key, reason = judged.requirement.characteristic, _reason(judged, row)
    tests = [test for test in (int(judged.test[row]), int(judged.other_test[row])) if test >= 0]
    silent = bool(tests) and reason == "condition_not_stated" and key in CHARACTERISTICS
    of_tests = [Document(source_of(snapshot, test), snapshot.tests.laboratory.word(test)) for test in tests]
    return Unsettled(
        row=row,
        reason=reason,
        lacks=tuple(unstated_conditions(snapshot, judged.requirement, tests[0])) if silent else (),
        documents=tuple(of_tests or _of_attributes(snapshot, judged.requirement, row)),
    )


def _of_attributes(snapshot: Snapshot, requirement: Requirement, row: int) -> list[Document]:
    """Documents that name the part or list the classes on which a verdict on the fluid rests."""
    if requirement.characteristic not in PART_OF:
        return []
    ids = (int(snapshot.elements.sources[k][row]) for k in ground_of(snapshot, requirement, row).attributes)
    sources = (snapshot.sources[i] for i in dict.fromkeys(ids) if i in snapshot.sources)
    return [Document(f"{source.key} ({source.title})", None) for source in sources]


# --- what would settle it --------------------------------------------------------------------------


def as_asked(requirement: Requirement) -> Requirement:
    """The requirement with every condition that its test must state, those that follow from a standard too.

    Of a band of viscosity or density the test is asked for at the edge that decides: the thick and heavy one where the
    drop may be at most so much, the thin and light one where it must be at least, both where both.
    """
    key = requirement.characteristic
    if key == "filtration_ratio":
        standards = {scale: standard for standard, scale in STANDARD_OF_SCALE.items()}
        standard = standards.get(requirement.scale or "", _USUAL_STANDARD)
        return replace(requirement, standard=standard, dust=requirement.dust or DUST_OF_STANDARD[standard])
    if key == "retained_capacity":
        dust = requirement.dust or DUST_OF_STANDARD[_USUAL_STANDARD]
        standard = _STANDARD_OF_DUST.get(dust, _USUAL_STANDARD)
        basis = requirement.capacity_basis or "retained"
        return replace(requirement, standard=standard, dust=dust, capacity_basis=basis)
    if key == "bubble_point":
        return replace(requirement, test_liquid=requirement.test_liquid or "2-propanol")
    if key == "collapse_over_own_drop":
        return _at_the_edge(replace(requirement, drop_of="element"), thin=False, thick=True)
    if key == "clean_pressure_drop":
        return _at_the_edge(requirement, thin=np.isfinite(requirement.low), thick=np.isfinite(requirement.high))
    return requirement


def _at_the_edge(requirement: Requirement, *, thin: bool, thick: bool) -> Requirement:
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    light, heavy = requirement.density_low_kg_m3, requirement.density_high_kg_m3
    if thin and not thick:
        high, heavy = low, light
    elif thick and not thin:
        low, light = high, heavy
    return replace(
        requirement,
        viscosity_low_mm2_s=low,
        viscosity_high_mm2_s=high,
        density_low_kg_m3=light,
        density_high_kg_m3=heavy,
    )


def standards_of(requirement: Requirement) -> tuple[str, ...]:
    """Standards of the test that settles a requirement: any one of them, but both of a collapse over the clean drop;
    none where the maker's statement is all there is."""
    key = requirement.characteristic
    if requirement.standard is not None:
        return (requirement.standard,)
    if key in _SOAKED:
        return ("ISO 2943",)
    if key == "collapse_over_own_drop":
        return CHARACTERISTICS["collapse_pressure"].standards + CHARACTERISTICS["clean_pressure_drop"].standards
    return CHARACTERISTICS[key].standards if key in CHARACTERISTICS else ()


def cycles_of(requirement: Requirement) -> float | None:
    """Cycles that a fatigue test must run to, None for anything else."""
    if requirement.characteristic not in _CYCLES:
        return None
    return next((limit for limit in (requirement.low, requirement.high) if np.isfinite(limit)), None)


def fluid_class_of(requirement: Requirement) -> str | None:
    """Class of the fluid that is asked about, None for anything else."""
    return requirement.word if requirement.characteristic in _ON_FLUIDS else None


# --- in words --------------------------------------------------------------------------------------


def asked_words(asked: Requirement, units: UnitSystem = "si") -> str:
    """The test with its standard and conditions, and the result that is wanted of it."""
    return f"{run_words(asked, units)}: {result_words(asked, units)}"


def run_words(asked: Requirement, units: UnitSystem = "si") -> str:
    """The test without what may be read off it: "multi-pass test to ISO 16889 with ISO 12103-1 A3 at 75 L/min".

    Requirements of which it says the same are settled by one test.
    """
    standards = standards_of(asked)
    if not standards:
        return STATEMENT
    key, cycles, fluid_class = asked.characteristic, cycles_of(asked), fluid_class_of(asked)
    name = f"{_TEST_NAMES.get(key, 'test')} to {' or '.join(standards)}"
    if key == "collapse_over_own_drop":
        collapse, drop = standards
        name = f"{_TEST_NAMES['collapse_pressure']} to {collapse}, and {_TEST_NAMES['clean_pressure_drop']} to {drop}"
    pressure = "" if asked.cycle_pressure_kpa is None else f" of {show(asked.cycle_pressure_kpa, 'pressure', units)}"
    parts = [
        name,
        f"of the {asked.drop_of}" if asked.drop_of else "",
        f"in {asked.test_liquid}" if asked.test_liquid else "",
        f"in a fluid of class {fluid_class}" if fluid_class else "",
        f"with {asked.dust}" if asked.dust else "",
        f"with {amount(cycles, '', units)} cycles{pressure}" if cycles is not None else "",
        f"at {show(asked.flow_l_min, 'flow', units)}" if key in _MULTI_PASS and asked.flow_l_min is not None else "",
    ]
    return " ".join(part for part in parts if part)


def result_words(asked: Requirement, units: UnitSystem = "si") -> str:
    """What is wanted of a test or statement, where on its curve: "filtration ratio (beta) at 10 µm(c)"."""
    return _joined(_title_asked(asked), _place_asked([asked], units))


def results_words(asked: Iterable[Requirement], units: UnitSystem = "si") -> list[str]:
    """As :func:`result_words` of several, those of one curve together: "clean pressure drop at 30, 60 and 120 L/min and
    32 mm²/s"."""
    return [_joined(*told) for told in places_asked(asked, units)]


def places_asked(asked: Iterable[Requirement], units: UnitSystem = "si") -> list[tuple[str, str]]:
    """What is wanted, and where on its curve, "" where it has none; results that differ in size or flow alone are put
    together."""
    curves: dict[tuple[str, str, str | None], list[Requirement]] = {}
    for each in asked:
        elsewhere = replace(each, size_um=None, flow_l_min=None)
        curves.setdefault((_title_asked(each), _place_asked([elsewhere], units), each.scale), []).append(each)
    return [(title, _place_asked(of, units)) for (title, _, _), of in curves.items()]


def _joined(title: str, place: str) -> str:
    return f"{title} {place}" if place else title


def _title_asked(asked: Requirement) -> str:
    key, title = asked.characteristic, title_of(asked.characteristic)
    if key == "seal_compatibility":
        return f"seal material, and whether it suits fluids of class {asked.word}"
    if key in _ON_FLUIDS:
        return "whether the element passed, with temperature and duration"
    if key in MEASURES:
        return f"{title}, with its tolerance"
    if key == "collapse_over_own_drop":
        return ", and ".join(title_of(each) for each in ("collapse_pressure", "clean_pressure_drop"))
    return f"{title} (mass {asked.capacity_basis})" if key == "retained_capacity" else title


def _place_asked(asked: Sequence[Requirement], units: UnitSystem) -> str:
    """Where on one curve results are wanted: "at 30, 60 and 120 L/min and 32 mm²/s"."""
    one = asked[0]
    if one.characteristic in MEASURES or one.characteristic in _ON_FLUIDS:
        return ""
    low, high = one.viscosity_low_mm2_s, one.viscosity_high_mm2_s
    light, heavy = one.density_low_kg_m3, one.density_high_kg_m3
    flows = [] if one.characteristic in _MULTI_PASS else [each.flow_l_min for each in asked]
    at = [
        _several([each.size_um for each in asked], "size", units, one.scale),
        _several(flows, "flow", units),
        _several([low], "viscosity", units),
        _several([None if low == high else high], "viscosity", units),
        _several([light], "density", units),
        _several([None if light == heavy else heavy], "density", units),
    ]
    if one.terminal_pressure_drop_kpa is not None:
        at.append(f"a terminal drop of {show(one.terminal_pressure_drop_kpa, 'pressure', units)}")
    told = [each for each in at if each]
    return f"at {listed(told)}" if told else ""


def _several(values: Iterable[float | None], kind: str, units: UnitSystem, scale: str | None = None) -> str:
    """Amounts with their unit said once: "30, 60 and 120 L/min"."""
    stated = sorted({value for value in values if value is not None})
    told = [show(value, kind, units, scale=scale).partition(" ") for value in stated]
    if len({unit for _, _, unit in told}) == 1:
        return f"{listed([number for number, _, _ in told])} {told[0][2]}"
    return listed(["".join(each) for each in told])


def help_words(request: Request, units: UnitSystem = "si") -> str:
    """What would help where no test settles a requirement."""
    requirement, title = request.requirement, title_of(request.requirement.characteristic)
    if requirement.open:
        return f"The limit of {title} is not known: state in the duty what it hangs on, as the requirement's notes say."
    if requirement.estimated:
        return (
            f"The limit of {title} is an estimate, so that no result proves anything against it. "
            f"A {asked_words(request.asked, units)} tells which way it leans."
        )
    if any(each.reason == "sources_disagree" for each in request.unsettled):
        return f"Sources disagree on {title}: ask both laboratories for the report."
    return (
        f"No standard test says whether a mounting seal suits fluids of class {requirement.word}, and the table leaves "
        "it open: ask the makers of the element and of the fluid."
    )
