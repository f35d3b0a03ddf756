"""Clean pressure drop over temperature at the duty's flow: what is proven of it, and the pressures that it must not
reach."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from specdb.amounts import span
from specdb.catalog.snapshot import Points
from specdb.criteria import Judged
from specdb.duty.circumstances import Circumstances, FluidLine
from specdb.duty.derived.bypass import own_drop_at_work
from specdb.duty.requirement import Requirement
from specdb.errors import ConditionsError, QuestionError
from specdb.pictures.bands import Band, bands, letter_of, runs, words_of_test
from specdb.pictures.judged import Seen, closing, heading, told, warnings
from specdb.pictures.marks import (
    ESTIMATE,
    HATCHES,
    LOWER,
    UPPER,
    Style,
    band_face,
    face_key,
    limit,
    line_key,
    mark_key,
    numbered,
    put_line,
    put_mark,
)
from specdb.pictures.needs import lacks_for_pressure_drop
from specdb.pictures.scales import plain_axis, room_for
from specdb.pictures.sheet import Box, Key, Labels, Sheet, drawing, harmless
from specdb.units import UnitSystem, express, show
from specdb.wording import explanation, requirement_words

TITLE = "Clean pressure drop over temperature"
PLOT_PT = 320.0
PLACES = 48
"""Temperatures at which the criterion is asked, beside the duty's own."""

USUAL_DEGC = (0.0, 80.0)
"""Temperatures that are drawn at least, where the fluid's line goes so far."""

MOST_VALUED = 3
"""Tests whose values at the duty's own temperatures are written into the plot; of more they would hide it."""

BEYOND_DEGC = 5.0
TOLD_EVERY_DEGC = 20.0
"""Temperatures that are told of in words, beside the duty's own."""

DECADES = 4.5
"""Most powers of ten on the axis of pressures."""

_BYPASS: Style = {"color": "black", "linewidth": 1.4, "linestyle": (0, (8, 2, 1, 2))}
_COLLAPSE: Style = {"color": "black", "linewidth": 2.4, "linestyle": "-"}
_TEMPERATURE: Style = {"color": "black", "linewidth": 1.0, "linestyle": (0, (1, 1.5))}
_QUALIFIERS = {"equal": "", "at_least": "at least ", "at_most": "at most ", "about": "about "}


@dataclass(frozen=True)
class Level:
    """A pressure that is marked across the plot."""

    name: str
    words: str
    pressure_kpa: float


@dataclass(frozen=True)
class _Asked:
    """The duty's part in it, none of it missing."""

    flow_l_min: float
    line: FluidLine
    at: Circumstances

    def requirement_at(self, temperature_degc: float) -> Requirement:
        """The element's own drop at a temperature, without a limit. Raises ConditionsError beyond the fluid's line."""
        thin, thick = self.line.viscosity_at(temperature_degc)
        over = self.at.fluid_density
        density = self.at.density_kg_m3 if over is None else over.density_at(temperature_degc)
        light, heavy = density or (None, None)
        return replace(
            own_drop_at_work(self.at),
            viscosity_low_mm2_s=thin,
            viscosity_high_mm2_s=thick,
            density_low_kg_m3=light,
            density_high_kg_m3=heavy,
        )

    def place_of(self, required: Requirement) -> float | None:
        """The one of the duty's own temperatures that a requirement holds at, None for one at other conditions."""
        if required.flow_l_min == self.flow_l_min and math.isfinite(required.high):
            band = required.viscosity_low_mm2_s, required.viscosity_high_mm2_s
            for temperature in (self.at.operating_degc, self.at.cold_start_degc):
                if temperature is not None and self.line.viscosity_at(temperature) == band:
                    return temperature
        return None

    def temperatures_degc(self) -> list[float]:
        """Where the drop is asked: over the usual range, and as far as the duty's own temperatures lie."""
        own = [each for each in (self.at.cold_start_degc, self.at.operating_degc) if each is not None]
        first = min([USUAL_DEGC[0], *(each - BEYOND_DEGC for each in own)])
        last = max([USUAL_DEGC[1], *(each + BEYOND_DEGC for each in own)])
        told = np.arange(math.ceil(first / TOLD_EVERY_DEGC), last / TOLD_EVERY_DEGC) * TOLD_EVERY_DEGC
        places = np.unique(np.r_[np.linspace(first, last, PLACES), told, own])
        return [float(each) for each in places if self._covered(float(each))]

    def _covered(self, temperature_degc: float) -> bool:
        try:
            self.requirement_at(temperature_degc)
        except ConditionsError:
            return False
        return True


