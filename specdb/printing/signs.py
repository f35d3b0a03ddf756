"""Texts made harmless for a terminal."""

from __future__ import annotations

import unicodedata


def printable(text: str) -> str:
    """Text from a catalogue without signs that could move a terminal's cursor or turn its line about; every kind of
    space is a space."""
    return "".join(
        c if c.isprintable() else " " if unicodedata.category(c) == "Zs" else "\N{REPLACEMENT CHARACTER}" for c in text
    )
