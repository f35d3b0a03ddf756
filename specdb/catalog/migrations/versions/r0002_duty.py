"""What a duty asks of strainers, breathers and fluids: further characteristics and attributes."""

from __future__ import annotations

import re
from collections.abc import Iterable

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_WORDS = (
    "'kind', 'media', 'seal', 'seal_type', 'end_form', 'flow_direction', 'core', 'bypass_valve', 'anti_drain_back', "
    "'thread', 'fluids_compatible', 'fluids_excluded', "
)
_MEASURES = (
    "'thread', 'outside_diameter', 'inside_diameter', 'second_inside_diameter', 'length', 'gasket_outside_diameter', "
    "'gasket_inside_diameter', 'fluids_compatible', 'fluids_excluded', "
)
_NEW_WORDS = "'fluids_tested', 'fluids_failed', 'zinc_parts', "
_NAMES = (
    "'kind', 'media', 'seal', 'seal_type', 'end_form', 'flow_direction', 'core', 'bypass_valve', 'anti_drain_back', "
    + _MEASURES
)
_TESTED = (
    "'filtration_ratio', 'retained_capacity', 'clean_pressure_drop', 'bubble_point', 'collapse_pressure', "
    "'flow_fatigue_cycles', 'working_pressure', 'burst_pressure', 'pressure_fatigue_cycles', "
    "'bypass_cracking_pressure', 'temperature_low', 'temperature_high', "
)
_NEWLY_TESTED = "'air_pressure_drop', 'air_particle_size', 'water_capacity', 'mesh_opening', "

# Table: name of the CHECK: before, after. None where there is none.
CHECKS: dict[str, dict[str, tuple[str | None, str]]] = {
    "rating": {
        "ck_rating_characteristic": (
            f"characteristic IN ({_TESTED}'rated_flow')",
            f"characteristic IN ({_TESTED}{_NEWLY_TESTED}'rated_flow')",
        ),
    },
    "element_attribute": {
        "ck_element_attribute_name": (
            f"name IN ({_NAMES}'status', 'successor', 'series')",
            f"name IN ({_NAMES}{_NEW_WORDS}'status', 'successor', 'series')",
        ),
        "ck_element_attribute_word_has_code": (
            f"name NOT IN ({_WORDS}'status') OR code IS NOT NULL",
            f"name NOT IN ({_WORDS}{_NEW_WORDS}'status') OR code IS NOT NULL",
        ),
        "ck_element_attribute_choice_zinc_parts": (None, "name <> 'zinc_parts' OR code IN ('yes', 'no')"),
    },
}


def upgrade() -> None:
    for table, checks in CHECKS.items():
        _change(table, [(name, before, after) for name, (before, after) in checks.items()])


def downgrade() -> None:
    """Refused by the CHECKs where a fact is on file that the earlier schema does not know."""
    for table, checks in CHECKS.items():
        _change(table, [(name, after, before) for name, (before, after) in checks.items()])


def _change(table: str, checks: list[tuple[str, str | None, str | None]]) -> None:
    if op.get_bind().dialect.name == "sqlite":
        _rebuild(table, checks)
        return
    for name, before, after in checks:
        if before is not None:
            op.drop_constraint(op.f(name), table, type_="check")
        if after is not None:
            op.create_check_constraint(op.f(name), table, after)


def _rebuild(table: str, checks: Iterable[tuple[str, str | None, str | None]]) -> None:
    """SQLite alters no CHECK: a table with other ones takes the rows and the place of the old.

    All else is taken from the database itself: columns, keys and references as its own text states them; indexes and
    triggers, which go with the old table, are made again.
    """
    connection = op.get_bind()
    held = sa.text("SELECT type, sql FROM sqlite_master WHERE tbl_name = :table AND sql IS NOT NULL")
    rows = connection.execute(held, {"table": table}).all()
    [made] = [sql for kind, sql in rows if kind == "table"]
    for name, before, after in checks:
        made = _restated(made, name, before, after)
    made, renamed = re.subn(rf'^CREATE TABLE "?{table}"? ', f"CREATE TABLE {table}_next ", made)
    if renamed != 1:
        raise RuntimeError(f"the table {table} is not as the step before left it")
    # Not one of these fires the triggers: nothing is updated or deleted, and the new table has none yet.
    connection.exec_driver_sql(made)
    connection.exec_driver_sql(f"INSERT INTO {table}_next SELECT * FROM {table}")
    connection.exec_driver_sql(f"DROP TABLE {table}")
    connection.exec_driver_sql(f"ALTER TABLE {table}_next RENAME TO {table}")
    for kind, sql in rows:
        if kind != "table":
            connection.exec_driver_sql(sql)


def _restated(made: str, name: str, before: str | None, after: str | None) -> str:
    """``made``, the text of a table, with one CHECK changed, added before the first, or taken out."""
    if before is None:
        return made.replace("CONSTRAINT ", f"CONSTRAINT {name} CHECK ({after}),\n\tCONSTRAINT ", 1)
    old = f"CONSTRAINT {name} CHECK ({before})"
    if made.count(old) != 1:
        raise RuntimeError(f"the check {name} is not as the step before left it")
    if after is None:
        return re.sub(rf"{re.escape(old)},\s*", "", made)
    return made.replace(old, f"CONSTRAINT {name} CHECK ({after})")
