"""Lines of every sort with their answers, and the finished workbook of them."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from datetime import date

from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.headings import fault_at
from specdb.cross_checks.lines import Line
from specdb.cross_checks.running import answer_lines
from specdb.cross_checks.workbook import write_answers
from specdb.ranking import ORDER
from specdb.units import UnitSystem
from specdb.wording import CAUTIONS

COMMON: Mapping[str, str] = {
    "assumptions": "customary", "limit": "2", "fluid.viscosity": "46 mm2/s", "flow": "60 L/min",
}  # fmt: skip

LINES = (
    Line(
        2, "A-1", {"original.number": "Dulse 23", "flow": "75 L/min"}, headings={"flow": "Flow, L/min"},
        aside={"Price": "12.50", "Remark": "=1+1"},
    ),
    Line(3, "12-1", {"original.number": "Dulse 23", "elements.1.number": "Dulse 24", "elements.2.number": "00428"}),
    Line(4, "=1+1", {"original.number": "Dulze 23", "flow": "fast"}),
    Line(5, "00428", {"original.number": "Dulse 24", "target_cleanliness": "18/16/13", "limit": "4"}),
    Line(6, "1E10", {"require.1.characteristic": "retained_capacity", "require.1.at_least": "9000 g"}),
    Line(7, "7", {"original.number": "Dulse 23", "colour": "red"}),
    # Without its unreadable cell each of these could be answered.
    Line(8, "8", {"original.number": "Dulse 23"}, (fault_at("Flow [L/min]", "No value was saved.", "Type it."),)),
    Line(9, "9", {"original.number": "Dulse 23"}, (fault_at("beta at 10 um(c) >=", "No value.", "Type it."),)),
    Line(10, "10", {"original.number": "Dulse 23"}, (fault_at("", "The row has too many cells.", "Align it."),)),
    Line(11, "11", {"original.number": "Dulse 23", "as_of": "1"}),
    # Flow is said for all lines: with it the line could be answered too.
    Line(12, "12", {}, (fault_at("flow", "No value was saved.", "Type it."),)),
    # Whether the fluid suits the seal no test settles.
    Line(13, "13", {"fluid.class": "HEES", "fit.seal": "NBR", "assumptions": "none"}),
    Line(14, "14", {"original.number": "Dulse 23", "elements.1.number": "Dulse 24"}, aside={"Price": "9"}),
    # What was typed is refused again where it stands; a day that a date shows is a number of a part as text.
    Line(15, "15", {"original.number": "Dulse 23"}, (fault_at("flow", "Which?", ""),), unread={"flow": "1.000,5 L"}),
    Line(17, "17", {}, (fault_at("temp [°C]", "Which?", ""),), unread={"operating_temperature": "122 °F"}),
    Line(18, "18", {"original.number": "Dulse 23", "operating_temperature": "50 °C"}),
    Line(16, "16", {}, (fault_at("part no", "A date.", "", "2024-07"),), unread={"original.number": "2024-07"}),
)
"""Ranked, judged, of requirements alone, and faulty in each way, with labels that a program may take for something
else."""


def answered(
    snapshot: Snapshot, lines: Iterable[Line] = LINES, common: Mapping[str, str] = COMMON, units: UnitSystem = "si"
) -> list[LineAnswer]:
    return list(answer_lines(lines, snapshot, common, units=units))


def head() -> CrossCheckAnswer:
    return CrossCheckAnswer(
        catalog_revision=1, order=list(ORDER), cautions=list(CAUTIONS), notes=["The sheet Prices was passed over."],
        lines=[], answered=0, faulty=0,
    )  # fmt: skip


def written(answers: Iterable[LineAnswer], units: UnitSystem = "si") -> bytes:
    file = io.BytesIO()
    write_answers(file, answers, head(), units, date=date(2031, 5, 1))
    return file.getvalue()
