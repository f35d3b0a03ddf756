"""Requirements and verdicts in plain words, the same for every reader."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from specdb.amounts import amount, listed, span
from specdb.bounds import MEETS, MISSES
from specdb.catalog.snapshot import MEASURES, Points, Snapshot
from specdb.characteristics import CHARACTERISTICS, SCALES, WORKED_OUT, title_of
from specdb.criteria import ASSUMPTION_BITS, BASES, REASONS, Judged
from specdb.criteria.fluid import PART_OF, SOAKED, Ground, ground_of
from specdb.duty import ASSUMPTION_SENTENCES, Assumptions, Requirement
from specdb.trade.compatibility import LEVEL_WORDS
from specdb.units import UnitSystem, show

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
    "inconsistent_test": "the results of its test contradict each other",
    "approximate_only": "only an approximate value is stated",
}
_HOW = {
    "as_stated": "",
    "carried": "carried from other test conditions",
    "interpolated": "read between two tested sizes",
    "from_curve": "worked out from its drop test",
}


def kind_of(characteristic: str) -> str:
    """Kind of quantity of a criterion; "" for plain numbers and words."""
    if characteristic in CHARACTERISTICS:
        return CHARACTERISTICS[characteristic].kind
    return "length" if characteristic in MEASURES else ""


def limits(requirement: Requirement, units: UnitSystem = "si") -> str:
    """What is required, without its conditions: "at least 200 at 10 µm(c)"."""
    if requirement.characteristic in PART_OF:
        return f"suitable with {requirement.word}"
    if requirement.word is not None:
        return requirement.word
    if requirement.open:
        return "a limit that is not known"
    kind = kind_of(requirement.characteristic)
    text = span(requirement.low, requirement.high, kind, units)
    if requirement.size_um is not None:
        text += f" at {show(requirement.size_um, 'size', units, scale=requirement.scale)}"
    if requirement.allow:
        text += f" with an allowance of {requirement.allow * 100:.3g} %"
    return text


def conditions(requirement: Requirement, units: UnitSystem = "si") -> str:
    """The conditions that are asked: "at 75 L/min and 32 mm²/s"."""
    told = []
    if requirement.flow_l_min is not None:
        told.append(show(requirement.flow_l_min, "flow", units))
    low, high = requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    if low is not None and high is not None:
        told.append(span(low, high, "viscosity", units))
    light, heavy = requirement.density_low_kg_m3, requirement.density_high_kg_m3
    if light is not None and heavy is not None:
        told.append(span(light, heavy, "density", units))
    if requirement.terminal_pressure_drop_kpa is not None:
        told.append(f"a terminal drop of {show(requirement.terminal_pressure_drop_kpa, 'pressure', units)}")
    if requirement.cycle_pressure_kpa is not None:
        told.append(f"a cycle pressure of {show(requirement.cycle_pressure_kpa, 'pressure', units)}")
    where = f"at {listed(told)}" if told else ""
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
    return text


def margin_words(margin: float) -> str:
    """A margin, kept as a logarithm, in percent of what is required."""
    share = math.expm1(margin)
    return f"{share:+.1%}" if share < 10 else f"{share:+.0%}"


def assumption_words(assumptions: Assumptions) -> dict[str, str]:
    """Each assumption that is made, in words."""
    told = {}
    for name, value in assumptions.named().items():
        sentence = ASSUMPTION_SENTENCES[name]
        told[name] = sentence.format(value) if not isinstance(value, bool) else sentence
    return told


GRANTED = {
    "unstated_conditions_match": "conditions that its tests do not state",
    "about_within": "values stated as 'about'",
    "viscous_share_at_least": "how its drop changes with flow and viscosity",
    "converted_sizes_count": "sizes converted between scales",
    "bare_size_is": "the scale of a size",
}
"""What each assumption takes for granted, in the few words that an ear can follow."""


def granted(names: Sequence[str]) -> str:
    """What these assumptions take for granted, as it stands behind what is told."""
    return f"taking for granted {listed([GRANTED[name] for name in names])}"


def assumed(judged: Judged, row: int) -> tuple[str, ...]:
    """Names of the assumptions behind what is told of one criterion."""
    bits = int(judged.assumed[row])
    return tuple(name for name, bit in ASSUMPTION_BITS.items() if bits & bit)


def explanation(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem = "si") -> str:
    """One sentence that a customer could be read, on one criterion of one element."""
    requirement = judged.requirement
    title = title_of(requirement.characteristic)
    required = _required(requirement, units)
    verdict = int(judged.verdict[row])
    reason = REASONS[judged.reason[row]]
    if requirement.characteristic in PART_OF:
        return _of_the_fluid(snapshot, judged, row)
    if reason == "no_data":
        return f"Not shown: nothing is on file for {title}; {required}."
    if reason == "not_listed":
        return f"Not shown: the element lists fluid classes, {requirement.word} not among them; {required}."
    if reason == "limit_not_stated":
        return f"Not shown: what {title} is needed is not known, and nothing can be held against it."
    if BASES[judged.basis[row]] == "not_applicable":
        kind = snapshot.elements.words["kind"].word(row)
        return f"Meets: {title} is asked of a {' or '.join(requirement.asked_of)} only, and this is a {kind}."
    found = _found(snapshot, judged, row, units)
    if verdict == MEETS:
        return f"Meets: {title} {found}{_manner(judged, row)}; {required}."
    if verdict == MISSES:
        return f"Misses: {title} {found}{_by_how_much(judged, row, units)}{_manner(judged, row)}; {required}."
    why = _why(snapshot, judged, row, units)
    return f"Not shown: {title} {found}, {why}{_leaning(judged, row, units)}{_manner(judged, row, '')}; {required}."


def why_not_shown(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem = "si") -> str:
    """Why a requirement is not shown of an element, without what is required: where its test was run at other
    conditions, for one, the same at every place of a curve."""
    requirement, reason = judged.requirement, REASONS[judged.reason[row]]
    if requirement.characteristic in PART_OF:
        part = _PART_WORDS[PART_OF[requirement.characteristic]]
        return _said_of(part, ground_of(snapshot, requirement, row), str(requirement.word))
    if reason == "no_data":
        return "nothing is on file"
    if reason == "not_listed":
        return f"the element lists fluid classes, {requirement.word} not among them"
    if reason == "limit_not_stated":
        return "what is needed is not known"
    why = _why(snapshot, judged, row, units)
    alone = why.removeprefix("because ")
    return alone if alone != why else f"it {_found(snapshot, judged, row, units)}, {why}"


@lru_cache(maxsize=256)  # the same for every element
def _required(requirement: Requirement, units: UnitSystem) -> str:
    if requirement.characteristic == "seal" and requirement.word == "none":
        # "none is required" would read as if the seal did not matter.
        return "the original has no seal" if requirement.origin == "original" else "an element without seal is required"
    asked = conditions(requirement, units)
    return f"{limits(requirement, units)}{f' ({asked})' if asked else ''} is required"


def _found(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    requirement = judged.requirement
    if requirement.word is not None:
        return _word(snapshot, requirement, row)
    kind = kind_of(requirement.characteristic)
    low, high = float(judged.low[row]), float(judged.high[row])
    if int(judged.verdict[row]) != 0:
        return span(low, high, kind, units) + _difference(requirement, low, units)
    if not math.isfinite(low) and not math.isfinite(high):
        return "is not proven"
    if REASONS[judged.reason[row]] == "sources_disagree":
        return f"is {span(low, high, kind, units)} by one test"
    if REASONS[judged.reason[row]] == "requirement_is_estimate":
        return f"is {span(low, high, kind, units)}"
    taken = "taken to be" if judged.assumed[row] else "proven only to be"
    return f"is {taken} {span(low, high, kind, units)}"


def _difference(requirement: Requirement, value: float, units: UnitSystem) -> str:
    """How a measure differs from the one it is held against."""
    if requirement.nominal is None:
        return ""
    difference = value - requirement.nominal
    if abs(difference) <= 1e-9 * requirement.nominal:
        return ", the same"
    more = "more" if difference > 0 else "less"
    return f", {show(abs(difference), 'length', units)} {more} than {show(requirement.nominal, 'length', units)}"


def _by_how_much(judged: Judged, row: int, units: UnitSystem) -> str:
    """By how much a result misses: a share on a ratio scale, else the difference."""
    requirement = judged.requirement
    known = CHARACTERISTICS.get(requirement.characteristic)
    if requirement.word is not None or known is None:
        return ""
    low, high = float(judged.low[row]), float(judged.high[row])
    if high < requirement.low:
        shown, required, side = high, requirement.low, "below"
    else:
        shown, required, side = low, requirement.high, "above"
    least = "" if low == high else "at least "
    if known.ratio_scale:
        return f", {least}{_percent(abs(shown / required - 1))} {side} what is required"
    if known.kind == "temperature":
        return ""
    return f", {least}{amount(abs(shown - required), known.kind, units)} {side} what is required"


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share >= 0.1 else f"{share * 100:.2g} %"


def _word(snapshot: Snapshot, requirement: Requirement, row: int) -> str:
    words = snapshot.elements.words
    if requirement.characteristic != "fluid_class":
        return str(words[requirement.characteristic].word(row))
    excluded = words["fluids_excluded"].lists(str(requirement.word))[row]
    return f"{requirement.word} is listed as {'excluded' if excluded else 'compatible'}"


_PART_WORDS = {"seal": "mounting seal", "media": "media"}
_SEAL_APART = "the mounting seal is judged by itself"


def _of_the_fluid(snapshot: Snapshot, judged: Judged, row: int) -> str:
    """Of mounting seal or media and the fluid: what decides, its source, and what it says nothing of."""
    requirement = judged.requirement
    part = _PART_WORDS[PART_OF[requirement.characteristic]]
    ground = ground_of(snapshot, requirement, row)
    told = [f"{_VERDICT_WORDS[int(judged.verdict[row])]}: {_said_of(part, ground, str(requirement.word))}"]
    if part == "media":
        told.append(_SEAL_APART)
    return f"{'; '.join(told)}; {'a ' if part == 'mounting seal' else ''}{part} {limits(requirement)} is required."


_VERDICT_WORDS = {MEETS: "Meets", MISSES: "Misses", 0: "Not shown"}


def _said_of(part: str, ground: Ground, fluid: str) -> str:
    if ground.tested is not None:
        doubt = ": sources disagree" if ground.tested == "passed and failed" else ""
        return f"its media and adhesive are listed as having {ground.tested} {SOAKED} in {fluid}{doubt}"
    if ground.cell is None:
        return f"nothing is on file for its {part}"
    if ground.material == "none":
        return "the element has no mounting seal that the fluid could attack"
    if ground.listed:
        return f"its maker lists {fluid} as compatible, and the table says nothing of {ground.material} as {part}"
    why = "; ".join(filter(None, (ground.cell.why, ground.cell.source)))
    if ground.cell.level == "unknown":
        return f"the table says nothing of {ground.material} as {part} with {fluid} ({why})"
    if ground.cell.level == "depends":
        return f"whether {ground.material} as {part} suits {fluid} depends, by the table ({why})"
    return f"{ground.material} as {part} is {LEVEL_WORDS[ground.cell.level]} with {fluid} by the table ({why})"


def ground_words(ground: Ground) -> str:
    """What a verdict on a part and the fluid rests on, in a few words: "EPDM, not suitable", "passed ISO 2943"."""
    if ground.tested is not None:
        return f"{ground.tested} {SOAKED}"
    if ground.cell is None:
        return "nothing on file"
    if ground.material == "none":
        return "no seal"
    if ground.listed:
        return f"{ground.material}, listed by the maker"
    return f"{ground.material}, {LEVEL_WORDS[ground.cell.level]}"


def _manner(judged: Judged, row: int, how: str | None = None) -> str:
    """How the bounds were come by, and what was taken for granted."""
    told = [_HOW.get(BASES[judged.basis[row]], "") if how is None else how]
    if judged.by_rounding[row]:
        told.append("equal by rounding")
    names = assumed(judged, row)
    if names:
        told.append(granted(names))
    told = [t for t in told if t]
    return f" ({'; '.join(told)})" if told else ""


def _why(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    reason, test = REASONS[judged.reason[row]], int(judged.test[row])
    if reason == "requirement_is_estimate":
        would = "would serve" if judged.lean[row] == MEETS else "would not serve"
        return f"which {would}, but what is required is an estimate itself and no verdict on it is proof"
    if reason == "sources_disagree":
        here, there = source_of(snapshot, test), source_of(snapshot, int(judged.other_test[row]))
        return f"{here}, while another, {'also ' if here == there else ''}{there}, meets: sources disagree"
    if reason == "condition_not_stated":
        lacking = listed(unstated_conditions(snapshot, judged.requirement, test))
        return f"because its test does not state {lacking or 'a condition'}"
    if too_small := _below_the_smallest(snapshot, judged, row, units):
        return too_small
    if reason == "other_conditions":
        return f"because it was tested at other conditions{_tested_at(snapshot, judged.requirement, test, units)}"
    if reason == "other_scale":
        return f"because it was tested {_scales_of(snapshot, judged.requirement, test)}"
    if reason == "wrong_side":
        if np.isfinite(judged.low[row]) and np.isfinite(judged.high[row]):
            return "and the limit lies in between"
        if np.isfinite(judged.low[row]) or np.isfinite(judged.high[row]):
            return "and nothing on file bounds it on the other side"
        return "because no test bounds it there"
    return f"because {_WHY[reason]}"


def _below_the_smallest(snapshot: Snapshot, judged: Judged, row: int, units: UnitSystem) -> str:
    """That a ratio is required at a smaller size than any tested, which no other condition would have helped."""
    requirement, test = judged.requirement, int(judged.test[row])
    if requirement.size_um is None or requirement.scale is None or np.isfinite(judged.low[row]):
        return ""
    points = _points_of(snapshot, requirement, test)
    sizes = points.size_um[points.scale == SCALES.index(requirement.scale)]
    if not len(sizes) or float(sizes.min()) <= requirement.size_um * (1 + 1e-9):
        return ""
    return f"because its smallest tested size is {show(float(sizes.min()), 'size', units, scale=requirement.scale)}"


def source_of(snapshot: Snapshot, test: int) -> str:
    source = snapshot.sources.get(int(snapshot.tests.source_id[test]))
    return f"{source.key} ({source.title})" if source else "a source that is not named"


def _points_of(snapshot: Snapshot, requirement: Requirement, test: int) -> Points:
    """The points that a test has of what is required; of what is worked out, those of the element's drop tests."""
    if requirement.characteristic in WORKED_OUT:
        points = snapshot.of("clean_pressure_drop")
        return points.rows(np.flatnonzero(points.element == snapshot.tests.element[test]))
    points = snapshot.of(requirement.characteristic)
    return points.rows(np.flatnonzero(points.test == test))


