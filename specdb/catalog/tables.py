"""The tables of the store. Rows are only added; what ends a fact is a row of ``supersession``.

What can be checked by the database is checked by the database, so that no program, ours or
another, puts in what our own code would not: the words come from ``specdb.characteristics``,
numbers are finite, sizes and flows positive, names not empty. SQLite tables are STRICT; on
PostgreSQL the same columns are ``double precision``, ``text`` and ``bigint``.

A number's name carries its unit. Where a number was typed, the text as typed stands beside it
(``flow_l_min`` and ``flow_text``), and the database holds both or neither.

The classes describe a row; queries over many rows use the tables themselves (``rating.c.value``).
The schema is made by the migrations, never from here; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterable

import sqlalchemy as sa
from sqlalchemy.orm import registry
from sqlmodel import Field, SQLModel

from specdb.catalog.identity import LONGEST_NAME_CHARACTERS
from specdb.characteristics import (
    ATTRIBUTES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    DROP_OF,
    LABORATORIES,
    QUALIFIERS,
    SCALES,
)

LONGEST_WORDS_CHARACTERS = 200  # a condition, a label, a quantity as typed
LONGEST_TITLE_CHARACTERS = 500
LONGEST_REMARK_CHARACTERS = 4000
APPLICATION = "specdb"

# Names of constraints are fixed, for a later migration to find them by.
metadata = sa.MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)

WHOLE = sa.BigInteger().with_variant(sa.INTEGER(), "sqlite")
REAL: sa.Double[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
TEXT = sa.Text()
# Keys and times sort by code point in both databases, whatever the language of the server.
KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


class _Row(SQLModel, registry=registry(metadata=metadata)):
    """Root of the tables, apart from whatever SQLModel tables the host program has."""


# --- checks ---------------------------------------------------------------------------------------


def _listed(values: Iterable[str]) -> str:
    return "(" + ", ".join("'" + value.replace("'", "''") + "'" for value in values) + ")"


def _one_of(column: str, values: Iterable[str]) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} IN {_listed(values)}", name=column)


def _filled(column: str, longest: int = LONGEST_WORDS_CHARACTERS) -> sa.CheckConstraint:
    """Not empty, not blank, and of a length that a page can show."""
    return sa.CheckConstraint(f"trim({column}) <> '' AND length({column}) <= {longest}", name=column)


def _positive(column: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(f"{column} > 0 AND {column} < 1e300", name=column)


def _together(name: str, first: str, *others: str) -> sa.CheckConstraint:
    """All of the columns are stated, or none: a number that was lost as NaN shows here."""
    return sa.CheckConstraint(
        " AND ".join(f"({first} IS NULL) = ({other} IS NULL)" for other in others), name=name
    )


def _quantity(name: str, column: str) -> tuple[sa.CheckConstraint, ...]:
    """A positive number and the text it was typed as."""
    return _positive(column), _filled(f"{name}_text"), _together(f"{name}_as_typed", column, f"{name}_text")


def _foreign(column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target])


_STRICT = {"sqlite_strict": True}


def _added_in() -> sa.ForeignKeyConstraint:
    return _foreign("added_in", "revision.id")


def _attribute_checks() -> list[sa.CheckConstraint]:
    lengths = _listed(a.key for a in ATTRIBUTES.values() if a.kind == "length")
    words = _listed(a.key for a in ATTRIBUTES.values() if a.kind in ("word", "words", "thread"))
    choices = [
        sa.CheckConstraint(f"name <> '{a.key}' OR code IN {_listed(a.choices)}", name=f"choice_{a.key}")
        for a in ATTRIBUTES.values()
        if a.kind == "word" and a.choices
    ]
    return [
        _one_of("name", ATTRIBUTES),
        sa.CheckConstraint(f"name NOT IN {lengths} OR number IS NOT NULL", name="length_has_number"),
        sa.CheckConstraint(f"name NOT IN {words} OR code IS NOT NULL", name="word_has_code"),
        *choices,
    ]


# --- tables ---------------------------------------------------------------------------------------


class StoreIdentity(_Row, table=True):
    """One row by which the program knows a database as its own."""

    __tablename__ = "store_identity"
    __table_args__ = (sa.CheckConstraint(f"application = '{APPLICATION}'", name="application"), _STRICT)

    application: str = Field(primary_key=True, sa_type=TEXT)


class Revision(_Row, table=True):
    """One committed write. ``at`` is UTC, ``YYYY-MM-DDTHH:MM:SS.ffffffZ``, so that text order is
    time order; a trigger refuses a number or a time before its predecessor's."""

    __tablename__ = "revision"
    __table_args__ = (
        sa.CheckConstraint("id > 0", name="id"),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.______Z'", name="at"),
        _filled("actor"),
        _filled("reason", LONGEST_REMARK_CHARACTERS),
        _STRICT,
    )

    id: int = Field(primary_key=True, sa_type=WHOLE, sa_column_kwargs={"autoincrement": False})
    at: str = Field(sa_type=KEY)
    actor: str = Field(sa_type=TEXT)
    reason: str = Field(sa_type=TEXT)


