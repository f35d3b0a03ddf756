"""What the databases themselves refuse, on SQLite and PostgreSQL alike."""

from __future__ import annotations

import math
from typing import Any

import pytest
import sqlalchemy as sa

from specdb.catalog.store import append_only_errors, write_session
from specdb.catalog.tables import metadata
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.errors import AppendOnlyError

Rows = dict[str, dict[str, Any]]

# table, what is changed in its valid row, the constraint that refuses it
REFUSED = [
    ("revision", {"at": "2024-01-02 03:04:05"}, "ck_revision_at"),
    ("element", {"element_id": "0123456789ABCDEF"}, "ck_element_element_id"),
    ("element", {"element_id": "0123"}, "ck_element_element_id"),
    ("element", {"maker": "x" * 201}, "ck_element_maker"),
    ("source", {"title": "x" * 501}, "ck_source_title"),
    ("element_attribute", {"name": "colour"}, "ck_element_attribute_name"),
    ("element_attribute", {"number": None}, "ck_element_attribute_length_has_number"),
    ("element_attribute", {"name": "thread", "number": None}, "ck_element_attribute_word_has_code"),
    ("element_attribute", {"name": "seal", "code": "cheese", "number": None}, "ck_element_attribute_choice_seal"),
    ("test", {"drop_of": "housing"}, "ck_test_drop_of"),
    ("test", {"capacity_basis": "guessed"}, "ck_test_capacity_basis"),
    ("test", {"laboratory": "mine"}, "ck_test_laboratory"),
    ("test", {"cycle_pressure_text": None}, "ck_test_cycle_pressure_as_typed"),
    ("test", {"gravimetric_level_mg_l": None}, "ck_test_gravimetric_level_as_typed"),
    ("test", {"terminal_pressure_drop_text": None}, "ck_test_terminal_pressure_drop_as_typed"),
    ("rating", {"characteristic": "micron_rating"}, "ck_rating_"),  # it breaks efficiency_of_ratio too
    ("rating", {"qualifier": "exactly"}, "ck_rating_qualifier"),
    ("rating", {"value": 0.0}, "ck_rating_value"),
    ("rating", {"value": -1.0}, "ck_rating_value"),
    ("rating", {"value": math.inf}, "ck_rating_value"),
    ("rating", {"efficiency_percent": 100.5}, "ck_rating_efficiency_percent"),
    ("rating", {"efficiency_resolution": None}, "ck_rating_efficiency_as_printed"),
    ("rating", {"characteristic": "retained_capacity"}, "ck_rating_efficiency_of_ratio"),
    ("rating", {"size_um": None, "size_scale": None, "size_text": None}, "ck_rating_ratio_has_size"),
    ("rating", {"size_scale": "um"}, "ck_rating_size_scale"),
    ("rating", {"size_scale": None}, "ck_rating_size_as_typed"),
    ("rating", {"flow_text": None}, "ck_rating_flow_as_typed"),
    ("rating", {"viscosity_mm2_s": None}, "ck_rating_viscosity_as_typed"),
    ("rating", {"density_text": None}, "ck_rating_density_as_typed"),
    (
        "interchange_claim",
        {"replaces_maker_key": "DEMOWORKS", "replaces_number_key": "DW12-1"},
        "ck_interchange_claim_not_of_itself",
    ),
    ("supersession", {"old_claim_id": None}, "ck_supersession_one_old"),
    ("supersession", {"old_rating_id": 1}, "ck_supersession_one_old"),
    ("supersession", {"new_claim_id": 1}, "ck_supersession_new_claim"),
    ("supersession", {"new_rating_id": 1}, "ck_supersession_new_rating"),
    ("supersession", {"new_attribute_id": 1}, "ck_supersession_new_attribute"),
]
MAY_BE_ZERO = {"efficiency_percent"}


def _refusal(connection: sa.Connection, table: str, row: dict[str, Any]) -> str | None:
    """What the database says against the row, None if it takes it. Leaves no trace."""
    savepoint = connection.begin_nested()
    try:
        connection.execute(metadata.tables[table].insert().values(row))
    except sa.exc.DBAPIError as error:
        return str(error.orig)
    finally:
        savepoint.rollback()
    return None


def _fill_until(connection: sa.Connection, rows: Rows, stop: str) -> None:
    for table, row in rows.items():
        if table == stop:
            return
        connection.execute(metadata.tables[table].insert().values(row))


def test_valid_rows_are_taken(filled_store: sa.Engine, valid_rows: Rows) -> None:
    with filled_store.connect() as connection:
        for table, row in valid_rows.items():
            kept = connection.execute(sa.select(metadata.tables[table])).mappings().one()
            assert {column: kept[column] for column in row} == row
    assert set(valid_rows) == set(metadata.tables) - {"store_identity"}


@pytest.mark.parametrize("table", sorted({case[0] for case in REFUSED}))
def test_a_check_refuses_what_is_not_a_fact(any_store: sa.Engine, valid_rows: Rows, table: str) -> None:
    with write_session(any_store) as connection:
        _fill_until(connection, valid_rows, table)
        assert _refusal(connection, table, valid_rows[table]) is None
        for name, change, constraint in REFUSED:
            if name == table:
                said = _refusal(connection, table, valid_rows[table] | change)
                assert said is not None, change
                assert constraint in said, change


