"""Comparing what files state with what is on file, and adding what is new in one revision."""

from __future__ import annotations

import difflib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import sqlalchemy as sa

from specdb.catalog import tables
from specdb.catalog.identity import element_id
from specdb.catalog.writing import supersede
from specdb.characteristics import ATTRIBUTES
from specdb.exchange.columns import TEST_COLUMNS, TEST_QUANTITIES, Row
from specdb.exchange.faults import Findings
from specdb.exchange.on_file import COLUMN_OF_QUANTITY, SOURCE_COLUMNS, OnFile, claim_key
from specdb.exchange.rating_plan import NewTest, Place, RatingPlan, Replacement, Wanted, plan_ratings
from specdb.exchange.rows import (
    AttributeValue,
    ClaimRow,
    ElementRow,
    Facts,
    Named,
    RatingRow,
    Reference,
    SourceRow,
    WithdrawalRow,
    digits,
)


@dataclass(eq=False)
class NewAttribute:
    """``replaces`` is what it corrects, on file (its number) or new in this import; ``row`` states it."""

    row: Row
    element: tuple[str, str]
    name: str
    value: AttributeValue
    source: str | None
    replaces: NewAttribute | int | None = None
    reason: str | None = None
    id: int = 0


@dataclass
class Plan:
    """What is to be added; ``unchanged`` counts rows and cells that were on file already."""

    sources: list[SourceRow] = field(default_factory=list)
    elements: list[ElementRow] = field(default_factory=list)
    attributes: list[NewAttribute] = field(default_factory=list)
    claims: list[ClaimRow] = field(default_factory=list)
    ratings: RatingPlan = field(default_factory=RatingPlan)
    unchanged: Counter[str] = field(default_factory=Counter)

    def added(self) -> dict[str, int]:
        return {
            "sources": len(self.sources),
            "elements": len(self.elements),
            "attributes": len(self.attributes),
            "tests": len(self.ratings.new_tests),
            "ratings": len(self.ratings.new),
            "interchanges": len(self.claims),
        }

    @property
    def superseded(self) -> int:
        corrected = sum(attribute.replaces is not None for attribute in self.attributes)
        return corrected + len(self.ratings.supersessions)

    @property
    def withdrawn(self) -> int:
        return len(self.ratings.withdrawals)

    @property
    def changes(self) -> bool:
        return any(self.added().values()) or self.superseded + self.withdrawn > 0


def make_plan(facts: Facts, held: OnFile, findings: Findings) -> Plan:
    """What of ``facts`` is to be added to what is ``held``. What cannot be taken in becomes a fault."""
    plan = Plan()
    _plan_sources(plan, facts, held, findings)
    _plan_elements(plan, facts, held, findings)
    known = _Known(facts, held, findings)
    saying: Iterable[Sequence[ElementRow | RatingRow | ClaimRow | Reference]] = (
        facts.elements, facts.faulty_elements, facts.ratings, facts.claims, facts.references,
    )  # fmt: skip
    for row in chain.from_iterable(saying):
        known.source(row)
    about: Iterable[Sequence[RatingRow | WithdrawalRow | Reference]] = (
        facts.ratings, facts.withdrawals, facts.references
    )  # fmt: skip
    for each in chain.from_iterable(about):
        known.element(each)
    # Rows at fault are planned as well: nothing is written then, and what else is wrong with them is told at once.
    _plan_claims(plan, facts.claims, held, findings)
    plan.ratings = plan_ratings(facts.ratings, facts.withdrawals, held, facts.doubtful_labels, findings)
    plan.unchanged["ratings"] = plan.ratings.unchanged
    return plan


