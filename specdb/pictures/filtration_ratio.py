"""Filtration ratio over particle size: what was measured, what that proves at each size, and what is required."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from specdb.amounts import amount
from specdb.bounds import FloatArray
from specdb.catalog.snapshot import Points
from specdb.characteristics import QUALIFIERS, SCALES
from specdb.criteria import Judged
from specdb.duty import Assumptions, Requirement
from specdb.duty.requirement import SAME_FLOW
from specdb.errors import ConditionsError
from specdb.pictures.bands import Band, bands, letter_of, runs, words_of_test
from specdb.pictures.judged import Seen, closing, heading, told
from specdb.pictures.marks import (
    ESTIMATE,
    HATCHES,
    LOWER,
    SHOWN,
    UPPER,
    band_face,
    face_key,
    limit,
    line_key,
    mark_key,
    numbered,
    put_line,
    put_mark,
    result,
)
from specdb.pictures.scales import plain, plain_axis, room_for
from specdb.pictures.sheet import Box, Key, Labels, Sheet, drawing, harmless
from specdb.trade.size_scales import acftd_to_c, c_to_acftd
from specdb.units import show
from specdb.wording import explanation, requirement_words

TITLE = "Filtration ratio over particle size"
PLOT_PT = 300.0
PLACES = 40
"""Sizes at which the criterion is asked, beside the tested ones and those close by, where bounds jump."""

_BESIDE = 1e-6
_SIGNS = {"equal": "", "at_least": "≥ ", "at_most": "≤ ", "about": "about "}
_QUALIFIER_WORDS = {"equal": "measured", "at_least": "at least", "at_most": "at most", "about": "about: no proof"}


@dataclass(frozen=True)
class _Where:
    """What the bounds are asked at."""

    scale: str
    flow_l_min: float | None
    dust: str | None


@dataclass(frozen=True)
class _View:
    """What is to be drawn. ``at_um`` are the results' places on the axis; ``letters`` name the tests, by their rows."""

    points: Points
    at_um: FloatArray
    where: _Where
    curves: Sequence[Band]
    letters: dict[int, str]
    required: Sequence[Judged]


_Limit = tuple[float, float, bool, Judged]
"""Size on the axis, required ratio, whether more of it serves, and the verdict."""


def draw(seen: Seen) -> str:
    """The picture as SVG. Where nothing is on file it says so."""
    view = _view_of(seen)
    with drawing():
        sheet = Sheet(TITLE, heading(seen), PLOT_PT, list(_keys(view)), list(_notes(seen, view)), closing(seen))
        _Plot(sheet, seen, view).draw()
        return sheet.svg(harmless(f"{TITLE}: {seen.name}"), _description(seen, view))


# --- what is to be drawn --------------------------------------------------------------------------


def _view_of(seen: Seen) -> _View:
    points, required = seen.points("filtration_ratio"), seen.judged("filtration_ratio")
    where, at_um = _conditions(seen, [judged.requirement for judged in required]), _on_axis(points, seen.assumptions)
    letters = {int(test): letter_of(place) for place, test in enumerate(dict.fromkeys(map(int, points.test)))}
    return _View(points, at_um, where, _curves(seen, points, where, at_um, required), letters, required)


def _limits(required: Sequence[Judged]) -> Iterator[_Limit]:
    """Each required limit that has a place on the axes."""
    for judged in required:
        size = _size_on_axis(judged.requirement)
        for value, up in ((judged.requirement.low, True), (judged.requirement.high, False)):
            if np.isfinite(size) and np.isfinite(value):
                yield size, value, up, judged


def _conditions(seen: Seen, requirements: Sequence[Requirement]) -> _Where:
    """Those of the requirements where they have one set, else the duty's flow."""
    asked = {_Where(str(r.scale), r.flow_l_min, r.dust) for r in requirements}
    if len(asked) == 1:
        return asked.pop()
    scales = {each.scale for each in asked}
    return _Where(scales.pop() if len(scales) == 1 else "c", seen.circumstances.flow_l_min, None)


