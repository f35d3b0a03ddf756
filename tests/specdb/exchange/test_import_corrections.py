"""One result has one value at a time: corrections by name, tests that agree, past states kept."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from specdb.catalog import tables
from specdb.catalog.store import read_session
from tests.specdb.exchange.stored import counts, held

HEADINGS = (
    "rating,supersedes,maker,number,characteristic,value,flow,test,source,dust,terminal_pressure_drop,standard,remark"
)


def capacities(*rows: str) -> str:
    """rating, supersedes, value, flow, test, source, dust, terminal drop, standard, remark of DW-1's capacity."""
    lines = []
    for row in rows:
        cells = [cell.strip() for cell in row.split("|")]
        cells += [""] * (10 - len(cells))
        lines.append(",".join([*cells[:2], "Demo Works", "DW-1", "retained_capacity", *cells[2:]]))
    return "\n".join([HEADINGS, *lines, ""])


def in_force(engine: sa.Engine, revision: int) -> dict[str, float]:
    """Label and value of the ratings that held in a revision."""
    r, s = tables.rating, tables.supersession
    ended = sa.select(s.c.old_rating_id).where(s.c.revision_id <= revision, s.c.old_rating_id.is_not(None))
    query = sa.select(r.c.label, r.c.value).where(r.c.added_in <= revision, r.c.id.not_in(ended))
    with read_session(engine) as connection:
        return {row.label: row.value for row in connection.execute(query)}


FIRST = "a | | 85 g | 75 L/min | cap | S1"
SECOND = "b | a | 58 g | 75 L/min | cap | S1 | | | | misread"


def test_a_correction_ends_the_old_value_and_keeps_it(store, take_in):
    assert take_in({"ratings.csv": capacities(FIRST)}).superseded == 0
    assert take_in({"ratings.csv": capacities(FIRST, SECOND)}).superseded == 1
    assert in_force(store, 1) == {"a": 85}
    assert in_force(store, 2) == {"b": 58}
    (supersession,) = held(store, tables.supersession)
    assert supersession["reason"] == "misread"
    third = take_in({"ratings.csv": capacities("c | b | 85 g | 75 L/min | cap | S1")})  # back to the first value
    assert (third.added["ratings"], third.superseded) == (1, 1)
    assert in_force(store, 2) == {"b": 58}
    assert in_force(store, 3) == {"c": 85}
    for rows in ((FIRST,), (SECOND,), (SECOND, FIRST), ("c | b | 85 g | 75 L/min | cap | S1",)):
        assert take_in({"ratings.csv": capacities(*rows)}).revision is None


def test_corrections_without_labels_repeat_too(store, take_in):
    take_in({"ratings.csv": capacities(" | | 85 g | 75 L/min | cap | S1")})
    (label,) = in_force(store, 1)
    correction = capacities(f" | {label} | 58 g | 75 L/min | cap | S1")
    assert take_in({"ratings.csv": correction}).superseded == 1
    assert list(in_force(store, 2).values()) == [58]
    assert take_in({"ratings.csv": correction}).revision is None
    assert take_in({"ratings.csv": capacities(" | | 85 g | 75 L/min | cap | S1")}).revision is None


def test_one_import_may_hold_the_whole_chain_in_any_order(store, take_in):
    third = "c | b | 59 g | 75 L/min | cap | S2"
    report = take_in({"ratings.csv": capacities(third, SECOND, FIRST)})
    assert (report.added["ratings"], report.superseded) == (3, 2)
    assert in_force(store, 1) == {"c": 59}


def test_a_rating_on_file_may_be_said_later_to_take_the_place_of_another(store, take_in):
    newer = "n | | 59 g | 75 L/min | cap | S2"
    take_in({"ratings.csv": capacities(FIRST, newer)})
    report = take_in({"ratings.csv": capacities(FIRST, newer.replace("| |", "| a |", 1))})
    assert (report.revision, report.added["ratings"], report.superseded) == (2, 0, 1)
    assert in_force(store, 2) == {"n": 59}


