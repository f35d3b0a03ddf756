"""Which ratings of an import are new, which are on file already, and which take the place of others.

A rating is one result by its natural key (test and conditions of the point). Of one result only one
value holds at a time: a row with another value is refused unless it names the rating it supersedes.
The outcome does not depend on the order of the rows.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from specdb import vocabulary
from specdb.characteristics import CHARACTERISTICS, STANDARD_OF_SCALE
from specdb.exchange.columns import TEST_COLUMNS
from specdb.exchange.faults import Findings
from specdb.exchange.on_file import OnFile, RatingKey, TestKey, key_of_row, key_of_test
from specdb.exchange.rows import RatingRow, Stated, WithdrawalRow, digits

_PROVES_NOTHING = {
    "higher": "at_most", "covers_above": "at_most", "lower": "at_least", "covers_below": "at_least",
}  # fmt: skip
"""Sense of a characteristic: the qualifier under which a result can show a miss but never that it serves."""

_SIZES = {"c": "µm(c)", "acftd": "µm(ACFTD)"}


@dataclass(eq=False)
class NewTest:
    key: TestKey
    conditions: Mapping[str, Stated]
    id: int = 0


@dataclass(eq=False)
class Wanted:
    """One rating that the files state. ``id`` is its number once it is on file; ``repeats`` are further
    rows that state the same."""

    row: RatingRow
    label: str
    key: RatingKey
    value: str
    id: int | None = None
    test: NewTest | int | None = None
    targets: list[Wanted | int] = field(default_factory=list)
    repeats: list[RatingRow] = field(default_factory=list)

    @property
    def element(self) -> tuple[str, str]:
        return self.row.named.maker_key, self.row.named.number_key

    @property
    def rows(self) -> list[RatingRow]:
        return [self.row, *self.repeats]

    @property
    def place(self) -> Place:
        return self if self.id is None else self.id


Place = Wanted | int
"""A rating, new or on file."""


@dataclass(frozen=True)
class Replacement:
    """``new`` takes the place of ``target``, as ``row`` says."""

    new: Place
    target: Place
    row: RatingRow


@dataclass
class RatingPlan:
    new: list[Wanted] = field(default_factory=list)
    new_tests: list[NewTest] = field(default_factory=list)
    supersessions: list[Replacement] = field(default_factory=list)
    withdrawals: list[tuple[Place, WithdrawalRow]] = field(default_factory=list)
    unchanged: int = 0


def derived_label(key: RatingKey, value: str, supersedes: str | None) -> str:
    """The label of a rating that its file gives none: the same for the same facts, whatever their order."""
    parts = [*key, value] if supersedes is None else [*key, value, supersedes]
    return "r-" + hashlib.sha256("\x1f".join(parts).encode()).hexdigest()[:12]


def plan_ratings(
    rows: list[RatingRow],
    withdrawals: list[WithdrawalRow],
    held: OnFile,
    doubtful_labels: Collection[str],
    findings: Findings,
) -> RatingPlan:
    """The plan; what cannot be taken in becomes a fault, and then nothing is written."""
    return _Planner(held, doubtful_labels, findings).plan(rows, withdrawals)


@dataclass
class _Planner:
    held: OnFile
    doubtful_labels: Collection[str]
    findings: Findings
    wanted: list[Wanted] = field(default_factory=list)
    of_label: dict[str, Wanted] = field(default_factory=dict)
    superseded_by: dict[Place, Replacement] = field(default_factory=dict)
    withdrawn: dict[Place, WithdrawalRow] = field(default_factory=dict)
    new_tests: list[NewTest] = field(default_factory=list)

    def plan(self, rows: list[RatingRow], withdrawals: list[WithdrawalRow]) -> RatingPlan:
        self._gather(rows, {row.supersedes for row in withdrawals})
        for wanted in self.wanted:
            wanted.id = self._on_file(wanted)
        for wanted in self.wanted:
            named: set[str] = set()
            for row in wanted.rows:
                if row.supersedes is not None and row.supersedes not in named:
                    named.add(row.supersedes)
                    self._supersede(wanted, row, row.supersedes)
        for withdrawal in withdrawals:
            self._withdraw(withdrawal)
        self._refuse_circles()
        # By content, so that numbers on file do not depend on the order of rows, nor on who gave the labels.
        new = sorted((wanted for wanted in self.wanted if wanted.id is None), key=lambda w: (w.key, w.value, w.label))
        self._refuse_conflicts(new)
        self._assign_tests(new)
        for wanted in new:
            conditions = self._conditions_of(wanted)
            self._note_scale(wanted.row, conditions)
            self._note_qualifier(wanted.row, conditions)
        unchanged = len(rows) - len(new) + len(withdrawals) - len(self.withdrawn)
        supersessions = list(self.superseded_by.values())
        return RatingPlan(new, self.new_tests, supersessions, list(self.withdrawn.items()), unchanged)

    def _fault(self, row: RatingRow | WithdrawalRow, column: str, message: str, remedy: str) -> None:
        found = row.row.cells.get(column)
        self.findings.fault(row.row.file, message, remedy, row=row.row.number, column=column, found=found)

    def _remark(self, row: RatingRow, said: str, found: str | None) -> None:
        self.findings.remark(said, row.row.file, row.row.number, found)

    # --- which rows are one rating

    def _gather(self, rows: list[RatingRow], withdrawn: set[str]) -> None:
        named = {row.supersedes for row in rows} | withdrawn
        of_result: dict[tuple[RatingKey, str], Wanted] = {}
        keyed = [(row, key_of_row(row, row.conditions), digits(row.value)) for row in rows]
        # Labelled rows first, those that supersede before those that do not, then by content.
        keyed.sort(key=lambda r: (r[0].label is None, r[0].supersedes is None, r[0].label or "", *_content(r[0]), r[1]))
        for row, key, value in keyed:
            label = row.label or derived_label(key, value, row.supersedes)
            same = self.of_label.get(label)
            if same is not None:
                self._repeat(same, row, key, value)
                continue
            alike = of_result.get((key, value)) if row.supersedes is None and label not in named else None
            if alike is not None and row.label is None:
                alike.repeats.append(row)
                self.of_label[label] = alike
                continue
            if alike is not None and alike.row.supersedes is None and alike.label not in named:
                self._label_fault(alike.row, row, "states the same result under another label")
                alike.repeats.append(row)
                self.of_label[label] = alike
                continue
            wanted = Wanted(row, label, key, value)
            self.wanted.append(wanted)
            self.of_label[label] = wanted
            of_result[key, value] = wanted

    def _repeat(self, same: Wanted, row: RatingRow, key: RatingKey, value: str) -> None:
        if (same.key, same.value) != (key, value):
            self._label_fault(same.row, row, "gives this label to another result")
        same.repeats.append(row)

    def _label_fault(self, one: RatingRow, other: RatingRow, what: str) -> None:
        first, second = sorted((one, other), key=lambda row: row.row.number)
        remedy = "Give each result one label of its own, or none."
        self._fault(second, "rating", f"Row {first.row.number} {what}.", remedy)

    # --- which are on file

    def _on_file(self, wanted: Wanted) -> int | None:
        held, row = self.held, wanted.row
        number = held.rating_of_label.get(wanted.label)
        if number is not None and (held.ratings[number].key, held.ratings[number].value) != (wanted.key, wanted.value):
            self._label_taken(wanted, number)
        if number is None:
            number = self._same_on_file(wanted)
        if number is not None:
            self._compare_with_test_on_file(wanted, held.ratings[number].test_id)
            stated = (row.text, row.page, row.remark)
            kept = held.ratings[number].wording
            if any(ours is not None and ours != theirs for ours, theirs in zip(stated, kept, strict=True)):
                said = "ratings on file that differ in wording, page or remark; kept as on file"
                self._remark(row, said, row.text)
        return number

    def _label_taken(self, wanted: Wanted, number: int) -> None:
        on_file = self.held.ratings[number]
        if on_file.key == wanted.key:
            message = f"On file this rating is {on_file.wording[0]}."
            remedy = f'Give the corrected row another label (or none) and {on_file.label} as "supersedes".'
            self._fault(wanted.row, "value", message, remedy)
        else:
            message = "On file this label names another result."
            self._fault(wanted.row, "rating", message, "Give the row another label, or none.")

    def _same_on_file(self, wanted: Wanted) -> int | None:
        """The rating on file that states the same, if any; one that holds is taken before one that was ended."""
        held = self.held
        same = [n for n in held.ratings_of_key.get(wanted.key, ()) if held.ratings[n].value == wanted.value]
        if wanted.row.supersedes is not None:
            targets = (held.rating_of_label.get(row.supersedes or "") for row in wanted.rows)
            replaced_by = {held.ended_ratings.get(target) for target in targets if target is not None}
            return next((number for number in same if number in replaced_by), None)
        if wanted.row.label is not None and all(held.successor(number) is None for number in same):
            # All were withdrawn: under a label of its own it is a new rating.
            return None

        def fitness(number: int) -> tuple[bool, bool, int]:
            conditions = held.conditions[held.ratings[number].test_id]
            return _within(wanted.row.conditions, conditions), number not in held.ended_ratings, number

        return max(same, key=fitness, default=None)

    def _compare_with_test_on_file(self, wanted: Wanted, test_id: int) -> None:
        conditions = self.held.conditions[test_id]
        for row in wanted.rows:
            for column, stated in row.conditions.items():
                if column not in conditions or conditions[column].key != stated.key:
                    self._differs_from_file(row, column, conditions.get(column))

    def _differs_from_file(self, row: RatingRow, column: str, on_file: Stated | None) -> None:
        said = "leaves this unstated" if on_file is None else f"says {on_file.text}"
        remedy = (
            "Give the test another name; or, if this corrects it, enter each of its ratings with what it supersedes."
        )
        self._fault(row, column, f"The test on file {said}.", remedy)

    # --- what takes the place of what

    def _place(self, label: str) -> Place | None:
        wanted = self.of_label.get(label)
        if wanted is not None:
            return wanted if wanted.id is None else wanted.id
        return self.held.rating_of_label.get(label)

    def _about(self, place: Place) -> tuple[tuple[str, str], str]:
        if isinstance(place, Wanted):
            return place.element, place.row.characteristic
        on_file = self.held.ratings[place]
        return on_file.element, on_file.characteristic

    def _named(self, row: RatingRow | WithdrawalRow, label: str) -> Place | None:
        """The rating that ``row`` ends; None with a fault where there is none or it is about another thing."""
        target = self._place(label)
        if target is None:
            if label not in self.doubtful_labels:
                remedy = "Give the label of a rating on file or in the files."
                self._fault(row, "supersedes", "There is no rating of this label.", remedy)
            return None
        element, characteristic = self._about(target)
        message = None
        if element != (row.named.maker_key, row.named.number_key):
            message, remedy = "This rating is one of another element.", "Name a rating of the same element."
        elif characteristic != row.characteristic:
            message, remedy = f"This rating is one of {characteristic}.", "Name a rating of the same characteristic."
        if message is not None:
            self._fault(row, "supersedes", message, remedy)
        return target if message is None else None

    def _ended_already(self, target: int) -> tuple[str, str]:
        now = self.held.successor(target)
        message = "This rating was withdrawn." if now is None else "This rating was superseded already."
        return message, f"Name {self.held.ratings[now].label}, which holds now." if now is not None else "Name none."

    def _withdraw(self, row: WithdrawalRow) -> None:
        target = self._named(row, row.supersedes)
        held = self.held
        if target is None or target in self.withdrawn:
            return
        if isinstance(target, int) and target in held.ended_ratings:
            if held.ended_ratings[target] is not None:
                self._fault(row, "supersedes", *self._ended_already(target))
            return
        if target in self.superseded_by:
            message = f"Row {self.superseded_by[target].row.row.number} gives this rating a successor."
            self._fault(row, "supersedes", message, "Withdraw the one that holds, or leave one of the rows out.")
            return
        self.withdrawn[target] = row

    def _supersede(self, wanted: Wanted, row: RatingRow, label: str) -> None:
        held = self.held
        target = self._named(row, label)
        place = wanted.place
        if target is None:
            return
        if isinstance(target, int) and wanted.id is not None and held.ended_ratings.get(target) == wanted.id:
            return
        message, remedy = None, "Name the rating that holds now."
        if target == place:
            message, remedy = "A rating cannot supersede itself.", "Name the rating that it takes the place of."
        elif isinstance(target, int) and target in held.ended_ratings:
            message, remedy = self._ended_already(target)
        elif wanted.id is not None and wanted.id in held.ended_ratings:
            message = "The rating of this row was itself superseded on file."
        elif target in self.superseded_by:
            message = f"Row {self.superseded_by[target].row.row.number} supersedes this rating as well."
            remedy = "Let one rating take its place, and the other supersede that one."
        if message is not None:
            self._fault(row, "supersedes", message, remedy)
            return
        wanted.targets.append(target)
        self.superseded_by[target] = Replacement(place, target, row)

    def _refuse_circles(self) -> None:
        """Each rating has one successor at most, so whoever comes back to where it began is in a circle."""
        cleared: set[Place] = set()
        for start, first in self.superseded_by.items():
            path: dict[Place, None] = {}
            place: Place | None = start
            while place is not None and place not in cleared and place not in path:
                path[place] = None
                replacement = self.superseded_by.get(place)
                place = None if replacement is None else replacement.new
            if place is not None and place in path:
                message = "The ratings supersede one another in a circle."
                self._fault(first.row, "supersedes", message, "Leave the first of them without.")
            cleared.update(path)

    def _ends_withdrawn(self, place: Place) -> bool:
        """Whether the last of those that took the place of this rating is withdrawn."""
        seen: set[Place] = set()
        now: Place | None = place
        while now is not None and now not in seen and now not in self.withdrawn:
            seen.add(now)
            if now in self.superseded_by:
                now = self.superseded_by[now].new
            elif isinstance(now, int) and now in self.held.ended_ratings:
                now = self.held.ended_ratings[now]
            else:
                return False
        return now is None or now in self.withdrawn

    # --- one value for one result

    def _refuse_conflicts(self, new: list[Wanted]) -> None:
        held = self.held
        entered_later = {number for number in held.ended_ratings.values() if number is not None}
        of_key: dict[RatingKey, list[Wanted]] = defaultdict(list)
        for wanted in new:
            of_key[wanted.key].append(wanted)
        for key, added in of_key.items():
            # What was withdrawn contradicts nothing.
            group = [w for w in added if not self._ends_withdrawn(w)]
            kept = [n for n in held.ratings_of_key.get(key, ()) if not self._ends_withdrawn(n)]
            if len(group) + len(kept) <= 1:
                continue
            first: list[Place] = [w for w in group if not w.targets and w.row.supersedes is None]
            first += [n for n in kept if n not in entered_later]
            holding: list[Place] = [w for w in group if w not in self.superseded_by]
            holding += [n for n in kept if n not in held.ended_ratings and n not in self.superseded_by]
            for rivals in (first, holding):
                if len(rivals) > 1:
                    self._conflict(rivals)
                    break

    def _conflict(self, rivals: list[Place]) -> None:
        rows = sorted((p for p in rivals if isinstance(p, Wanted)), key=lambda w: w.row.row.number)
        on_file = next((p for p in rivals if isinstance(p, int)), None)
        for wanted in rows if on_file is not None else rows[1:]:
            if on_file is None:
                message = f"Row {rows[0].row.row.number} states {rows[0].row.text} for the same result."
                remedy = 'Leave one out, or name in "supersedes" the label of the one that is replaced.'
            else:
                now = self.held.ratings[self.held.successor(on_file) or on_file]
                message = f"On file this result is {self.held.ratings[on_file].wording[0]}."
                remedy = f'If the row corrects it, give {now.label} as "supersedes".'
            self._fault(wanted.row, "value", message, remedy)

    # --- tests

    def _assign_tests(self, new: list[Wanted]) -> None:
        of_test: dict[TestKey, list[Wanted]] = defaultdict(list)
        for wanted in new:
            key = key_of_test(wanted.row.named, wanted.row.source, wanted.row.test)
            if wanted.row.test is None:
                wanted.test = self._new_test(key, wanted.row.conditions)
            else:
                of_test[key].append(wanted)
        for key, group in of_test.items():
            for members in self._agreeing(key, group):
                conditions = self._merged(members)
                test = self._test_of(key, members, conditions)
                for wanted in members:
                    wanted.test = test
        self.new_tests.sort(key=_content_of_test)

    def _new_test(self, key: TestKey, conditions: Mapping[str, Stated]) -> NewTest:
        self.new_tests.append(NewTest(key, conditions))
        return self.new_tests[-1]

    def _agreeing(self, key: TestKey, group: list[Wanted]) -> Iterable[list[Wanted]]:
        """One test, or where its conditions were corrected one for each version, else each round of correction."""
        if any(_version(wanted) for wanted in group):
            versions: dict[str, list[Wanted]] = defaultdict(list)
            for wanted in group:
                versions[_version(wanted)].append(wanted)
            return versions.values()
        if not _contradictions(group):
            return [group]
        rounds: dict[int, list[Wanted]] = defaultdict(list)
        for wanted in group:
            rounds[self._corrections(key, wanted)].append(wanted)
        return rounds.values()

    def _corrections(self, key: TestKey, wanted: Wanted) -> int:
        """How many ratings of the same test stand before this one."""
        count = 0
        seen: set[Place] = {wanted}
        before = wanted.targets
        while before := [place for place in before if self._test_key(place) == key and place not in seen]:
            seen.update(before)
            count += 1
            before = [target for place in before if isinstance(place, Wanted) for target in place.targets]
        return count

    def _test_key(self, place: Place) -> TestKey:
        if isinstance(place, Wanted):
            return key_of_test(place.row.named, place.row.source, place.row.test)
        on_file = self.held.ratings[place].key
        return on_file[0], on_file[1], on_file[2], on_file[3]

    def _merged(self, members: list[Wanted]) -> dict[str, Stated]:
        """The test's conditions: a blank in one row is filled from another. Contradictions become faults."""
        for column, (one, other) in _contradictions(members).items():
            first, second = sorted((one, other), key=lambda row: row.row.number)
            message = f'Row {first.row.number} of the test "{first.test}" says {first.conditions[column].text}.'
            self._fault(second, column, message, "State the test's conditions alike, or give it another name.")
        merged: dict[str, Stated] = {}
        for row in (row for wanted in members for row in wanted.rows):
            for column, stated in row.conditions.items():
                merged[column] = min(stated, merged.get(column, stated), key=lambda s: (s.text, s.key))
        return merged

    def _test_of(self, key: TestKey, members: list[Wanted], conditions: Mapping[str, Stated]) -> NewTest | int:
        held = self.held
        on_file = held.tests.get(key, [])
        fitting = [test for test in on_file if _within(conditions, held.conditions[test])]
        exact = [test for test in fitting if len(held.conditions[test]) == len(conditions)]
        if _version(members[0]):
            return exact[-1] if exact else self._new_test(key, conditions)
        if fitting:
            return (exact or fitting)[-1]
        if on_file and any(self._corrections(key, wanted) == 0 for wanted in members):
            self._differs(members, held.conditions[on_file[-1]])
        return self._new_test(key, conditions)

    def _differs(self, members: list[Wanted], on_file: Mapping[str, Stated]) -> None:
        for row in (row for wanted in members for row in wanted.rows):
            for column, stated in row.conditions.items():
                if column not in on_file or on_file[column].key != stated.key:
                    self._differs_from_file(row, column, on_file.get(column))

    # --- what deserves a look

    def _conditions_of(self, wanted: Wanted) -> Mapping[str, Stated]:
        if isinstance(wanted.test, NewTest):
            return wanted.test.conditions
        return {} if wanted.test is None else self.held.conditions[wanted.test]

    def _note_scale(self, row: RatingRow, conditions: Mapping[str, Stated]) -> None:
        if row.scale is None:
            return
        size = None if row.size is None else row.size.text
        standard = conditions["standard"].text if "standard" in conditions else ""
        usual = STANDARD_OF_SCALE.get(standard)
        if row.scale == "?":
            what = f"; the scale follows from {standard}" if usual else ", which give estimates only"
            self._remark(row, f"sizes without a scale{what}", size)
        elif usual is not None and row.scale != usual:
            what = f"sizes in {_SIZES[row.scale]} with {standard}, which gives {_SIZES[usual]}; kept as stated"
            self._remark(row, what, size)

    def _note_qualifier(self, row: RatingRow, conditions: Mapping[str, Stated]) -> None:
        """Counts results that can never show that they serve, where a limit was probably meant as the rating."""
        if row.qualifier != _PROVES_NOTHING.get(CHARACTERISTICS[row.characteristic].sense):
            return
        injected = "capacity_basis" in conditions and conditions["capacity_basis"].text == "injected"
        signed = row.size is not None and vocabulary.signed(row.size.text)[0] is not None
        # An upper limit is all that dust injected, or a size beyond the last one counted, can show.
        if signed or (row.characteristic == "retained_capacity" and injected):
            return
        said, limit = ("at most", "maximum") if row.qualifier == "at_most" else ("at least", "minimum")
        what = f'{row.characteristic} "{said}", which never shows that a requirement is met'
        self._remark(row, f"{what}; if the sheet's {limit} is the rating itself, enter it as equal", row.text)


def _content(row: RatingRow) -> tuple[str, ...]:
    return row.supersedes or "", row.text, row.page or "", row.remark or ""


def _version(wanted: Wanted) -> str:
    """The version of its test that a row of the rating names, "" for none."""
    return next((row.version for row in wanted.rows if row.version is not None), "")


def _content_of_test(test: NewTest) -> tuple[TestKey, tuple[str, ...]]:
    return test.key, tuple(test.conditions[c].key if c in test.conditions else "" for c in TEST_COLUMNS)


def _within(stated: Mapping[str, Stated], conditions: Mapping[str, Stated]) -> bool:
    """Whether everything ``stated`` stands in ``conditions`` too."""
    return all(column in conditions and conditions[column].key == s.key for column, s in stated.items())


def _contradictions(members: Iterable[Wanted]) -> dict[str, tuple[RatingRow, RatingRow]]:
    """Column: two rows that state it differently."""
    rows = [row for wanted in members for row in wanted.rows]
    found = {}
    for column in TEST_COLUMNS:
        stating = [row for row in rows if column in row.conditions]
        other = next((r for r in stating if r.conditions[column].key != stating[0].conditions[column].key), None)
        if other is not None:
            found[column] = (stating[0], other)
    return found
