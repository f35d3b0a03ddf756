"""Facts on file as rows of sheets, written so that reading the rows gives the same facts back.

Nothing here is believed to read back: every row is read again as an import would read it, and the
rows of each element are planned as an import into an empty store would plan them. Where a text as
typed needs a decimal mark declared, the row declares it; what cannot be stated so that it comes back
the same is written as near as can be and named in the notes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

import sqlalchemy as sa

from specdb import units, vocabulary
from specdb.catalog import tables
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, CONTRARY
from specdb.exchange.columns import COLUMNS, LENGTHS, POINT_QUANTITIES, TEST_COLUMNS, TEST_QUANTITIES
from specdb.exchange.faults import Findings
from specdb.exchange.marks import Differing, declare_marks
from specdb.exchange.on_file import COLUMN_OF_QUANTITY, SOURCE_COLUMNS, OnFile, claim_key
from specdb.exchange.rating_plan import NewTest, Place, Wanted
from specdb.exchange.rows import AttributeValue, Facts, RatingRow, Stated, read_row
from specdb.exchange.taking_in import NewAttribute, Plan, make_plan

Cells = dict[str, str]
Held = Mapping[str, Any]
"""One row of the store, or several joined, by column."""
Chain = list[tuple[Held, str]]
"""Values of one attribute, oldest first, each with the reason for which it took its predecessor's place."""

ROWS_AT_ONCE = 500
MOST_EXAMPLES = 20
_COLUMN_OF_NUMBER = {
    "size": "size_um", "flow": "flow_l_min", "viscosity": "viscosity_mm2_s", "density": "density_kg_m3",
    **COLUMN_OF_QUANTITY,
}  # fmt: skip


@dataclass
class _Ends:
    """Which facts of a kind were ended by the revision: by what, of what and why."""

    successor: dict[int, int | None] = field(default_factory=dict)
    before: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    reason: dict[int, str] = field(default_factory=dict)

    def add(self, old: int, new: int | None, reason: str) -> None:
        self.successor[old] = new
        self.reason[old] = reason
        if new is not None:
            self.before[new].append(old)

    def last(self, number: int) -> int | None:
        """What stands in a fact's place, None where it was withdrawn."""
        now: int | None = number
        while now is not None and now in self.successor:
            now = self.successor[now]
        return now

    def depth(self, number: int) -> int:
        """How many stand one before another in front of this one."""
        before, depth = self.before.get(number, []), 0
        while before:
            before, depth = [old for one in before for old in self.before.get(one, [])], depth + 1
        return depth


