"""A page of black on white: heading, plot, what the marks mean, notes, and the cautions; written as SVG.

Lengths are in points (1/72 inch), and so are the coordinates of :attr:`Sheet.page`, from the lower left corner. Words
stay words, so that a reader's program can find, read out and enlarge them. One question gives the same bytes each time.
"""

from __future__ import annotations

import io
import math
import unicodedata
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from threading import Lock
from typing import Any
from xml.etree import ElementTree

import matplotlib
import numpy as np
from defusedxml.ElementTree import fromstring
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from specdb.bounds import FloatArray

WIDTH_PT = 504.0
"""Seven inches: as wide as the text of a page, A4 or US letter."""

MARGIN_PT = 12.0
INNER_PT = WIDTH_PT - 2 * MARGIN_PT
TITLE_PT, BODY_PT, SMALL_PT = 12.0, 9.0, 8.0
"""Sizes of letters; none is smaller than print can show."""

LEADING = 1.3
LINE_PT = 1.2 * BODY_PT
"""Height of words within a plot."""

KEY_PT = 30.0
"""Room for a mark beside the words that explain it."""

_FAMILY = "DejaVu Sans"
_FAMILIES = f"'{_FAMILY}', Verdana, Arial, sans-serif"
"""Lengths are measured in the first, which is as wide as any that may stand in for it."""

_SETTINGS: dict[Any, Any] = {
    "axes.linewidth": 1.0,
    "axes.unicode_minus": True,
    "font.family": _FAMILY,
    "font.size": BODY_PT,
    "hatch.color": "black",
    "hatch.linewidth": 0.8,
    "path.simplify": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "specdb",
    "text.parse_math": False,
    "xtick.direction": "in",
    "xtick.major.pad": 6.0,
    "ytick.direction": "in",
}
_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_one_at_a_time = Lock()


@contextmanager
def drawing() -> Iterator[None]:
    """The only place to draw in: the library's settings and fonts are the whole program's, so one draws at a time,
    with settings of our own whatever a user's file says."""
    with _one_at_a_time, matplotlib.rc_context(), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of signs that the font lacks: the reader's may have them
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        yield


# --- words ----------------------------------------------------------------------------------------


def harmless(text: str) -> str:
    """Text from a catalogue as it may stand in a picture: one line, without signs that XML has no place for or that
    turn a line about."""
    return "".join(
        c if c.isprintable() else " " if unicodedata.category(c) in ("Zs", "Cc") else "\N{REPLACEMENT CHARACTER}"
        for c in text
    )


@lru_cache(maxsize=8)
def font(size_pt: float, bold: bool = False) -> FontProperties:
    return FontProperties(family=_FAMILY, size=size_pt, weight="bold" if bold else "normal")


@lru_cache(maxsize=8192)
def width_of(text: str, size_pt: float, bold: bool = False) -> float:
    """Width of a line in points; a sign that is as wide as high counts as that, whatever the font makes of it."""
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    narrow = "".join(c for c in text if unicodedata.east_asian_width(c) not in "WF")
    measured = text_to_path.get_text_width_height_descent(narrow, font(size_pt, bold), False)[0] if narrow else 0.0
    return float(measured) + wide * size_pt


def lines_of(text: str, size_pt: float, width_pt: float, bold: bool = False) -> list[str]:
    """The text in lines of at most this width, broken between words, within one only where it is too long alone."""
    lines: list[list[str]] = [[]]
    room, blank = width_pt, width_of(" ", size_pt, bold)
    for word in text.split():
        width = width_of(word, size_pt, bold)
        if lines[-1] and blank + width > room:
            lines.append([])
            room = width_pt
        if width > width_pt:
            *full, word = _parts_of(word, size_pt, width_pt, bold)
            lines[-1:] = [*([part] for part in full), []]
            room, width = width_pt, width_of(word, size_pt, bold)
        room -= width + (blank if lines[-1] else 0.0)
        lines[-1].append(word)
    return [" ".join(line) for line in lines if line]


def _parts_of(word: str, size_pt: float, width_pt: float, bold: bool) -> list[str]:
    parts = [""]
    for sign in word:
        if parts[-1] and width_of(parts[-1] + sign, size_pt, bold) > width_pt:
            parts.append("")
        parts[-1] += sign
    return parts


# --- the page -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Key:
    """A mark and what it means. ``mark`` draws it on a page, from the left end of its room and at its height."""

    words: str
    mark: Callable[[Axes, float, float], None]


@dataclass(frozen=True)
class Box:
    """A rectangle on the page."""

    left: float
    bottom: float
    right: float
    top: float

    def touches(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    def holds(self, other: Box) -> bool:
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.bottom <= other.bottom
            and other.top <= self.top
        )


