"""Flat tables as Parquet files, written as their rows come."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from itertools import islice
from types import TracebackType
from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

from specdb.answers.tables import Cell, Holds, by_column, holds_of

ROWS_OF_A_GROUP = 20_000
"""Rows that are held in memory before they are written."""

_TYPES: dict[Holds, pa.DataType] = {
    "text": pa.string(), "number": pa.float64(), "whole_number": pa.int64(), "yes_no": pa.bool_(),
}  # fmt: skip
_IN_PANDAS: dict[Holds, tuple[str, str]] = {
    "text": ("unicode", "str"), "number": ("float64", "float64"), "whole_number": ("int64", "Int64"),
    "yes_no": ("bool", "boolean"),
}  # fmt: skip
"""Names of types in the metadata by which pandas reads its own types back, those with a missing value too."""


def schema_of(columns: Sequence[str]) -> pa.Schema:
    """Types by what the columns hold, whatever the rows are."""
    told = [
        {"name": name, "field_name": name, "pandas_type": is_, "numpy_type": kept, "metadata": None}
        for name, (is_, kept) in ((str(each), _IN_PANDAS[holds_of(each)]) for each in columns)
    ]
    pandas = {"index_columns": [], "column_indexes": [], "columns": told, "pandas_version": "3.0.0"}
    fields = [pa.field(str(name), _TYPES[holds_of(name)]) for name in columns]
    return pa.schema(fields, {"pandas": json.dumps(pandas)})


class ParquetRows:
    """Writes rows to a binary file as they come, a group of rows at a time, so that a long table need never stand in
    memory whole. The file is whole when this is closed; an error leaves it without its end, which no reader takes."""

    def __init__(self, file: BinaryIO, columns: Sequence[str]):
        self._schema = schema_of(columns)
        self._columns = columns
        self._held: list[Sequence[Cell]] = []
        self._writer = pq.ParquetWriter(file, self._schema)

    def __enter__(self) -> ParquetRows:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if error is None:
            self.close()

    def write(self, rows: Iterable[Sequence[Cell]]) -> None:
        rows = iter(rows)
        while more := list(islice(rows, ROWS_OF_A_GROUP - len(self._held))):
            self._held += more
            if len(self._held) == ROWS_OF_A_GROUP:
                self._write_group()

    def close(self) -> None:
        if self._held:
            self._write_group()
        self._writer.close()

    def _write_group(self) -> None:
        cells = by_column(self._columns, self._held)
        arrays = [pa.array(held, field.type) for held, field in zip(cells, self._schema, strict=True)]
        self._writer.write_table(pa.Table.from_arrays(arrays, schema=self._schema))
        self._held = []