class Element(_Row, table=True):
    """One maker's one number. The keys are those of ``specdb.catalog.identity``; ``search_key`` is the
    number's."""

    __tablename__ = "element"
    __table_args__ = (
        sa.CheckConstraint(
            "length(element_id) = 16 AND ltrim(element_id, '0123456789abcdef') = ''", name="element_id"
        ),
        *(_filled(c, LONGEST_NAME_CHARACTERS) for c in ("maker", "maker_key", "number", "number_key", "search_key")),
        sa.UniqueConstraint("maker_key", "number_key"),
        sa.Index(None, "search_key"),
        _added_in(),
        _STRICT,
    )

    element_id: str = Field(primary_key=True, sa_type=KEY)
    maker: str = Field(sa_type=TEXT)
    maker_key: str = Field(sa_type=KEY)
    number: str = Field(sa_type=TEXT)
    number_key: str = Field(sa_type=KEY)
    search_key: str = Field(sa_type=KEY)
    added_in: int = Field(sa_type=WHOLE)


class Source(_Row, table=True):
    """A document that says so. ``date`` is the date printed on it, as printed."""

    __tablename__ = "source"
    __table_args__ = (
        _filled("key"),
        _filled("title", LONGEST_TITLE_CHARACTERS),
        *(_filled(c) for c in ("kind", "issuer", "document_revision", "date")),
        sa.UniqueConstraint("key"),
        _added_in(),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    key: str = Field(sa_type=KEY)
    title: str | None = Field(default=None, sa_type=TEXT)
    kind: str | None = Field(default=None, sa_type=TEXT)
    issuer: str | None = Field(default=None, sa_type=TEXT)
    document_revision: str | None = Field(default=None, sa_type=TEXT)
    date: str | None = Field(default=None, sa_type=TEXT)
    added_in: int = Field(sa_type=WHOLE)


class ElementAttribute(_Row, table=True):
    """One thing an element is: ``text`` as typed, ``number`` in the canonical unit where it is a
    measure, ``code`` where it is a word of a list or a normalised designation."""

    __tablename__ = "element_attribute"
    __table_args__ = (
        *_attribute_checks(),
        _filled("text", LONGEST_REMARK_CHARACTERS),
        _positive("number"),
        _filled("code", LONGEST_TITLE_CHARACTERS),
        _foreign("element_id", "element.element_id"),
        _foreign("source_id", "source.id"),
        sa.Index(None, "element_id", "name"),
        _added_in(),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    element_id: str = Field(sa_type=KEY)
    name: str = Field(sa_type=TEXT)
    text: str = Field(sa_type=TEXT)
    number: float | None = Field(default=None, sa_type=REAL)
    code: str | None = Field(default=None, sa_type=TEXT)
    source_id: int | None = Field(default=None, sa_type=WHOLE)
    added_in: int = Field(sa_type=WHOLE)


class ElementTest(_Row, table=True):
    """One test of one element, as one source reports it. ``label`` is the name that a file gives it,
    none for a rating that is its own test. A label is not unique: a test whose conditions are
    corrected is entered again under its name, with the ratings that take the place of the old."""

    __tablename__ = "test"
    __table_args__ = (
        *(_filled(c) for c in ("label", "standard", "edition", "dust", "test_liquid", "date")),
        *_quantity("gravimetric_level", "gravimetric_level_mg_l"),
        *_quantity("terminal_pressure_drop", "terminal_pressure_drop_kpa"),
        *_quantity("cycle_pressure", "cycle_pressure_kpa"),
        _one_of("drop_of", DROP_OF),
        _one_of("capacity_basis", CAPACITY_BASES),
        _one_of("laboratory", LABORATORIES),
        _foreign("element_id", "element.element_id"),
        _foreign("source_id", "source.id"),
        sa.Index(None, "element_id"),
        _added_in(),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    element_id: str = Field(sa_type=KEY)
    source_id: int | None = Field(default=None, sa_type=WHOLE)
    label: str | None = Field(default=None, sa_type=TEXT)
    standard: str | None = Field(default=None, sa_type=TEXT)
    edition: str | None = Field(default=None, sa_type=TEXT)
    dust: str | None = Field(default=None, sa_type=TEXT)
    gravimetric_level_mg_l: float | None = Field(default=None, sa_type=REAL)
    gravimetric_level_text: str | None = Field(default=None, sa_type=TEXT)
    terminal_pressure_drop_kpa: float | None = Field(default=None, sa_type=REAL)
    terminal_pressure_drop_text: str | None = Field(default=None, sa_type=TEXT)
    test_liquid: str | None = Field(default=None, sa_type=TEXT)
    drop_of: str | None = Field(default=None, sa_type=TEXT)
    capacity_basis: str | None = Field(default=None, sa_type=TEXT)
    cycle_pressure_kpa: float | None = Field(default=None, sa_type=REAL)
    cycle_pressure_text: str | None = Field(default=None, sa_type=TEXT)
    laboratory: str | None = Field(default=None, sa_type=TEXT)
    date: str | None = Field(default=None, sa_type=TEXT)
    added_in: int = Field(sa_type=WHOLE)


_TEMPERATURES = _listed(c.key for c in CHARACTERISTICS.values() if c.kind == "temperature")


class Rating(_Row, table=True):
    """One result of a test. ``value`` and ``resolution`` (the worth of the last printed digit) are in
    the characteristic's canonical unit, ``text`` is the value with its unit as typed. Where a
    filtration ratio was stated as an efficiency, ``efficiency_percent`` keeps what was printed."""

    __tablename__ = "rating"
    __table_args__ = (
        _filled("label"),
        _one_of("characteristic", CHARACTERISTICS),
        _one_of("qualifier", QUALIFIERS),
        sa.CheckConstraint(
            f"abs(value) < 1e300 AND (value > 0 OR (value > -273.15 AND characteristic IN {_TEMPERATURES}))",
            name="value",
        ),
        _filled("text"),
        _positive("resolution"),
        sa.CheckConstraint("efficiency_percent BETWEEN 0 AND 100", name="efficiency_percent"),
        _positive("efficiency_resolution"),
        _together("efficiency_as_printed", "efficiency_percent", "efficiency_resolution"),
        sa.CheckConstraint(
            "efficiency_percent IS NULL OR characteristic = 'filtration_ratio'", name="efficiency_of_ratio"
        ),
        _positive("size_um"),
        _one_of("size_scale", SCALES),
        _filled("size_text"),
        _together("size_as_typed", "size_um", "size_scale", "size_text"),
        sa.CheckConstraint("characteristic <> 'filtration_ratio' OR size_um IS NOT NULL", name="ratio_has_size"),
        *_quantity("flow", "flow_l_min"),
        *_quantity("viscosity", "viscosity_mm2_s"),
        *_quantity("density", "density_kg_m3"),
        _filled("page"),
        _filled("remark", LONGEST_REMARK_CHARACTERS),
        sa.UniqueConstraint("label"),
        _foreign("test_id", "test.id"),
        sa.Index(None, "test_id"),
        _added_in(),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    label: str = Field(sa_type=KEY)
    test_id: int = Field(sa_type=WHOLE)
    characteristic: str = Field(sa_type=TEXT)
    qualifier: str = Field(sa_type=TEXT)
    value: float = Field(sa_type=REAL)
    text: str = Field(sa_type=TEXT)
    resolution: float = Field(sa_type=REAL)
    efficiency_percent: float | None = Field(default=None, sa_type=REAL)
    efficiency_resolution: float | None = Field(default=None, sa_type=REAL)
    size_um: float | None = Field(default=None, sa_type=REAL)
    size_scale: str | None = Field(default=None, sa_type=TEXT)
    size_text: str | None = Field(default=None, sa_type=TEXT)
    flow_l_min: float | None = Field(default=None, sa_type=REAL)
    flow_text: str | None = Field(default=None, sa_type=TEXT)
    viscosity_mm2_s: float | None = Field(default=None, sa_type=REAL)
    viscosity_text: str | None = Field(default=None, sa_type=TEXT)
    density_kg_m3: float | None = Field(default=None, sa_type=REAL)
    density_text: str | None = Field(default=None, sa_type=TEXT)
    page: str | None = Field(default=None, sa_type=TEXT)
    remark: str | None = Field(default=None, sa_type=TEXT)
    added_in: int = Field(sa_type=WHOLE)


_CLAIM_NAMES = ("maker", "maker_key", "number", "number_key", "search_key")


class InterchangeClaim(_Row, table=True):
    """Somebody's claim that one number may be fitted in place of another. Either side may be absent
    from the catalogue; it is a claim, never a result."""

    __tablename__ = "interchange_claim"
    __table_args__ = (
        *(_filled(c, LONGEST_NAME_CHARACTERS) for c in _CLAIM_NAMES),
        *(_filled(f"replaces_{c}", LONGEST_NAME_CHARACTERS) for c in _CLAIM_NAMES),
        sa.CheckConstraint(
            "maker_key <> replaces_maker_key OR number_key <> replaces_number_key", name="not_of_itself"
        ),
        _filled("date"),
        _filled("remark", LONGEST_REMARK_CHARACTERS),
        _foreign("source_id", "source.id"),
        sa.Index(None, "search_key"),
        sa.Index(None, "replaces_search_key"),
        _added_in(),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    maker: str = Field(sa_type=TEXT)
    maker_key: str = Field(sa_type=KEY)
    number: str = Field(sa_type=TEXT)
    number_key: str = Field(sa_type=KEY)
    search_key: str = Field(sa_type=KEY)
    replaces_maker: str = Field(sa_type=TEXT)
    replaces_maker_key: str = Field(sa_type=KEY)
    replaces_number: str = Field(sa_type=TEXT)
    replaces_number_key: str = Field(sa_type=KEY)
    replaces_search_key: str = Field(sa_type=KEY)
    source_id: int | None = Field(default=None, sa_type=WHOLE)
    date: str | None = Field(default=None, sa_type=TEXT)
    remark: str | None = Field(default=None, sa_type=TEXT)
    added_in: int = Field(sa_type=WHOLE)


def _supersession_checks() -> Iterable[sa.schema.SchemaItem]:
    targets = {"rating": "rating.id", "attribute": "element_attribute.id", "claim": "interchange_claim.id"}
    counted = " + ".join(f"CASE WHEN old_{kind}_id IS NULL THEN 0 ELSE 1 END" for kind in targets)
    yield sa.CheckConstraint(f"{counted} = 1", name="one_old")
    for kind, target in targets.items():
        yield sa.CheckConstraint(
            f"new_{kind}_id IS NULL OR (old_{kind}_id IS NOT NULL AND new_{kind}_id <> old_{kind}_id)",
            name=f"new_{kind}",
        )
        yield sa.UniqueConstraint(f"old_{kind}_id")
        yield _foreign(f"old_{kind}_id", target)
        yield _foreign(f"new_{kind}_id", target)


class Supersession(_Row, table=True):
    """From ``revision_id`` on, the old fact no longer holds; the new one, if any, takes its place."""

    __tablename__ = "supersession"
    __table_args__ = (
        *_supersession_checks(),
        _filled("reason", LONGEST_REMARK_CHARACTERS),
        _foreign("revision_id", "revision.id"),
        _STRICT,
    )

    id: int | None = Field(default=None, primary_key=True, sa_type=WHOLE)
    revision_id: int = Field(sa_type=WHOLE)
    reason: str = Field(sa_type=TEXT)
    old_rating_id: int | None = Field(default=None, sa_type=WHOLE)
    new_rating_id: int | None = Field(default=None, sa_type=WHOLE)
    old_attribute_id: int | None = Field(default=None, sa_type=WHOLE)
    new_attribute_id: int | None = Field(default=None, sa_type=WHOLE)
    old_claim_id: int | None = Field(default=None, sa_type=WHOLE)
    new_claim_id: int | None = Field(default=None, sa_type=WHOLE)


store_identity = metadata.tables["store_identity"]
revision = metadata.tables["revision"]
element = metadata.tables["element"]
source = metadata.tables["source"]
element_attribute = metadata.tables["element_attribute"]
test = metadata.tables["test"]
rating = metadata.tables["rating"]
interchange_claim = metadata.tables["interchange_claim"]
supersession = metadata.tables["supersession"]
