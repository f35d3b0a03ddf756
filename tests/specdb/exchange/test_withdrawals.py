"""A rating withdrawn by a row: with a reason, once, and only one that holds."""

from __future__ import annotations

import pytest

from specdb.catalog import tables
from tests.specdb.exchange.stored import counts, held

HEADINGS = "rating,supersedes,maker,number,characteristic,value,source,correction,remark\n"
FIRST = "a,,Demo Works,DW-1,collapse_pressure,1 MPa,S1,,\n"
WITHDRAWN = ",a,Demo Works,DW-1,collapse_pressure,,,wrong element,\n"


def sheet(*rows: str) -> dict[str, str]:
    return {"ratings.csv": HEADINGS + "".join(rows)}


@pytest.mark.parametrize("row", [WITHDRAWN, ",a,Demo Works,DW-1,collapse_pressure,,,,wrong element\n"])
@pytest.mark.parametrize("at_once", [True, False])
def test_a_rating_is_withdrawn_for_a_reason_and_only_once(row, at_once, store, take_in):
    if not at_once:
        take_in(sheet(FIRST))
    report = take_in(sheet(row, FIRST) if at_once else sheet(row))
    assert (report.withdrawn, report.superseded) == (1, 0)
    (ended,) = held(store, tables.supersession)
    assert (ended["old_rating_id"], ended["new_rating_id"], ended["reason"]) == (1, None, "wrong element")
    again = take_in(sheet(row, FIRST))
    assert (again.revision, again.withdrawn, again.unchanged["ratings"]) == (None, 0, 2)
    assert take_in(sheet(FIRST)).revision is None


@pytest.mark.parametrize(
    ("on_file", "rows", "faults"),
    [
        ([], [WITHDRAWN], [(2, "supersedes")]),
        ([FIRST], [WITHDRAWN.replace("wrong element", "")], [(2, "correction")]),
        ([FIRST], [WITHDRAWN.replace("DW-1", "DW-2")], [(2, "supersedes")]),
        ([FIRST], [WITHDRAWN.replace("collapse", "burst")], [(2, "supersedes")]),
        ([FIRST], [WITHDRAWN.replace(",,,wrong", ",,S1,wrong")], [(2, "value")]),
        ([FIRST], ["b" + WITHDRAWN], [(2, "value")]),
        ([FIRST, "b,a,Demo Works,DW-1,collapse_pressure,2 MPa,S1,,\n"], [WITHDRAWN], [(2, "supersedes")]),
        ([FIRST], ["b,a,Demo Works,DW-1,collapse_pressure,2 MPa,S1,,\n", WITHDRAWN], [(3, "supersedes")]),
        ([FIRST, WITHDRAWN], ["b,a,Demo Works,DW-1,collapse_pressure,2 MPa,S1,,\n"], [(2, "supersedes")]),
    ],
    ids=["unknown", "no reason", "another element", "another characteristic", "with a source", "with a label",
         "replaced on file", "replaced in the files", "withdrawn on file"],
)  # fmt: skip
def test_what_cannot_be_withdrawn_is_refused(on_file, rows, faults, store, take_in, refused):
    if on_file:
        take_in(sheet(*on_file))
    before = counts(store)
    assert [(fault.row, fault.column) for fault in refused(sheet(*rows))] == faults
    assert counts(store) == before


def test_a_label_of_its_own_makes_a_withdrawn_result_new(take_in, refused):
    take_in(sheet(FIRST, WITHDRAWN))
    again = FIRST.replace("a,,", "b,,")
    assert take_in(sheet(again)).added["ratings"] == 1
    assert take_in(sheet(FIRST, WITHDRAWN, again)).revision is None
    (fault,) = refused(sheet(again.replace("b,,", "c,,").replace("1 MPa", "2 MPa")))
    assert (fault.row, fault.column) == (2, "value")


def test_a_withdrawn_value_contradicts_nothing(take_in):
    take_in(sheet(FIRST))
    other = "b,,Demo Works,DW-1,collapse_pressure,2 MPa,S1,,\n"
    report = take_in(sheet(FIRST, other, WITHDRAWN))
    assert (report.added["ratings"], report.withdrawn) == (1, 1)


def test_why_without_what_is_refused(refused):
    (fault,) = refused(sheet("a,,Demo Works,DW-1,collapse_pressure,1 MPa,S1,misread,\n"))
    assert (fault.row, fault.column) == (2, "correction")


def test_a_version_of_no_test_is_refused(refused):
    (fault,) = refused({"ratings.csv": "maker,number,characteristic,value,test_version\n"
                        "Demo Works,DW-1,collapse_pressure,1 MPa,2\n"})  # fmt: skip
    assert (fault.row, fault.column) == (2, "test_version")


@pytest.mark.parametrize("cell", ["comma", ";", ", .", "maker:,", "flow:", "::", "flow:, ."])
def test_a_decimal_mark_that_is_none_is_refused(cell, refused):
    (fault,) = refused({"ratings.csv": "maker,number,characteristic,value,decimal\n"
                        f'Demo Works,DW-1,collapse_pressure,1 MPa,"{cell}"\n'})  # fmt: skip
    assert (fault.row, fault.column) == (2, "decimal")


@pytest.mark.parametrize(
    ("value", "decimal", "number"),
    [("1.234 kPa", ",", 1234), ("1.234 kPa", ".", 1.234), ("1,234 kPa", ",", 1.234), ("1,234 kPa", ", value:.", 1234)],
)
def test_a_row_declares_its_decimal_mark_before_its_file(value, decimal, number, store, take_in):
    take_in({
        "ratings.csv": "maker,number,characteristic,value,decimal\n"
        f'Demo Works,DW-1,collapse_pressure,"{value}","{decimal}"\nDemo Works,DW-1,burst_pressure,"2,5 MPa",\n',
        "datapackage.json": '{"resources": [{"name": "ratings", "path": "ratings.csv", "decimalChar": ","}]}',
    })  # fmt: skip
    values = {row["characteristic"]: row["value"] for row in held(store, tables.rating)}
    assert values == {"collapse_pressure": pytest.approx(number), "burst_pressure": pytest.approx(2500)}


def test_a_declared_row_stands_beside_decimal_commas(take_in):
    report = take_in({
        "ratings.csv": "maker,number,characteristic,value,decimal\n"
        'Demo Works,DW-1,collapse_pressure,1.234 kPa,.\nDemo Works,DW-1,burst_pressure,"2,5 MPa",\n'
    })  # fmt: skip
    assert report.added["ratings"] == 2
