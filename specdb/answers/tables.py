"""Flat tables of answers, as CSV, as Parquet and as a data frame: the same for the API and for the command line.

One value to a cell, an empty cell for what is not there, a point for decimals. The name of a column
carries its unit (``flow_l_min``); where the unit changes from row to row it stands in a column ``unit``. A column
also knows what it holds, so that neither a Parquet file nor a data frame changes its types with what was found.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from specdb.formula_guard import guarded
from specdb.units import UnitSystem, express

if TYPE_CHECKING:
    import pandas as pd

Cell = str | float | int | bool | None
Holds = Literal["text", "number", "whole_number", "yes_no"]

_UNIT_IN_NAME = {
    "L/min": "l_min", "US gpm": "us_gpm", "mm²/s": "mm2_s", "kg/m³": "kg_m3", "lb/ft³": "lb_ft3", "kPa": "kpa",
    "psi": "psi", "µm": "um", "g": "g", "mm": "mm", "in": "in", "°C": "degc", "°F": "degf", "h": "h",
    "mg/L": "mg_l", "1/mL": "per_ml", "%": "percent", "L": "l", "US gal": "us_gal", "g/h": "g_h", "1/min": "per_min",
}  # fmt: skip
"""Unit code: how it is written in the name of a column."""


class Column(str):
    """The name of a column, and what its cells hold. A plain text names a column of texts."""

    __slots__ = ("holds",)
    holds: Holds

    def __new__(cls, name: str, holds: Holds = "text") -> Column:
        made = super().__new__(cls, name)
        made.holds = holds
        return made


def numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "number") for name in names)


def whole_numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "whole_number") for name in names)


def yes_or_no(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "yes_no") for name in names)


def column(name: str, kind: str, units: UnitSystem = "si") -> Column:
    """A column for quantities of ``kind``: ``flow_l_min``, with US customary units ``flow_us_gpm``."""
    return Column(f"{name}_{_UNIT_IN_NAME[express(1.0, kind, units)[1]]}", "number")


def holds_of(name: str) -> Holds:
    return name.holds if isinstance(name, Column) else "text"


@dataclass(frozen=True)
class Table:
    """``columns`` are names, of which a :class:`Column` says what it holds; each row has one cell for each of them."""

    columns: tuple[str, ...]
    rows: Sequence[Sequence[Cell]]

    def followed_by(self, same: Mapping[str, Cell]) -> Table:
        """The table with further columns, in each of which every row has the same cell."""
        return Table((*self.columns, *same), [[*row, *same.values()] for row in self.rows])

    def csv(self) -> str:
        """RFC 4180: commas, CRLF, quotes where needed, a line of headings first. Texts are guarded against being taken
        for formulas (:mod:`specdb.formula_guard`)."""
        return csv_lines([self.columns]) + csv_lines(self.rows)

    def parquet(self) -> bytes:
        """A Parquet file, with texts as they are. Its types follow from the columns alone."""
        from specdb.answers.parquet import ParquetRows

        written = io.BytesIO()
        with ParquetRows(written, self.columns) as file:
            file.write(self.rows)
        return written.getvalue()

    def frame(self) -> pd.DataFrame:
        """The rows in pandas' own types: ``str``, ``float64``, ``Int64`` and ``boolean``, each with its missing value.
        Texts are as they are."""
        import pandas as pd

        types = {"text": "str", "number": "float64", "whole_number": "Int64", "yes_no": "boolean"}
        cells = by_column(self.columns, self.rows)
        return pd.DataFrame(
            {
                str(name): pd.Series(held, dtype=types[holds_of(name)])
                for name, held in zip(self.columns, cells, strict=True)
            }
        )


def by_column(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> list[list[Cell]]:
    """The cells of each column; an empty text is one that is not there."""
    held = [[None if cell == "" else cell for cell in cells] for cells in zip(*rows, strict=True)]
    return held or [[] for _ in columns]


# --- CSV --------------------------------------------------------------------------------------------


def csv_lines(rows: Iterable[Sequence[Cell]]) -> str:
    """Rows as lines of CSV, their texts guarded; headings are a row as well."""
    written = io.StringIO()
    csv.writer(written, lineterminator="\r\n").writerows([_written(cell) for cell in row] for row in rows)
    return written.getvalue()


def _written(cell: Cell) -> Cell:
    if isinstance(cell, str):
        return guarded(cell)
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return cell