def draw(seen: Seen) -> str:
    """The picture as SVG. Raises QuestionError where the duty states no flow or no viscosity over temperature."""
    asked = _asked(seen.circumstances)
    points = seen.points("clean_pressure_drop")
    places = asked.temperatures_degc()
    curves = bands(seen.snapshot, seen.row, places, asked.requirement_at, seen.assumptions)
    levels = _levels(seen)
    placed = [(judged, asked.place_of(judged.requirement)) for judged in seen.judged("clean_pressure_drop")]
    required = [(judged, place) for judged, place in placed if place is not None]
    with drawing():
        sheet = Sheet(
            TITLE, heading(seen), PLOT_PT, list(_keys(curves, levels, required)),
            [*warnings(seen), *_notes(seen, asked, points, curves)], closing(seen),
        )  # fmt: skip
        _Plot(sheet, seen, places, curves, levels).draw(required)
        return sheet.svg(harmless(f"{TITLE}: {seen.name}"), harmless(_description(seen, asked, curves, levels)))


# --- what is to be drawn --------------------------------------------------------------------------


def _asked(at: Circumstances) -> _Asked:
    if at.flow_l_min is None or at.fluid_line is None:
        raise QuestionError.of(lacks_for_pressure_drop(at))
    return _Asked(at.flow_l_min, at.fluid_line, at)


def _levels(seen: Seen) -> list[Level]:
    """Where the bypass opens, by the duty and by the element's own valve, and where the element gives way."""
    found: list[Level] = []
    duty = seen.circumstances.bypass_cracking_kpa
    if duty is not None:
        found.append(Level("bypass", f"bypass opens: {show(duty, 'pressure', seen.units)} (duty)", duty))
    for key, name, words in (
        ("bypass_cracking_pressure", "own-bypass", "the element's own bypass opens"),
        ("collapse_pressure", "collapse", "collapse pressure on file"),
    ):
        points = seen.points(key)
        stated = sorted({(float(v), str(points.qualifier.word(n))) for n, v in enumerate(points.value)})
        ends = stated if len(stated) <= 2 else [stated[0], stated[-1]]
        for number, (value, qualifier) in enumerate(ends):
            which = f" ({('least', 'greatest')[number]} of {len(stated)})" if len(stated) > 2 else ""
            text = f"{words}: {_QUALIFIERS[qualifier]}{show(value, 'pressure', seen.units)}{which}"
            found.append(Level(numbered(name, number), text, value))
    return found


# --- drawing --------------------------------------------------------------------------------------


