"""What rows say, and each fault with the file, row and column where it stands."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
import sqlalchemy as sa

from specdb.catalog import tables
from specdb.catalog.store import open_store
from specdb.errors import ImportRefusedError, RowFault
from specdb.exchange import import_folder
from tests.specdb.exchange.stored import RATING_HEADINGS, counts, held


def ratings_csv(*rows: dict[str, str]) -> str:
    """A ratings.csv of the columns used, for element DW-1 unless a row says otherwise."""
    whole = [{"maker": "Demo Works", "number": "DW-1", **row} for row in rows]
    columns = list(dict.fromkeys(column for row in whole for column in row))
    lines = [",".join(f'"{row.get(column, "")}"' for column in columns) for row in whole]
    return "\n".join([",".join(columns), *lines, ""])


@pytest.fixture(scope="module")
def untouched(store_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[sa.Engine]:
    """A store that no refused import changes, so that one serves all of them."""
    path = shutil.copy(store_template, tmp_path_factory.mktemp("untouched") / "store.sqlite")
    engine = open_store(f"sqlite:///{path}")
    yield engine
    assert counts(engine)["revision"] == 0
    engine.dispose()


@pytest.fixture
def refused(
    untouched: sa.Engine, write_folder: Callable[[Mapping[str, str | bytes]], Path]
) -> Callable[[Mapping[str, str | bytes]], tuple[RowFault, ...]]:
    def refuse(files: Mapping[str, str | bytes]) -> tuple[RowFault, ...]:
        with pytest.raises(ImportRefusedError) as refusal:
            import_folder(untouched, write_folder(files), actor="test", reason="for a test")
        return refusal.value.faults

    return refuse


BETA = {"characteristic": "filtration_ratio", "size": "10 um(c)"}


@pytest.fixture
def rating(store, take_in):
    """Imports one row and gives its rating with its test."""

    def one(**row: str) -> dict[str, object]:
        take_in({"ratings.csv": ratings_csv(row)})
        (test,) = held(store, tables.test)
        (only,) = held(store, tables.rating)
        return {**test, **only}

    return one


# --- qualifiers, values, sizes ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("qualifier", "value", "expected", "number"),
    [
        ("", "200", "equal", 200), ("at least", "200", "at_least", 200), ("AT_LEAST", "200", "at_least", 200),
        (">=", "200", "at_least", 200), ("min", "200", "at_least", 200), ("max.", "200", "at_most", 200),
        ("typ", "200", "about", 200), ("nominal", "200", "about", 200), ("~", "200", "about", 200),
        ("", ">= 200", "at_least", 200), ("", "≥200", "at_least", 200), ("", "<75", "at_most", 75),
        ("at_most", "≤ 75", "at_most", 75), ("", "≈ 75", "about", 75), ("equal", "= 75", "equal", 75),
    ],
)  # fmt: skip
def test_qualifiers_as_people_write_them(qualifier, value, expected, number, rating):
    found = rating(**BETA, qualifier=qualifier, value=value)
    assert (found["qualifier"], found["value"], found["text"]) == (expected, number, value)


@pytest.mark.parametrize(
    ("qualifier", "size", "expected"),
    [("", "<4 um(c)", "at_least"), ("equal", "< 4 µm(c)", "at_least"), ("at_least", "<4 um(c)", "at_least"),
     ("", ">4 um(c)", "at_most"), ("at_most", ">4 um(c)", "at_most"), ("about", "4 um(c)", "about")],
)  # fmt: skip
def test_a_sign_before_the_size_says_how_the_ratio_is_meant(qualifier, size, expected, rating):
    found = rating(characteristic="filtration_ratio", value="200", size=size, qualifier=qualifier)
    assert (found["qualifier"], found["size_um"], found["size_text"]) == (expected, 4, size)


@pytest.mark.parametrize(
    ("value", "unit", "beta", "percent", "step"),
    [
        ("99.5 %", "", 200, 99.5, 0.1), ("98.7", "%", 75, 98.7, 0.1), ("98 %", "", 50, 98, 1),
        ("97.5", "percent", 40, 97.5, 0.1), ("100 %", "", 200, 100, 1), ("100.0 %", "", 2000, 100, 0.1),
        ("99.99999999999999999 %", "", 2e19, 100, 1e-17), ("1e2 %", "", 2, 100, 100),
    ],
)  # fmt: skip
def test_efficiencies(value, unit, beta, percent, step, rating):
    """Customary pairs, else β = 100 / (100 - E) (ISO 16889); of 100 % the β half of the last digit below."""
    found = rating(**BETA, value=value, unit=unit)
    assert found["value"] == pytest.approx(beta)
    assert (found["efficiency_percent"], found["efficiency_resolution"]) == (percent, pytest.approx(step))


@pytest.mark.parametrize(
    ("row", "value", "resolution", "text"),
    [
        ({"characteristic": "collapse_pressure", "value": "150 psi"}, 1034.21, 6.89476, "150 psi"),
        ({"characteristic": "collapse_pressure", "value": "10.0", "unit": "bar"}, 1000, 10, "10.0 bar"),
        ({"characteristic": "temperature_low", "value": "-22", "unit": "degF"}, -30, 5 / 9, "-22 degF"),
        ({"characteristic": "temperature_low", "value": "0 degC"}, 0, 1, "0 degC"),
        ({"characteristic": "pressure_fatigue_cycles", "value": "100000 cycles"}, 1e5, 1, "100000 cycles"),
        ({"characteristic": "flow_fatigue_cycles", "value": "1e6"}, 1e6, 1e6, "1e6"),
        ({"characteristic": "rated flow", "value": "≥20", "unit": "gpm"}, 75.708, 3.7854, "≥20 gpm"),
        ({"characteristic": "mesh opening", "value": "125 um"}, 125, 1, "125 um"),
        ({"characteristic": "mesh_opening", "value": "0.125", "unit": "mm"}, 125, 1, "0.125 mm"),
        ({"characteristic": "water_capacity", "value": ">= 0.40 kg"}, 400, 10, ">= 0.40 kg"),
    ],
)  # fmt: skip
def test_values_in_canonical_units(row, value, resolution, text, rating):
    found = rating(**row)
    assert found["value"] == pytest.approx(value, rel=1e-5)
    assert found["resolution"] == pytest.approx(resolution, rel=1e-4)
    assert found["text"] == text


def test_viscosities_need_what_their_units_need(rating):
    found = rating(characteristic="clean_pressure_drop", value="20 kPa", viscosity="27.84 cP", density="0.87 g/mL")
    assert found["viscosity_mm2_s"] == pytest.approx(32)
    assert (found["viscosity_text"], found["density_kg_m3"]) == ("27.84 cP", pytest.approx(870))


@pytest.mark.parametrize(
    ("column", "typed", "kept"),
    [
        ("standard", "iso16889", "ISO 16889"), ("standard", "ISO 16889:2008", "ISO 16889"),
        ("standard", "nfpa t2.6.1", "NFPA T2.6.1"), ("standard", "House 7", "House 7"),
        ("dust", "A3", "ISO 12103-1 A3"), ("dust", "ISO MTD", "ISO 12103-1 A3"),
        ("dust", "iso 12103-1, A2", "ISO 12103-1 A2"), ("dust", "acftd", "ACFTD"),
        ("dust", "Quarry dust", "Quarry dust"),
        ("test_liquid", "IPA", "2-propanol"), ("test_liquid", "Isopropyl alcohol", "2-propanol"),
        ("test_liquid", "Water", "water"), ("drop_of", "Element", "element"), ("laboratory", "MAKER", "maker"),
        ("laboratory", "unstated", None), ("capacity_basis", "Injected", "injected"),
        ("date", "2024-05-31", "2024-05-31"),
    ],
)  # fmt: skip
def test_words_of_a_test_have_one_spelling(column, typed, kept, rating):
    found = rating(characteristic="rated_flow", value="75 L/min", **{column: typed})
    assert found[column] == kept
    assert found["edition"] == ("2008" if typed.endswith(":2008") else None)


def test_attributes_have_one_spelling_beside_what_was_typed(store, take_in):
    take_in({"elements.csv": "maker,number,kind,thread,fluids compatible,length\n"
                             'Demo Works,DW-1,Spin on,"1""-12UNF-2B","hv, HM; hm",5.5 in\n'})  # fmt: skip
    take_in({"elements.csv": "maker,number,zinc parts,fluids tested\nDemo Works,DW-1,No,hetg HEES\n"})
    found = {row["name"]: (row["text"], row["code"], row["number"]) for row in held(store, tables.element_attribute)}
    assert found == {
        "zinc_parts": ("No", "no", None),
        "fluids_tested": ("hetg HEES", "HEES HETG", None),
        "kind": ("Spin on", "spin-on", None),
        "thread": ('1"-12UNF-2B', "1-12 UNF", None),
        "fluids_compatible": ("hv, HM; hm", "HM HV", None),
        "length": ("5.5 in", None, pytest.approx(139.7)),
    }


def test_notes_say_what_was_assumed(take_in):
    report = take_in({"ratings.csv": ratings_csv(
        {"characteristic": "filtration_ratio", "size": "4 um", "value": "0.9", "standard": "ISO 4572", "source": "S1"},
        {"characteristic": "filtration_ratio", "size": "5 um", "value": "2", "source": "S1"},
        {"characteristic": "rated_flow", "value": "20 gpm"},
    )})  # fmt: skip
    assert set(report.notes) == {
        "filtration ratios below 1, kept as stated; an efficiency is entered with %, as 99.5 % (1 row): "
        'ratings.csv row 2 "0.9"',
        'gpm read as US gallons per minute (1 row): ratings.csv row 4 "20 gpm"',
        "ratings without a source (1 row): ratings.csv row 4",
        'sizes without a scale, which give estimates only (1 row): ratings.csv row 3 "5 um"',
        'sizes without a scale; the scale follows from ISO 4572 (1 row): ratings.csv row 2 "4 um"',
    }


@pytest.mark.parametrize(
    ("row", "note"),
    [
        ({"characteristic": "working_pressure", "value": "10 bar", "qualifier": "max"}, "maximum"),
        ({"characteristic": "temperature_high", "value": "< 100 degC"}, "maximum"),
        ({"characteristic": "filtration_ratio", "value": "75", "size": "10 um(c)", "qualifier": "at_most"}, "maximum"),
        ({"characteristic": "retained_capacity", "value": "85 g", "qualifier": "max"}, "maximum"),
        ({"characteristic": "clean_pressure_drop", "value": ">= 20 kPa"}, "minimum"),
        ({"characteristic": "temperature_low", "value": "-30 degC", "qualifier": "min"}, "minimum"),
        ({"characteristic": "working_pressure", "value": "10 bar", "qualifier": "min"}, None),
        ({"characteristic": "working_pressure", "value": "10 bar", "qualifier": "about"}, None),
        ({"characteristic": "clean_pressure_drop", "value": "20 kPa", "qualifier": "max"}, None),
        ({"characteristic": "bypass_cracking_pressure", "value": "2 bar", "qualifier": "max"}, None),
        ({"characteristic": "filtration_ratio", "value": "200", "size": ">30 um(c)"}, None),
        ({"characteristic": "retained_capacity", "value": "85 g", "qualifier": "max", "capacity_basis": "injected"},
         None),
        ({"characteristic": "rated_flow", "value": "75 L/min", "qualifier": "max"}, None),
    ],
)  # fmt: skip
def test_a_limit_that_can_never_show_that_it_serves_is_said(row, note, take_in):
    rows = ratings_csv({**row, "source": "S1"}, {**row, "source": "S2"})
    said = {"maximum": "at most", "minimum": "at least"}
    expected = (
        f'{row["characteristic"]} "{said[note]}", which never shows that a requirement is met; '
        f"if the sheet's {note} is the rating itself, enter it as equal (2 rows): "
        f'ratings.csv row 2 "{row["value"]}", row 3 "{row["value"]}"',
    ) if note else ()  # fmt: skip
    assert take_in({"ratings.csv": rows}).notes == expected


def test_the_basis_of_a_capacity_may_stand_in_another_row_of_its_test(take_in):
    one = {"characteristic": "retained_capacity", "value": "85 g", "qualifier": "max", "source": "S1", "test": "mp"}
    other = {"characteristic": "rated_flow", "value": "75 L/min", "source": "S1", "test": "mp"}
    assert take_in({"ratings.csv": ratings_csv(one, {**other, "capacity_basis": "injected"})}).notes == ()


@pytest.mark.parametrize(
    ("size", "standard", "note"),
    [
        ("10 um(c)", "ISO 4572", "sizes in µm(c) with ISO 4572, which gives µm(ACFTD); kept as stated (1 row)"),
        ("10 um(acftd)", "ISO 16889", "sizes in µm(ACFTD) with ISO 16889, which gives µm(c); kept as stated (1 row)"),
        ("10 um(c)", "ISO 16889", None),
        ("10 um(acftd)", "ISO 4572", None),
        ("10 um(acftd)", "House 7", None),
        ("10 um(c)", "", None),
    ],
)
def test_a_size_scale_that_is_not_the_standards_is_said(size, standard, note, take_in):
    row = {"characteristic": "filtration_ratio", "value": "200", "size": size, "standard": standard, "source": "S1"}
    report = take_in({"ratings.csv": ratings_csv(row)})
    assert report.notes == (() if note is None else (f'{note}: ratings.csv row 2 "{size}"',))
    assert take_in({"ratings.csv": ratings_csv(row)}).notes == ()


# --- faults of a rating -----------------------------------------------------------------------------

FLOW = {"characteristic": "rated_flow", "value": "75 L/min"}


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ({"characteristic": "filtration_ration", "value": "1"}, "characteristic"),
        ({"characteristic": "", "value": "1"}, "characteristic"),
        ({**FLOW, "value": ""}, "value"),
        ({**FLOW, "value": "75"}, "value"),
        ({**FLOW, "value": "0 L/min"}, "value"),
        ({**FLOW, "value": "-75 L/min"}, "value"),
        ({**FLOW, "value": "75", "unit": "kPa"}, "unit"),
        ({**FLOW, "value": "75 L/min", "unit": "gpm"}, "value"),
        ({**FLOW, "value": "1e98 L/min " + "x" * 300}, "value"),
        ({**FLOW, "qualifier": "perhaps"}, "qualifier"),
        ({**FLOW, "qualifier": "at_most", "value": ">= 75 L/min"}, "qualifier"),
        ({**FLOW, "size": "10 um(c)"}, "size"),
        ({"characteristic": "filtration_ratio", "value": "200"}, "size"),
        ({**BETA, "value": "0"}, "value"),
        ({**BETA, "value": "-2"}, "value"),
        ({**BETA, "value": "1,234"}, "value"),
        ({**BETA, "value": "0 %"}, "value"),
        ({**BETA, "value": "100.1 %"}, "value"),
        ({**BETA, "value": "75", "unit": "kPa"}, "unit"),
        ({**BETA, "value": "200", "size": "0 um(c)"}, "size"),
        ({**BETA, "value": "200", "size": "10 kPa"}, "size"),
        ({**BETA, "value": "200", "size": "~10 um(c)"}, "size"),
        ({**BETA, "value": "200", "size": "<4 um(c)", "qualifier": "at_most"}, "size"),
        ({**BETA, "value": "200", "size": ">30 um(c)", "qualifier": "about"}, "size"),
        ({**BETA, "value": "200", "size": "<" + "0" * 60 + "10" + " " * 136 + "um(c)"}, "size"),
        ({"characteristic": "temperature_low", "value": "-273.15 degC"}, "value"),
        ({"characteristic": "mesh_opening", "value": "125 um(c)"}, "value"),
        ({"characteristic": "air_particle_size", "value": "3", "unit": "um(c)"}, "unit"),
        ({"characteristic": "mesh_opening", "value": "125 um", "size": "125 um(c)"}, "size"),
        ({"characteristic": "water_capacity", "value": "0.4 L"}, "value"),
        ({**FLOW, "test_liquid": "ß" * 150}, "test_liquid"),
        ({**FLOW, "flow": "75"}, "flow"),
        ({**FLOW, "viscosity": "30 cP"}, "viscosity"),
        ({**FLOW, "viscosity": "150 SUS"}, "viscosity"),
        ({**FLOW, "density": "0 kg/m3"}, "density"),
        ({**FLOW, "cycle_pressure": "7 bar(a)"}, "cycle_pressure"),
        ({**FLOW, "gravimetric_level": "10 g"}, "gravimetric_level"),
        ({**FLOW, "standard": "ISO 16889:2008", "edition": "2022"}, "edition"),
        ({**FLOW, "drop_of": "housing"}, "drop_of"),
        ({**FLOW, "capacity_basis": "guessed"}, "capacity_basis"),
        ({**FLOW, "laboratory": "ours"}, "laboratory"),
        ({**FLOW, "date": "31.05.2024"}, "date"),
        ({**FLOW, "date": "2024-02-30"}, "date"),
        ({**FLOW, "source": "S9"}, "source"),
        ({**FLOW, "number": "DW-9"}, "number"),
        ({**FLOW, "number": ""}, "number"),
        ({**FLOW, "number": "---"}, "number"),
        ({**FLOW, "number": "x" * 9_999}, "number"),
        ({**FLOW, "number": "x" * 10_001}, "number"),
        ({**FLOW, "maker": "a\tb"}, "maker"),
        ({**FLOW, "remark": "x" * 4_001}, "remark"),
        ({**FLOW, "rating": "x" * 201}, "rating"),
        ({**FLOW, "supersedes": "nothing"}, "supersedes"),
        ({**FLOW, "rating": "a", "supersedes": "a"}, "supersedes"),
    ],
)  # fmt: skip
def test_each_fault_of_a_rating_is_placed(row, column, refused):
    sound = {"characteristic": "collapse_pressure", "value": "1 MPa"}
    (fault,) = refused({"ratings.csv": ratings_csv(sound, row)})
    assert (fault.file, fault.row, fault.column) == ("ratings.csv", 3, column)
    assert fault.message
    assert fault.remedy


def test_dynamic_viscosity_asks_for_the_density(refused):
    (fault,) = refused({"ratings.csv": ratings_csv({**FLOW, "viscosity": "30 cP"})})
    assert "density" in fault.remedy


def test_one_row_may_have_several_faults(refused):
    row = {"characteristic": "clean_pressure_drop", "value": "x", "flow": "y", "density": "z", "date": "never"}
    faults = refused({"ratings.csv": ratings_csv(row)})
    assert {fault.column for fault in faults} == {"value", "flow", "density", "date"}


# --- faults of the other sheets ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "text", "row", "column"),
    [
        ("elements.csv", "maker,number,media\nDemo Works,DW-1,felt\n", 2, "media"),
        ("elements.csv", "maker,number,thread\nDemo Works,DW-1,wide\n", 2, "thread"),
        ("elements.csv", "maker,number,length\nDemo Works,DW-1,long\n", 2, "length"),
        ("elements.csv", "maker,number,length\nDemo Works,DW-1,0 mm\n", 2, "length"),
        ("elements.csv", "maker,number,fluids_compatible\nDemo Works,DW-1,HM QQ\n", 2, "fluids_compatible"),
        ("elements.csv", "maker,number,fluids_compatible,fluids_excluded\nA,1,HM,HV hm\n", 2, "fluids_excluded"),
        ("elements.csv", "maker,number,fluids_tested,fluids_failed\nA,1,HM HETG,hetg\n", 2, "fluids_failed"),
        ("elements.csv", "maker,number,zinc_parts\nA,1,some\n", 2, "zinc_parts"),
        ("elements.csv", "maker,number,source\nDemo Works,DW-1,s1\n", 2, "source"),
        ("elements.csv", "maker,number,length\nA,1,9 mm\nA,1,8 mm\n", 3, "length"),
        ("sources.csv", "source,title\n,Sheet\n", 2, "source"),
        ("sources.csv", "source,date\nS1,2024-13\n", 2, "date"),
        ("sources.csv", "source,title\nS1,One\nS1,Other\n", 3, "title"),
        ("interchanges.csv", "maker,number,replaces_maker,replaces_number\nA,1-2,a,1 - 2\n", 2, "replaces_number"),
        ("interchanges.csv", "maker,number,replaces_maker,replaces_number\nA,1,B,\n", 2, "replaces_number"),
        ("interchanges.csv", "maker,number,replaces_maker,replaces_number,source\nA,1,B,2,S9\n", 2, "source"),
        # headings
        ("elements.csv", "maker,number,mediaa\nA,1,x\n", 1, "mediaa"),
        ("elements.csv", "\nmaker,number,Number\nA,1,1\n", 2, "Number"),
        ("elements.csv", "maker,kind\nA,spin-on\n", 1, "number"),
        ("elements.csv", "maker,number,kind [mm]\nA,1,spin-on\n", 1, "kind [mm]"),
        ("elements.csv", "maker,number,\nA,1,stray\n", 1, None),
        ("ratings.csv", "maker,number,characteristic\n", 1, "value"),
        # the shape of rows
        ("elements.csv", "maker,number\nA,1\nA,1,2\n", 3, None),
        ("interchanges.csv", "maker,number,replaces_maker,replaces_number\nA,1,B\n", 2, None),
        ("elements.csv", 'maker,number\nA,1\nA,"2\n', 3, None),
        ("elements.csv", 'maker,number\nA,"1"x\n', 2, None),
        ("elements.csv", "maker,number\nA,1\n\0,2\n", 3, None),
        ("elements.csv", "maker,number,series\nA,1," + "x" * 10_001 + "\n", 2, "series"),
        ("elements.csv", 'maker,number,series\nA,1,"' + "x" * 200_000 + '"\n', 2, None),
        ("elements.csv", b"maker,number\nA,\x81\n", 2, None),
        ("elements.csv", b"\xef\xbb\xbfmaker,number\nA,\xff\n", 2, None),
        ("elements.csv", b"\xff\xfem\x00a\x00k", 1, None),
        ("elements.csv", b"PK\x03\x04\x00\x00\xff", 1, None),
        ("elements.csv", " \n\n", None, None),
    ],
)  # fmt: skip
def test_each_fault_of_a_sheet_is_placed(file, text, row, column, refused):
    (fault,) = refused({file: text})
    assert (fault.file, fault.row, fault.column) == (file, row, column)


@pytest.mark.parametrize(
    ("file", "column", "limit"),
    [
        ("elements.csv", "maker", 200), ("elements.csv", "number", 200), ("elements.csv", "series", 200),
        ("interchanges.csv", "replaces_maker", 200), ("interchanges.csv", "replaces_number", 200),
        ("interchanges.csv", "remark", 4000), ("sources.csv", "title", 500), ("sources.csv", "issuer", 200),
        ("elements.csv", "correction", 4000),
    ],
)  # fmt: skip
@pytest.mark.parametrize("characters", [5_000, 10_001])
def test_the_limit_that_holds_is_named(file, column, limit, characters, refused):
    cells = {
        "sources.csv": {"source": "S1"}, "elements.csv": {"maker": "A", "number": "1"},
        "interchanges.csv": {"maker": "A", "number": "1", "replaces_maker": "B", "replaces_number": "2"},
    }[file] | {column: "x" * characters}  # fmt: skip
    (fault,) = refused({file: f"{','.join(cells)}\n{','.join(cells.values())}\n"})
    assert (fault.row, fault.column) == (2, column)
    assert f"{characters} characters" in fault.message
    assert fault.remedy == f"Give at most {limit}."


def test_an_unknown_heading_names_the_nearest(refused):
    (fault,) = refused({"ratings.csv": f"{RATING_HEADINGS},viscositty\n"})
    assert '"viscosity"' in fault.remedy


def test_a_point_before_three_digits_is_refused_among_decimal_commas(refused, take_in):
    rows = (
        "maker;number;characteristic;value\n"
        "Demo Works;DW-1;collapse_pressure;{}\n"
        "Demo Works;DW-1;burst_pressure;2,5 MPa\n"
    )
    (fault,) = refused({"ratings.csv": rows.format("1.000 kPa")})
    assert (fault.row, fault.column, fault.found) == (2, "value", "1.000 kPa")
    assert """put the decimal mark, "." or ",", into the row's column "decimal".""" in fault.remedy
    assert take_in({"ratings.csv": rows.format("1000 kPa")}).added["ratings"] == 2


