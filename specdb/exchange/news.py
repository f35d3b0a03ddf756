"""What an import would add, as lists to look through before it is taken in."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from specdb import vocabulary
from specdb.amounts import amount
from specdb.characteristics import CHARACTERISTICS
from specdb.errors import shown
from specdb.exchange.columns import Row
from specdb.exchange.rating_plan import Wanted
from specdb.exchange.taking_in import Plan

MOST_LISTED = 100
"""Of each kind of thing; the others are counted."""

Item = TypeVar("Item")


@dataclass(frozen=True)
class News:
    """One kind of thing that is new: the first of them, one a row under ``headings``, and how many there are. The
    first heading is that of the row of the sheet; what none of them states has no heading."""

    kind: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    count: int

    @property
    def counted(self) -> str:
        """How many of what: "1 source", "1,200 ratings withdrawn"."""
        what, _, which = self.kind.partition(" ")
        return f"{self.count:,} {what.removesuffix('s') if self.count == 1 else what} {which}".rstrip()


def news_of(plan: Plan) -> tuple[News, ...]:
    """Each kind of thing that ``plan`` adds, in the order of the rows; what is superseded stands with its successor."""
    on_sheet = {(row.named.maker_key, row.named.number_key) for row in plan.elements}
    added = [each for each in plan.attributes if each.element not in on_sheet]
    ratings, claims = plan.ratings, plan.claims
    listed = (
        _news("sources", ("key", "title"), plan.sources, lambda s: s.row, lambda s: (s.key, s.content[0])),
        _news("elements", ("maker", "number", "kind"), plan.elements, lambda e: e.row, lambda e: _element(e.row)),
        _news(
            "attributes of elements on file", ("maker", "number", "attribute", "value"), added, lambda a: a.row,
            lambda a: (a.row.cells["maker"], a.row.cells["number"], a.name, a.value.text),
        ),
        _news(
            "ratings", ("maker", "number", "characteristic", "value", "size", "in place of"), ratings.new,
            lambda wanted: wanted.row.row, _rating,
        ),
        _news(
            "ratings withdrawn", ("maker", "number", "rating", "why"), ratings.withdrawals, lambda ended: ended[1].row,
            lambda ended: (ended[1].named.maker, ended[1].named.number, ended[1].supersedes, ended[1].reason),
        ),
        _news(
            "interchanges", ("maker", "number", "replaces maker", "replaces number"), claims, lambda claim: claim.row,
            lambda claim: (*claim.named[:2], *claim.replaces[:2]),
        ),
    )  # fmt: skip
    return tuple(each for each in listed if each.count)


def _news(
    kind: str,
    headings: tuple[str, ...],
    items: Sequence[Item],
    row_of: Callable[[Item], Row],
    told: Callable[[Item], Iterable[str | None]],
) -> News:
    first = heapq.nsmallest(MOST_LISTED, items, key=lambda item: row_of(item).number)
    rows = [(str(row_of(item).number), *(shown(text or "") for text in told(item))) for item in first]
    stated = [place for place in range(1 + len(headings)) if any(row[place] for row in rows)]
    return News(
        kind, tuple(("row", *headings)[place] for place in stated),
        tuple(tuple(row[place] for place in stated) for row in rows), len(items),
    )  # fmt: skip


def _element(row: Row) -> tuple[str | None, ...]:
    return row.cells["maker"], row.cells["number"], row.cells.get("kind")


def _rating(wanted: Wanted) -> tuple[str | None, ...]:
    row = wanted.row
    sign = "" if row.qualifier == "equal" or vocabulary.signed(row.text)[0] else row.qualifier.replace("_", " ")
    return (
        row.named.maker, row.named.number, row.characteristic,
        f"{sign} {_as_read(row.text, row.value, CHARACTERISTICS[row.characteristic].kind)}".strip(),
        None if row.size is None else row.size.text, row.supersedes,
    )  # fmt: skip


def _as_read(text: str, value: float, kind: str) -> str:
    """A value as typed; of one with a comma, which is read by the marks that its row or file declares, also as read."""
    return f"{text} (read as {amount(value, kind, 'si')})" if "," in text else text