class Sheet:
    """A page with room for a plot of ``plot_pt`` points in height between its heading and its notes."""

    def __init__(
        self, title: str, about: Sequence[str], plot_pt: float, keys: Sequence[Key], notes: Sequence[str],
        small: Sequence[str],
    ):  # fmt: skip
        heading = [(line, TITLE_PT, True) for line in lines_of(title, TITLE_PT, INNER_PT, True)]
        heading += [(line, BODY_PT, False) for text in about for line in lines_of(text, BODY_PT, INNER_PT)]
        column = INNER_PT / 2 - KEY_PT - 8
        explained = [(key, lines_of(key.words, BODY_PT, column)) for key in keys]
        rows = [explained[i : i + 2] for i in range(0, len(explained), 2)]
        row_pt = [max(len(lines) for _, lines in row) * BODY_PT * LEADING + 3 for row in rows]
        closing = [(line, BODY_PT, False) for text in notes for line in lines_of(text, BODY_PT, INNER_PT)]
        closing += [(line, SMALL_PT, False) for text in small for line in lines_of(text, SMALL_PT, INNER_PT)]
        gap = BODY_PT
        height = 2 * MARGIN_PT + _height(heading) + gap + plot_pt + gap + sum(row_pt) + gap + _height(closing)

        self.figure = Figure(figsize=(WIDTH_PT / 72, height / 72), dpi=72)
        FigureCanvasSVG(self.figure)
        self._size = WIDTH_PT, height
        self.page = self.figure.add_axes((0, 0, 1, 1), zorder=3)
        self.page.set(xlim=(0, WIDTH_PT), ylim=(0, height))
        self.page.set_axis_off()
        top = self._lines(heading, height - MARGIN_PT) - gap
        self.plot = Box(MARGIN_PT, top - plot_pt, WIDTH_PT - MARGIN_PT, top)
        top = self.plot.bottom - gap
        for row, its_pt in zip(rows, row_pt, strict=True):
            for place, (key, lines) in enumerate(row):
                left = MARGIN_PT + place * INNER_PT / 2
                key.mark(self.page, left, top - BODY_PT * LEADING / 2)
                self._lines([(line, BODY_PT, False) for line in lines], top, left + KEY_PT + 4)
            top -= its_pt
        self._lines(closing, top - gap)

    def _lines(self, lines: Sequence[tuple[str, float, bool]], top: float, left: float = MARGIN_PT) -> float:
        """Lines from ``top`` down; where the next would begin."""
        for text, size, bold in lines:
            self.write(left, top - size * LEADING * 0.76, text, size, bold)
            top -= size * LEADING
        return top

    def write(
        self, x: float, y: float, text: str, size_pt: float = BODY_PT, bold: bool = False, gid: str | None = None
    ) -> None:
        """A line from ``x`` on, its letters standing on ``y``."""
        self.page.text(x, y, text, fontproperties=font(size_pt, bold), ha="left", va="baseline", gid=gid)

    def axes(self, box: Box) -> Axes:
        """A plot in ``box``."""
        width, height = self._size
        sides = box.left / width, box.bottom / height, (box.right - box.left) / width, (box.top - box.bottom) / height
        return self.figure.add_axes(sides, zorder=2)

    def svg(self, title: str, description: str) -> str:
        """The page as an SVG document of its own, with a name and a description for who cannot see it."""
        written = io.StringIO()
        nothing_of_itself = dict.fromkeys(("Date", "Format", "Type", "Creator"))
        self.figure.savefig(written, format="svg", metadata=nothing_of_itself)
        for prefix, name in (("", _SVG), ("xlink", _XLINK)):
            ElementTree.register_namespace(prefix, name)
        root = fromstring(written.getvalue())
        root.attrib |= {"role": "img", "aria-labelledby": "title description", "lang": "en"}
        for place, (name, text) in enumerate((("title", title), ("desc", description))):
            told = ElementTree.Element(f"{{{_SVG}}}{name}", {"id": "title" if name == "title" else "description"})
            told.text = text
            root.insert(place, told)
        for each in root.iter(f"{{{_SVG}}}text"):
            each.set("style", each.get("style", "").replace(f"'{_FAMILY}'", _FAMILIES))
        return f'<?xml version="1.0" encoding="utf-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def _height(lines: Sequence[tuple[str, float, bool]]) -> float:
    return sum(size * LEADING for _, size, _ in lines)


# --- words beside marks ---------------------------------------------------------------------------


