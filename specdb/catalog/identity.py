"""Which texts name the same element, and which look alike.

Two keys are made of a maker's name or a part number:

* the **identity key** says when two texts are one name. It forgives what nobody means: letter case,
  spaces, full-width forms, the dozen dashes that word processors put in. A dash itself is kept,
  because "12-1" and "121" are different elements.
* the **search key** finds what a customer reads off a dirty label. It also drops punctuation and
  folds characters that are taken for one another. It is never unique and decides nothing.
"""

from __future__ import annotations

import hashlib
import unicodedata

from specdb.errors import QuestionError

LONGEST_NAME_CHARACTERS = 200

# Dashes outside the Unicode category "dash punctuation": minus signs and the hyphen bullet.
_OTHER_DASHES = frozenset("\u02d7\u2043\u2212\u2796")

# Read from a worn label: 0/O, 1/I/L, 2/Z, 5/S, 8/B. Capitals of the Greek and Cyrillic alphabets that
# print like Latin ones are typed for them on such keyboards, so they are made Latin first.
_ALPHABETS = str.maketrans("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧАВЕКМНОРСТУХ", "ABEZHIKMNOPTYXABEKMHOPCTYX")
_LOOK_ALIKES = str.maketrans("OILZSB", "011258")


def stated_text(text: str, *, field: str | None = None, longest: int = LONGEST_NAME_CHARACTERS) -> str:
    """``text`` trimmed, once it is fit to be kept in a store.

    Raises QuestionError when it is empty, longer than ``longest`` characters, or holds control
    characters or halves of surrogate pairs, which neither database nor file would give back.
    """
    trimmed = text.strip()
    if not trimmed:
        raise QuestionError("The text is empty.", value=text, field=field, remedy="Give at least one character.")
    if len(text) > longest:
        raise QuestionError(
            f"The text has {len(text)} characters.", value=text, field=field, remedy=f"Give at most {longest}."
        )
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in trimmed):
        raise QuestionError(
            "The text holds a control character or a broken character.",
            value=text,
            field=field,
            remedy="Type it again on one line, without tabs.",
        )
    return trimmed


def _forgiven(character: str) -> str:
    """One character as the identity key keeps it: a plain dash for any dash, nothing for the unseen."""
    category = unicodedata.category(character)
    if category == "Pd" or character in _OTHER_DASHES:
        return "-"
    unseen = category in ("Cf", "Cc") or character.isspace()
    return "" if unseen else character


def identity_key(text: str, *, field: str | None = None) -> str:
    """The key under which a maker's name or a part number is one and the same.

    NFKC form, trimmed, upper case, spaces and invisible characters removed, every dash written
    ``-`` and kept. The key of a key is the key itself.

    Raises QuestionError for texts that ``stated_text`` refuses, that hold no letter or digit, or
    whose key would be longer than 200 characters.
    """
    key = stated_text(text, field=field)
    folded = ""
    # Upper case and a removed space may leave a form that NFKC composes anew: repeat until it rests.
    while folded != key:
        folded, key = key, "".join(map(_forgiven, unicodedata.normalize("NFKC", key).upper()))
    if not any(c.isalnum() for c in key):
        raise QuestionError(
            "The text holds no letter or digit.", value=text, field=field, remedy="Give the name or number as printed."
        )
    if len(key) > LONGEST_NAME_CHARACTERS:
        raise QuestionError(
            f"Written out, the text has {len(key)} characters.",
            value=text,
            field=field,
            remedy=f"Give at most {LONGEST_NAME_CHARACTERS}.",
        )
    return key


def search_key(text: str, *, field: str | None = None) -> str:
    """The key under which texts that are easily taken for one another meet.

    The identity key without punctuation, with look-alikes folded: O to 0, I and L to 1, Z to 2,
    S to 5, B to 8, and Greek and Cyrillic capitals to the Latin ones they look like. Different
    elements may share it.

    Raises QuestionError as ``identity_key`` does.
    """
    kept = "".join(c for c in identity_key(text, field=field) if c.isalnum())
    return kept.translate(_ALPHABETS).translate(_LOOK_ALIKES)


def element_id(maker: str, number: str) -> str:
    """The 16 hexadecimal digits that name one maker's one number.

    The first 16 of SHA-256 over both identity keys in UTF-8, joined by a NUL, which no key holds.
    Raises QuestionError, naming ``maker`` or ``number``, as ``identity_key`` does.
    """
    keys = identity_key(maker, field="maker"), identity_key(number, field="number")
    return hashlib.sha256("\0".join(keys).encode()).hexdigest()[:16]
