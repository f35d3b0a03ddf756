"""Target cleanliness both ways: the filtration ratio that a code takes, and the code that ratios can hold."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Annotated, Literal, get_args

from pydantic import Field

from specdb.amounts import amount
from specdb.answers.shape import Answer, QuantityShown, quantity, tidy
from specdb.answers.tables import Table, column, numbers
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, NumberTyped, QuantityTyped, shown_as
from specdb.calculations.filtration import NO_MACHINE, with_scale
from specdb.duty.question import OneOf, Text
from specdb.errors import QuestionError
from specdb.trade.cleanliness import SIZES_UM, CleanlinessCode, ScaleNumber, read_code, scale_number
from specdb.trade.contamination import (
    ENVIRONMENTS,
    Side,
    count_after,
    count_downstream,
    count_upstream,
    floor_per_ml,
    flow_for_floor,
    ingression_at_most,
    ingression_for_floor,
    ratio_needed,
)
from specdb.units import UnitSystem, read_quantity, show, show_plain

_SIZES_UM = SIZES_UM["automatic"]
_MOST_PER_MIN = 1e15
"""More particles per minute than get into anything that has a filter."""

_SOURCE = (
    "contamination balance of one full-flow filter in one well mixed loop, from memory (E. C. Fitch, Oklahoma State "
    "University; the same kind of model: Klarecki, Rabsztyn and Czop, Machines 12 (2024) 417, of which the abstract "
    "was read)"
)
ESTIMATE = (
    "An estimate, never proof: one filter that takes the whole flow, one well mixed loop, particles that get in at one "
    "steady rate."
)
UNSOURCED = (
    "The figures of an environment are from memory, unsourced, common practice at best. They are of particles over "
    "10 µm: those from 14 µm(c) up are no more, those from 4 and 6 µm(c) up are more, how many they cannot say."
)
TWO_NUMBERS = "Two numbers are read as of 6 and 14 µm(c), which stand for the older 5 and 15 µm (ISO 4406:2021, 4.1)."


def _ingression(size_um: int, example: str) -> str:
    return f'particles of {size_um} µm(c) and larger that get in: "{example}"'


class _LoopAsked(Asked):
    flow: QuantityTyped = Field(description="flow through the filter", examples=["100 L/min"])
    ingression_at_4: QuantityTyped | None = Field(None, description=_ingression(4, "1e8 /min"), examples=["1e8 /min"])
    ingression_at_6: QuantityTyped | None = Field(None, description=_ingression(6, "2e7 /min"), examples=["2e7 /min"])
    ingression_at_14: QuantityTyped | None = Field(None, description=_ingression(14, "1e6 /min"), examples=["1e6 /min"])


class _Loop:
    """The flow and the ingression of a question, as far as they can be read."""

    def __init__(self, asked: _LoopAsked, fields: Fields):
        self.flow_l_min = fields.quantity("flow", asked.flow, "flow")
        self.ingression_per_min = {
            size: self._read(_field("ingression", size), text, fields)
            for size in _SIZES_UM
            if (text := getattr(asked, _field("ingression", size))) is not None
        }
        _falling(self.ingression_per_min, "ingression", lambda larger, smaller: larger <= smaller, fields)

    @staticmethod
    def _read(field: str, text: str, fields: Fields) -> float:
        with fields.at(field):
            rate = read_quantity(text, "count_rate").value
            if not 0 <= rate <= _MOST_PER_MIN:
                raise QuestionError(
                    "This is no rate of particles.", value=text, remedy='State it such as "1e8 /min"; 0 for none.'
                )
            return rate
        return float("nan")


def _field(of: str, size_um: float) -> str:
    return f"{of}_at_{size_um:g}"


def _falling(values: Mapping[float, float], of: str, holds: Callable[[float, float], bool], fields: Fields) -> None:
    """Refuse what cannot be as size grows; values that could not be read are left alone."""
    for (smaller, at_smaller), (larger, at_larger) in pairwise(sorted(values.items())):
        if not (holds(at_larger, at_smaller) or math.isnan(at_larger + at_smaller)):
            way = "more of the larger particles than of all" if of == "ingression" else "a lower ratio at a larger size"
            fields.refuse(
                _field(of, larger),
                f"There cannot be {way}: {show_plain(at_larger)} at {larger:g} µm(c), {show_plain(at_smaller)} at "
                f"{smaller:g} µm(c).",
                remedy="State for each size the particles of that size and larger, or leave one of the two out.",
            )


def _size_shown(size_um: float, units: UnitSystem) -> QuantityShown:
    size = shown_as(size_um, "size", units)
    size.unit = with_scale(size.unit, "c")
    return size


# --- the ratio that a target takes ----------------------------------------------------------------


class RequiredRatioAsked(_LoopAsked):
    """A code to hold, and what gets in: at sizes, or by the environment."""

    target: Text = Field(
        description='code that the fluid must keep: "18/16/13"; - or * where no size is asked', examples=["18/16/13"]
    )
    environment: Annotated[str, OneOf(tuple(ENVIRONMENTS))] | None = Field(
        None, description="instead of an ingression at 14 µm(c): the most that gets in there, from memory and unsourced"
    )
    side: Annotated[str, OneOf(get_args(Side))] = Field(
        "upstream", description="where the code holds: upstream of the filter, as in the reservoir, or downstream"
    )


class RatioNeededShown(Answer):
    """What one size takes."""

    size: QuantityShown
    written: str = Field(description="scale number of the target")
    outcome: Literal["needed", "none_holds", "not_known", "not_asked"] = Field(
        description="a ratio is needed; none holds the target; the ingression is not known; the target asks nothing"
    )
    count: QuantityShown | None = Field(description="most particles per mL that the target allows")
    ingression: QuantityShown | None = Field(
        description="particles of the size and larger that get in; of an environment the most that may"
    )
    ingression_least: QuantityShown | None = Field(
        None, description="of an environment: the most that may get in at its cleaner end"
    )
    ratio: float | None = Field(description="least filtration ratio that holds the target; null where there is none")
    ratio_least: float | None = Field(None, description="of an environment: the same at its cleaner end")
    words: str


class RequiredRatioAnswer(Calculated):
    """The filtration ratio that a target cleanliness takes at each size."""

    target: str = Field(description="the code to hold")
    flow: QuantityShown
    side: Literal["upstream", "downstream"] = Field(description="side of the filter on which the code holds")
    needed: list[RatioNeededShown] = Field(description="what it takes, one for each size of a code")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        rates = [column(name, "count_rate", units) for name in ("ingression", "ingression_least")]
        return Table(
            (
                *("target", "side", column("flow", "flow", units), column("size", "size", units), "written", "outcome"),
                *(column("count", "counts", units), *rates, *numbers("ratio", "ratio_least")),
            ),
            [
                (
                    *(self.target, self.side, self.flow.value, each.size.value, each.written, each.outcome),
                    *(None if q is None else q.value for q in (each.count, each.ingression, each.ingression_least)),
                    *(each.ratio, each.ratio_least),
                )
                for each in self.needed
            ],
        )


def required_ratio(asked: RequiredRatioAsked, units: UnitSystem) -> RequiredRatioAnswer:
    fields = Fields()
    loop = _Loop(asked, fields)
    target: CleanlinessCode | None = None
    with fields.at("target"):
        target = _target(asked.target)
    if asked.environment is not None and 14.0 in loop.ingression_per_min:
        fields.refuse("environment", "What gets in at 14 µm(c) is stated already.", remedy="State one of the two.")
    if asked.environment is None and not loop.ingression_per_min:
        fields.refuse("ingression_at_4", "Nothing is said of what gets in.", remedy="State it at one size or more.")
    fields.check()
    assert target is not None
    side: Side = "downstream" if asked.side == "downstream" else "upstream"
    by_size = dict(zip(target.sizes_um, target.places, strict=True))
    needed = [
        _needed(size, by_size.get(size, ScaleNumber(None)), loop, asked.environment, side, units) for size in _SIZES_UM
    ]
    return RequiredRatioAnswer(
        words=f"To keep {target} {side} of one filter that takes {show(loop.flow_l_min, 'flow', units)}: "
        f"{'; '.join(each.words for each in needed)}.",
        target=str(target),
        flow=shown_as(loop.flow_l_min, "flow", units),
        side=side,
        needed=needed,
        notes=[*fields.notes, *([TWO_NUMBERS] if len(target.places) == 2 else [])],
        cautions=[ESTIMATE, NO_MACHINE, *([UNSOURCED] if asked.environment is not None else [])],
        source=_SOURCE,
    )


def _target(text: str) -> CleanlinessCode:
    code = read_code(text, "automatic")
    for place in code.places:
        span = place.range_per_ml()
        if span is not None and math.isinf(span[1]):
            raise QuestionError(
                f"{place} sets no limit to the particles.", value=text, remedy="State a number from 0 to 28, or -."
            )
    return code


def _needed(
    size_um: float, place: ScaleNumber, loop: _Loop, environment: str | None, side: Side, units: UnitSystem
) -> RatioNeededShown:
    span, at = place.range_per_ml(), f"at {size_um:g} µm(c)"
    rates = _rates(size_um, loop, environment)
    shown = RatioNeededShown(
        size=_size_shown(size_um, units),
        written=str(place),
        outcome="not_known",
        count=quantity(None if span is None else span[1], "counts", units),
        ingression=quantity(None if rates is None else rates[-1], "count_rate", units),
        ingression_least=None if rates is None or len(rates) == 1 else quantity(rates[0], "count_rate", units),
        ratio=None,
        words=f"{at} it cannot be told, since nothing is known of what gets in",
    )
    if span is None:
        return shown.model_copy(update={"outcome": "not_asked", "words": f"{at} nothing is asked"})
    if rates is None:
        return shown
    ratios = [_least_ratio(span[1], rate, loop.flow_l_min, side) for rate in rates]
    if environment is not None and len(rates) == 2:
        return shown.model_copy(update=_of_environment(ratios, environment, at))
    if ratios[0] is None:
        return shown.model_copy(
            update={"outcome": "none_holds", "words": f"{at} {_cannot(span[1], rates[0], loop.flow_l_min, units)}"}
        )
    said = "any ratio above 1 will do" if rates[0] == 0 else f"a ratio of at least {amount(ratios[0], '', units)}"
    return shown.model_copy(update={"outcome": "needed", "ratio": tidy(ratios[0]), "words": f"{at} {said}"})


def _rates(size_um: float, loop: _Loop, environment: str | None) -> tuple[float, ...] | None:
    """What gets in: one rate as stated, the two ends of an environment, or None where nothing is known."""
    if size_um in loop.ingression_per_min:
        return (loop.ingression_per_min[size_um],)
    return None if environment is None else ingression_at_most(environment, size_um)


def _least_ratio(count_per_ml: float, per_min: float, flow_l_min: float, side: Side) -> float | None:
    if side == "upstream" and per_min > 0 and count_per_ml <= floor_per_ml(per_min, flow_l_min):
        return None
    return ratio_needed(count_per_ml, per_min, flow_l_min, side)


def _of_environment(ratios: list[float | None], environment: str, at: str) -> dict[str, object]:
    """An environment bounds what gets in from above: the ratio that holds that much is enough, and where none does it
    is still not known whether none is."""
    least, most = ratios
    found = {"ratio": None if most is None else tidy(most), "ratio_least": None if least is None else tidy(least)}
    if least is None:
        words = f"{at} it cannot be told: no ratio would hold the most that the environment ({environment}) may bring"
    elif most is None:
        words = (
            f"{at} a ratio of {show_plain(least)} is enough at the cleaner end of the environment ({environment}), and "
            "at the other it cannot be told: no ratio would hold the most that it may bring"
        )
    else:
        words = (
            f"{at} a ratio of {show_plain(most)} is enough in the environment ({environment}), {show_plain(least)} at "
            "its cleaner end"
        )
    return found | {"outcome": "not_known" if most is None else "needed", "words": words}


def _cannot(count_per_ml: float, per_min: float, flow_l_min: float, units: UnitSystem) -> str:
    floor = floor_per_ml(per_min, flow_l_min)
    flow = show(flow_for_floor(count_per_ml, per_min), "flow", units)
    fewer = ingression_for_floor(count_per_ml, flow_l_min)
    return (
        f"it cannot be had, because a perfect filter leaves {show_plain(floor)} particles per mL where "
        f"{show_plain(count_per_ml)} are allowed: it takes more than {flow}, or fewer than {show_plain(fewer)} "
        "particles per minute getting in"
    )


# --- the cleanliness that ratios hold -------------------------------------------------------------


class AttainableAsked(_LoopAsked):
    """Ratios and what gets in at the same sizes; a volume, a time and a code to start from tell the way there."""

    ratio_at_4: NumberTyped | None = Field(None, description="filtration ratio at 4 µm(c)", examples=["2"])
    ratio_at_6: NumberTyped | None = Field(None, description="filtration ratio at 6 µm(c)", examples=["75"])
    ratio_at_14: NumberTyped | None = Field(None, description="filtration ratio at 14 µm(c)", examples=["1000"])
    volume: QuantityTyped | None = Field(None, description='volume of the fluid: "200 L"; with start and after')
    start: Text | None = Field(None, description='code that the fluid starts at, by its upper limits: "21/19/16"')
    after: QuantityTyped | None = Field(None, description='time since then: "10 min"')


class AttainedShown(Answer):
    """Particles per mL of one size and larger in balance."""

    size: QuantityShown
    ratio: float
    ingression: QuantityShown = Field(description="particles of the size and larger that get in")
    upstream: QuantityShown = Field(description="particles per mL before the filter, as in the reservoir")
    downstream: QuantityShown = Field(description="particles per mL right behind it")
    floor: QuantityShown = Field(description="particles per mL that a perfect filter would leave before it")
    after: QuantityShown | None = Field(None, description="particles per mL before the filter at the time asked for")


class AttainableAnswer(Calculated):
    """The cleanliness that filtration ratios hold."""

    flow: QuantityShown
    code_upstream: str = Field(description="code in balance before the filter, - at a size that nothing is stated of")
    code_downstream: str = Field(description="code in balance right behind it")
    code_after: str | None = Field(None, description="code before the filter at the time asked for")
    counts: list[AttainedShown] = Field(description="one for each size that is stated")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        counts = [column(name, "counts", units) for name in ("upstream", "downstream", "floor", "after")]
        return Table(
            (
                *("code_upstream", "code_downstream", "code_after", column("flow", "flow", units)),
                *(column("size", "size", units), *numbers("ratio"), column("ingression", "count_rate", units), *counts),
            ),
            [
                (
                    *(self.code_upstream, self.code_downstream, self.code_after, self.flow.value),
                    *(each.size.value, each.ratio, each.ingression.value),
                    *(each.upstream.value, each.downstream.value, each.floor.value),
                    None if each.after is None else each.after.value,
                )
                for each in self.counts
            ],
        )


def attainable_cleanliness(asked: AttainableAsked, units: UnitSystem) -> AttainableAnswer:
    fields = Fields()
    loop = _Loop(asked, fields)
    ratios = {
        size: fields.number(_field("ratio", size), text)
        for size in _SIZES_UM
        if (text := getattr(asked, _field("ratio", size))) is not None
    }
    _falling(ratios, "ratio", lambda larger, smaller: larger >= smaller, fields)
    for size in sorted(ratios.keys() ^ loop.ingression_per_min.keys()):
        lacking = "ingression" if size in ratios else "ratio"
        fields.refuse(_field(lacking, size), f"A ratio and an ingression at {size:g} µm(c) make a count together.")
    if not ratios and not loop.ingression_per_min:
        fields.refuse("ratio_at_4", "Neither ratio nor ingression is stated.", remedy="State both at one size or more.")
    clearing = _Clearing(asked, fields)
    fields.check()
    upstream, downstream = {}, {}
    for size, ratio in ratios.items():
        with fields.at(_field("ratio", size)):
            upstream[size] = count_upstream(ratio, loop.ingression_per_min[size], loop.flow_l_min)
            downstream[size] = count_downstream(ratio, loop.ingression_per_min[size], loop.flow_l_min)
    fields.check()
    after = clearing.counts(ratios, loop)
    codes = [_code(counts) for counts in (upstream, downstream, after)]
    return AttainableAnswer(
        words=f"{_with(ratios, units)} one filter that takes {show(loop.flow_l_min, 'flow', units)} keeps the fluid at "
        f"{codes[0]} upstream and {codes[1]} downstream{clearing.words(codes[2])}.",
        flow=shown_as(loop.flow_l_min, "flow", units),
        code_upstream=codes[0],
        code_downstream=codes[1],
        code_after=codes[2] if after else None,
        counts=[
            AttainedShown(
                size=_size_shown(size, units),
                ratio=ratio,
                ingression=shown_as(loop.ingression_per_min[size], "count_rate", units),
                upstream=shown_as(upstream[size], "counts", units),
                downstream=shown_as(downstream[size], "counts", units),
                floor=shown_as(floor_per_ml(loop.ingression_per_min[size], loop.flow_l_min), "counts", units),
                after=quantity(after.get(size), "counts", units),
            )
            for size, ratio in ratios.items()
        ],
        notes=[*fields.notes, *clearing.notes],
        cautions=[ESTIMATE, NO_MACHINE],
        source=_SOURCE,
    )


class _Clearing:
    """The way from a code to the balance: all three of volume, start and after, or none."""

    def __init__(self, asked: AttainableAsked, fields: Fields):
        stated = {name: getattr(asked, name) for name in ("volume", "start", "after")}
        self.asked = None not in stated.values()
        self.volume_l = fields.quantity("volume", asked.volume, "volume")
        self.minutes = fields.quantity("after", asked.after, "time") * 60.0
        self.said = f"{(asked.after or '').strip()} from {asked.start}"
        self.notes: list[str] = []
        self._start: dict[float, float] = {}
        if any(stated.values()) and not self.asked:
            lacking = next(name for name, text in stated.items() if text is None)
            fields.refuse(lacking, "A volume, a code to start from and a time tell the way there together.")
        if asked.start is not None:
            with fields.at("start"):
                code = _target(asked.start)
                self._start = _limits(code)
                self.notes += [TWO_NUMBERS] if len(code.places) == 2 else []

    def counts(self, ratios: Mapping[float, float], loop: _Loop) -> dict[float, float]:
        if not self.asked:
            return {}
        return {
            size: count_after(
                self.minutes, self._start[size], ratio, loop.ingression_per_min[size], loop.flow_l_min, self.volume_l
            )
            for size, ratio in ratios.items()
            if size in self._start
        }

    def words(self, code: str) -> str:
        return f"; {self.said} on, it is at {code} upstream" if self.asked else ""


def _limits(code: CleanlinessCode) -> dict[float, float]:
    """Most particles per mL of a code, by size, where it says."""
    spans = {size: place.range_per_ml() for size, place in zip(code.sizes_um, code.places, strict=True)}
    return {size: span[1] for size, span in spans.items() if span is not None}


def _code(counts_per_ml: Mapping[float, float]) -> str:
    places = (
        ScaleNumber(scale_number(counts_per_ml[size])) if size in counts_per_ml else ScaleNumber(None)
        for size in _SIZES_UM
    )
    return "/".join(map(str, places))


def _with(ratios: Mapping[float, float], units: UnitSystem) -> str:
    told = [f"{amount(ratio, '', units)} at {size:g} µm(c)" for size, ratio in ratios.items()]
    return f"With a filtration ratio of {', '.join(told)}"


REQUIRED_RATIO = Calculation(
    key="required_ratio",
    title="Filtration ratio for a target cleanliness",
    help="The filtration ratio that holds a cleanliness code (ISO 4406) at a flow and an ingression. An estimate.",
    asked=RequiredRatioAsked,
    answer=RequiredRatioAnswer,
    compute=required_ratio,
    typed=("target",),
    source=_SOURCE,
)
ATTAINABLE_CLEANLINESS = Calculation(
    key="attainable_cleanliness",
    title="Cleanliness that filtration ratios hold",
    help="The particle counts and the cleanliness code (ISO 4406) that filtration ratios hold at a flow and an "
    "ingression. An estimate.",
    asked=AttainableAsked,
    answer=AttainableAnswer,
    compute=attainable_cleanliness,
    typed=(),
    source=_SOURCE,
)