@pytest.mark.parametrize(
    ("on_file", "rows", "faults"),
    [
        ([FIRST], ["x | | 58 g | 75 L/min | cap | S1"], [(2, "value")]),
        ([FIRST], ["a | | 58 g | 75 L/min | cap | S1"], [(2, "value")]),
        ([FIRST], ["a | | 85 g | 60 L/min | cap | S1"], [(2, "rating")]),
        ([FIRST, SECOND], ["c | a | 59 g | 75 L/min | cap | S1"], [(2, "supersedes"), (2, "value")]),
        ([FIRST, SECOND], [" | | 59 g | 75 L/min | cap | S1"], [(2, "value")]),
        ([], ["c | q | 59 g | 75 L/min | cap | S1"], [(2, "supersedes")]),
        ([], ["a | | 85 g | 75 L/min | cap | S1", "b | | 58 g | 75 L/min | cap | S1"], [(3, "value")]),
        ([], [" | | 85 g | 75 L/min | | S1", " | | 58 g | 75 L/min | | S1"], [(3, "value")]),
        ([], ["a | | 85 g | 75 L/min | cap | S1", "b | | 85 g | 75 L/min | cap | S1"], [(3, "rating")]),
        ([], ["a | | 85 g | 75 L/min | cap | S1", "a | | 85 g | 70 L/min | cap | S1"], [(3, "rating")]),
        ([], [FIRST, SECOND, "c | a | 59 g | 75 L/min | cap | S2"], [(4, "supersedes")]),
        ([FIRST], ["b | b | 58 g | 75 L/min | cap | S1"], [(2, "supersedes")]),
    ],
)  # fmt: skip
def test_values_that_contradict_are_refused(on_file, rows, faults, store, take_in, refused):
    if on_file:
        take_in({"ratings.csv": capacities(*on_file)})
    before = counts(store)
    found = refused({"ratings.csv": capacities(*rows)})
    assert [(fault.row, fault.column) for fault in found] == faults
    assert counts(store) == before


def test_a_refused_value_names_what_is_on_file_and_the_label_to_give(take_in, refused):
    take_in({"ratings.csv": capacities(FIRST, SECOND)})
    (fault,) = refused({"ratings.csv": capacities(" | | 61 g | 75 L/min | cap | S1")})
    assert "b" in fault.remedy.split()
    rows = ("x| | 70 g | 60 L/min | cap | S1", "y| | 71 g | 60 L/min | cap | S1")
    (fault,) = refused({"ratings.csv": capacities(*rows)})
    assert "Row 2 states 70 g" in fault.message


def test_circles_are_refused(refused):
    rows = ("a | c | 1 g | 1 L/min", "b | a | 2 g | 2 L/min", "c | b | 3 g | 3 L/min")
    faults = refused({"ratings.csv": capacities(*rows)})
    assert {fault.column for fault in faults} == {"supersedes"}
    assert "circle" in faults[0].message


def test_only_the_same_element_and_characteristic_is_superseded(refused):
    text = capacities(FIRST) + (
        "b,a,Demo Works,DW-2,retained_capacity,58 g,75 L/min,cap,S1,,,,\n"
        "c,a,Demo Works,DW-1,collapse_pressure,1 MPa,,,S1,,,,\n"
    )
    faults = refused({"ratings.csv": text})
    assert [(fault.row, fault.column) for fault in faults] == [(3, "supersedes"), (4, "supersedes")]
    assert "another element" in faults[0].message
    assert "retained_capacity" in faults[1].message


def test_the_same_value_in_another_unit_is_the_same_fact(store, take_in):
    take_in({"ratings.csv": capacities("a | | 85 g | 75 L/min | cap | S1 | | 1.7 bar")})
    again = take_in({"ratings.csv": capacities(" | | 0.085 kg | 4.5 m3/h | cap | S1 | | 170 kPa")})
    assert again.revision is None
    assert again.unchanged["ratings"] == 1
    assert any("differ in wording" in note for note in again.notes)
    assert in_force(store, 1) == {"a": 85}


# --- tests ------------------------------------------------------------------------------------------


def test_a_blank_is_filled_from_another_row_of_the_test(store, take_in):
    take_in({"ratings.csv": capacities(
        " | | 85 g | 75 L/min | cap | S1 | A3", " | | 80 g | 90 L/min | cap | S1 | | 170 kPa",
        " | | 70 g | 90 L/min | cap | S2 | A2",
    )})  # fmt: skip
    first, second = sorted(held(store, tables.test), key=lambda row: row["source_id"])
    assert (first["dust"], first["terminal_pressure_drop_kpa"]) == ("ISO 12103-1 A3", 170)
    assert (second["dust"], second["terminal_pressure_drop_kpa"]) == ("ISO 12103-1 A2", None)


def test_rows_of_one_test_that_contradict_name_each_other(refused):
    rows = (" | | 85 g | 75 L/min | cap | S1 | A3", " | | 80 g | 90 L/min | cap | S1 | A2")
    (fault,) = refused({"ratings.csv": capacities(*rows)})
    assert (fault.row, fault.column, fault.found) == (3, "dust", "A2")
    assert "Row 2" in fault.message