def unstated_conditions(snapshot: Snapshot, requirement: Requirement, test: int) -> list[str]:
    """Conditions that the requirement asks and the test leaves unstated."""
    points, tests = _points_of(snapshot, requirement, test), snapshot.tests
    lacking = {
        "the flow": requirement.flow_l_min is not None and bool(np.isnan(points.flow_l_min).any()),
        "the viscosity": requirement.viscosity_low_mm2_s is not None and bool(np.isnan(points.viscosity_mm2_s).any()),
        "the density": requirement.density_low_kg_m3 is not None and bool(np.isnan(points.density_kg_m3).all()),
        "the terminal pressure drop": requirement.terminal_pressure_drop_kpa is not None
        and bool(np.isnan(tests.terminal_pressure_drop_kpa[test])),
        "the dust": requirement.dust is not None and not tests.dust.stated[test],
        "the cycle pressure": requirement.cycle_pressure_kpa is not None
        and bool(np.isnan(tests.cycle_pressure_kpa[test])),
        "whether the drop is of the element or of an assembly": requirement.drop_of is not None
        and not tests.drop_of.stated[test],
        "whether the mass is retained or injected": requirement.characteristic == "retained_capacity"
        and not tests.capacity_basis.stated[test]
        and tests.standard.word(test) != "ISO 16889",
        "the test liquid": requirement.characteristic == "bubble_point" and not tests.test_liquid.stated[test],
        "the standard": requirement.standard is not None and not tests.standard.stated[test],
    }
    return [name for name, is_lacking in lacking.items() if is_lacking]


