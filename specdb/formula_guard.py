"""The guard of texts in CSV against spreadsheet programs that take what begins as a formula does for one."""

from __future__ import annotations

import re

FORMULA_BEGINS = tuple("=+-@\t\r\n＝＋－＠")
"""Characters that make a spreadsheet program take a cell for a formula, and their full-width forms."""

_FORMULA = re.compile(f"'*[{re.escape(''.join(FORMULA_BEGINS))}]")


def guarded(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet program would take it for a formula, and where it would
    otherwise look as if it had been given one."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """The text that :func:`guarded` was given."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text