class Stating:
    """The sheets of the catalogue as it was at ``revision``, with its history up to then.

    ``findings`` holds the notes once the sheets were gone through.
    """

    def __init__(self, connection: sa.Connection, revision: int):
        self.connection = connection
        self.revision = revision
        self.findings = Findings()
        self.ends = {kind: _Ends() for kind in ("rating", "attribute", "claim")}
        ended = sa.select(tables.supersession).where(tables.supersession.c.revision_id <= revision)
        for row in connection.execute(ended.order_by(tables.supersession.c.id)).mappings():
            for kind, ends in self.ends.items():
                if row[f"old_{kind}_id"] is not None:
                    ends.add(row[f"old_{kind}_id"], row[f"new_{kind}_id"], row["reason"])
        self._examples = 0

    def rows(self, sheet: str) -> Iterator[list[str]]:
        """The rows of a sheet, a cell for each of its columns, in an order that follows from their content."""
        said = {
            "sources": self._sources, "elements": self._elements, "ratings": self._ratings,
            "interchanges": self._claims,
        }[sheet]  # fmt: skip
        for cells in said():
            yield [cells.get(column, "") for column in COLUMNS[sheet]]

    def _held(self, query: sa.Select[Any]) -> Iterator[Held]:
        for row in self.connection.execute(query.execution_options(yield_per=ROWS_AT_ONCE)):
            yield dict(row._mapping)

    def _example(self, message: str) -> None:
        """Names one thing that does not come back the same, as long as there are few."""
        self._examples += 1
        if self._examples <= MOST_EXAMPLES:
            self.findings.note(message)
        elif self._examples == MOST_EXAMPLES + 1:
            self.findings.note("further things that would not come back the same are not listed")

    # --- sources and claims

    def _sources(self) -> Iterator[Cells]:
        source = tables.source
        for row in self._held(sa.select(source).where(source.c.added_in <= self.revision).order_by(source.c.key)):
            names = ("revision" if column == "document_revision" else column for column in SOURCE_COLUMNS)
            stated = dict(zip(names, (row[column] for column in SOURCE_COLUMNS), strict=True))
            cells = _filled({"source": row["key"], **stated})
            facts, _ = read_row("sources", 1, _as_read(cells))
            if [(s.key, s.content) for s in facts.sources] != [(row["key"], tuple(stated.values()))]:
                self._example(f"sources: {row['key']} would not come back as it is on file")
            yield cells

    def _claims(self) -> Iterator[Cells]:
        claim, source = tables.interchange_claim, tables.source
        query = sa.select(claim, source.c.key.label("source")).join(source, isouter=True)
        query = query.where(claim.c.added_in <= self.revision).order_by(
            claim.c.maker_key, claim.c.number_key, claim.c.replaces_maker_key, claim.c.replaces_number_key, claim.c.id
        )
        names = ("maker", "number", "replaces_maker", "replaces_number", "source", "date", "remark")
        keys = ("maker_key", "number_key", "replaces_maker_key", "replaces_number_key")
        left_out = 0
        for _, group in groupby(self._held(query), key=lambda row: [row[key] for key in keys]):
            seen = set()
            for row in sorted(group, key=lambda row: [row[name] or "" for name in names]):
                if row["id"] in self.ends["claim"].successor:
                    left_out += 1
                    continue
                cells = _filled({name: row[name] for name in names})
                facts, _ = read_row("interchanges", 1, _as_read(cells))
                same = [[*c.named[:4], *c.replaces[:4], c.source, c.date, c.remark] for c in facts.claims]
                key = claim_key((row["maker_key"], row["number_key"]), ("", ""), row["source"], row["date"])
                on_file = [*(row[n] for n in ("maker", "number", *keys[:2], *names[2:4], *keys[2:])),
                           row["source"], row["date"], row["remark"]]  # fmt: skip
                if same != [on_file] or key in seen:
                    self._example(f"interchanges: the claim of {row['maker']} {row['number']} would not come back")
                seen.add(key)
                yield cells
        if left_out:
            self.findings.note(f"interchange claims that were withdrawn or replaced are left out ({left_out})")

    # --- elements

    def _elements(self) -> Iterator[Cells]:
        element, attribute, source = tables.element, tables.element_attribute, tables.source
        its_own = sa.and_(attribute.c.element_id == element.c.element_id, attribute.c.added_in <= self.revision)
        joined = element.join(attribute, its_own, isouter=True)
        joined = joined.join(source, source.c.id == attribute.c.source_id, isouter=True)
        query = sa.select(
            *element.c["maker", "number"], *attribute.c["id", "name", "text", "code"],
            attribute.c.number.label("measure"), source.c.key.label("source"),
        ).select_from(joined)  # fmt: skip
        query = query.where(element.c.added_in <= self.revision)
        query = query.order_by(element.c.maker_key, element.c.number_key, attribute.c.id)
        for (maker, number), group in groupby(self._held(query), key=lambda row: (row["maker"], row["number"])):
            named = {"maker": maker, "number": number}
            chains = self._chains(named, [row for row in group if row["id"] is not None])
            rows = [self._element_row(named | cells, values) for cells, values in _levels(chains)] or [named]
            self._prove_element(named, rows, chains)
            yield from rows

    def _chains(self, named: Cells, rows: list[Held]) -> list[Chain]:
        ends = self.ends["attribute"]
        by_id = {row["id"]: row for row in rows}
        chains: dict[str, Chain] = {}
        taken: set[int] = set()
        for row in rows:
            if row["id"] in ends.successor or row["name"] in chains:
                continue
            chain = chains[row["name"]] = []
            now: Held | None = row
            while now is not None:
                before = [by_id[number] for number in ends.before.get(now["id"], ())]
                chain.insert(0, (now, ends.reason[before[0]["id"]] if before else ""))
                taken.add(now["id"])
                now = before[0] if before else None
        for row in rows:
            if row["id"] not in taken:
                why = "was withdrawn" if ends.last(row["id"]) is None else "stands beside another of its name"
                self._example(f'elements: {row["name"]} "{row["text"]}" of {_name_of(named)} {why}; left out')
        return [chains[name] for name in ATTRIBUTES if name in chains]

    def _element_row(self, cells: Cells, values: Mapping[str, Held]) -> Cells:
        def differing(trial: Cells) -> Differing:
            facts, findings = read_row("elements", 1, _as_read(trial))
            if not facts.elements:
                return Differing({fault.column for fault in findings.faults}, whole=False)
            said = facts.elements[0].attributes
            return Differing({name for name, row in values.items() if said.get(name) != _value_of(row)}, whole=True)

        measures = {name: row["measure"] for name, row in values.items() if name in LENGTHS}
        canonical = {name: _canonical(number, "length") for name, number in measures.items()}
        declared = declare_marks(cells, canonical, differing)
        for name in declared.replaced:
            self._replaced("elements", _name_of(cells), name, cells[name], declared.cells[name])
        return declared.cells

    def _replaced(self, sheet: str, where: str, column: str, text: str, written: str) -> None:
        self._example(f'{sheet}: {column} "{text}" of {where} does not read as its number; written as {written}')

    def _prove_element(self, named: Cells, rows: list[Cells], chains: list[Chain]) -> None:
        facts = Facts(unread=frozenset({"sources"}))
        for number, cells in enumerate(rows):
            facts.elements += read_row("elements", number, _as_read(cells))[0].elements
        plan, sound = _planned(facts)
        before: dict[str, NewAttribute] = {}
        said = []
        for new in plan.attributes:
            said.append((new.name, new.value, new.source, new.reason or "", new.replaces is before.get(new.name)))
            before[new.name] = new
        on_file = [
            (row["name"], _value_of(row), row["source"], reason, True) for chain in chains for row, reason in chain
        ]
        known = [{"maker": element.named.maker, "number": element.named.number} for element in plan.elements]
        if not sound or said != on_file or known != [named]:
            self._example(f"elements: {_name_of(named)} would not come back as it is on file")

    # --- ratings

    def _ratings(self) -> Iterator[Cells]:
        rating, test, element, source = tables.rating, tables.test, tables.element, tables.source
        joined = rating.join(test, test.c.id == rating.c.test_id)
        joined = joined.join(element, element.c.element_id == test.c.element_id)
        joined = joined.join(source, source.c.id == test.c.source_id, isouter=True)
        of_test = [column for column in test.c if column.name not in rating.c and column.name != "element_id"]
        query = sa.select(
            rating, *of_test, test.c.label.label("test"), *element.c["maker", "number", "maker_key", "number_key"],
            source.c.key.label("source"),
        ).select_from(joined)  # fmt: skip
        query = query.where(rating.c.added_in <= self.revision)
        query = query.order_by(element.c.maker_key, element.c.number_key, rating.c.id)
        for _, group in groupby(self._held(query), key=lambda row: (row["maker_key"], row["number_key"])):
            yield from self._ratings_of_element(list(group))
        with_result = sa.select(rating.c.test_id).where(rating.c.added_in <= self.revision)
        silent = sa.select(sa.func.count()).select_from(test).where(test.c.added_in <= self.revision)
        count = self.connection.execute(silent.where(test.c.id.not_in(with_result))).scalar_one()
        if count:
            self.findings.note(f"ratings: tests without a result are left out ({count})")

    def _ratings_of_element(self, held: list[Held]) -> list[Cells]:
        ends = self.ends["rating"]
        label_of = {row["id"]: str(row["label"]) for row in held}
        versions = self._versions(held)
        rows: list[Cells] = []
        for row in sorted(held, key=lambda row: self._place_in_sheet(row, versions)):
            cells = self._rating_cells(row) | _filled({"test_version": versions.get(row["test_id"])})
            before = sorted(ends.before.get(row["id"], ()), key=label_of.__getitem__)
            said = [{"supersedes": label_of[old], "correction": ends.reason[old]} for old in before] or [{}]
            declared = self._rating_row(cells, row)
            rows += [declared | ended for ended in said]
        for row in sorted(held, key=lambda row: str(row["label"])):
            if ends.successor.get(row["id"], row["id"]) is None:
                named = {column: row[column] for column in ("maker", "number", "characteristic")}
                rows.append({"supersedes": row["label"], **named, "correction": ends.reason[row["id"]]})
        self._prove_ratings(held, rows)
        return rows

    def _place_in_sheet(self, row: Held, versions: Mapping[int, str]) -> tuple[object, ...]:
        """Ratings as a data sheet lists them, whatever their numbers in the store."""
        return (
            list(CHARACTERISTICS).index(row["characteristic"]), row["source"] or "", row["test"] or "",
            int(versions.get(row["test_id"], 0)), self.ends["rating"].depth(row["id"]), row["size_um"] or 0.0,
            row["viscosity_mm2_s"] or 0.0, row["flow_l_min"] or 0.0, row["label"],
        )  # fmt: skip

    def _versions(self, held: list[Held]) -> dict[int, str]:
        """Number of each test among those of one name and source, where there are several."""
        first: dict[int, tuple[int, str]] = {}
        of_name: dict[tuple[str, str], set[int]] = defaultdict(set)
        for row in held:
            if row["test"] is not None:
                place = (self.ends["rating"].depth(row["id"]), row["label"])
                first[row["test_id"]] = min(place, first.get(row["test_id"], place))
                of_name[row["source"] or "", row["test"]].add(row["test_id"])
        return {
            test: str(number)
            for alike in of_name.values() if len(alike) > 1
            for number, test in enumerate(sorted(alike, key=first.__getitem__), start=1)
        }  # fmt: skip

    def _rating_cells(self, row: Held) -> Cells:
        sign = vocabulary.signed(row["text"])[0]
        standard, edition = row["standard"], row["edition"]
        if standard and edition and vocabulary.standard_and_edition(standard)[1] is not None:
            standard = f"{standard}:{edition}"  # its own name ends as one with an edition does
        words = {column: row[column] for column in TEST_COLUMNS if column not in TEST_QUANTITIES}
        return _filled({
            "rating": row["label"], "maker": row["maker"], "number": row["number"],
            "characteristic": row["characteristic"],
            # A sign in the value says it, and may say "equal" beside one before the size.
            "qualifier": row["qualifier"] if sign in (None, row["qualifier"]) else None,
            "value": row["text"], **{name: row[f"{name}_text"] for name in _COLUMN_OF_NUMBER}, **words,
            "standard": standard, "test": row["test"], "source": row["source"], "page": row["page"],
            "remark": row["remark"],
        })  # fmt: skip

    def _rating_row(self, cells: Cells, row: Held) -> Cells:
        expected = _on_file(row)

        def differing(trial: Cells) -> Differing:
            facts, findings = read_row("ratings", 1, _as_read(trial))
            if not facts.ratings:
                return Differing({fault.column for fault in findings.faults}, whole=False)
            said = _said(facts.ratings[0])
            return Differing({column for column in expected if said[column] != expected[column]}, whole=True)

        kinds = {**POINT_QUANTITIES, **TEST_QUANTITIES}
        canonical = {
            name: _canonical(row[column], kinds[name])
            for name, column in _COLUMN_OF_NUMBER.items() if row[column] is not None
        }  # fmt: skip
        if "size" in canonical:
            canonical["size"] += f"({row['size_scale']})"
        canonical["value"] = _canonical(row["value"], CHARACTERISTICS[row["characteristic"]].kind)
        declared = declare_marks(cells, canonical, differing)
        if "value" in declared.replaced or "size" in declared.replaced:
            # The sign that may have said it is gone.
            declared.cells["qualifier"] = row["qualifier"]
        for column in declared.replaced:
            self._replaced("ratings", row["label"], column, cells[column], declared.cells[column])
        return declared.cells

    def _prove_ratings(self, held: list[Held], rows: list[Cells]) -> None:
        facts = Facts(unread=frozenset({"sources", "elements"}))
        for number, cells in enumerate(rows):
            read, _ = read_row("ratings", number, _as_read(cells))
            facts.ratings += read.ratings
            facts.withdrawals += read.withdrawals
        plan, sound = _planned(facts)
        ends = self.ends["rating"]
        on_file = {row["label"]: row for row in held}
        label_of = {row["id"]: row["label"] for row in held}
        new = {wanted.label: wanted for wanted in plan.ratings.new}
        tests = {(id(wanted.test), on_file[label]["test_id"]) for label, wanted in new.items() if label in on_file}
        wrong = sorted(on_file.keys() ^ new.keys())
        wrong += [label for label, row in on_file.items() if label in new and _as_planned(new[label]) != _on_file(row)]
        said = {(_label(r.target), _label(r.new), r.row.correction) for r in plan.ratings.supersessions}
        said |= {(_label(target), None, row.reason) for target, row in plan.ratings.withdrawals}
        ended = {
            (label_of[old], label_of.get(successor or 0), ends.reason[old])
            for old, successor in ends.successor.items() if old in label_of
        }  # fmt: skip
        one_to_one = len(tests) == len({ours for ours, _ in tests}) == len({theirs for _, theirs in tests})
        if wrong or not sound or said != ended or not one_to_one:
            where = ", ".join(wrong[:3]) or "their tests or what took the place of what"
            self._example(f"ratings: of {_name_of(rows[0])} not all would come back as they are on file ({where})")


