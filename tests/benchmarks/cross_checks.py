"""How long a line of a cross-check takes over 100,000 elements of 12 ratings each, beside the ranking of all of them.

``python -m tests.benchmarks.cross_checks [lines] [elements]`` answers so many lines (by default 200, at most 10,000),
each for another original, ranked and judged, without assumptions and with the customary ones, and writes them as a
finished workbook. It prints what a line took, and the ratio to ranking all elements for some of the same lines in the
same run. Nothing is asserted about time.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from typing import BinaryIO, cast

import numpy as np

from specdb.catalog.snapshot import Snapshot, build_snapshot
from specdb.cross_checks.lines import Line, LinesRead
from specdb.cross_checks.processes import answer_lines_at_once, processes_for
from specdb.cross_checks.written import Tally, head_of, write_file
from specdb.duty.dotted import question_of
from specdb.ranking import rank
from tests.benchmarks.__main__ import catalogue

RANKED_WHOLE = 10
BEST = 2


def lines_for(snapshot: Snapshot, count: int, *, judged: bool) -> list[Line]:
    """Lines as an engineer's workbook has them: an original, a flow, an oil, a target code; in a quote an alternative
    besides."""
    rng = np.random.default_rng(3)
    originals, alternatives = (rng.choice(len(snapshot.elements), count) for _ in range(2))
    elements = snapshot.elements
    lines = []
    for place, (original, alternative) in enumerate(zip(originals, alternatives, strict=True), start=2):
        asked = {
            "original.maker": elements.maker[original],
            "original.number": elements.number[original],
            "flow": f"{rng.choice((40, 60, 75, 100))} L/min",
            "fluid.grade": "ISO VG 46",
            "operating_temperature": "50 degC",
            "target_cleanliness": "18/16/13",
        }
        if judged:
            other = alternative if alternative != original else (alternative + 1) % len(elements)
            asked |= {"elements.1.maker": elements.maker[other], "elements.1.number": elements.number[other]}
        lines.append(Line(place, str(place), asked))
    return lines


def answered(lines: Sequence[Line], snapshot: Snapshot, common: dict[str, str], processes: int) -> float:
    """Seconds that the lines take as a finished workbook."""
    begun = time.perf_counter()
    tally = Tally()
    answers = answer_lines_at_once(lines, snapshot, common, processes=processes)
    with tempfile.TemporaryFile() as file:
        head = head_of(snapshot, LinesRead(tuple(lines)))
        write_file("xlsx", cast(BinaryIO, file), head, tally.counted(answers))
        megabytes = file.tell() / 1e6
    if tally.answered < len(lines):
        print(f"  {len(tally.faulty)} of {len(lines)} lines have no answer, such as row {tally.faulty[0][1]}")
    print(f"  a workbook of {megabytes:.1f} MB")
    return time.perf_counter() - begun


def ranked_whole(lines: Sequence[Line], snapshot: Snapshot, common: dict[str, str]) -> float:
    """Seconds that a line takes where every element is judged on everything."""
    begun = time.perf_counter()
    for line in lines:
        rank(question_of({**common, **line.asked}), snapshot)
    return (time.perf_counter() - begun) / len(lines)


def main() -> None:
    count, elements = (int(each) for each in (*sys.argv[1:], *(200, 100_000)[len(sys.argv) - 1 :]))
    frames = catalogue(elements)
    snapshot = build_snapshot(1, frames["elements"], frames["attributes"], frames["tests"], frames["ratings"])
    del frames
    processes = processes_for(count, elements)
    print(f"{count} lines, {elements} elements, {processes} processes")
    for assumptions in ("none", "customary"):
        common = {"assumptions": assumptions, "limit": str(BEST)}
        for judged in (False, True):
            lines = lines_for(snapshot, count, judged=judged)
            print(f"{'judged' if judged else f'best {BEST}'}, assumptions: {assumptions}")
            took = answered(lines, snapshot, common, processes)
            print(f"  {took:.0f} s in all, {took / count * 1000:.0f} ms a line")
            if not judged:
                whole = ranked_whole(lines[:RANKED_WHOLE], snapshot, common)
                ratio = whole * count / took
                print(f"  ranking all elements takes one process {whole * 1000:.0f} ms a line, {ratio:.0f} times that")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this process, the catalogue's making included: {peak:.0f} MB")


if __name__ == "__main__":
    main()