def _on_axis(points: Points, assumptions: Assumptions) -> FloatArray:
    """Tested sizes in µm(c), NaN where there is no telling: no scale, or beyond the table of the other one."""
    scale = points.scale.copy()
    if assumptions.bare_size_is is not None:
        scale[scale == SCALES.index("?")] = SCALES.index(assumptions.bare_size_is)
    size = np.where(scale == SCALES.index("acftd"), acftd_to_c(points.size_um), points.size_um)
    return np.where(scale == SCALES.index("?"), np.nan, size)


def _size_on_axis(requirement: Requirement) -> float:
    size = float(requirement.size_um or np.nan)
    if requirement.scale != "acftd":
        return size
    try:
        return float(acftd_to_c(size))
    except ConditionsError:
        return np.nan


def _curves(
    seen: Seen, points: Points, where: _Where, at_um: FloatArray, required: Sequence[Judged]
) -> list[Band]:
    """What each test proves over the sizes of the axis, in µm(c)."""
    first, last = _ends(at_um, required)
    tested = at_um[np.isfinite(at_um)]
    asked = [size for judged in required if np.isfinite(size := _size_on_axis(judged.requirement))]
    # At a tested size itself bounds jump; close by on either side they are those of the stretch.
    sizes = np.unique(
        np.r_[np.linspace(first, last, PLACES), asked, tested, tested * (1 - _BESIDE), tested * (1 + _BESIDE)]
    )
    to_own = c_to_acftd if where.scale == "acftd" else np.asarray
    base = Requirement(
        "", "filtration_ratio", "stated", scale=where.scale, flow_l_min=where.flow_l_min, dust=where.dust
    )

    def asked_at(size_um: float) -> Requirement:
        return replace(base, size_um=float(to_own(np.array([size_um]))[0]))

    covered = sizes[np.isfinite(to_own(sizes))].tolist()
    return bands(seen.snapshot, seen.row, covered, asked_at, seen.assumptions, rising=True) if len(points) else []


def _ends(at_um: FloatArray, required: Sequence[Judged]) -> tuple[float, float]:
    """Where the axis of sizes begins and ends."""
    sizes = [*at_um[np.isfinite(at_um)], *(_size_on_axis(judged.requirement) for judged in required)]
    known = [float(size) for size in sizes if np.isfinite(size)] or [4.0, 25.0]
    least, most = min(known), max(known)
    if most > 20 * least:
        return least / 1.3, most * 1.3
    room = max(0.12 * (most - least), 0.15 * most)
    return max(least - room, least / 2), most + room


def _heights(view: _View) -> tuple[float, float]:
    """Where the axis of ratios begins and ends."""
    values = [*view.points.value, *(value for _, value, _, _ in _limits(view.required))]
    values += [value for curve in view.curves for value in (*curve.low, *curve.high)]
    known = [float(value) for value in values if np.isfinite(value) and value > 0] or [1.0, 1000.0]
    return min(1.0, min(known) / 1.5), max(10.0, max(known) * 3)


# --- drawing --------------------------------------------------------------------------------------