def _plan_sources(plan: Plan, facts: Facts, held: OnFile, findings: Findings) -> None:
    seen: dict[str, SourceRow] = {}
    for source in facts.sources:
        before = seen.setdefault(source.key, source)
        on_file = held.sources.get(source.key)
        if on_file is not None and on_file[1] != source.content:
            _source_fault(source, on_file[1], "On file this document", findings)
        elif before is not source and before.content != source.content:
            _source_fault(source, before.content, f"In row {before.row.number} this document", findings)
        elif on_file is not None or before is not source:
            plan.unchanged["sources"] += 1
        else:
            plan.sources.append(source)
    plan.sources.sort(key=lambda source: source.key)


def _source_fault(source: SourceRow, other: Sequence[str | None], who: str, findings: Findings) -> None:
    pairs = zip(SOURCE_COLUMNS, source.content, other, strict=True)
    column, _, theirs = next(pair for pair in pairs if pair[1] != pair[2])
    column = "revision" if column == "document_revision" else column
    said = f'says "{theirs}" here' if theirs else "has nothing here"
    findings.fault(
        source.row.file, f"{who} {said}.", "Give another document a key of its own.",
        row=source.row.number, column=column, found=source.row.cells.get(column),
    )  # fmt: skip


@dataclass
class _Known:
    """Which documents and elements a row may refer to."""

    facts: Facts
    held: OnFile
    findings: Findings
    sources: set[str] = field(init=False)
    folded_sources: dict[str, str] = field(init=False)
    elements: set[tuple[str, str]] = field(init=False)
    makers: dict[str, str] = field(init=False)
    maker_meant: dict[str, str | None] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.sources = {*self.held.sources, *(s.key for s in self.facts.sources), *self.facts.doubtful_sources}
        self.folded_sources = {key.casefold(): key for key in sorted(self.sources, reverse=True)}
        named = {e.named.maker_key: e.named for e in (*self.facts.elements, *self.facts.faulty_elements)}
        stated = {(e.named.maker_key, e.named.number_key) for e in self.facts.elements}
        self.elements = {*self.held.elements, *stated, *self.facts.doubtful_elements}
        self.makers = {key: named[key].maker if key in named else key for key in sorted({k for k, _ in self.elements})}

    def source(self, row: ElementRow | RatingRow | ClaimRow | Reference) -> None:
        if row.source is None or row.source in self.sources or "sources" in self.facts.unread:
            return
        alike = self.folded_sources.get(row.source.casefold())
        sheet = self.facts.called("sources")
        remedy = f'"{alike}" is there.' if alike else f"Add the document to {sheet}, or leave the cell blank."
        message = f"This document is neither in {sheet} nor on file."
        self.findings.fault(row.row.file, message, remedy, row=row.row.number, column="source", found=row.source)

    def element(self, row: RatingRow | WithdrawalRow | Reference) -> None:
        named = row.named
        if named is None or not named.maker_key or not named.number_key or "elements" in self.facts.unread:
            return
        # A row of the elements whose maker or number is at fault may be this one.
        may_be = {(named.maker_key, named.number_key), (named.maker_key, ""), ("", named.number_key), ("", "")}
        if not may_be.isdisjoint(self.elements):
            return
        if named.maker_key not in self.makers:
            self._unknown_maker(row.row, named)
            return
        sheet = self.facts.called("elements")
        self.findings.fault(
            row.row.file, f"This element is neither in {sheet} nor on file.",
            f"Add {named.maker} {named.number} to {sheet}, or correct the number.",
            row=row.row.number, column="number", found=named.number,
        )  # fmt: skip

    def _unknown_maker(self, row: Row, named: Named) -> None:
        if self.findings.is_full:
            self.findings.not_listed += 1  # without the search for what may be meant
            return
        if named.maker_key not in self.maker_meant:
            near = difflib.get_close_matches(named.maker_key, self.makers, 1, cutoff=0.7)
            self.maker_meant[named.maker_key] = self.makers[near[0]] if near else None
        near_maker = self.maker_meant[named.maker_key]
        meant = f"Is {near_maker} meant? " if near_maker else ""
        sheet = self.facts.called("elements")
        self.findings.fault(
            row.file, f"No element of this maker is in {sheet} or on file.",
            f"{meant}If the maker is new, add {named.maker} {named.number} to {sheet}.",
            row=row.number, column="maker", found=named.maker,
        )  # fmt: skip