def test_a_micron_rating_is_not_sent_to_the_filtration_ratio(refused):
    (fault,) = refused({"ratings.csv": ratings_csv({**FLOW, "characteristic": "micron rating"})})
    assert (fault.row, fault.column) == (2, "characteristic")
    assert "filtration_ratio" not in fault.remedy
    assert "nominal micron rating" in fault.remedy


@pytest.mark.parametrize(
    ("typed", "value", "remedy"),
    [
        ("dirt capacity", "60 g", 'Write "retained_capacity", if that is meant.'),
        ("Dust holding capacity (g)", "60", 'Write "retained_capacity", if that is meant.'),
        ("filtration efficiency", "0.995", "and the efficiency with its percent sign: 99.5 %."),
        ("efficiency", ">= 98,7", "and the efficiency with its percent sign: >= 98.7 %."),
        ("β10(c)", "200", 'Write "filtration_ratio", if that is meant.'),
        ("beta", "200", 'Write "filtration_ratio", if that is meant.'),
        ("temperature", "80 degC", 'Write "temperature_low" or "temperature_high", if that is meant.'),
        ("max. temperature", "80 degC", 'Write "temperature_high", if that is meant.'),
        ("water capcity", "60 g", 'Write "water_capacity", if that is meant.'),
        ("colour", "60 g", "Known are filtration_ratio, "),
    ],
)
def test_a_characteristic_is_named_by_what_is_meant_before_how_it_is_spelt(typed, value, remedy, refused):
    (fault,) = refused({"ratings.csv": ratings_csv({"characteristic": typed, "value": value})})
    assert (fault.column, fault.found) == ("characteristic", typed)
    assert remedy in fault.remedy


