"""Requirements and verdicts in plain words, the same for every reader."""

from __future__ import annotations

from typing import Literal

import numpy as np

from specdb.bounds import MEETS, MISSES
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.criteria import ASSUMPTION_BITS, BASES, REASONS, Judged
from specdb.duty import ASSUMPTION_SENTENCES, Assumptions, Requirement
from specdb.units import show

UnitSystem = Literal["si", "us"]

VERDICTS = {MEETS: "meets", MISSES: "misses", 0: "not_shown"}
LEANS = {MEETS: "meets", MISSES: "misses", 0: None}
ORIGINS = {"stated": "stated", "original": "from the original", "derived": "derived"}

CAUTIONS = (
    "Equivalence on test results is not the equipment maker's approval, and no statement on warranty.",
    "A competent person must check fit, seal and bypass of the element in hand before it is installed.",
    "Fluid under pressure injures. Stop the machine, lock it out, release the pressure and let it cool "
    "before a housing is opened.",
    "Local codes and licensed practice come first.",
)

_WHY = {
    "no_data": "nothing is on file",
    "sources_disagree": "its tests contradict each other",
    "inconsistent_test": "the results of its test contradict each other",
    "other_scale": "it was tested on another size scale",
    "condition_not_stated": "its test leaves a condition unstated",
    "other_conditions": "it was tested at other conditions",
    "approximate_only": "only an approximate value is stated",
    "wrong_side": "what is stated bounds it on the other side only",
}
_HOW = {
    "as_stated": "",
    "carried": "carried from other test conditions",
    "interpolated": "read between two tested sizes",
    "from_curve": "worked out from its drop test",
}


def title_of(characteristic: str) -> str:
    if characteristic == "fluid_class":
        return "fluid class"
    known = CHARACTERISTICS.get(characteristic)
    return known.title if known else ATTRIBUTES[characteristic].title


def kind_of(characteristic: str) -> str:
    """Kind of quantity of a criterion; "" for plain numbers and words."""
    if characteristic in CHARACTERISTICS:
        return CHARACTERISTICS[characteristic].kind
    return "length" if characteristic in MEASURES else ""


def amount(value: float, kind: str, units: UnitSystem) -> str:
    return show(value, kind, units) if kind else f"{value:.4g}"


def span(low: float, high: float, kind: str, units: UnitSystem) -> str:
    """A pair of bounds in words: "at least 60 g", "20 to 24 kPa"."""
    if np.isfinite(low) and np.isfinite(high):
        if np.isclose(low, high, rtol=1e-9, atol=0):
            return amount(low, kind, units)
        return f"{amount(low, kind, units)} to {amount(high, kind, units)}"
    if np.isfinite(low):
        return f"at least {amount(low, kind, units)}"
    if np.isfinite(high):
        return f"at most {amount(high, kind, units)}"
    return "nothing"


def limits(requirement: Requirement, units: UnitSystem = "si") -> str:
    """What is required, without its conditions: "at least 200 at 10 µm(c)"."""
    if requirement.word is not None:
        return requirement.word
    kind = kind_of(requirement.characteristic)
    text = span(requirement.low, requirement.high, kind, units)
    if requirement.size_um is not None:
        text += f" at {show(requirement.size_um, 'size', units, scale=requirement.scale)}"
    return text


def conditions(requirement: Requirement, units: UnitSystem = "si") -> str:
    """The conditions that are asked: "at 75 L/min and 32 mm²/s"."""
    told = []
    if requirement.flow_l_min is not None:
        told.append(show(requirement.flow_l_min, "flow", units))
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    if low is not None and high is not None:
        told.append(span(low, high, "viscosity", units))
    if requirement.density_kg_m3 is not None:
        told.append(show(requirement.density_kg_m3, "density", units))
    if requirement.terminal_pressure_drop_kpa is not None:
        told.append(f"a terminal drop of {show(requirement.terminal_pressure_drop_kpa, 'pressure', units)}")
    if requirement.cycle_pressure_kpa is not None:
        told.append(f"a cycle pressure of {show(requirement.cycle_pressure_kpa, 'pressure', units)}")
    where = f"at {_listed(told)}" if told else ""
    words = [
        f"of the {requirement.drop_of}" if requirement.drop_of else "",
        f"in {requirement.test_liquid}" if requirement.test_liquid else "",
        f"by {requirement.standard}" if requirement.standard else "",
        "injected" if requirement.capacity_basis == "injected" else "",
        f"with {requirement.dust}" if requirement.dust else "",
        where,
    ]
    return ", ".join(w for w in words if w)


