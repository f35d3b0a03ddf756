"""Data frames of lines as workbooks, in which a number, a date and a text are told apart."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from typing_extensions import TypeIs

from specdb.client.plain import plain_fields
from specdb.errors import QuestionError

if TYPE_CHECKING:
    import pandas as pd
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

EXACT_BELOW = 10**15
"""Whole numbers that a cell of a workbook holds to their last digit. Others are written as text."""

LONGEST = 32767
"""Characters of a cell. Any that is as long is refused where lines are read."""


def is_frame(lines: object) -> TypeIs[pd.DataFrame]:
    """Whether these are a data frame, told without loading pandas."""
    return hasattr(lines, "columns") and hasattr(lines, "notna")


def workbook_of(frame: pd.DataFrame) -> bytes:
    """A data frame as a workbook, to be read as any other is: a heading for each column, and below it the cells. What
    is missing (None, NaN, NaT) is blank.

    Raises QuestionError, naming the column, for a cell that can be no part of a line.
    """
    from xlsxwriter import Workbook

    held = BytesIO()
    with Workbook(held, {"in_memory": True, "remove_timezone": True}) as book:
        sheet, day = book.add_worksheet(), book.add_format({"num_format": "yyyy-mm-dd"})
        for column, name in enumerate(frame.columns):
            sheet.write_string(0, column, str(name))
        cells = frame.astype(object).where(frame.notna(), None)
        for row, values in enumerate(cells.values, start=1):
            for column, value in enumerate(values):
                _write(sheet, row, column, _cell(value, str(frame.columns[column])), day)
    return held.getvalue()


def _write(sheet: Worksheet, row: int, column: int, cell: str | float | date | None, day: Format) -> None:
    if isinstance(cell, str):
        sheet.write_string(row, column, cell[:LONGEST])
    elif isinstance(cell, bool):
        sheet.write_boolean(row, column, cell)
    elif isinstance(cell, date):
        sheet.write_datetime(row, column, cell, day)
    elif cell is not None:
        sheet.write_number(row, column, cell)


def _cell(value: object, column: str) -> str | float | date | None:
    """What stands in a cell: text, a number, a truth value, a day, or nothing."""
    if value is None or isinstance(value, date):
        return value
    own = value.item() if isinstance(value, np.generic) else value
    if isinstance(own, int) and (isinstance(own, bool) or abs(own) < EXACT_BELOW):
        return own
    text = plain_fields({column: own}, (column,))[column]
    if isinstance(own, float | Decimal):
        return float(text)
    if any("\ud800" <= character <= "\udfff" for character in text):
        raise QuestionError("Broken Unicode is not accepted.", field=column, value=text)
    return text
