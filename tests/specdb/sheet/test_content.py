"""What stands on a sheet, against the answer that it is made from."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from specdb.answers import ComparisonAnswer, comparison
from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import comparison_names, comparison_of
from specdb.duty.rules import RULES
from specdb.sheet.content import ABREAST_AT_MOST, Sheet, Stated
from specdb.sheet.duty import FIELD_WORDS
from tests.specdb.sheet.sheets import DAY, DUTY, NUMBERS, asked_of, sheet, texts

ASKED = asked_of(("Dulse 24", "12-2", "Dulse 23/B"))


@pytest.fixture(scope="module")
def answer(demo: Snapshot) -> ComparisonAnswer:
    return comparison(comparison_of(ASKED), demo)


@pytest.fixture(scope="module")
def made(demo: Snapshot) -> Sheet:
    return sheet(demo, ASKED)


def test_every_criterion_has_its_row_and_misses_stand_first(answer: ComparisonAnswer, made: Sheet) -> None:
    rank = {"misses": 0, "not_shown": 1, "meets": 2}
    rows = [(band.verdict, row) for band in made.bands for row in band.rows]
    assert [verdict for verdict, _ in rows] == sorted((verdict for verdict, _ in rows), key=rank.__getitem__)
    assert {verdict for verdict, _ in rows} == set(rank)
    for verdict, row in rows:
        # The first column is the original's, which decides nothing of the place of a row.
        assert verdict == min((cell.verdict for cell in row.cells[1:]), key=rank.__getitem__)
    assert sorted(row.required for _, row in rows) == sorted(_required(r.words) for r in answer.requirements)


def _required(words: str) -> str:
    return words.rpartition("; ")[0]


def test_an_origin_names_the_rule_by_its_title(answer: ComparisonAnswer, made: Sheet) -> None:
    origins = {row.required: row.origin for band in made.bands for row in band.rows}
    derived = [requirement for requirement in answer.requirements if requirement.rule is not None]
    assert len(derived) > 5
    for requirement in answer.requirements:
        _, _, told = requirement.words.rpartition("; ")
        rule = requirement.rule
        wanted = told if rule is None else told.replace(f"({rule})", f"by the rule “{RULES[rule].title}”")
        assert origins[_required(requirement.words)] == wanted
        assert rule is None or f"({rule})" not in wanted


def test_cells_say_what_the_answer_says_with_margin_and_proof(answer: ComparisonAnswer, made: Sheet) -> None:
    rows = {row.required: row for band in made.bands for row in band.rows}
    told: dict[str, int] = {"margin": 0, "by proof alone": 0}
    for line in answer.rows:
        cells = rows[_required(line.words)].cells
        shown = [line.original, *line.cells]
        criteria = [
            next(c for c in each.criteria if c.requirement == line.requirement)
            for each in (answer.original, *answer.elements)
            if each is not None
        ]
        for cell, expected, criterion in zip(cells, shown, criteria, strict=True):
            assert expected is not None
            assert cell.verdict == expected.verdict
            assert cell.words.startswith(expected.words)
            assert cell.words.endswith(")") >= (criterion.margin is not None)
            differs = criterion.verdict != criterion.verdict_without_assumptions
            word = criterion.verdict_without_assumptions.replace("_", " ")
            assert cell.remark == (f"by proof alone: {word}" if differs else "")
            told["margin"] += criterion.margin is not None
            told["by proof alone"] += differs
    assert all(told.values()), told


def test_numbers_of_sources_stand_for_the_documents_behind_a_verdict(answer: ComparisonAnswer, made: Sheet) -> None:
    rows = {row.required: row for band in made.bands for row in band.rows}
    for line in answer.rows:
        for element, cell in zip(answer.elements, rows[_required(line.words)].cells[1:], strict=True):
            cited = next(c for c in element.criteria if c.requirement == line.requirement).sources
            assert {made.sources[number - 1].partition(":")[0] for number in cell.sources} == {s.source for s in cited}
    independent = [source for source in made.sources if source.endswith("(ISO 16889, laboratory: independent)")]
    assert [source.partition(":")[0] for source in independent] == ["MZ-1"]


def test_a_caution_of_several_is_said_once_and_names_them(answer: ComparisonAnswer, made: Sheet) -> None:
    assert len({alarm.text for alarm in made.alarms}) == len(made.alarms)
    everyone = [answer.original, *answer.elements]
    for column, shown in zip(made.columns, everyone, strict=True):
        assert shown is not None
        assert [alarm.text for alarm in made.alarms if column.name in alarm.of] == sorted(
            shown.cautions, key=[alarm.text for alarm in made.alarms].index
        )
        assert column.alarms == (f"{len(shown.cautions)} above" if shown.cautions else "none")
    assert made.alarms[0].of == ("Quollbeck Dulse 23", "Quollbeck Dulse 24", "Tarnwhistle 12-2")


def test_a_sentence_for_each_miss_and_each_criterion_not_shown(answer: ComparisonAnswer, made: Sheet) -> None:
    for column, shown in zip(made.columns[1:], answer.elements, strict=True):
        lacking = [c.explanation for c in shown.criteria if c.verdict != "meets"]
        assert sorted(sentence.text for sentence in column.wanting) == sorted(lacking)
        first_open = [s.text.startswith("Misses") for s in column.wanting] + [False]
        assert not any(first_open[first_open.index(False) :])
        assert {claim.words for claim in shown.claims} <= set(column.beside)
    assert any(column.beside for column in made.columns)


@pytest.mark.parametrize(
    ("number", "status", "bypass"),
    [
        ("Dulse 23/B", "current", "no bypass valve in the element"),
        ("12-2", "current", "bypass valve in the element"),
    ],
)
def test_what_an_element_is(made: Sheet, number: str, status: str, bypass: str) -> None:
    (column,) = (column for column in made.columns if column.name.endswith(f" {number}"))
    assert (column.status, column.bypass) == (status, bypass)


def test_places_among_them_and_the_original_apart(made: Sheet) -> None:
    original, *compared = made.columns
    assert original.is_original
    assert original.place.startswith("original: meets ")
    assert sorted(column.place.partition(":")[0] for column in compared) == ["1 of 3", "2 of 3", "3 of 3"]


def test_elements_that_maker_and_number_alone_tell_apart_are_said_to_be_equal(demo: Snapshot) -> None:
    def places(count: int, duty: dict[str, str]) -> list[str]:
        made = sheet(demo, asked_of([f"Dulse {size}" for size in (21, 22, 23, 24)][:count], duty))
        return [column.place.partition(":")[0] for column in made.columns]

    alike = {"fit.kind": "spin-on", "assumptions": "none"}
    assert places(1, alike) == ["1 of 1"]
    assert places(2, alike) == ["1 of 2 (equal to Quollbeck Dulse 22)", "2 of 2 (equal to Quollbeck Dulse 21)"]
    assert places(3, alike)[1] == "2 of 3 (equal to Quollbeck Dulse 21, Quollbeck Dulse 23)"
    assert places(4, alike) == [f"{place} of 4 (equal to all from 1 to 4)" for place in (1, 2, 3, 4)]
    told_apart = alike | {"require.1.characteristic": "burst_pressure", "require.1.at_least": "1 kPa"}
    told = sheet(demo, asked_of(("Dulse 24", "12-2"), told_apart))
    standings = comparison(comparison_of(asked_of(("Dulse 24", "12-2"), told_apart)), demo).elements
    assert standings[0].standing != standings[1].standing
    assert [column.place.partition(":")[0] for column in told.columns] == ["2 of 2", "1 of 2"]


def test_a_successor_and_an_element_of_which_nothing_is_on_file_are_said(demo: Snapshot) -> None:
    words = demo.elements.words["successor"]
    replaced = next(row for row in range(len(demo.elements)) if words.word(row))
    names = {
        "elements.1.element_id": demo.elements.element_id[replaced],
        "require.1.characteristic": "bubble_point",
        "require.1.at_least": "3 kPa",
    }
    (column,) = sheet(demo, names).columns
    assert column.status.endswith(f", successor {words.word(replaced)}")
    assert column.place.startswith("no place, as nothing is on file for any criterion: ")


def test_every_column_stands_in_one_table_and_none_is_much_wider(made: Sheet) -> None:
    for count in range(1, 22):
        many = replace(made, columns=made.columns[:1] * count)
        assert [place for group in many.groups for place in group] == list(range(count))
        sizes = [len(group) for group in many.groups]
        assert max(sizes) <= ABREAST_AT_MOST
        assert max(sizes) - min(sizes) <= 1
        assert many.is_wide is (count > 3)


def test_proof_alone_says_so_and_what_is_read_by_no_rule_is_told(demo: Snapshot) -> None:
    made = sheet(demo, asked_of(NUMBERS[:1], {**DUTY, "assumptions": "none", "air_flow": "60 L/min"}))
    assert made.assumed == ()
    assert not any(cell.remark for band in made.bands for row in band.rows for cell in row.cells)
    noted = next(section for section in made.sections if section.heading == "To be noted")
    assert "Stated, but nothing here depends on it: air through the breather." in noted.sentences


# --- words, where the question has names ----------------------------------------------------------


STATED = {
    "original.number": "Dulse 23", "original.allow": "5 %", "pump_flow": "60 L/min", "area_ratio": "1.25",
    "bypass": "head", "bypass_cracking_pressure": "170 kPa", "pressure_cycles": "1000000", "location": "return",
    "working_pressure": "800 kPa", "fluid.class": "HM", "fluid.grade": "VG 46", "target_cleanliness": "18/16/13",
    "fit.outside_diameter": "96 mm", "fit.outside_diameter.tolerance": "2 mm", "derive.collapse": "2",
    "derive.burst": "no", "air_flow": "60 L/min", "cold_start_temperature": "-5 degC", "assumptions": "customary",
    "service_interval": "1000 h", "require.1.characteristic": "filtration_ratio", "require.1.at_least": "200",
    "require.1.size": "10 um(c)", "require.2.characteristic": "retained_capacity", "require.2.at_least": "50 g",
}  # fmt: skip


@pytest.mark.parametrize("change", [{}, {"derive": "none"}, {"bypass_cracking_pressure": "", "fluid.class": ""}])
def test_a_sheet_holds_no_name_of_a_field_or_rule(demo: Snapshot, change: dict[str, str]) -> None:
    asked = {name: text for name, text in asked_of(NUMBERS[:3], STATED | change).items() if text}
    groups = "fluid|fit|require|ingression|costs|derive|duty|original"
    named = re.compile(rf"\b[a-z0-9]+_[a-z0-9_]+|\b(?:{groups})\.[a-z0-9]")
    told = list(texts(sheet(demo, asked, Stated(date=DAY))))
    assert [text for text in told if named.search(text)] == []


def test_the_duty_is_told_as_it_was_stated(demo: Snapshot) -> None:
    (told,) = (
        section.sentences
        for section in sheet(demo, asked_of(NUMBERS[:2], STATED)).sections
        if section.heading == "The duty as it was stated"
    )
    machine, *required = told
    for words in (
        "flow of the pump: 60 L/min", "bypass valve: in the filter head", "place in the circuit: return line",
        "outside diameter: 96 mm", "outside diameter, either way: 2 mm", "allowance on the original: 5 %",
        "rule “collapse above what the element can see”: with 2",
        "rule “burst pressure of a spin-on's can”: switched off",
    ):  # fmt: skip
        assert words in machine.split("; ")
    assert required == [
        "required: filtration ratio (beta): at least 200 at 10 µm(c) (at 75 L/min)",
        "required: retained capacity: at least 50 g (at 75 L/min and a terminal drop of 170 kPa)",
    ]


def test_everything_that_a_duty_may_state_has_words() -> None:
    told_elsewhere = ("elements.", "original.number", "original.maker", "require.", "assumptions", "as_of", "include_")
    assert [n for n in comparison_names() if n not in FIELD_WORDS and not n.startswith(told_elsewhere)] == []
    words = [text for name, text in FIELD_WORDS.items() if name in comparison_names()]
    assert len(set(words)) == len(words)


def test_the_foot_names_the_order_and_what_is_compared(demo: Snapshot) -> None:
    of = sheet(demo, asked_of(NUMBERS[:2]), Stated(date=DAY, order_number="4711" + "7" * 80))
    assert of.foot == (
        f"Side by side – 2026-11-30 – catalogue revision {of.revision} – order 4711{'7' * 35}…",
        "in place of Quollbeck Dulse 23: Tarnwhistle 12-2, Quollbeck Dulse 23/B",
    )
    assert sheet(demo, asked_of(NUMBERS[:1])).foot[0].endswith(f"revision {of.revision}")
