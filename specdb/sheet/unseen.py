"""Characters of texts from outside that nobody sees, and that may turn the order of those that are seen."""

from __future__ import annotations

import unicodedata

_INVISIBLE = ("Cc", "Cf", "Zl", "Zp", "Cs", "Co", "Cn")


def is_unseen(character: str) -> bool:
    return character not in "\n\t" and unicodedata.category(character) in _INVISIBLE


def numbered(character: str) -> str:
    """The number of a character, in place of it, where no markup can stand."""
    return f"[U+{ord(character):04X}]"


def plain(text: object) -> str:
    """A text with what cannot be seen of it shown by its number: for a title, an attribute, a PDF."""
    whole = str(text)
    # What is unseen is nowhere printable, and most texts are printable throughout.
    return whole if whole.isprintable() else "".join(numbered(c) if is_unseen(c) else c for c in whole)