# --- elements -------------------------------------------------------------------------------------


def _plan_elements(plan: Plan, facts: Facts, held: OnFile, findings: Findings) -> None:
    rows_of: dict[tuple[str, str], list[ElementRow]] = defaultdict(list)
    for element in (*facts.elements, *facts.faulty_elements):
        rows_of[element.named.maker_key, element.named.number_key].append(element)
    numbers = {key: dict(alike) for key, alike in held.numbers.items()}
    for keys, rows in rows_of.items():
        if keys in held.elements:
            plan.unchanged["elements"] += len(rows)
        else:
            plan.elements.append(rows[0])
            plan.unchanged["elements"] += len(rows) - 1
            _note_look_alikes(rows[0].named, numbers, findings)
        for name in ATTRIBUTES:
            if stating := [row for row in rows if name in row.attributes]:
                _plan_attribute(plan, keys, name, stating, held, findings)


def _note_look_alikes(named: Named, numbers: dict[tuple[str, str], dict[str, str]], findings: Findings) -> None:
    alike = numbers.setdefault((named.maker_key, named.search_key), {})
    for other in sorted(alike.values()):
        one, two = sorted((named.number, other))
        findings.note(f"{named.maker} {one} and {two} are different elements that search alike")
    alike[named.number_key] = named.number


def _same(one: AttributeValue, other: AttributeValue) -> bool:
    if one.number is not None or other.number is not None:
        return digits(one.number) == digits(other.number)
    return one.code == other.code if one.code is not None else one.text == other.text


def _plan_attribute(
    plan: Plan, keys: tuple[str, str], name: str, rows: list[ElementRow], held: OnFile, findings: Findings
) -> None:
    """First what rows state without more ado, then each correction, in the order of the rows."""
    on_file = held.attributes.get((held.elements.get(keys, ""), name), [])
    values = [(row.id, AttributeValue(row.text, row.number, row.code)) for row in on_file]
    holding: NewAttribute | int | None = next((n for n, _ in values if n not in held.ended_attributes), None)
    present = next((value for n, value in values if n == holding), None)
    corrections = sorted((row for row in rows if row.correction is not None), key=lambda row: row.row.number)
    for stating in ([row for row in rows if row.correction is None], *([row] for row in corrections)):
        if not stating or _contradict(name, stating, findings):
            continue
        row = min(stating, key=lambda row: (row.attributes[name].text, row.source or ""))
        value, reason = row.attributes[name], row.correction
        plan.unchanged["attributes"] += len(stating) - 1
        if present is not None and _same(value, present):
            plan.unchanged["attributes"] += 1
            continue
        former = [n for n, other in values if n in held.ended_attributes and _same(value, other)]
        if former and (reason is None or reason in [held.reason_of_attribute.get(n) for n in former]):
            told = "attributes stated as they were before a correction on file; left as corrected"
            findings.remark(told, row.row.file, row.row.number, f"{name} {value.text}")
            plan.unchanged["attributes"] += 1
            continue
        if present is not None and reason is None:
            remedy = 'If it was wrong, state the reason in the column "correction".'
            _attribute_fault(stating[0], name, f"On file this element has {present.text}.", remedy, findings)
            continue
        why = reason if holding is not None else None
        attribute = NewAttribute(row.row, keys, name, value, row.source, holding, why)
        plan.attributes.append(attribute)
        holding, present = attribute, value


def _contradict(name: str, rows: list[ElementRow], findings: Findings) -> bool:
    first, *others = rows
    differing = [row for row in others if not _same(row.attributes[name], first.attributes[name])]
    for row in differing:
        message = f"Row {first.row.number} has {first.attributes[name].text} for the same number."
        _attribute_fault(row, name, message, "State each element once.", findings)
    return bool(differing)