def test_no_text_is_blank_and_every_number_is_finite_and_positive(any_store: sa.Engine, valid_rows: Rows) -> None:
    taken = []
    tried = 0
    with write_session(any_store) as connection:
        for table, row in valid_rows.items():
            for column in metadata.tables[table].columns:
                bad: list[Any] = []
                if isinstance(column.type, sa.Text) and column.name in row:
                    bad = ["", "   ", "x" * 5000]
                elif isinstance(column.type, sa.Double):
                    bad = [-1.0, math.inf, -math.inf, math.nan] + [0.0] * (column.name not in MAY_BE_ZERO)
                    bad += [sa.literal_column("'many'"), sa.literal_column("'12 mm'")]
                for value in bad:
                    tried += 1
                    if _refusal(connection, table, row | {column.name: value}) is None:
                        taken.append((table, column.name, value))
            connection.execute(metadata.tables[table].insert().values(row))
    assert taken == []
    assert tried > 200


def test_only_temperatures_go_below_zero(any_store: sa.Engine, valid_rows: Rows) -> None:
    bare = valid_rows["rating"] | {"efficiency_percent": None, "efficiency_resolution": None, "value": -30.0}
    with write_session(any_store) as connection:
        _fill_until(connection, valid_rows, "rating")
        taken = {c for c in CHARACTERISTICS if _refusal(connection, "rating", bare | {"characteristic": c}) is None}
        assert taken == {"temperature_low", "temperature_high"}
        frozen = bare | {"characteristic": "temperature_low", "value": -273.15}
        assert "ck_rating_value" in str(_refusal(connection, "rating", frozen))


def test_every_listed_word_is_taken(any_store: sa.Engine, valid_rows: Rows) -> None:
    row = valid_rows["element_attribute"] | {"number": None}
    with write_session(any_store) as connection:
        _fill_until(connection, valid_rows, "element_attribute")
        for attribute in ATTRIBUTES.values():
            for choice in attribute.choices:
                stated = row | {"name": attribute.key, "text": choice, "code": choice}
                assert _refusal(connection, "element_attribute", stated) is None, stated


def test_keys_are_unique(filled_store: sa.Engine, valid_rows: Rows) -> None:
    again: Rows = {
        "element": {"element_id": "0" * 16},
        "source": {"id": 2},
        "rating": {"id": 2},
        "supersession": {"id": 2},
    }
    with write_session(filled_store) as connection:
        for table, change in again.items():
            assert "unique" in str(_refusal(connection, table, valid_rows[table] | change)).lower()
        same_label = valid_rows["test"] | {"id": 2}
        assert _refusal(connection, "test", same_label) is None


# What makes a second row of a table differ from its valid row where it must.
ANOTHER: Rows = {
    "source": {"id": 2, "key": "sheet-2"},
    "element": {"element_id": "0" * 16, "number_key": "9"},
    "element_attribute": {"id": 2},
    "test": {"id": 2},
    "rating": {"id": 2, "label": "R2"},
    "interchange_claim": {"id": 2},
    "supersession": {"id": 2, "old_claim_id": None, "old_rating_id": 1},
}


def test_references_must_be_there(any_store: sa.Engine, valid_rows: Rows) -> None:
    tried = 0
    with write_session(any_store) as connection:
        _fill_until(connection, valid_rows, "supersession")
        for table, another in ANOTHER.items():
            row = valid_rows[table] | another
            for reference in metadata.tables[table].foreign_keys:
                column = reference.parent.name
                nowhere: dict[str, Any] = {column: "f" * 16 if column == "element_id" else 99}
                if column.startswith(("old_", "new_")):
                    kind = column.removeprefix("old_").removeprefix("new_")
                    nowhere = {"old_rating_id": None, f"old_{kind}": 1} | nowhere
                said = _refusal(connection, table, row | nowhere)
                assert "foreign key" in str(said).lower(), (table, column, said)
                tried += 1
    assert tried == sum(len(table.foreign_keys) for table in metadata.tables.values())


def test_no_row_is_changed_or_removed(filled_store: sa.Engine, subtests: pytest.Subtests) -> None:
    for table in metadata.tables.values():
        column = table.columns[0].name
        statements = [f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"]
        if filled_store.dialect.name == "postgresql":
            statements.append(f"TRUNCATE {table} CASCADE")
        elif table.name != "revision":  # there the order of revisions refuses it first
            statements.append(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")
        with filled_store.connect() as connection:
            before = connection.execute(sa.select(table)).all()
        assert before
        for statement in statements:
            with subtests.test(statement=statement):
                with pytest.raises(AppendOnlyError) as caught, write_session(filled_store) as connection:
                    connection.exec_driver_sql(statement)
                assert caught.value.remedy
        with filled_store.connect() as connection:
            assert connection.execute(sa.select(table)).all() == before


def test_other_refusals_keep_their_own_error(any_store: sa.Engine) -> None:
    with pytest.raises(sa.exc.DBAPIError), append_only_errors(), any_store.connect() as connection:
        connection.exec_driver_sql("SELECT * FROM no_such_table")


def test_facts_are_added_in_the_last_revision_alone(filled_store: sa.Engine, valid_rows: Rows) -> None:
    later = valid_rows["revision"] | {"id": 2, "at": "2024-02-01T00:00:00.000000Z"}
    with write_session(filled_store) as connection:
        connection.execute(metadata.tables["revision"].insert().values(later))
        for table, another in ANOTHER.items():
            row = valid_rows[table] | another
            assert "last revision" in str(_refusal(connection, table, row)), table
            column = "revision_id" if table == "supersession" else "added_in"
            assert _refusal(connection, table, row | {column: 2}) is None, table
