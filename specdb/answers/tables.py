"""Flat tables of answers, and their CSV: the same for the API and for the command line.

One value to a cell, an empty cell for what is not there, a point for decimals. The name of a column
carries its unit (``flow_l_min``); where the unit changes from row to row it stands in a column ``unit``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from specdb.units import UnitSystem, express

Cell = str | float | int | bool | None

_UNIT_IN_NAME = {
    "L/min": "l_min", "US gpm": "us_gpm", "mm²/s": "mm2_s", "kg/m³": "kg_m3", "lb/ft³": "lb_ft3", "kPa": "kpa",
    "psi": "psi", "µm": "um", "g": "g", "mm": "mm", "in": "in", "°C": "degc", "°F": "degf", "h": "h",
    "mg/L": "mg_l", "1/mL": "per_ml", "%": "percent", "L": "l", "US gal": "us_gal", "g/h": "g_h", "1/min": "per_min",
}  # fmt: skip
"""Unit code: how it is written in the name of a column."""


@dataclass(frozen=True)
class Table:
    """``columns`` are names; each row has one cell for each of them."""

    columns: tuple[str, ...]
    rows: Sequence[Sequence[Cell]]

    def followed_by(self, same: Mapping[str, Cell]) -> Table:
        """The table with further columns, in each of which every row has the same cell."""
        return Table((*self.columns, *same), [[*row, *same.values()] for row in self.rows])

    def csv(self) -> str:
        """RFC 4180: commas, CRLF, quotes where needed, a line of headings first."""
        written = io.StringIO()
        writer = csv.writer(written, lineterminator="\r\n")
        writer.writerow(self.columns)
        writer.writerows([_written(cell) for cell in row] for row in self.rows)
        return written.getvalue()


def _written(cell: Cell) -> Cell:
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return cell


def column(name: str, kind: str, units: UnitSystem = "si") -> str:
    """Name of a column for quantities of ``kind``: ``flow_l_min``, with US customary units ``flow_us_gpm``."""
    return f"{name}_{_UNIT_IN_NAME[express(1.0, kind, units)[1]]}"
