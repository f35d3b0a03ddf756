"""A row for each criterion: what is shown over what is required, and the verdict in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from specdb.answers.deciding import requirement_shown, shown_words
from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria import BASES, Judged
from specdb.pictures.judged import Seen, closing, heading, told, warnings
from specdb.pictures.marks import Style, band_face, face_key, line_key, mark_key, put_line, put_mark
from specdb.pictures.scales import plain
from specdb.pictures.sheet import BODY_PT, INNER_PT, LEADING, Box, Key, Sheet, drawing, harmless, lines_of
from specdb.wording import explanation

TITLE = "What is shown, over what is required"
REQUIRED_PT, SHOWN_PT, BETWEEN_PT, SWATCH_PT = 178.0, 150.0, 11.0, 10.0
"""Widths of the columns of words, the room between columns, and the side of the square that repeats a hatching."""

ROW_PAD_PT, HEAD_PT, FOOT_PT, BAR_PT = 8.0, 16.0, 46.0, 10.0
REACHES = {
    2.0: (0.5, 0.7, 1.0, 1.5, 2.0),
    4.0: (0.25, 0.5, 1.0, 2.0, 4.0),
    10.0: (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0),
    20.0: (0.05, 0.2, 1.0, 5.0, 20.0),
}
"""How far the scale may go, either way of the limit, and the numbers along it."""

_FACES: dict[int, Style] = {
    MEETS: {"hatch": "////", "linestyle": "-"},
    MISSES: {"hatch": "xxxx", "linestyle": "-"},
    NOT_SHOWN: {"hatch": "", "linestyle": (0, (2, 1.5))},
}
_WALL: Style = {"color": "black", "linewidth": 1.6, "linestyle": "-"}
_DECIDES: Style = {"color": "black", "linewidth": 3.0, "linestyle": "-", "solid_capstyle": "butt"}
_EDGE: Style = {"color": "black", "linewidth": 1.0}
_ESTIMATE: Style = {
    "marker": "D", "markersize": 6.0, "markeredgecolor": "black", "markerfacecolor": "white", "markeredgewidth": 1.2,
    "linestyle": "none",
}  # fmt: skip
_GOES_ON: Style = {"markersize": 7.0, "markeredgecolor": "black", "markerfacecolor": "black", "linestyle": "none"}


@dataclass(frozen=True)
class Ratio:
    """What is shown over the limit that decides, so that 1 and more serves: ``low`` is 0 and ``high`` infinite where
    nothing bounds it, ``estimate`` NaN where there is none."""

    low: float
    high: float
    estimate: float


@dataclass(frozen=True)
class _Row:
    judged: Judged
    ratio: Ratio | None
    required: list[str]
    shown: list[str]

    @property
    def height_pt(self) -> float:
        return max(len(self.required), len(self.shown)) * BODY_PT * LEADING + ROW_PAD_PT


def ratio_of(judged: Judged, row: int) -> Ratio | None:
    """None where there is no ratio to tell: of words, of temperatures, and where nothing is on file.

    Of a requirement with two limits it is the one that is less well served.
    """
    requirement = judged.requirement
    known = CHARACTERISTICS.get(requirement.characteristic)
    measured = known is not None or requirement.characteristic == "collapse_over_own_drop"
    if requirement.word is not None or not measured or (known is not None and not known.ratio_scale):
        return None
    low, high, estimate = (float(column[row]) for column in (judged.low, judged.high, judged.estimate))
    if not (math.isfinite(low) or math.isfinite(high) or math.isfinite(estimate)):
        return None
    low, high = (low if low > 0 else 0.0), (high if math.isfinite(high) else math.inf)
    ratios = []
    if requirement.low > 0 and math.isfinite(requirement.low):
        ratios.append(Ratio(low / requirement.low, high / requirement.low, estimate / requirement.low))
    if requirement.high > 0 and math.isfinite(requirement.high):
        under = requirement.high
        ratios.append(Ratio(_over(under, high), _over(under, low), _over(under, estimate)))
    return min(ratios, key=lambda ratio: (ratio.low, ratio.high), default=None)


def _over(limit: float, value: float) -> float:
    return math.inf if value == 0 else limit / value


def draw(seen: Seen) -> str:
    """The picture as SVG: bars where there is a ratio, words for everything."""
    with drawing():
        rows = [_row(seen, judged) for judged in seen.ranking.judged]
        height = HEAD_PT + sum(row.height_pt for row in rows) + FOOT_PT
        sheet = Sheet(TITLE, heading(seen), height, list(_keys(rows, seen.row)), warnings(seen), closing(seen))
        _plot(sheet, seen, rows)
        told_of = [explanation(seen.snapshot, row.judged, seen.row, seen.units) for row in rows]
        return sheet.svg(harmless(f"{TITLE}: {seen.name}"), harmless(" ".join(told_of)))


def _row(seen: Seen, judged: Judged) -> _Row:
    verdict = told(judged, seen.row)
    if BASES[judged.basis[seen.row]] == "not_applicable":
        words = f"{verdict}: not asked of this kind of element"
    else:
        words = f"{verdict}: {shown_words(seen.snapshot, judged, seen.row, seen.units)}"
    return _Row(
        judged,
        ratio_of(judged, seen.row),
        lines_of(harmless(requirement_shown(judged.requirement, seen.units).words), BODY_PT, REQUIRED_PT),
        lines_of(harmless(words), BODY_PT, SHOWN_PT - SWATCH_PT - 6),
    )


# --- drawing --------------------------------------------------------------------------------------


def reach_of(ratios: Sequence[Ratio]) -> float:
    """How far the scale goes either way, so that all that is known lies on it, within :data:`REACHES`."""
    values = [value for ratio in ratios for value in vars(ratio).values() if math.isfinite(value) and value > 0]
    needed = max((max(value, 1 / value) for value in values), default=1.0) * 1.1
    return next((reach for reach in REACHES if reach >= needed), max(REACHES))


def _plot(sheet: Sheet, seen: Seen, rows: Sequence[_Row]) -> None:
    left = sheet.plot.left + REQUIRED_PT + BETWEEN_PT
    right = left + INNER_PT - REQUIRED_PT - SHOWN_PT - 2 * BETWEEN_PT
    box = Box(left, sheet.plot.bottom + FOOT_PT, right, sheet.plot.top - HEAD_PT)
    axes = sheet.axes(box)
    reach = reach_of([row.ratio for row in rows if row.ratio is not None])
    axes.set(xlim=(1 / reach, reach), ylim=(0, box.top - box.bottom), xscale="log")
    _scale(axes, reach)
    sheet.write(sheet.plot.left, box.top + 5, "required", bold=True)
    sheet.write(right + BETWEEN_PT, box.top + 5, "verdict and what is shown", bold=True)
    for words, x, side in (("does not serve", left, "left"), ("serves", right, "right")):
        sheet.page.text(x, box.top + 5, words, ha=side, va="baseline")
    axes.axvline(1.0, gid="required", **_WALL)
    top = box.top
    for row in rows:
        middle = top - row.height_pt / 2
        _words(sheet, row.required, sheet.plot.left, middle)
        _swatch(sheet, row, seen.row, right + BETWEEN_PT, middle)
        _words(sheet, row.shown, right + BETWEEN_PT + SWATCH_PT + 6, middle, gid=f"verdict-{row.judged.requirement.id}")
        if row.ratio is not None:
            _bar(axes, row, seen.row, middle - box.bottom, reach)
        top -= row.height_pt
        sheet.page.add_line(Line2D([sheet.plot.left, sheet.plot.right], [top, top], color="black", linewidth=0.6))


def _scale(axes: Axes, reach: float) -> None:
    axes.set_xticks(REACHES[reach], labels=[plain(tick) for tick in REACHES[reach]])
    axes.minorticks_off()
    axes.set_yticks([])
    axes.set_xlabel("shown ÷ required\n(at most: required ÷ shown)")


def _words(sheet: Sheet, lines: Sequence[str], left: float, middle: float, gid: str | None = None) -> None:
    y = middle + len(lines) * BODY_PT * LEADING / 2 - BODY_PT
    for number, line in enumerate(lines):
        sheet.write(left, y, line, gid=f"{gid}-line-{number + 1}" if gid and number else gid)
        y -= BODY_PT * LEADING


def _swatch(sheet: Sheet, row: _Row, of: int, left: float, middle: float) -> None:
    corner = left, middle - SWATCH_PT / 2
    sheet.page.add_patch(Rectangle(corner, SWATCH_PT, SWATCH_PT, **_boxed(int(row.judged.verdict[of]))))


def _boxed(verdict: int) -> Style:
    return {"facecolor": "white", "edgecolor": "black", "linewidth": 1.0, **_FACES[verdict]}


def _bar(axes: Axes, row: _Row, of: int, y: float, reach: float) -> None:
    """From the least to the greatest that is possible; the end that decides is thick, an end that goes on an arrow."""
    ratio, verdict, name = row.ratio, int(row.judged.verdict[of]), row.judged.requirement.id
    assert ratio is not None
    if ratio.low > 0 or math.isfinite(ratio.high):
        low, high = _on_scale(ratio.low, reach), _on_scale(ratio.high, reach)
        face = band_face(_FACES[verdict]["hatch"])
        axes.add_patch(Rectangle((low, y - BAR_PT / 2), high - low, BAR_PT, gid=f"shown-{name}", **face))
        edge = _EDGE | {"linestyle": _FACES[verdict]["linestyle"]}
        for side in (-1, 1):
            put_line(axes, [low, high], [y + side * BAR_PT / 2] * 2, edge)
        for value, at, arrow, decided in ((ratio.low, low, "<", MEETS), (ratio.high, high, ">", MISSES)):
            upright = [at, at], [y - BAR_PT / 2, y + BAR_PT / 2]
            if not 1 / reach <= value <= reach:
                put_mark(axes, at, y, _GOES_ON | {"marker": arrow})
            elif verdict == decided:
                put_line(axes, *upright, _DECIDES, f"decides-{name}")
            else:
                put_line(axes, *upright, _EDGE)
    if verdict == NOT_SHOWN and math.isfinite(ratio.estimate) and ratio.estimate > 0:
        put_mark(axes, _on_scale(ratio.estimate, reach), y, _ESTIMATE, f"estimate-{name}")


def _on_scale(value: float, reach: float) -> float:
    return min(max(value, 1 / reach), reach)


def _keys(rows: Sequence[_Row], of: int) -> Iterator[Key]:
    verdicts = {int(row.judged.verdict[of]) for row in rows}
    for verdict, words in ((MEETS, "meets"), (MISSES, "misses"), (NOT_SHOWN, "not shown")):
        if verdict in verdicts:
            yield Key(words, face_key(**_boxed(verdict)))
    bars = [row for row in rows if row.ratio is not None]
    if bars:
        yield Key("the limit", line_key(_WALL))
        yield Key("the bound that decides", line_key(_DECIDES))
        yield Key("goes on: nothing bounds it, or beyond the scale", mark_key(_GOES_ON | {"marker": ">"}))
    if any(row.judged.verdict[of] == NOT_SHOWN and math.isfinite(row.ratio.estimate) for row in bars if row.ratio):
        yield Key("best estimate, no proof", mark_key(_ESTIMATE))
