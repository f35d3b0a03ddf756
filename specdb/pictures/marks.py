"""Marks of the pictures: what is told by shape, hatching and kind of line, so that none needs a colour."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.path import Path

from specdb.bounds import FloatArray
from specdb.pictures.sheet import KEY_PT

Style = dict[str, Any]

HATCHES = ("////", "\\\\\\\\", "||||", "----", "//", "\\\\", "||", "--")
"""Of the bounds of one test after another."""

QUALIFIED = {"equal": "o", "at_least": "^", "at_most": "v", "about": "X"}
"""Shape of a result by its qualifier."""

FROM_HERE_UP = Path([(-1.0, 0.6), (-1.0, 0.0), (1.0, 0.0), (1.0, 0.6)])
FROM_HERE_DOWN = Path([(-1.0, -0.6), (-1.0, 0.0), (1.0, 0.0), (1.0, -0.6)])
"""A limit: what serves lies between its legs."""

LOWER: Style = {"color": "black", "linewidth": 1.6, "linestyle": "-"}
UPPER: Style = {"color": "black", "linewidth": 1.6, "linestyle": (0, (5, 2))}
ESTIMATE: Style = {"color": "black", "linewidth": 1.2, "linestyle": (0, (1, 2))}
SHOWN: Style = {
    "color": "black", "linewidth": 1.2, "linestyle": (0, (8, 2, 1, 2)), "markersize": 9.0, "markeredgewidth": 2.0,
}  # fmt: skip


def result(qualifier: str, *, filled: bool = True) -> Style:
    """How the mark of a result is drawn."""
    return {
        "marker": QUALIFIED[qualifier], "markersize": 7.5, "linestyle": "none", "markeredgecolor": "black",
        "markerfacecolor": "black" if filled else "white", "markeredgewidth": 1.2,
    }  # fmt: skip


def limit(serves_up: bool) -> Style:
    """How the mark of a required limit is drawn."""
    return {
        "marker": FROM_HERE_UP if serves_up else FROM_HERE_DOWN, "markersize": 22.0, "linestyle": "none",
        "markeredgecolor": "black", "markerfacecolor": "none", "markeredgewidth": 2.4,
    }  # fmt: skip


def band_face(hatch: str) -> Style:
    """How the room between two bounds is filled."""
    return {"facecolor": "none", "edgecolor": "black", "hatch": hatch, "linewidth": 0.0}


def put_mark(axes: Axes, x: float, y: float, style: Style, gid: str | None = None) -> None:
    """A mark at a place of the plot, whole even at its edge."""
    axes.add_line(Line2D([x], [y], gid=gid, zorder=5, clip_on=False, **style))


def put_line(
    axes: Axes, xs: Sequence[float] | FloatArray, ys: Sequence[float] | FloatArray, style: Style, gid: str | None = None
) -> None:
    axes.add_line(Line2D(xs, ys, gid=gid, zorder=3, **style))


def numbered(gid: str, number: int) -> str:
    """Names of the stretches of one line: "lower-A", "lower-A-1", ..."""
    return f"{gid}-{number}" if number else gid


# --- the same in a key ----------------------------------------------------------------------------


def mark_key(style: Style) -> Callable[[Axes, float, float], None]:
    def draw(page: Axes, x: float, y: float) -> None:
        page.add_line(Line2D([x + KEY_PT / 2], [y], **style))

    return draw


def line_key(style: Style) -> Callable[[Axes, float, float], None]:
    def draw(page: Axes, x: float, y: float) -> None:
        page.add_line(Line2D([x, x + KEY_PT], [y, y], **style))

    return draw


def face_key(**style: Any) -> Callable[[Axes, float, float], None]:
    def draw(page: Axes, x: float, y: float) -> None:
        page.add_patch(Rectangle((x, y - 5), KEY_PT, 10, **style))

    return draw
