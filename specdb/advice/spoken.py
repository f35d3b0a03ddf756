"""What can be said of a candidate across a counter: one sentence on it, and what put it behind the one before it.

Both tell what the results on file show. Nothing here approves of an element, and what is taken for granted sounds so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from specdb.amounts import listed
from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import title_of
from specdb.criteria import REASONS, Judged
from specdb.duty import Requirement
from specdb.ranking import ORDER, Ranking
from specdb.units import UnitSystem, show
from specdb.wording import GRANTED, assumed, margin_words

NAMED_AT_MOST = 2
"""Criteria, and assumptions, that a sentence names; a longer list is not listened to. The rest are counted."""

_SAID = {"seal_compatibility": "seal in the fluid", "media_compatibility": "media in the fluid"}
"""Titles that would not be understood in a list."""
_NO_DATA = REASONS.index("no_data")


def sentence(ranking: Ranking, row: int, units: UnitSystem = "si") -> str:
    """One sentence on the element in ``row`` of the ranking's snapshot: how much it meets and by what grace, what it
    misses, what is not shown, its bypass valve, its successor. What only cautions is not counted."""
    name = _name(ranking.snapshot, row)
    counted = [judged for judged in ranking.judged if not judged.requirement.advisory]
    if not counted:
        return f"Nothing that counts is required of {name}."
    if all(judged.verdict[row] == NOT_SHOWN and judged.reason[row] == _NO_DATA for judged in counted):
        return f"Nothing is on file of {name} for {_of_all(len(counted))}."
    missed = _missed(counted, row, ranking, units)
    told = [
        f"{name} {_met(counted, row, briefly=bool(missed))}",
        *missed,
        *_not_shown(counted, row, ranking, units, briefly=bool(missed)),
        _valve(ranking, row),
        _status(ranking.snapshot, row),
    ]
    return f"{'; '.join(filter(None, told))}."


def _name(snapshot: Snapshot, row: int) -> str:
    return f"{snapshot.elements.maker[row]} {snapshot.elements.number[row]}"


def _of_all(criteria: int) -> str:
    return "the one criterion" if criteria == 1 else f"any of the {criteria} criteria"


def _met(counted: Sequence[Judged], row: int, briefly: bool) -> str:
    """How many criteria are met, and how many of those are not met by proof alone."""
    met = [judged for judged in counted if judged.verdict[row] == MEETS]
    by_grace = [judged for judged in met if judged.verdict_without_assumptions[row] != MEETS]
    if len(counted) == 1:
        told = "meets the one criterion" if met else "is held to one criterion"
    elif len(met) == len(counted):
        told = f"meets all {len(counted)} criteria"
    else:
        told = f"meets {len(met) or 'none'} of the {len(counted)} criteria"
    if not by_grace:
        return told
    share = "" if len(met) == 1 else "all of them " if len(by_grace) == len(met) else f"{_count(by_grace)} of them "
    return f"{told}, {share}{_taking_for_granted(by_grace, row, briefly)}"


def _count(those: Sequence[object]) -> str:
    return "one" if len(those) == 1 else str(len(those))


def _taking_for_granted(by_grace: Sequence[Judged], row: int, briefly: bool) -> str:
    words = [GRANTED[name] for name in dict.fromkeys(name for judged in by_grace for name in assumed(judged, row))]
    if briefly:
        return "taking something for granted"
    return f"taking for granted {listed(words[:NAMED_AT_MOST] + (['more'] if len(words) > NAMED_AT_MOST else []))}"


def _missed(counted: Sequence[Judged], row: int, ranking: Ranking, units: UnitSystem) -> list[str]:
    """A valve too many or too few, then what is missed by proof, else by assumption."""
    missed = [judged for judged in counted if judged.verdict[row] == MISSES]
    wrong_valve = any(map(_is_valve, missed))
    missed = [judged for judged in missed if not _is_valve(judged)]
    told = [_WRONG_VALVE[str(ranking.snapshot.elements.words["bypass_valve"].word(row))]] if wrong_valve else []
    proven = [judged for judged in missed if judged.verdict_without_assumptions[row] == MISSES]
    by_grace = [judged for judged in missed if judged.verdict_without_assumptions[row] != MISSES]
    if proven:
        more = f", and taking something for granted on {_count(by_grace)} more" if by_grace else ""
        told.append(f"it misses on {_named(proven, ranking, units)}{more}")
    elif by_grace:
        granted = _taking_for_granted(by_grace, row, briefly=False)
        told.append(f"{granted}, it misses on {_named(by_grace, ranking, units)}")
    return told


def _not_shown(
    counted: Sequence[Judged], row: int, ranking: Ranking, units: UnitSystem, briefly: bool
) -> list[str]:
    lacking = [judged for judged in counted if judged.verdict[row] == NOT_SHOWN]
    if not lacking:
        return []
    if briefly:
        return [f"{_count(lacking)} {'is' if len(lacking) == 1 else 'are'} not shown"]
    one = len({judged.requirement.characteristic for judged in lacking}) == 1
    return [f"its {_named(lacking, ranking, units)} {'is' if one else 'are'} not shown"]


def _named(those: Sequence[Judged], ranking: Ranking, units: UnitSystem) -> str:
    """Criteria by their titles, several of one characteristic together, and how many there are beyond the first."""
    by_characteristic: dict[str, list[Requirement]] = {}
    for judged in those:
        by_characteristic.setdefault(judged.requirement.characteristic, []).append(judged.requirement)
    names = [_together(each, ranking, units) for each in list(by_characteristic.values())[:NAMED_AT_MOST]]
    beyond = [each for of_one in list(by_characteristic.values())[NAMED_AT_MOST:] for each in of_one]
    return listed(names + ([f"{_count(beyond)} more"] if beyond else []))


def _together(those: Sequence[Requirement], ranking: Ranking, units: UnitSystem) -> str:
    key = those[0].characteristic
    title = _SAID.get(key) or title_of(key).partition(" (")[0]
    alike = [r for r in ranking.duty.requirements if r.characteristic == key and not r.advisory]
    if len(those) == len(alike):
        return title
    if len(those) > 1:
        return f"{title} at {len(those)} of {len(alike)} points"
    return f"{title}{_where(those[0], alike, units)}"


def _where(requirement: Requirement, alike: Sequence[Requirement], units: UnitSystem) -> str:
    """What tells a requirement apart from those of the same characteristic."""
    if requirement.size_um is not None:
        return f" at {show(requirement.size_um, 'size', units, scale=requirement.scale)}"
    flow, thick = requirement.flow_l_min, requirement.viscosity_high_mm2_s
    told = [] if flow is None else [show(flow, "flow", units)]
    if thick is not None and sum(each.flow_l_min == flow for each in alike) > 1:
        told.append(show(thick, "viscosity", units))
    return f" at {listed(told)}" if told else ""


def _is_valve(judged: Judged) -> bool:
    return judged.requirement.characteristic == "bypass_valve"


_TAKES_NO_VALVE = ("breather", "suction strainer")
"""Kinds of element whose head has no bypass valve (common practice)."""
_WRONG_VALVE = {
    "yes": "it has a bypass valve, which is one too many",
    "no": "it has no bypass valve, which is one too few",
}


def where_the_valve_is(kind: str | None, valve: str | None, bypass: str | None = None) -> str | None:
    """Where the bypass valve is, or has to be, as it stands behind "bypass valve"; None of a breather without one.

    ``kind`` and ``valve`` are what is on file of the element, ``bypass`` is where the duty says that the valve is.
    """
    if valve == "yes":
        return "in the element"
    if kind == "breather":
        return None
    if valve is None:
        return "not on file whether the element has one"
    if kind in _TAKES_NO_VALVE:
        return "none in the element"
    return {
        "head": "not in the element, as the head has it",
        "none": "none in the element, and none in the circuit",
        "element": "not in the element, where the duty has it",
        "both": "not in the element, where the duty has one",
    }.get(str(bypass), "not in the element: where the circuit needs one, the head must have it")


def _valve(ranking: Ranking, row: int) -> str:
    """Where the bypass valve must be, of an element that has none and need not; "" where there is nothing to say."""
    words = ranking.snapshot.elements.words
    where, original = ranking.duty.circumstances.bypass, ranking.duty.original
    if words["bypass_valve"].word(row) != "no" or words["kind"].word(row) in _TAKES_NO_VALVE:
        return ""
    if any(_is_valve(judged) and judged.verdict[row] == MISSES for judged in ranking.judged):
        return ""
    if where in ("head", "none"):
        return {"head": "it has no bypass valve, as the head has it", "none": "it has no bypass valve"}[where]
    if original is not None and original != row and words["bypass_valve"].word(original) == "no":
        return "like the original it has no bypass valve"
    return "it has no bypass valve, so the head must have one"


def _status(snapshot: Snapshot, row: int) -> str:
    status, successor = (snapshot.elements.words[name].word(row) for name in ("status", "successor"))
    if status in (None, "current"):
        return ""
    return f"it is {status}" + (f", and its successor is {successor}" if successor else "")


# --- why here --------------------------------------------------------------------------------------


def placed(ranking: Ranking, row: int, before: int) -> str:
    """Which figure of the order put the element in ``row`` behind the one in ``before``, the next better."""
    standing = ranking.standing
    told = f"behind {_name(ranking.snapshot, before)}: "
    for figures, one, several in (
        (standing.gate_misses, f"one miss more among {_GATES}", f"{{}} misses more among {_GATES}"),
        (
            standing.not_in_favour,
            "one criterion more that is missed, would be by the best estimate, or has nothing to go by",
            "{} criteria more that are missed, would be by the best estimate, or have nothing to go by",
        ),
        (standing.misses, "one criterion more that is missed", "{} criteria more that are missed"),
        (
            standing.leaning_to_meet,
            "one criterion more that is met by the best estimate alone",
            "{} criteria more that are met by the best estimate alone",
        ),
    ):
        more = int(figures[row]) - int(figures[before])
        if more:
            return told + (one if more == 1 else several.format(more))
    return told + _by_margin(float(standing.smallest_margin[row]), float(standing.smallest_margin[before]))


_GATES = ORDER[0].removeprefix("fewest misses among ")


def _by_margin(own: float, others: float) -> str:
    if own == others or (math.isnan(own) and math.isnan(others)):
        return "equal in every figure of the order, and later by maker and number"
    if math.isnan(own):
        return "nothing that it meets has a margin"
    pair = margin_words(own), margin_words(others)
    if pair[0] == pair[1]:
        return f"its tightest margin is smaller by a trace, both {pair[0]}"
    return f"its tightest margin is smaller, {pair[0]} against {pair[1]}"