def test_all_faults_of_a_row_and_what_it_refers_to_are_told_in_one_round(refused):
    faults = refused({
        "sources.csv": "source,date\nS1,2024\nS3,yesterday\n",
        "elements.csv": "maker,number,kind,length,fluids_compatible,source\n"
        "Demo Works,DW-1,teapot,tall,HX HM HY,S9\n,DW-2,spin-on,,,\n",
        "ratings.csv": "maker,number,characteristic,qualifier,value,size,flow,source,decimal,supersedes,test_version\n"
        "Demo Works,DW-9,dirt capacity,perhaps,60 g,10 um(c),soon,S8,.,,\n"
        "Demo Works,DW-1,rated_flow,,,,,S8,,,2\n"
        'Demo Works,DW-2,rated_flow,,"1,234 L/min",,,S3,point,,\n'
        "Demo Works,DW-1,rated_flow,,,1 um,,S3,,R9,\n",
        "interchanges.csv": "maker,number,replaces_maker,replaces_number,source,date\nA,1,B,,S7,never\n",
    })
    assert {(fault.file.partition(".")[0], fault.row, fault.column) for fault in faults} == {
        ("sources", 3, "date"),
        *(("elements", 2, column) for column in ("kind", "length", "fluids_compatible", "source")),
        ("elements", 3, "maker"),
        *(("ratings", 2, column) for column in ("number", "characteristic", "qualifier", "flow", "source")),
        *(("ratings", 3, column) for column in ("value", "source", "test_version")),
        # The number follows from a mark that cannot be read; DW-2 may be the row without a maker.
        ("ratings", 4, "decimal"),
        ("ratings", 5, "value"),
        ("ratings", 5, "size"),
        *(("interchanges", 2, column) for column in ("replaces_number", "source", "date")),
    }
    assert next(fault for fault in faults if fault.column == "fluids_compatible").message.startswith('"HX", "HY" are')


