"""What is said of many answers at once: what was stated and read by no rule, what their verdicts rest on, and notes."""

from __future__ import annotations

from collections.abc import Sequence

from specdb.amounts import listed
from specdb.answers.cross_checks import LineAnswer

MOST_RUNS = 8
"""Rows, or rows that follow each other, that are told in one sentence."""
MOST_ASSUMPTIONS = 20
"""Of lines with figures of their own there may be many."""
MOST_NOTES = 10
"""Likewise; each stands with its line too."""


class Remarks:
    """Gathers them from answers as they pass."""

    def __init__(self) -> None:
        self._unread: dict[str, list[int]] = {}
        self._by_proof: list[int] = []
        self._assumed: dict[str, None] = {}
        self._noted: dict[str, list[int]] = {}

    def take(self, answer: LineAnswer) -> None:
        if answer.problem is not None:
            return
        for name in (each.removeprefix("duty.") for each in answer.unused):
            self._unread.setdefault(answer.headings.get(name, name), []).append(answer.row)
        for note in notes_told(answer):
            self._noted.setdefault(note, []).append(answer.row)
        self._assumed |= dict.fromkeys(answer.assumptions.values())
        if not answer.assumptions:
            self._by_proof.append(answer.row)

    @property
    def unread(self) -> str:
        """Headings with the rows in which what stands under them is read by no rule, those of the same rows together;
        "" where there are none."""
        alike: dict[tuple[int, ...], list[str]] = {}
        for heading, rows in self._unread.items():
            alike.setdefault(tuple(dict.fromkeys(rows)), []).append(heading)
        return "; ".join(f"{', '.join(headings)} ({rows_told(rows)})" for rows, headings in alike.items())

    @property
    def assumed(self) -> list[str]:
        """What verdicts of any line take for granted, in sentences without a stop."""
        told = list(self._assumed)
        more = len(told) - MOST_ASSUMPTIONS
        return [*told[:MOST_ASSUMPTIONS], *([f"{more} more, by lines with figures of their own"] if more > 0 else [])]

    @property
    def noted(self) -> list[str]:
        """Notes of lines, the same note of several once, with its rows: first those that ask whether what was typed is
        meant, of which none may be lost among others."""
        told = sorted(self._noted.items(), key=lambda each: not each[0].endswith("?"))
        first = [f"{rows_told(rows)}: {note}" for note, rows in told[:MOST_NOTES]]
        more = len(told) - MOST_NOTES
        return [*first, *([f"{more} more, each with its own line in the answers"] if more > 0 else [])]

    @property
    def by_proof(self) -> str:
        """The rows whose verdicts rest on proof alone, where others take something for granted; else ""."""
        return rows_told(self._by_proof) if self._by_proof and self._assumed else ""


def notes_told(answer: LineAnswer) -> list[str]:
    """The notes of a line, each once, under the heading of what it is about where that stood under one."""
    told: dict[str, None] = {}
    for note in answer.notes:
        name, colon, said = note.partition(": ")
        heading = answer.headings.get(name.removeprefix("duty."))
        told[f"{heading}: {said}" if colon and heading else note] = None
    return list(told)


def rows_told(rows: Sequence[int]) -> str:
    """Numbers of rows in ascending order, in a few words: "row 7", "rows 2 to 40 and 44"."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    told = [words for run in runs for words in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run))]
    more = len(told) - MOST_RUNS
    words = listed([*told[:MOST_RUNS], *([f"{more} more"] if more > 1 else told[MOST_RUNS:])])
    return f"row{'' if len(rows) == 1 else 's'} {words}"