def requirement_words(requirement: Requirement, units: UnitSystem = "si") -> str:
    """One requirement whole: characteristic, limits, conditions and allowance."""
    text = f"{title_of(requirement.characteristic)}: {limits(requirement, units)}"
    asked = conditions(requirement, units)
    if asked:
        text += f" ({asked})"
    if requirement.allow:
        text += f", with an allowance of {requirement.allow:.3g}".rstrip() + " of the limit"
    return text


def assumption_words(assumptions: Assumptions) -> dict[str, str]:
    """Each assumption that is made, in words."""
    told = {}
    for name, value in assumptions.named().items():
        sentence = ASSUMPTION_SENTENCES[name]
        told[name] = sentence.format(value) if not isinstance(value, bool) else sentence
    return told


def assumed(judged: Judged, row: int) -> tuple[str, ...]:
    """Names of the assumptions behind one verdict: those of the deciding test, where it differs from proof."""
    if judged.verdict[row] == judged.verdict_without_assumptions[row]:
        return ()
    bits = int(judged.assumed[row])
    return tuple(name for name, bit in ASSUMPTION_BITS.items() if bits & bit)


def explanation(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem = "si") -> str:
    """One sentence that a customer could be read, on one criterion of one element."""
    requirement = judged.requirement
    title = title_of(requirement.characteristic)
    required = f"{limits(requirement, units)} is required"
    verdict = int(judged.verdict[row])
    reason = REASONS[judged.reason[row]]
    if reason == "no_data":
        return f"Not shown: nothing is on file for {title}; {required}."
    found = _found(snapshot, judged, row, units)
    if verdict == MEETS:
        return f"Meets: {title} {found}{_manner(judged, row)}; {required}."
    if verdict == MISSES:
        return f"Misses: {title} {found}{_manner(judged, row)}; {required}."
    return f"Not shown: {title} {found}, because {_WHY[reason]}{_leaning(judged, row, units)}; {required}."


def _found(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    requirement = judged.requirement
    if requirement.word is not None:
        return _word(snapshot, requirement, row)
    kind = kind_of(requirement.characteristic)
    low, high = float(judged.low[row]), float(judged.high[row])
    if int(judged.verdict[row]) != 0:
        return span(low, high, kind, units)
    if not np.isfinite(low) and not np.isfinite(high):
        return "is not proven"
    return f"is proven only to be {span(low, high, kind, units)}"


def _word(snapshot: Snapshot, requirement: Requirement, row: int) -> str:
    words = snapshot.elements.words
    if requirement.characteristic != "fluid_class":
        return str(words[requirement.characteristic].word(row))
    listed = "fluids_compatible" if words["fluids_compatible"].lists(str(requirement.word))[row] else "fluids_excluded"
    return f"{requirement.word} is listed as {'compatible' if listed == 'fluids_compatible' else 'excluded'}"


def _manner(judged: Judged, row: int) -> str:
    told = [_HOW[BASES[judged.basis[row]]]] if BASES[judged.basis[row]] else []
    if judged.by_rounding[row]:
        told.append("equal by rounding")
    names = assumed(judged, row)
    if names:
        told.append("assuming " + ", ".join(names))
    told = [t for t in told if t]
    return f" ({'; '.join(told)})" if told else ""


def _leaning(judged: Judged, row: int, units: UnitSystem) -> str:
    estimate = float(judged.estimate[row])
    if not np.isfinite(estimate) or REASONS[judged.reason[row]] == "sources_disagree":
        return ""
    kind = kind_of(judged.requirement.characteristic)
    would = {MEETS: "would meet", MISSES: "would miss"}[int(judged.lean[row])]
    return f"; the best estimate, {amount(estimate, kind, units)}, {would} but is no proof"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
