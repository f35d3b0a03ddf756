"""Elements on file that may be meant by a number that is that of none, or of more than one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from api.pages.addresses import Asked
from api.pages.failing import Told
from specdb.catalog.identity import identity_key
from specdb.catalog.search import Claim
from specdb.catalog.snapshot import Snapshot
from specdb.errors import InputError


@dataclass(frozen=True)
class Meant:
    """An element on file that may be meant, in what way, and the address that asks of it."""

    named: str
    way: str
    is_claimed: bool
    address: str


def elements_meant(asked: Asked, group: str, snapshot: Snapshot) -> list[Meant]:
    """What may be meant by the number and maker that ``asked`` states in a ``group`` of names, such as "original" or
    "elements.2": elements of that number if there are any, else those whose numbers are near, and those that a claim
    knows it from."""
    number, maker = f"{group}.number", f"{group}.maker"
    try:
        key = identity_key(asked.names.get(number, ""), field="number")
        near = snapshot.numbers.near_number(asked.names[number], asked.names.get(maker))
    except InputError:
        return []
    elements = snapshot.elements
    same = [(elements.maker[row], elements.number[row]) for row in np.flatnonzero(elements.number_key == key)]
    found: dict[tuple[str, str], tuple[str, bool]] = dict.fromkeys(same, ("the same number", False))
    for hit in near if not same else ():
        claim = hit.entry.claim
        if hit.entry.element_id is not None:
            named = claim.other_side if claim else (hit.entry.maker, hit.entry.number)
            found.setdefault(named, (_claimed(claim, hit.entry.number), True) if claim else (hit.words, False))
    return [Meant(f"{m} {n}", *way, _address(asked, {number: n, maker: m})) for (m, n), way in found.items()]


def told_above(told: Told, found: Sequence[Meant]) -> Told:
    """A fault that stands above those ``found``, which are links there: it does not name them once more."""
    if any(one.is_claimed for one in found) and told.field and told.field.endswith(".number"):
        return Told(told.field, "No element on file has this number: it is known from a claim only.", None)
    return replace(told, remedy=(told.remedy or "").partition("Near it on file")[0].strip()) if found else told


def _claimed(claim: Claim, number: str) -> str:
    """How an element on file stands to a number that is known from a claim: "is claimed to be replaced by 45/2"."""
    source = ", ".join(filter(None, (claim.row["source"], claim.row["date"])))
    way = "is claimed to be replaced by" if claim.number_is == "replacing" else "is claimed to replace"
    return f"{way} {number}{f' ({source})' if source else ''}: a claim, no proof"


def _address(asked: Asked, named: Mapping[str, str]) -> str:
    return asked.address(asked.path.removesuffix(".pdf"), named)