class _Plot:
    """The plot on its sheet, sizes in µm(c)."""

    def __init__(self, sheet: Sheet, seen: Seen, view: _View):
        self._seen, self._view = seen, view
        (first, last), (low, high) = _ends(view.at_um, view.required), _heights(view)
        left = sheet.plot.left + room_for(low, high, log=True)
        box = Box(left, sheet.plot.bottom + 36, sheet.plot.right - 2, sheet.plot.top)
        self._axes = sheet.axes(box)
        self._labels = Labels(sheet, Box(box.left + 3, box.bottom + 3, box.right - 3, box.top - 3))
        self._middle = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        log = last > 20 * first
        self._axes.set(xlim=(first, last), ylim=(low, high), yscale="log", xscale="log" if log else "linear")
        plain_axis(self._axes.xaxis, "particle size, µm(c)", first, last, log=log)
        plain_axis(self._axes.yaxis, "filtration ratio β", low, high, log=True)

    def draw(self) -> None:
        view = self._view
        for place, curve in enumerate(view.curves):
            self._band(curve, HATCHES[place % len(HATCHES)], view.letters[curve.test])
        results = [point for point in range(len(view.points)) if np.isfinite(view.at_um[point])]
        for point in results:
            self._result(point)
        limits = list(_limits(view.required))
        for each in limits:
            self._required(each)
        # Words come last, when it is known where there is no room; the short ones first.
        for point in results:
            self._value(point)
        for size, value, up, judged in limits:
            words = f"{'≥' if up else '≤'} {plain(value)} required: {told(judged, self._seen.row)}"
            self._labels.put(*self._at(size, value), words, beside_pt=9, gid=f"verdict-{_name(judged, up)}")
        if not results:
            words = "no result on a size scale that can be drawn" if len(view.points) else "nothing on file"
            self._labels.put(*self._middle, words, gid="nothing")

    def _at(self, size_um: float, ratio: float) -> tuple[float, float]:
        """A place of the plot on the page."""
        x, y = self._axes.transData.transform((size_um, ratio))
        return float(x), float(y)

    def _keep_off(self, size_um: float, ratio: float, half_width_pt: float, half_height_pt: float) -> None:
        x, y = self._at(size_um, ratio)
        self._labels.take(Box(x - half_width_pt, y - half_height_pt, x + half_width_pt, y + half_height_pt))

    def _band(self, curve: Band, hatch: str, letter: str) -> None:
        """The room that the test leaves, open to the edge of the plot where nothing bounds it, and its edges."""
        axes, at = self._axes, curve.places
        low, high = axes.get_ylim()
        for number, run in enumerate(runs((np.isfinite(curve.low) | np.isfinite(curve.high)).tolist())):
            floor = np.where(np.isfinite(curve.low[run]), np.maximum(curve.low[run], low), low)
            ceiling = np.where(np.isfinite(curve.high[run]), np.minimum(curve.high[run], high), high)
            axes.fill_between(at[run], floor, ceiling, gid=numbered(f"bound-{letter}", number), **band_face(hatch))
        edges = [("lower", curve.low, LOWER), ("upper", curve.high, UPPER)]
        for name, values, style in edges if curve.proves else [("estimate", curve.estimate, ESTIMATE)]:
            for number, run in enumerate(runs(np.isfinite(values).tolist())):
                put_line(axes, at[run], values[run], style, numbered(f"{name}-{letter}", number))
                self._labels.take_line(*axes.transData.transform(np.c_[at[run], values[run]]).T.tolist())

    def _result(self, point: int) -> None:
        points, size, ratio = self._view.points, float(self._view.at_um[point]), float(self._view.points.value[point])
        filled = int(points.scale[point]) != SCALES.index("acftd")
        style = result(points.qualifier.word(point) or "about", filled=filled)
        put_mark(self._axes, size, ratio, style, f"measured-{point + 1}")
        self._keep_off(size, ratio, 5, 5)

    def _value(self, point: int) -> None:
        points, letters = self._view.points, self._view.letters
        of = f" ({letters[int(points.test[point])]})" if len(letters) > 1 else ""
        ratio = float(points.value[point])
        words = f"{_SIGNS[points.qualifier.word(point) or 'about']}{plain(ratio)}{of}"
        self._labels.put(*self._at(float(self._view.at_um[point]), ratio), words)

    def _required(self, each: _Limit) -> None:
        size, value, up, judged = each
        put_mark(self._axes, size, value, limit(up), f"required-{_name(judged, up)}")
        self._keep_off(size, value, 12, 8)
        low, high = float(judged.low[self._seen.row]), float(judged.high[self._seen.row])
        if not _differs(self._view.where, judged.requirement) or not (np.isfinite(low) or np.isfinite(high)):
            return
        # What is shown at the requirement's own conditions, where the bounds are drawn for others.
        floor, ceiling = np.clip((low, high), *self._axes.get_ylim())
        gid = f"shown-{_name(judged, up)}"
        put_line(self._axes, [size, size], [floor, ceiling], SHOWN, gid)
        for at, mark, name in (
            (floor, "_" if np.isfinite(low) else "v", "low"),
            (ceiling, "_" if np.isfinite(high) else "^", "high"),
        ):
            put_mark(self._axes, size, float(at), SHOWN | {"marker": mark, "linestyle": "none"}, f"{gid}-{name}")


def _name(judged: Judged, up: bool) -> str:
    """What the marks of a limit are called; a requirement may have two."""
    return judged.requirement.id if up else f"{judged.requirement.id}-most"


