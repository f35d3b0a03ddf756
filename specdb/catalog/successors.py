"""Which element on file takes the place of one that is no longer made."""

from __future__ import annotations

from specdb.catalog.identity import element_id, identity_key
from specdb.catalog.snapshot import Snapshot
from specdb.errors import QuestionError


def successor_row(snapshot: Snapshot, row: int) -> int | None:
    """Row of the element that is named as the successor of the one in ``row``: the one of the same maker, else the
    only one that has the number. None where none is named, or none is on file."""
    elements = snapshot.elements
    text = elements.words["successor"].word(row)
    if text is None:
        return None
    try:
        same_maker = snapshot.find(element_id(str(elements.maker[row]), text))
        key = identity_key(text)
    except QuestionError:  # whatever stands there is no number
        return None
    having = [int(each) for each in (elements.number_key == key).nonzero()[0]]
    return having[0] if same_maker is None and len(having) == 1 else same_maker