# --- what a row says, and what is on file -----------------------------------------------------------


def _filled(cells: Mapping[str, str | None]) -> Cells:
    return {column: text for column, text in cells.items() if text is not None}


def _as_read(cells: Cells) -> Cells:
    """Cells as they come out of a file: trimmed, blank ones left out."""
    return {column: text.strip() for column, text in cells.items() if text.strip()}


def _name_of(cells: Cells) -> str:
    return f"{cells['maker']} {cells['number']}"


def _canonical(number: float, kind: str) -> str:
    """A number to its last bit, in the canonical unit of its kind."""
    return f"{number!r} {units.canonical_unit(kind)}" if kind else repr(number)


def _planned(facts: Facts) -> tuple[Plan, bool]:
    """What an import into an empty store would do, and whether it would be taken in."""
    findings = Findings()
    plan = make_plan(facts, OnFile(), findings)
    return plan, findings.count == 0


def _value_of(row: Held) -> AttributeValue:
    return AttributeValue(row["text"], row["measure"], row["code"])


def _levels(chains: list[Chain]) -> list[tuple[Cells, dict[str, Held]]]:
    """Rows of one element: what was stated first, by source, then each round of corrections by source and reason."""
    levels: dict[tuple[int, str, str, bool], dict[str, Held]] = defaultdict(dict)
    for chain in chains:
        for depth, (row, reason) in enumerate(chain):
            key = (depth, row["source"] or "", reason)
            favour = levels[*key, False].get(CONTRARY.get(row["name"], ""))
            # A class that is both stands in two rows, as it must have been stated.
            both = favour is not None and set(favour["code"].split()) & set(row["code"].split())
            levels[*key, bool(both)][row["name"]] = row
    return [
        (_filled({name: row["text"] for name, row in values.items()})
         | _filled({"source": source or None, "correction": reason or None}), values)
        for (_, source, reason, _), values in sorted(levels.items(), key=lambda level: level[0]) if values
    ]  # fmt: skip


