"""A picture as its reader has it: parsed, its marks by their names, its places by the numbers along its axes."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import fromstring

from specdb.pictures.sheet import drawing, width_of

SVG = "{http://www.w3.org/2000/svg}"
_NUMBER = r"-?[0-9.]+(?:e-?[0-9]+)?"


@dataclass(frozen=True)
class Written:
    """Words where they stand, in points from the upper left corner."""

    text: str
    left: float
    right: float
    top: float
    bottom: float

    def covers(self, other: Written) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class Drawn:
    def __init__(self, svg: str):
        self.svg = svg
        self.root: Element = fromstring(svg, forbid_dtd=True)
        named = [each.get("id", "") for each in self.root.iter() if each.get("id")]
        self.names = set(named)
        assert len(self.names) == len(named), "a name stands twice"

    @property
    def title(self) -> str:
        return self.root.findtext(f"{SVG}title", "")

    @property
    def description(self) -> str:
        return self.root.findtext(f"{SVG}desc", "")

    @property
    def words(self) -> str:
        """All that is written, joined by blanks: lines may break anywhere."""
        return " ".join(each.text or "" for each in self.root.iter(f"{SVG}text"))

    def named(self, name: str) -> Element:
        (found,) = (each for each in self.root.iter() if each.get("id") == name)
        return found

    def text(self, name: str) -> str:
        """Words under a name, those that went to further lines too."""
        names = [name, *(f"{name}-line-{line}" for line in range(2, 9))]
        parts = [self.named(each).findtext(f"{SVG}text", "") for each in names if each in self.names]
        return " ".join(parts)

    def spot(self, name: str) -> tuple[float, float]:
        """Where a mark stands, in points."""
        (use,) = self.named(name).iter(f"{SVG}use")
        return float(use.get("x", "nan")), float(use.get("y", "nan"))

    def line(self, name: str) -> list[tuple[float, float]]:
        """The corners of a line, in points."""
        (path,) = self.named(name).iter(f"{SVG}path")
        return [(float(x), float(y)) for x, y in re.findall(rf"[ML] ({_NUMBER}) ({_NUMBER})", path.get("d", ""))]

    def axis(self, name: str, *, log: bool) -> Callable[[float], float]:
        """From a place in points to the number that the ticks of the axis, x or y, give it."""
        places = [(self.spot(n)["xy".index(name)], self._number(n)) for n in self._ticks(name)]
        (first, low), (last, high) = min(places), max(places)
        read = (math.log, math.exp) if log else (float, float)
        slope = (read[0](high) - read[0](low)) / (last - first)
        return lambda place: read[1](read[0](low) + slope * (place - first))

    def _ticks(self, name: str) -> Iterator[str]:
        return (each for each in sorted(self.names) if each.startswith(f"{name}tick_"))

    def _number(self, tick: str) -> float:
        return float(next(self.named(tick).iter(f"{SVG}text")).text.replace("\N{MINUS SIGN}", "-"))  # type: ignore[union-attr]

    def written(self) -> list[Written]:
        """Every line of words that stands upright."""
        with drawing():
            texts = self.root.iter(f"{SVG}text")
            return [_written(each) for each in texts if "rotate(-0 " in each.get("transform", "")]

    def page(self) -> tuple[float, float]:
        _, _, width, height = map(float, self.root.get("viewBox", "").split())
        return width, height


def _written(each: Element) -> Written:
    style = each.get("style", "")
    size = float(re.search(r"([0-9.]+)px", style)[1])  # type: ignore[index]
    width = width_of(each.text or "", size, "bold" in style or "font: 700" in style)
    x, y = float(each.get("x", "nan")), float(each.get("y", "nan"))
    left = x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[re.search(r"text-anchor: (\w+)", style)[1]]  # type: ignore[index]
    return Written(each.text or "", left, left + width, y - 0.75 * size, y + 0.2 * size)


def assert_legible(drawn: Drawn) -> None:
    """Black on white, nothing beyond the page, no words on other words, no line thinner than print shows."""
    assert {*re.findall(r"#[0-9a-f]{3,8}\b", drawn.svg)} - _ids(drawn) <= {"#000000", "#ffffff"}
    assert not re.search(r"\bnan\b|\binf\b|rgb\(|opacity: 0?\.", drawn.svg)
    assert min(map(float, re.findall(r"stroke-width: ([0-9.]+)", drawn.svg))) >= 0.6
    width, height = drawn.page()
    written = drawn.written()
    for place, each in enumerate(written):
        inside = each.left >= 0 and each.right <= width and each.top >= 0 and each.bottom <= height
        assert inside, f"{each.text!r} leaves the page"
        covered = [other.text for other in written[place + 1 :] if each.covers(other)]
        assert not covered, f"{each.text!r} stands on {covered}"


def _ids(drawn: Drawn) -> set[Any]:
    return {f"#{name}" for name in drawn.names}