def test_one_fault_does_not_make_others_of_the_rows_that_refer_to_it(refused):
    faults = refused({
        "sources.csv": "source,date\nS1,never\n",
        "elements.csv": "maker,number,media\nDemo Works,DW-1,felt\n",
        "ratings.csv": ratings_csv({**FLOW, "source": "S1", "rating": "a", "value": "x"},
                                   {**FLOW, "source": "S1", "supersedes": "a"}),
    })  # fmt: skip
    assert [(fault.file, fault.column) for fault in faults] == [
        ("elements.csv", "media"), ("ratings.csv", "value"), ("sources.csv", "date"),
    ]  # fmt: skip


def test_an_unreadable_sheet_does_not_make_faults_in_the_others(refused):
    faults = refused({"elements.csv": 'maker,number\n"', "ratings.csv": ratings_csv(FLOW)})
    assert [fault.file for fault in faults] == ["elements.csv"]


def test_rows_that_end_early_are_blank_there_and_said(take_in):
    report = take_in({"elements.csv": "maker,number,kind,media\nDemo Works,DW-1,spin-on\n"})
    assert "rows that end early; the cells they lack were taken as blank (1 row): elements.csv row 2" in report.notes


def test_claims_may_name_elements_that_are_not_on_file(store, take_in):
    text = "maker,number,replaces_maker,replaces_number,source,remark\nNobody,1,Demo Works,DW-1,S1,said so\n"
    assert take_in({"interchanges.csv": text}).added["interchanges"] == 1
    again = take_in({"interchanges.csv": text.replace("said so", "said again")})
    assert again.revision is None
    assert any("another remark" in note for note in again.notes)
    (claim,) = held(store, tables.interchange_claim)
    assert (claim["maker_key"], claim["replaces_number_key"], claim["remark"]) == ("NOBODY", "DW-1", "said so")
