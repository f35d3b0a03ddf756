"""Answers to many lines by several processes at once, which share one state of the catalogue."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from signal import SIG_IGN, SIGINT

from specdb.answers.cross_checks import LineAnswer
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.lines import Line
from specdb.cross_checks.running import Mode, answer_line, answer_lines
from specdb.shortlist import Shortlister
from specdb.units import UnitSystem

WORTH_A_PROCESS = 5_000_000
"""Lines times elements for each process: below, a process takes longer to start than it saves."""

_LINES_AT_ONCE = 8
"""Lines that a process is given at once."""

_FORKED = "fork"
"""How processes come to share a catalogue without a copy; where that is not to be had, one process does it all."""

_answer: Callable[[Line], LineAnswer] | None = None
"""What a process does to a line; set before processes are made, which inherit it."""


def processes_for(lines: int, elements: int) -> int:
    """How many processes are worth their while here, on as many processors as this one may use."""
    if _FORKED not in multiprocessing.get_all_start_methods():
        return 1
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 1
    return max(1, min(usable, lines * elements // WORTH_A_PROCESS))


def answer_lines_at_once(
    lines: Sequence[Line],
    snapshot: Snapshot,
    common: Mapping[str, str],
    *,
    mode: Mode = "each",
    units: UnitSystem = "si",
    processes: int,
) -> Iterator[LineAnswer]:
    """As :func:`specdb.cross_checks.running.answer_lines`, by so many processes. Not for a program with several
    threads, which a copy of it would lack."""
    global _answer
    if processes == 1:
        yield from answer_lines(lines, snapshot, common, mode=mode, units=units)
        return
    _answer = partial(answer_line, shortlister=Shortlister(snapshot), common=common, mode=mode, units=units)
    try:
        # An interrupt is for the program itself, which ends the processes.
        with multiprocessing.get_context(_FORKED).Pool(processes, signal.signal, (SIGINT, SIG_IGN)) as pool:
            yield from pool.imap(_by_process, lines, _LINES_AT_ONCE)
    finally:
        _answer = None


def _by_process(line: Line) -> LineAnswer:
    assert _answer is not None
    return _answer(line)