class _Plot:
    """The plot on its sheet, in the reader's units."""

    def __init__(
        self, sheet: Sheet, seen: Seen, places: Sequence[float], curves: Sequence[Band], levels: Sequence[Level]
    ):
        self._seen = seen
        self._curves, self._levels = curves, levels
        first, last = self._x(places[0]), self._x(places[-1])
        low, high = self._heights()
        left = sheet.plot.left + room_for(low, high, log=True)
        box = Box(left, sheet.plot.bottom + 36, sheet.plot.right - 2, sheet.plot.top - 14)
        self._axes = sheet.axes(box)
        self._above = Labels(sheet, Box(sheet.plot.left, box.top + 1, box.right, sheet.plot.top + 4))
        self._labels = Labels(sheet, Box(box.left + 3, box.bottom + 3, box.right - 3, box.top - 3))
        self._middle = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        self._axes.set(xlim=(first, last), ylim=(low, high), yscale="log")
        units = seen.units
        plain_axis(self._axes.xaxis, f"temperature, {express(1.0, 'temperature', units)[1]}", first, last, log=False)
        pressure = express(1.0, "pressure", units)[1]
        plain_axis(self._axes.yaxis, f"clean pressure drop, {pressure}", low, high, log=True)

    def _x(self, temperature_degc: float) -> float:
        return express(temperature_degc, "temperature", self._seen.units)[0]

    def _y(self, pressure_kpa: float) -> float:
        return express(pressure_kpa, "pressure", self._seen.units)[0]

    def _heights(self) -> tuple[float, float]:
        """Where the axis of pressures begins and ends, in the reader's unit: all marks lie on it, and of what is shown
        as much as is readable."""
        required = [judged.requirement.high for judged in self._seen.judged("clean_pressure_drop")]
        marked = self._known([*(level.pressure_kpa for level in self._levels), *required])
        shown = self._known([v for curve in self._curves for v in (*curve.low, *curve.high, *curve.estimate)])
        both = marked + shown or [1.0, 1000.0]
        high = max(max(both) * 2.5, 10 * min(both))
        return min([max(min(both) / 2, high / 10**DECADES), *(each / 2 for each in marked)]), high

    def _known(self, pressures_kpa: Sequence[float]) -> list[float]:
        return [self._y(value) for value in pressures_kpa if math.isfinite(value) and value > 0]

    def draw(self, required: Sequence[tuple[Judged, float]]) -> None:
        for place, curve in enumerate(self._curves):
            self._band(curve, HATCHES[place % len(HATCHES)], letter_of(place))
        for level in self._levels:
            self._level(level)
        at = self._seen.circumstances
        for name, words, temperature in (
            ("cold-start", "cold start", at.cold_start_degc),
            ("operating", "at work", at.operating_degc),
        ):
            if temperature is not None:
                self._temperature(name, words, temperature)
        for judged, temperature in required:
            self._required(judged, temperature)
        for place, curve in enumerate(self._curves if len(self._curves) <= MOST_VALUED else ()):
            self._values(curve, f" ({letter_of(place)})" if len(self._curves) > 1 else "")
        if not any(curve.proves or np.isfinite(curve.estimate).any() for curve in self._curves):
            words = "nothing on file can be carried here" if self._curves else "nothing on file"
            self._labels.put(*self._middle, words, gid="nothing")

    def _band(self, curve: Band, hatch: str, letter: str) -> None:
        """The room that the test leaves, open to the edge of the plot where nothing bounds it, and its edges."""
        axes = self._axes
        floor, ceiling = axes.get_ylim()
        x = np.array([self._x(place) for place in curve.places])
        low, high, estimate = (np.array([self._y(v) for v in each]) for each in (curve.low, curve.high, curve.estimate))
        for number, run in enumerate(runs((np.isfinite(low) | np.isfinite(high)).tolist())):
            lower = np.where(np.isfinite(low[run]), np.clip(low[run], floor, ceiling), floor)
            upper = np.where(np.isfinite(high[run]), np.clip(high[run], floor, ceiling), ceiling)
            axes.fill_between(x[run], lower, upper, gid=numbered(f"bound-{letter}", number), **band_face(hatch))
        open_to_a_side = np.isfinite(estimate) & ~(np.isfinite(low) & np.isfinite(high))
        for name, values, style, wanted in (
            ("lower", low, LOWER, np.isfinite(low) & (low > 0)),
            ("upper", high, UPPER, np.isfinite(high)),
            ("estimate", estimate, ESTIMATE, open_to_a_side),
        ):
            for number, run in enumerate(runs(wanted.tolist())):
                put_line(axes, x[run], values[run], style, numbered(f"{name}-{letter}", number))
                self._labels.take_line(*axes.transData.transform(np.c_[x[run], values[run]]).T.tolist())

    def _level(self, level: Level) -> None:
        axes, y = self._axes, self._y(level.pressure_kpa)
        first, last = axes.get_xlim()
        put_line(axes, [first, last], [y, y], _COLLAPSE if level.name.startswith("collapse") else _BYPASS, level.name)
        (left, at_y), (right, _) = axes.transData.transform([(first, y), (last, y)])
        self._labels.take_line([left, right], [at_y, at_y])
        self._labels.put(right, at_y, level.words, beside_pt=3, gid=f"{level.name}-words")

    def _temperature(self, name: str, words: str, temperature_degc: float) -> None:
        axes, x = self._axes, self._x(temperature_degc)
        floor, ceiling = axes.get_ylim()
        put_line(axes, [x, x], [floor, ceiling], _TEMPERATURE, name)
        (at_x, bottom), (_, top) = axes.transData.transform([(x, floor), (x, ceiling)])
        self._labels.take_line([at_x, at_x], [bottom, top])
        text = f"{words} {show(temperature_degc, 'temperature', self._seen.units)}"
        self._above.put(at_x, top + 1, text, beside_pt=1, gid=f"{name}-words")

    def _required(self, judged: Judged, temperature_degc: float) -> None:
        axes, name, high = self._axes, judged.requirement.id, judged.requirement.high
        x, y = self._x(temperature_degc), self._y(high)
        put_mark(axes, x, y, limit(False), f"required-{name}")
        at_x, at_y = axes.transData.transform((x, y))
        self._labels.take(Box(at_x - 12, at_y - 8, at_x + 12, at_y + 3))
        words = f"≤ {show(high, 'pressure', self._seen.units)} required: {told(judged, self._seen.row)}"
        self._labels.put(at_x, at_y, words, beside_pt=10, gid=f"verdict-{name}")

    def _values(self, curve: Band, of: str) -> None:
        """What is proven at the duty's own temperatures."""
        at = self._seen.circumstances
        for temperature in (at.cold_start_degc, at.operating_degc):
            if temperature is None or temperature not in curve.places:
                continue
            place = int(np.flatnonzero(curve.places == temperature)[0])
            low, high = float(curve.low[place]), float(curve.high[place])
            known = [value for value in (high, low) if math.isfinite(value) and value > 0]
            if known:
                x, y = self._axes.transData.transform((self._x(temperature), self._y(known[0])))
                self._labels.put(float(x), float(y), f"{_span(low, high, self._seen.units)}{of}", beside_pt=5)