def _attribute_fault(row: ElementRow, name: str, message: str, remedy: str, findings: Findings) -> None:
    found = row.row.cells.get(name)
    findings.fault(row.row.file, message, remedy, row=row.row.number, column=name, found=found)


def _plan_claims(plan: Plan, claims: list[ClaimRow], held: OnFile, findings: Findings) -> None:
    seen: dict[tuple[str, ...], str | None] = dict(held.claims)
    keyed = [(claim_key(claim.named[2:4], claim.replaces[2:4], claim.source, claim.date), claim) for claim in claims]
    for key, claim in sorted(keyed, key=lambda k: (k[0], k[1].remark or "", k[1].named, k[1].replaces)):
        if key not in seen:
            seen[key] = claim.remark
            plan.claims.append(claim)
            continue
        plan.unchanged["interchanges"] += 1
        if claim.remark is not None and claim.remark != seen[key]:
            told = "interchange claims stated before with another remark; the first was kept"
            findings.remark(told, claim.row.file, claim.row.number, claim.remark)


# --- writing --------------------------------------------------------------------------------------


def write(connection: sa.Connection, revision: int, plan: Plan, held: OnFile, reason: str) -> None:
    """Adds what is planned, in ``revision``."""
    sources = _write_sources(connection, revision, plan, held)
    elements = _write_elements(connection, revision, plan, held)
    _write_attributes(connection, revision, plan, sources, elements)
    tests = [_test_values(test, revision, sources, elements) for test in plan.ratings.new_tests]
    for test, number in zip(plan.ratings.new_tests, _insert(connection, tables.test, tests), strict=True):
        test.id = number
    ratings = [_rating_values(wanted, revision) for wanted in plan.ratings.new]
    for wanted, number in zip(plan.ratings.new, _insert(connection, tables.rating, ratings), strict=True):
        wanted.id = number
    _insert(
        connection, tables.interchange_claim, [_claim_values(claim, revision, sources) for claim in plan.claims]
    )
    for replacement in _oldest_first(plan.ratings.supersessions):
        old, new = _number(replacement.target), _number(replacement.new)
        why = replacement.row.correction or replacement.row.remark or reason
        supersede(connection, revision, "rating", old=old, new=new, reason=why)
    for target, row in plan.ratings.withdrawals:
        supersede(connection, revision, "rating", old=_number(target), new=None, reason=row.reason)