class Labels:
    """Words that stand by their marks within ``room``: none covers another, nor what has been taken already."""

    def __init__(self, sheet: Sheet, room: Box):
        self._sheet = sheet
        self._room = room
        self._taken: list[Box] = []
        self._lined: list[Box] = []
        self._written: list[Box] = []

    def take(self, box: Box) -> None:
        """Keep words off ``box``."""
        self._taken.append(box)

    def take_line(self, xs: Sequence[float], ys: Sequence[float]) -> None:
        """Keep words off a line through these points of the page, where there is room elsewhere."""
        for start, end in pairwise(zip(xs, ys, strict=True)):
            self._lined += [Box(x - 1, y - 1, x + 1, y + 1) for x, y in _along(start, end)]

    def put(self, x: float, y: float, text: str, *, beside_pt: float = 6.0, gid: str | None = None) -> None:
        """Words as near to a point of the page as there is room; a line leads to the point from further off."""
        x, y = _within(x, self._room.left, self._room.right), _within(y, self._room.bottom, self._room.top)
        box = self._place(x, y, width_of(text, BODY_PT), beside_pt)
        if _distance(box, x, y) > beside_pt + 6:
            end_x, end_y = _nearest(box, x, y)
            self._sheet.page.add_line(Line2D([x, end_x], [y, end_y], color="black", linewidth=0.8, zorder=1))
        self._taken.append(box)
        self._written.append(box)
        self._sheet.page.add_patch(_white(box))
        self._sheet.write(box.left, box.bottom + BODY_PT * 0.27, text, gid=gid)

    def _place(self, x: float, y: float, width: float, beside: float) -> Box:
        """The best free place: near, off the lines, and so that a line to the point runs through no other words."""
        best, found = math.inf, _pushed_in(Box(x, y, x + width, y + LINE_PT), self._room)
        taken, lined = _sides_of(self._taken), _sides_of(self._lined)
        for far in range(90):
            off = beside + far * LINE_PT / 3
            if off - beside > best:
                break
            for box in _around(x, y, width, off, self._room):
                if self._room.holds(box) and not _touched(box, taken):
                    score = _distance(box, x, y) + _ON_A_LINE * _touched(box, lined)
                    if score < best and (score + _THROUGH_WORDS * self._runs_through_words(box, x, y)) < best:
                        best, found = score + _THROUGH_WORDS * self._runs_through_words(box, x, y), box
        return found

    def _runs_through_words(self, box: Box, x: float, y: float) -> bool:
        spots = [Box(at_x, at_y, at_x, at_y) for at_x, at_y in _along((x, y), _nearest(box, x, y))]
        return any(written.touches(spot) for written in self._written for spot in spots)


_ON_A_LINE, _THROUGH_WORDS = 50.0, 500.0
"""How many points further off words rather stand than on a line, or behind other words."""


def _sides_of(boxes: Sequence[Box]) -> FloatArray:
    return np.array([(box.left, box.bottom, box.right, box.top) for box in boxes]).reshape(-1, 4)


def _around(x: float, y: float, width: float, off: float, room: Box) -> Iterator[Box]:
    """Places for words at a distance from a point, the usual ones first."""
    lefts = (x + off / 2, x - off / 2 - width, x - width / 2, x + off, x - off - width)
    for left in (*lefts, room.left, (room.left + room.right - width) / 2, room.right - width):
        for bottom in (y + off / 2, y - off / 2 - LINE_PT, y - LINE_PT / 2, y + off, y - off - LINE_PT):
            yield Box(left, bottom, left + width, bottom + LINE_PT)


def _touched(box: Box, taken: FloatArray) -> bool:
    left, bottom, right, top = taken.T
    return bool(((box.left < right) & (left < box.right) & (box.bottom < top) & (bottom < box.top)).any())


def _along(start: tuple[float, float], end: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """Spots on a straight line, close to each other."""
    (x0, y0), (x1, y1) = start, end
    steps = int(min(max(abs(x1 - x0), abs(y1 - y0)), 2000) / 4) + 1
    for step in range(steps + 1):
        yield x0 + (x1 - x0) * step / steps, y0 + (y1 - y0) * step / steps


def _within(value: float, least: float, most: float) -> float:
    return min(max(value, least), most)


def _nearest(box: Box, x: float, y: float) -> tuple[float, float]:
    return _within(x, box.left, box.right), _within(y, box.bottom, box.top)


def _distance(box: Box, x: float, y: float) -> float:
    near_x, near_y = _nearest(box, x, y)
    return math.hypot(x - near_x, y - near_y)


def _pushed_in(box: Box, room: Box) -> Box:
    right, up = min(0.0, room.right - box.right), min(0.0, room.top - box.top)
    return Box(box.left + right, box.bottom + up, box.right + right, box.top + up)


def _white(box: Box) -> Rectangle:
    """What a word stands on, so that no hatching runs through it."""
    width, height = box.right - box.left + 2, box.top - box.bottom
    return Rectangle((box.left - 1, box.bottom), width, height, facecolor="white", edgecolor="none", zorder=2)