# --- in words -------------------------------------------------------------------------------------


def _keys(view: _View) -> Iterator[Key]:
    drawn, acftd = np.isfinite(view.at_um), view.points.scale == SCALES.index("acftd")
    for qualifier in QUALIFIERS:
        of_kind = view.points.qualifier.equals(qualifier) & drawn
        for filled, those in ((True, of_kind & ~acftd), (False, of_kind & acftd)):
            if those.any():
                scale = "" if filled else ", tested on the ACFTD scale, at the converted size"
                yield Key(f"{_QUALIFIER_WORDS[qualifier]}{scale}", mark_key(result(qualifier, filled=filled)))
    for place, curve in enumerate(view.curves):
        of = f" by test {view.letters[curve.test]}" if len(view.letters) > 1 else ""
        if curve.proves:
            yield Key(f"where β lies, proven{of}", face_key(**band_face(HATCHES[place % len(HATCHES)])))
        elif np.isfinite(curve.estimate).any():
            yield Key(f"estimate{of}, no proof", line_key(ESTIMATE))
    if any(np.isfinite(curve.low).any() for curve in view.curves):
        yield Key("lower bound: at least so much is proven", line_key(LOWER))
    if any(np.isfinite(curve.high).any() for curve in view.curves):
        yield Key("upper bound: at most so much is possible", line_key(UPPER))
    if any(True for _ in _limits(view.required)):
        yield Key("required: what serves lies between the legs", mark_key(limit(True)))
    if any(_differs(view.where, judged.requirement) for judged in view.required):
        yield Key("what is shown for a requirement at conditions of its own", line_key(SHOWN))


def _notes(seen: Seen, view: _View) -> Iterator[str]:
    points, where = view.points, view.where
    for test, letter in view.letters.items():
        words = words_of_test(seen.snapshot, test, points.rows(np.flatnonzero(points.test == test)), seen.units)
        yield harmless(f"Test {letter}: {words}." if len(view.letters) > 1 else f"Test: {words}.")
    for judged in view.required:
        yield harmless(f"Required: {requirement_words(judged.requirement, seen.units)}: {told(judged, seen.row)}.")
    if len(points):
        at = [f"at {show(where.flow_l_min, 'flow', seen.units)}"] if where.flow_l_min is not None else []
        at += [f"with {harmless(where.dust)}"] if where.dust is not None else []
        yield f"Bounds are of one test at a time{''.join(f', {each}' for each in at)}."
    if any(_differs(where, judged.requirement) for judged in view.required):
        yield "A requirement at other conditions than the bounds are drawn for is judged at its own."
    if where.scale == "acftd":
        yield "What is required is on the ACFTD scale: bounds hold there, and stand here at the converted sizes."
    for point in np.flatnonzero(~np.isfinite(view.at_um)):
        ratio, size = plain(float(points.value[point])), show(float(points.size_um[point]), "size", seen.units)
        yield f"Not drawn: β {ratio} at {size}, whose place on the µm(c) scale is not known."


def _differs(where: _Where, requirement: Requirement) -> bool:
    flow, asked = where.flow_l_min, requirement.flow_l_min
    same_flow = flow == asked or (flow is not None and asked is not None and abs(flow - asked) <= SAME_FLOW * asked)
    return where.scale != requirement.scale or where.dust != requirement.dust or not same_flow


def _description(seen: Seen, view: _View) -> str:
    """The picture for who cannot see it."""
    points = view.points
    results = [
        f"{_QUALIFIER_WORDS[points.qualifier.word(point) or 'about']} {amount(float(ratio), '', seen.units)}"
        for point, ratio in enumerate(points.value)
    ]
    sizes = [
        show(float(size), "size", seen.units, scale=SCALES[scale])
        for size, scale in zip(points.size_um, points.scale, strict=True)
    ]
    told_of = [explanation(seen.snapshot, judged, seen.row, seen.units) for judged in view.required]
    listed = "; ".join(f"{each} at {size}" for each, size in zip(results, sizes, strict=True))
    return harmless(" ".join([f"On file: {listed}." if listed else "Nothing is on file.", *told_of]))