def _tested_at(snapshot: Snapshot, requirement: Requirement, test: int, units: UnitSystem) -> str:
    """The test's own conditions, of those that the characteristic is judged with."""
    points, tests = _points_of(snapshot, requirement, test), snapshot.tests
    known = CHARACTERISTICS.get(requirement.characteristic, CHARACTERISTICS["clean_pressure_drop"])
    judged_with = known.judged_with
    told = [
        span(float(np.nanmin(column)), float(np.nanmax(column)), name, units)
        for name, column in (("flow", points.flow_l_min), ("viscosity", points.viscosity_mm2_s))
        if name in judged_with and np.isfinite(column).any()
    ]
    for name, column, words in (
        ("terminal_pressure_drop", tests.terminal_pressure_drop_kpa, "a terminal drop of"),
        ("cycle_pressure", tests.cycle_pressure_kpa, "a cycle pressure of"),
    ):
        if name in judged_with and np.isfinite(column[test]):
            told.append(f"{words} {show(float(column[test]), 'pressure', units)}")
    for name, coded, words in (
        ("dust", tests.dust, "with"),
        ("test_liquid", tests.test_liquid, "in"),
        ("drop_of", tests.drop_of, "as the drop of the"),
        ("capacity_basis", tests.capacity_basis, "as mass"),
        ("standard", tests.standard, "by"),
    ):
        if name in judged_with and coded.stated[test]:
            told.append(f"{words} {coded.word(test)}")
    return f" ({', '.join(told)})" if told else ""


def _scales_of(snapshot: Snapshot, requirement: Requirement, test: int) -> str:
    scales = {SCALES[scale] for scale in _points_of(snapshot, requirement, test).scale}
    if "?" in scales:
        return "at a size whose scale is not stated"
    return "on the ACFTD scale" if "acftd" in scales else "on the µm(c) scale"


def _leaning(judged: Judged, row: int, units: UnitSystem) -> str:
    estimate = float(judged.estimate[row])
    if not np.isfinite(estimate) or REASONS[judged.reason[row]] in ("sources_disagree", "requirement_is_estimate"):
        return ""
    kind = kind_of(judged.requirement.characteristic)
    would = {MEETS: "would meet", MISSES: "would miss"}[int(judged.lean[row])]
    return f"; the best estimate, {amount(estimate, kind, units)}, {would} but is no proof"
