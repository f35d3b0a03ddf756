"""Which elements fit what is asked of them: filters on what they state, and requirements on what tests show of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from specdb.bounds import MEETS, MISSES, IntArray
from specdb.catalog.listing import Wanted, list_elements
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import characteristics_read, judge
from specdb.duty import Assumptions, Requirement


@dataclass(frozen=True)
class Found:
    """Rows of the snapshot, rising. Those that fit ``surely`` state all that is wanted and meet all that is required;
    those that ``might`` contradict none of it and miss nothing, and leave some of it open. ``not_stated`` counts those
    of the latter that leave something wanted unstated, whatever they have shown."""

    surely: IntArray
    might: IntArray
    not_stated: int


def find_elements(
    snapshot: Snapshot, wanted: Wanted, requirements: Sequence[Requirement], assumptions: Assumptions
) -> Found:
    """Requirements that only caution decide nothing. Raises NotOnFileError as
    :func:`~specdb.catalog.listing.list_elements`."""
    listed = list_elements(snapshot, wanted)
    rows = np.union1d(listed.rows, listed.left_open)
    sure = np.isin(rows, listed.rows, assume_unique=True)
    # What has fewest results is judged fastest, and leaves fewer elements for the rest.
    for requirement in sorted((r for r in requirements if not r.advisory), key=lambda r: _results(snapshot, r)):
        whole = len(rows) == len(snapshot.elements)
        part = snapshot if whole else snapshot.repeated(rows, characteristics_read(requirement))
        verdict = judge(part, requirement, assumptions).verdict
        kept = verdict != MISSES
        rows, sure = rows[kept], (sure & (verdict == MEETS))[kept]
    might = rows[~sure]
    return Found(rows[sure], might, len(np.intersect1d(might, listed.left_open, assume_unique=True)))


def _results(snapshot: Snapshot, requirement: Requirement) -> int:
    return sum(len(snapshot.of(key)) for key in characteristics_read(requirement))
