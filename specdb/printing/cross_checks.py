"""Answers to many lines, at a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich.console import Console
from rich.table import Table

from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer, verdict_by_proof, verdict_of
from specdb.answers.decisions import CandidateShown
from specdb.cross_checks.remarks import Remarks, rows_told
from specdb.cross_checks.written import Tally
from specdb.printing.page import row, say, show_table, table
from specdb.wording import GRANTED

FAULTS_TOLD = 20
"""Of lines whose answers are kept elsewhere, where each fault stands in its own row."""


class LinesTold:
    """What is told of lines as their answers pass, of which no more is kept: what holds for all of them and the faults,
    and for those who read nothing else a table of the candidates."""

    def __init__(self, in_a_table: bool):
        self.tally = Tally()
        self.remarks = Remarks()
        self._candidates = _table_of_candidates() if in_a_table else None
        self._faults: list[str] = []
        self._faults_left = 0

    def counted(self, answers: Iterable[LineAnswer]) -> Iterator[LineAnswer]:
        for answer in self.tally.counted(answers):
            self.remarks.take(answer)
            if answer.problem is not None:
                self._keep_faults(answer)
            elif self._candidates is not None:
                _tell_candidates(self._candidates, answer)
            yield answer

    def _keep_faults(self, answer: LineAnswer) -> None:
        for fault in _faults_of(answer):
            if self._candidates is not None or len(self._faults) < FAULTS_TOLD:
                self._faults.append(fault)
            else:
                self._faults_left += 1

    def print(self, out: Console, head: CrossCheckAnswer, kept_in: str | None = None) -> None:
        """The table, if there is one; how many lines were answered, with what, and on what the verdicts rest; which
        have faults; and what was noted and passed over."""
        if self._candidates is not None:
            show_table(out, self._candidates)
            self._print_faults(out)
        if kept_in is not None:
            say(out, f"The answers are in {kept_in}.")
        faulty, meeting = self.tally.faulty, self.tally.meeting or "none"
        say(
            out,
            f"Lines answered: {self.tally.answered}, of them {meeting} with a candidate that meets all that is asked. "
            f"Catalogue revision {head.catalog_revision}, method {head.method_version}.",
        )
        if self.tally.answered:
            say(out, _rests_on(self.remarks))
        if self.remarks.unread:
            say(out, f"Stated but read by no rule: {self.remarks.unread}.")
        for note in self.remarks.noted:
            say(out, f"Note, {note}")
        if faulty:
            say(out, f"Lines with faults: {len(faulty)}, in {rows_told([each for _, each in faulty])}.")
        if self._candidates is None:
            self._print_faults(out, indent=3)
        for note in head.notes:
            say(out, f"Note: {note}")
        for caution in head.cautions if self._candidates is not None else ():
            say(out, caution)

    def _print_faults(self, out: Console, indent: int = 0) -> None:
        for fault in self._faults:
            say(out, fault, indent)
        if self._faults_left:
            say(out, f"and {self._faults_left} more, each in its own row of the answers", indent)
        if self._faults and not indent:
            out.print()


def _rests_on(remarks: Remarks) -> str:
    """On what the verdicts rest, and how the page would judge the same where that is otherwise."""
    if not remarks.assumed:
        granted = ", ".join(GRANTED.values())
        return f"By proof alone; --assume customary, as on the page of the service, takes for granted: {granted}."
    alone = f". By proof alone: {remarks.by_proof}" if remarks.by_proof else ""
    return f"Taking for granted: {'; '.join(remarks.assumed)}{alone}."


def _faults_of(answer: LineAnswer) -> Iterator[str]:
    line = f"row {answer.row}" if answer.line == str(answer.row) else f"row {answer.row} ({answer.line})"
    for fault in () if answer.problem is None else answer.problem.errors:
        place = "" if fault.field is None else f"{fault.field}: "
        told = fault.detail if fault.detail.endswith((".", "?")) else f"{fault.detail}."
        yield f"{line}: " + " ".join(filter(None, (f"{place}{told}", fault.remedy)))


def _table_of_candidates() -> Table:
    return table(
        *("line", "original", "rank", "maker", "number", "verdict", "meets", "misses", "not shown", "status"),
        whole=("line", "number", "verdict"),
    )


def _tell_candidates(made: Table, answer: LineAnswer) -> None:
    """A row for each candidate; an alternative that is judged alone has no rank."""
    original = None if answer.original is None else answer.original.element
    named = "" if original is None else f"{original.maker} {original.number}"
    if not answer.candidates:
        row(made, answer.line, named, "", "", "no candidate")
    alone = answer.mode == "judged" and len(answer.candidates) == 1
    for number, candidate in enumerate(answer.candidates):
        element = candidate.element
        counted = sum(not criterion.advisory for criterion in candidate.criteria)
        missed, unshown = len(candidate.misses), len(candidate.not_shown)
        said = (answer.line, named) if number == 0 else ("", "")
        rank = "" if alone else candidate.rank
        counts = (counted - missed - unshown, missed or "-", unshown or "-")
        row(made, *said, rank, element.maker, element.number, _verdict(candidate), *counts, element.status)


def _verdict(candidate: CandidateShown) -> str:
    """The verdict over all criteria, and whether it would be another by proof alone."""
    verdict = verdict_of(candidate)
    return f"{verdict.replace('_', ' ')}{'' if verdict_by_proof(candidate) == verdict else ', assumed'}"