def _insert(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> list[int]:
    if not rows:
        return []
    statement = table.insert().returning(table.c.id, sort_by_parameter_order=True)
    return list(connection.execute(statement, rows).scalars())


def _write_sources(connection: sa.Connection, revision: int, plan: Plan, held: OnFile) -> dict[str | None, int | None]:
    rows = [
        {"key": s.key, **dict(zip(SOURCE_COLUMNS, s.content, strict=True)), "added_in": revision}
        for s in plan.sources
    ]
    numbers = _insert(connection, tables.source, rows)
    known: dict[str | None, int | None] = {None: None, "": None}
    known |= {key: number for key, (number, _) in held.sources.items()}
    known |= {source.key: number for source, number in zip(plan.sources, numbers, strict=True)}
    return known


def _write_elements(
    connection: sa.Connection, revision: int, plan: Plan, held: OnFile
) -> dict[tuple[str, str], str]:
    known = dict(held.elements)
    rows = []
    for row in plan.elements:
        named = row.named
        identity = element_id(named.maker, named.number)
        known[named.maker_key, named.number_key] = identity
        rows.append({"element_id": identity, **named._asdict(), "added_in": revision})
    if rows:
        connection.execute(tables.element.insert(), rows)
    return known


def _write_attributes(
    connection: sa.Connection,
    revision: int,
    plan: Plan,
    sources: Mapping[str | None, int | None],
    elements: Mapping[tuple[str, str], str],
) -> None:
    rows = [
        {
            "element_id": elements[a.element], "name": a.name, **a.value._asdict(),
            "source_id": sources[a.source], "added_in": revision,
        }
        for a in plan.attributes
    ]  # fmt: skip
    for attribute, number in zip(plan.attributes, _insert(connection, tables.element_attribute, rows), strict=True):
        attribute.id = number
        if attribute.replaces is not None and attribute.reason is not None:
            old = attribute.replaces if isinstance(attribute.replaces, int) else attribute.replaces.id
            supersede(connection, revision, "attribute", old=old, new=number, reason=attribute.reason)


def _test_values(
    test: NewTest, revision: int, sources: Mapping[str | None, int | None], elements: Mapping[tuple[str, str], str]
) -> dict[str, Any]:
    maker_key, number_key, source, label = test.key
    values: dict[str, Any] = {
        "element_id": elements[maker_key, number_key], "source_id": sources[source], "label": label or None,
        "added_in": revision,
    }  # fmt: skip
    for column in TEST_COLUMNS:
        stated = test.conditions.get(column)
        if column in TEST_QUANTITIES:
            values[COLUMN_OF_QUANTITY[column]] = None if stated is None else stated.number
            values[f"{column}_text"] = None if stated is None else stated.text
        else:
            values[column] = None if stated is None else stated.text
    return values


def _rating_values(wanted: Wanted, revision: int) -> dict[str, Any]:
    row = wanted.row
    values: dict[str, Any] = {
        "label": wanted.label, "test_id": _test_number(wanted), "characteristic": row.characteristic,
        "qualifier": row.qualifier, "value": row.value, "text": row.text, "resolution": row.resolution,
        "efficiency_percent": None if row.efficiency is None else row.efficiency[0],
        "efficiency_resolution": None if row.efficiency is None else row.efficiency[1],
        "size_scale": row.scale, "page": row.page, "remark": row.remark, "added_in": revision,
    }  # fmt: skip
    points = {
        "size": ("size_um", row.size), "flow": ("flow_l_min", row.flow),
        "viscosity": ("viscosity_mm2_s", row.viscosity), "density": ("density_kg_m3", row.density),
    }  # fmt: skip
    for name, (column, point) in points.items():
        values[column] = None if point is None else point.number
        values[f"{name}_text"] = None if point is None else point.text
    return values


def _claim_values(claim: ClaimRow, revision: int, sources: Mapping[str | None, int | None]) -> dict[str, Any]:
    replaced = {f"replaces_{name}": value for name, value in claim.replaces._asdict().items()}
    return {
        **claim.named._asdict(), **replaced, "source_id": sources[claim.source], "date": claim.date,
        "remark": claim.remark, "added_in": revision,
    }  # fmt: skip


def _test_number(wanted: Wanted) -> int:
    if isinstance(wanted.test, NewTest):
        return wanted.test.id
    if wanted.test is None:
        raise AssertionError("every new rating was given its test")
    return wanted.test


def _number(place: Place) -> int:
    number = place.id if isinstance(place, Wanted) else place
    if number is None:
        raise AssertionError("the rating was written before what it supersedes is ended")
    return number


def _oldest_first(supersessions: Sequence[Replacement]) -> Iterator[Replacement]:
    """A chain is ended from its beginning: what takes a place must hold at that moment, so a rating ends
    only after all those that it took the place of."""
    waiting: dict[Place, list[Replacement]] = defaultdict(list)
    for replacement in supersessions:
        waiting[replacement.new].append(replacement)
    ready = [r for r in supersessions if r.target not in waiting]
    by_target = {r.target: r for r in supersessions}
    while ready:
        replacement = ready.pop()
        yield replacement
        place = replacement.new
        waiting[place].remove(replacement)
        if not waiting[place] and place in by_target:
            ready.append(by_target[place])
