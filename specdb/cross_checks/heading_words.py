"""A heading by its words: whose number or maker it tells, whatever other words of the trade stand beside.

In "Original filter no.", "Our part number" and "Make of original" the words original, our and make decide; filter, part
and no. may stand beside them. A heading that has such a word and another that is not known may mean a number, or
something else: that is for the one who wrote it to settle.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from specdb.duty.question import MOST_COMPARED

ALTERNATIVES = (
    "alternative", "alternate", "offered", "offer", "quoted", "replacement", "substitute", "equivalent", "proposed",
    "suggested",
)  # fmt: skip
"""Words that decide for an element to be judged."""
ORIGINALS = ("original", "old", "existing")
"""Words that decide for the element to be replaced."""
ORIGINALS_WITH_MORE = ("our", "own", "current", "present", "installed", "fitted", "oem")
"""As :data:`ORIGINALS`, beside a word for an element, a number or a maker."""
ALTERNATIVES_WITH_MORE = ("new", "supplier", "vendor", "quote")
ELEMENT_WORDS = ("filter", "element", "part", "article", "product", "cartridge")
ELEMENT_WORDS_OF_BOOKS = ("material", "catalogue", "catalog")
"""As :data:`ELEMENT_WORDS`, beside a word for a number."""
NUMBER_WORDS = ("number", "no", "nr", "num", "code", "#")
MAKER_WORDS = ("maker", "make", "manufacturer", "brand", "mfr")
WORDS_ASIDE = (
    "price", "cost", "date", "delivery", "stock", "qty", "quantity", "amount", "currency", "remark", "remarks", "note",
    "notes", "comment", "comments", "time", "weight", "total", "status", "hours", "page", "picture", "link", "drawing",
    "order", "customer", "value", "discount", "per", "contact", "country", "warranty",
)  # fmt: skip
"""With one of these, a heading is of something else."""

_LINKS = ("of", "the", "from", "by", "for", "to", "a", "an", "in")
_BESIDE_AN_ELEMENT = ("oil", "hydraulic", "spare", "your")
_NAMING = ("type", "model", "designation", "description", "name", "ref", "reference", "id", "key")
_OF_A_LINE = ("machine", "asset", "equipment", "tag", "line", "row", "pos", "position")


@dataclass(frozen=True)
class Doubt:
    """A heading that may mean ``name``; of one that can mean two names, whatever the sheet holds, ``remedy`` says what
    to write."""

    name: str
    remedy: str = ""


def words_of(text: str) -> list[str]:
    """The words and numbers of a heading in small letters, without what only links them."""
    return [word for word in _all_words(text) if word not in _LINKS]


def _all_words(text: str) -> list[str]:
    folded = unicodedata.normalize("NFKC", text).casefold().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    folded = re.sub(r"\bp\s*/\s*n\b", "part number", re.sub(r"'s?\b", " ", folded))
    return re.findall(r"[^\W\d_]+|\d+|#", folded)


def is_of_a_line(text: str) -> bool:
    """Whether a heading is of what the caller calls the line: "Machine no.", "Asset ID"."""
    words = set(words_of(text))
    return bool(words & {*_OF_A_LINE}) and words <= {*_OF_A_LINE, *NUMBER_WORDS, "id", "name", "our"}


def meant_by_words(text: str) -> str | Doubt | None:
    """The dotted name of a number or a maker that a heading tells by its words, or may tell; "" where it is of
    something else, None where it has no such word."""
    words = words_of(text)
    held = set(words)
    has_element, has_number, has_maker = (
        bool(held & {*each}) for each in (ELEMENT_WORDS, NUMBER_WORDS, MAKER_WORDS)
    )
    of_original, of_alternative = bool(held & {*ORIGINALS}), bool(held & {*ALTERNATIVES})
    decided = of_original or of_alternative
    has_element |= has_number and bool(held & {*ELEMENT_WORDS_OF_BOOKS})
    has_element |= "item" in held and (decided or bool(held & {*ORIGINALS_WITH_MORE, *ALTERNATIVES_WITH_MORE}))
    if not decided and (has_element or has_number or has_maker):
        of_original, of_alternative = bool(held & {*ORIGINALS_WITH_MORE}), bool(held & {*ALTERNATIVES_WITH_MORE})
    if not (of_original or of_alternative or has_element or has_maker or held & {"your", "item", "order"}):
        return None
    if of_original and of_alternative and not _is_one_for_the_other(text):
        return None if held & {*WORDS_ASIDE} else Doubt("original.number", _WHOSE)
    is_alternative = of_alternative
    numbers = [word for word in words if word.isdecimal()]
    prefix = f"elements.{numbers[0] if numbers else 1}." if is_alternative else "original."
    in_doubt = next((name for word, name in _OF_A_LETTER.items() if word in held), "")
    if in_doubt and has_number and held <= {*_OF_A_LETTER, *NUMBER_WORDS}:
        return Doubt(in_doubt)
    beyond = held - _fillers(has_element, decided or of_original or of_alternative, is_alternative)
    if is_alternative and len(numbers) == 1 and 1 <= int(numbers[0]) <= MOST_COMPARED and numbers[0][0] != "0":
        beyond -= {*numbers}
    elif is_alternative:
        prefix = "elements.1."
    if beyond & {*WORDS_ASIDE}:
        return ""
    if beyond and beyond <= {*numbers}:
        return Doubt(f"{prefix}number", _ONE if prefix == "original." else _NUMBERED)
    if beyond:
        return Doubt(f"{prefix}number") if _is_doubtful(held, beyond, decided, has_element) else None
    if not (of_original or of_alternative) and "your" in held:
        return Doubt("original.number", _WHOSE) if has_element or has_number else None
    if has_maker:
        return _number_or_maker(_all_words(text), prefix)
    return f"{prefix}number" if has_element or of_original or of_alternative else None


_OF_A_LETTER = {"offer": "elements.1.number", "quote": "elements.1.number", "order": "original.number"}
"""Words of which a number may be that of an element or of a letter: what it would be of an element."""
_WHOSE = 'Whose is meant? Write "original number" or "alternative number".'


_ONE = "A line has one original: give each a line of its own."
_NUMBERED = f'Alternatives are numbered from 1 to {MOST_COMPARED}, such as "alternative 2".'


def _fillers(has_element: bool, decided: bool, is_alternative: bool) -> set[str]:
    """Words that leave a heading what it is."""
    fillers = {*ORIGINALS, *ALTERNATIVES, *ELEMENT_WORDS, *NUMBER_WORDS, *MAKER_WORDS, "your"}
    fillers |= {*ELEMENT_WORDS_OF_BOOKS} if has_element else set()
    fillers |= {*ORIGINALS_WITH_MORE} | ({*ALTERNATIVES_WITH_MORE} if is_alternative else set())
    return fillers | ({*_BESIDE_AN_ELEMENT} if has_element else set()) | ({"item"} if decided else set())


def _is_doubtful(held: set[str], beyond: set[str], decided: bool, has_element: bool) -> bool:
    """Whether a heading with words ``beyond`` those that are known here may still tell a number."""
    if decided or has_element:
        return True
    return held == {"item", "code"} or (beyond <= {*_NAMING} and bool(held & {"our", "your", "oem"}))


def _is_one_for_the_other(text: str) -> bool:
    """Of both kinds of words in one heading, whether it begins with the alternative: "replacement for old number"."""
    words = _all_words(text)
    first = [word for word in words if word in (*ORIGINALS, *ALTERNATIVES)]
    return bool(first) and first[0] in ALTERNATIVES and any(word in ("for", "of", "to") for word in words)


def _number_or_maker(words: Iterable[str], prefix: str) -> str | Doubt:
    """A maker, unless what follows that word is the maker's number: "manufacturer part no.", not "make of filter"."""
    after = list(words)
    while after and after[0] not in MAKER_WORDS:
        after.pop(0)
    following = after[1:]
    if following and following[0] not in _LINKS and {*following} & {*ELEMENT_WORDS, *NUMBER_WORDS}:
        is_code = not {*following} & {*ELEMENT_WORDS, *NUMBER_WORDS} - {"code"}
        return Doubt(f"{prefix}maker") if is_code else f"{prefix}number"
    return f"{prefix}maker"