# --- in words -------------------------------------------------------------------------------------


def _keys(
    curves: Sequence[Band], levels: Sequence[Level], required: Sequence[tuple[Judged, float]]
) -> Iterator[Key]:
    for place, curve in enumerate(curves):
        of = f" by test {letter_of(place)}" if len(curves) > 1 else ""
        if curve.proves:
            yield Key(f"where the drop lies, proven{of}", face_key(**band_face(HATCHES[place % len(HATCHES)])))
    if any(np.isfinite(curve.low).any() for curve in curves):
        yield Key("lower bound", line_key(LOWER))
    if any(np.isfinite(curve.high).any() for curve in curves):
        yield Key("upper bound", line_key(UPPER))
    if any((np.isfinite(c.estimate) & ~(np.isfinite(c.low) & np.isfinite(c.high))).any() for c in curves):
        yield Key("estimate, no proof", line_key(ESTIMATE))
    if any("bypass" in level.name for level in levels):
        yield Key("a bypass valve begins to open", line_key(_BYPASS))
    if any(level.name.startswith("collapse") for level in levels):
        yield Key("the element gives way", line_key(_COLLAPSE))
    if required:
        yield Key("required: what serves lies between the legs", mark_key(limit(False)))


def _notes(seen: Seen, asked: _Asked, points: Points, curves: Sequence[Band]) -> Iterator[str]:
    units, at = seen.units, asked.at
    for place, curve in enumerate(curves):
        own = points.rows(np.flatnonzero(points.test == curve.test))
        words = words_of_test(seen.snapshot, curve.test, own, units)
        yield harmless(f"Test {letter_of(place)}: {words}." if len(curves) > 1 else f"Test: {words}.")
    for judged in seen.judged("clean_pressure_drop"):
        where = ", at conditions of its own, not drawn" if asked.place_of(judged.requirement) is None else ""
        yield harmless(f"Required: {requirement_words(judged.requirement, units)}: {told(judged, seen.row)}{where}.")
    viscosities = [
        f"{span(*asked.line.viscosity_at(each), 'viscosity', units)} at {show(each, 'temperature', units)}"
        for each in (at.cold_start_degc, at.operating_degc)
        if each is not None
    ] or [f"{span(*asked.line.viscosity_at(40.0), 'viscosity', units)} at {show(40.0, 'temperature', units)}"]
    yield (
        f"The drop is the element's own at {show(asked.flow_l_min, 'flow', units)}. "
        f"The fluid: {', '.join(viscosities)} (ASTM D341)."
    )
    yield "Close to its pour point a fluid is thicker than this line tells."


def _span(low_kpa: float, high_kpa: float, units: UnitSystem) -> str:
    """That a drop is not below zero is nothing to tell."""
    return span(low_kpa if low_kpa > 0 else -math.inf, high_kpa, "pressure", units)


def _description(seen: Seen, asked: _Asked, curves: Sequence[Band], levels: Sequence[Level]) -> str:
    """The picture for who cannot see it."""
    units, told_of = seen.units, [f"At {show(asked.flow_l_min, 'flow', seen.units)}."]
    for place, curve in enumerate(curves):
        of = f" by test {letter_of(place)}" if len(curves) > 1 else ""
        own = (asked.at.cold_start_degc, asked.at.operating_degc)
        values = [
            f"{show(float(curve.places[n]), 'temperature', units)}: "
            f"{_span(float(curve.low[n]), float(curve.high[n]), units)}"
            for n, place_degc in enumerate(curve.places)
            if place_degc % TOLD_EVERY_DEGC == 0 or place_degc in own
        ]
        told_of.append(f"Clean pressure drop{of}: {'; '.join(values)}.")
    if not curves:
        told_of.append("Nothing is on file.")
    told_of += [f"{level.words[0].upper()}{level.words[1:]}." for level in levels]
    judged = seen.judged("clean_pressure_drop")
    return " ".join([*told_of, *(explanation(seen.snapshot, each, seen.row, units) for each in judged)])