def test_a_row_without_a_test_is_its_own(take_in):
    rows = (" | | 85 g | 75 L/min | | S1 | A3", " | | 80 g | 75 L/min | | S1 | A2")
    assert take_in({"ratings.csv": capacities(*rows)}).added["tests"] == 2
    assert take_in({"ratings.csv": capacities(*rows)}).revision is None


@pytest.mark.parametrize("flow", ["75 L/min", "90 L/min"], ids=["same point", "new point"])
def test_a_test_on_file_with_other_conditions_is_refused(flow, take_in, refused):
    take_in({"ratings.csv": capacities(" | | 85 g | 75 L/min | cap | S1 | A3")})
    (fault,) = refused({"ratings.csv": capacities(f" | | 85 g | {flow} | cap | S1 | A2")})
    assert (fault.row, fault.column) == (2, "dust")
    assert "ISO 12103-1 A3" in fault.message


def test_a_new_point_joins_its_test_on_file(store, take_in):
    take_in({"ratings.csv": capacities(" | | 85 g | 75 L/min | cap | S1 | A3")})
    assert take_in({"ratings.csv": capacities(" | | 80 g | 90 L/min | cap | S1")}).added["tests"] == 0
    assert {row["test_id"] for row in held(store, tables.rating)} == {1}


OLD_TEST = ("a | | 85 g | 75 L/min | cap | S1 | A3", "b | | 80 g | 90 L/min | cap | S1 | A3")
NEW_TEST = ("c | a | 85 g | 75 L/min | cap | S1 | A2", "d | b | 80 g | 90 L/min | cap | S1 | A2")


@pytest.mark.parametrize("imports", [(OLD_TEST, NEW_TEST), ((*NEW_TEST, *OLD_TEST),)], ids=["later", "at once"])
def test_conditions_are_corrected_with_all_the_ratings_of_the_test(imports, store, take_in):
    for rows in imports:
        take_in({"ratings.csv": capacities(*rows)})
    query = sa.select(tables.rating.c.label, tables.test.c.dust).join_from(tables.rating, tables.test)
    with read_session(store) as connection:
        dusts = dict(tuple(row) for row in connection.execute(query))
    assert dusts == {"a": "ISO 12103-1 A3", "b": "ISO 12103-1 A3", "c": "ISO 12103-1 A2", "d": "ISO 12103-1 A2"}
    assert in_force(store, len(imports)) == {"c": 85, "d": 80}
    for rows in (OLD_TEST, NEW_TEST, OLD_TEST + NEW_TEST):
        assert take_in({"ratings.csv": capacities(*rows)}).revision is None


# --- attributes and sources -------------------------------------------------------------------------


def lengths(text: str, correction: str = "", number: str = "DW-1") -> dict[str, str]:
    return {"elements.csv": f"maker,number,length,correction\nDemo Works,{number},{text},{correction}\n"}


def test_an_attribute_is_corrected_for_a_reason(store, take_in, refused):
    take_in(lengths("140 mm"))
    (fault,) = refused(lengths("141 mm"))
    assert (fault.row, fault.column, fault.found) == (2, "length", "141 mm")
    assert "correction" in fault.remedy
    assert take_in(lengths("14 cm")).revision is None
    assert take_in(lengths("")).revision is None
    assert take_in(lengths("141 mm", "measured anew")).superseded == 1
    (ended,) = held(store, tables.supersession)
    assert (ended["old_attribute_id"], ended["new_attribute_id"], ended["reason"]) == (1, 2, "measured anew")
    assert take_in(lengths("141 mm", "measured anew")).revision is None
    assert take_in(lengths("140 mm")).revision is None  # as it was before the correction


def test_spellings_of_one_number_are_one_element(store, take_in):
    take_in(lengths("140 mm"))
    assert take_in(lengths("140 mm", number="dw – 1")).unchanged["elements"] == 1
    assert len(held(store, tables.element)) == 1


def test_look_alikes_are_kept_apart_with_a_warning(store, take_in):
    report = take_in({"elements.csv": "maker,number\nDemo Works,12-1\nDemo Works,121\nOther Works,121\n"})
    assert len(held(store, tables.element)) == 3
    assert report.notes == ("Demo Works 12-1 and 121 are different elements that search alike",)


def test_a_document_on_file_keeps_its_content(take_in, refused):
    take_in({"sources.csv": "source,title,revision\nS1,Sheet,2\n"})
    (fault,) = refused({"sources.csv": "source,title,revision\nS1,Sheet,3\n"})
    assert (fault.row, fault.column, fault.found) == (2, "revision", "3")