def _on_file(row: Held) -> dict[str, object]:
    """What a rating on file says, by the column of the sheet that says it."""
    efficiency = (row["efficiency_percent"], row["efficiency_resolution"])
    said: dict[str, object] = {name: (row[column], row[f"{name}_text"]) for name, column in _COLUMN_OF_NUMBER.items()}
    said |= {column: row[column] for column in TEST_COLUMNS if column not in TEST_QUANTITIES}
    said |= {
        column: row[column]
        for column in ("maker_key", "number_key", "characteristic", "qualifier", "test", "source", "page", "remark")
    }
    said["rating"] = row["label"]
    said["size"] = (row["size_um"], row["size_text"], row["size_scale"])
    said["value"] = (row["value"], row["text"], row["resolution"], None if efficiency[0] is None else efficiency)
    return said


def _said(rating: RatingRow, conditions: Mapping[str, Stated] | None = None) -> dict[str, object]:
    """What a row says, by column, as ``_on_file`` has it; ``conditions`` are those of the whole test."""
    of_test = rating.conditions if conditions is None else conditions
    points = {"size": rating.size, "flow": rating.flow, "viscosity": rating.viscosity, "density": rating.density}
    said: dict[str, object] = {
        name: (None, None) if point is None else (point.number, point.text) for name, point in points.items()
    }
    for column in TEST_COLUMNS:
        stated = of_test.get(column)
        if column in TEST_QUANTITIES:
            said[column] = (None, None) if stated is None else (stated.number, stated.text)
        else:
            said[column] = None if stated is None else stated.text
    return said | {
        "rating": rating.label, "maker_key": rating.named.maker_key, "number_key": rating.named.number_key,
        "characteristic": rating.characteristic, "qualifier": rating.qualifier, "test": rating.test,
        "source": rating.source, "page": rating.page, "remark": rating.remark,
        "size": (rating.size and rating.size.number, rating.size and rating.size.text, rating.scale),
        "value": (rating.value, rating.text, rating.resolution, rating.efficiency),
    }  # fmt: skip


def _as_planned(wanted: Wanted) -> dict[str, object]:
    return _said(wanted.row, wanted.test.conditions if isinstance(wanted.test, NewTest) else None)


def _label(place: Place) -> str | None:
    return place.label if isinstance(place, Wanted) else None
