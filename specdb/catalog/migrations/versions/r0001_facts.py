"""The first schema: elements, sources, tests, ratings, claims, and what ends them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

WHOLE = sa.BigInteger().with_variant(sa.INTEGER(), "sqlite")
REAL: sa.Double[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
TEXT = sa.Text()
KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")

# Each table after those it refers to.
TABLES = (
    "revision",
    "store_identity",
    "element",
    "source",
    "element_attribute",
    "interchange_claim",
    "test",
    "rating",
    "supersession",
)
# The column of each table that names the revision in which its row was added.
ADDED_IN = {
    "element": "added_in",
    "source": "added_in",
    "element_attribute": "added_in",
    "interchange_claim": "added_in",
    "test": "added_in",
    "rating": "added_in",
    "supersession": "revision_id",
}


def upgrade() -> None:
    create_revision()
    create_store_identity()
    create_element()
    create_source()
    create_element_attribute()
    create_interchange_claim()
    create_test()
    create_rating()
    create_supersession()
    if op.get_bind().dialect.name == "sqlite":
        guard_sqlite()
    else:
        guard_postgresql()
    op.execute("INSERT INTO store_identity (application) VALUES ('specdb')")


def downgrade() -> None:
    for table in reversed(TABLES):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        for function in ("specdb_only_added", "specdb_revision_order", "specdb_last_revision"):
            op.execute(f"DROP FUNCTION {function}")


def guard_sqlite() -> None:
    """Facts are only added, in the last revision, and revisions have one order."""
    for table in TABLES:
        for change in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change} BEFORE {change.upper()} ON {table} "
                "BEGIN SELECT RAISE(ABORT, 'specdb: facts are only added'); END"
            )
    op.execute(
        "CREATE TRIGGER revision_order BEFORE INSERT ON revision "
        "WHEN EXISTS (SELECT 1 FROM revision WHERE id >= NEW.id OR at > NEW.at) "
        "BEGIN SELECT RAISE(ABORT, 'specdb: a revision is never before its predecessor'); END"
    )
    for table, column in ADDED_IN.items():
        op.execute(
            f"CREATE TRIGGER {table}_last_revision BEFORE INSERT ON {table} "
            f"WHEN NEW.{column} < (SELECT max(id) FROM revision) "
            "BEGIN SELECT RAISE(ABORT, 'specdb: facts are added in the last revision'); END"
        )


def guard_postgresql() -> None:
    """The same in PostgreSQL, TRUNCATE included."""
    op.execute(
        """
        CREATE FUNCTION specdb_only_added() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION 'specdb: facts are only added'; END $$
        """
    )
    op.execute(
        """
        CREATE FUNCTION specdb_revision_order() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN
            IF EXISTS (SELECT 1 FROM revision WHERE id >= NEW.id OR at > NEW.at) THEN
                RAISE EXCEPTION 'specdb: a revision is never before its predecessor';
            END IF;
            RETURN NEW;
        END $$
        """
    )
    op.execute(
        """
        CREATE FUNCTION specdb_last_revision() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN
            IF (to_jsonb(NEW) ->> TG_ARGV[0])::bigint < (SELECT max(id) FROM revision) THEN
                RAISE EXCEPTION 'specdb: facts are added in the last revision';
            END IF;
            RETURN NEW;
        END $$
        """
    )
    for table in TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_only_added BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION specdb_only_added()"
        )
    op.execute(
        "CREATE TRIGGER revision_order BEFORE INSERT ON revision "
        "FOR EACH ROW EXECUTE FUNCTION specdb_revision_order()"
    )
    for table, column in ADDED_IN.items():
        op.execute(
            f"CREATE TRIGGER {table}_last_revision BEFORE INSERT ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION specdb_last_revision('{column}')"
        )


def create_revision() -> None:
    op.create_table(
        "revision",
        sa.Column("id", WHOLE, autoincrement=False, nullable=False),
        sa.Column("at", KEY, nullable=False),
        sa.Column("actor", TEXT, nullable=False),
        sa.Column("reason", TEXT, nullable=False),
        sa.CheckConstraint("at LIKE '____-__-__T__:__:__.______Z'", name=op.f("ck_revision_at")),
        sa.CheckConstraint("trim(actor) <> '' AND length(actor) <= 200", name=op.f("ck_revision_actor")),
        sa.CheckConstraint("trim(reason) <> '' AND length(reason) <= 4000", name=op.f("ck_revision_reason")),
        sa.CheckConstraint("id > 0", name=op.f("ck_revision_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sqlite_strict=True,
    )


def create_store_identity() -> None:
    op.create_table(
        "store_identity",
        sa.Column("application", TEXT, nullable=False),
        sa.CheckConstraint("application = 'specdb'", name=op.f("ck_store_identity_application")),
        sa.PrimaryKeyConstraint("application", name=op.f("pk_store_identity")),
        sqlite_strict=True,
    )


def create_element() -> None:
    op.create_table(
        "element",
        sa.Column("element_id", KEY, nullable=False),
        sa.Column("maker", TEXT, nullable=False),
        sa.Column("maker_key", KEY, nullable=False),
        sa.Column("number", TEXT, nullable=False),
        sa.Column("number_key", KEY, nullable=False),
        sa.Column("search_key", KEY, nullable=False),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint(
            "length(element_id) = 16 AND ltrim(element_id, '0123456789abcdef') = ''",
            name=op.f("ck_element_element_id"),
        ),
        sa.CheckConstraint("trim(maker) <> '' AND length(maker) <= 200", name=op.f("ck_element_maker")),
        sa.CheckConstraint("trim(maker_key) <> '' AND length(maker_key) <= 200", name=op.f("ck_element_maker_key")),
        sa.CheckConstraint("trim(number) <> '' AND length(number) <= 200", name=op.f("ck_element_number")),
        sa.CheckConstraint("trim(number_key) <> '' AND length(number_key) <= 200", name=op.f("ck_element_number_key")),
        sa.CheckConstraint("trim(search_key) <> '' AND length(search_key) <= 200", name=op.f("ck_element_search_key")),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_element_added_in")),
        sa.PrimaryKeyConstraint("element_id", name=op.f("pk_element")),
        sa.UniqueConstraint("maker_key", "number_key", name=op.f("uq_element_maker_key_number_key")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_element_search_key"), "element", ["search_key"])


def create_source() -> None:
    op.create_table(
        "source",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("title", TEXT, nullable=True),
        sa.Column("kind", TEXT, nullable=True),
        sa.Column("issuer", TEXT, nullable=True),
        sa.Column("document_revision", TEXT, nullable=True),
        sa.Column("date", TEXT, nullable=True),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint("trim(date) <> '' AND length(date) <= 200", name=op.f("ck_source_date")),
        sa.CheckConstraint(
            "trim(document_revision) <> '' AND length(document_revision) <= 200",
            name=op.f("ck_source_document_revision"),
        ),
        sa.CheckConstraint("trim(issuer) <> '' AND length(issuer) <= 200", name=op.f("ck_source_issuer")),
        sa.CheckConstraint("trim(key) <> '' AND length(key) <= 200", name=op.f("ck_source_key")),
        sa.CheckConstraint("trim(kind) <> '' AND length(kind) <= 200", name=op.f("ck_source_kind")),
        sa.CheckConstraint("trim(title) <> '' AND length(title) <= 500", name=op.f("ck_source_title")),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_source_added_in")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_source")),
        sa.UniqueConstraint("key", name=op.f("uq_source_key")),
        sqlite_strict=True,
    )


def create_element_attribute() -> None:
    op.create_table(
        "element_attribute",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("element_id", KEY, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("number", REAL, nullable=True),
        sa.Column("code", TEXT, nullable=True),
        sa.Column("source_id", WHOLE, nullable=True),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint(
            "name <> 'anti_drain_back' OR code IN ('yes', 'no')",
            name=op.f("ck_element_attribute_choice_anti_drain_back"),
        ),
        sa.CheckConstraint(
            "name <> 'bypass_valve' OR code IN ('yes', 'no')",
            name=op.f("ck_element_attribute_choice_bypass_valve"),
        ),
        sa.CheckConstraint(
            "name <> 'core' OR code IN ('in element', 'in housing')",
            name=op.f("ck_element_attribute_choice_core"),
        ),
        sa.CheckConstraint(
            "name <> 'end_form' OR code IN ('open both ends', 'open one end', 'closed with spigot', "
            "'threaded')",
            name=op.f("ck_element_attribute_choice_end_form"),
        ),
        sa.CheckConstraint(
            "name <> 'flow_direction' OR code IN ('outside to inside', 'inside to outside')",
            name=op.f("ck_element_attribute_choice_flow_direction"),
        ),
        sa.CheckConstraint(
            "name <> 'kind' OR code IN ('spin-on', 'cartridge', 'in-tank', 'suction strainer', 'breather')",
            name=op.f("ck_element_attribute_choice_kind"),
        ),
        sa.CheckConstraint(
            "name <> 'media' OR code IN ('glass fibre', 'cellulose', 'polyester', 'wire mesh', 'metal "
            "fibre', 'water absorbing')",
            name=op.f("ck_element_attribute_choice_media"),
        ),
        sa.CheckConstraint(
            "name <> 'seal' OR code IN ('NBR', 'HNBR', 'FKM', 'EPDM', 'PU', 'silicone', 'PTFE', 'none')",
            name=op.f("ck_element_attribute_choice_seal"),
        ),
        sa.CheckConstraint(
            "name <> 'seal_type' OR code IN ('flat gasket', 'O-ring', 'square ring', 'radial lip')",
            name=op.f("ck_element_attribute_choice_seal_type"),
        ),
        sa.CheckConstraint(
            "name <> 'status' OR code IN ('current', 'superseded', 'obsolete')",
            name=op.f("ck_element_attribute_choice_status"),
        ),
        sa.CheckConstraint(
            "name IN ('kind', 'media', 'seal', 'seal_type', 'end_form', 'flow_direction', 'core', "
            "'bypass_valve', 'anti_drain_back', 'thread', 'outside_diameter', 'inside_diameter', "
            "'second_inside_diameter', 'length', 'gasket_outside_diameter', 'gasket_inside_diameter', "
            "'fluids_compatible', 'fluids_excluded', 'status', 'successor', 'series')",
            name=op.f("ck_element_attribute_name"),
        ),
        sa.CheckConstraint(
            "name NOT IN ('kind', 'media', 'seal', 'seal_type', 'end_form', 'flow_direction', 'core', "
            "'bypass_valve', 'anti_drain_back', 'thread', 'fluids_compatible', 'fluids_excluded', 'status') "
            "OR code IS NOT NULL",
            name=op.f("ck_element_attribute_word_has_code"),
        ),
        sa.CheckConstraint(
            "name NOT IN ('outside_diameter', 'inside_diameter', 'second_inside_diameter', 'length', "
            "'gasket_outside_diameter', 'gasket_inside_diameter') OR number IS NOT NULL",
            name=op.f("ck_element_attribute_length_has_number"),
        ),
        sa.CheckConstraint("trim(code) <> '' AND length(code) <= 500", name=op.f("ck_element_attribute_code")),
        sa.CheckConstraint("trim(text) <> '' AND length(text) <= 4000", name=op.f("ck_element_attribute_text")),
        sa.CheckConstraint("number > 0 AND number < 1e300", name=op.f("ck_element_attribute_number")),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_element_attribute_added_in")),
        sa.ForeignKeyConstraint(["element_id"], ["element.element_id"], name=op.f("fk_element_attribute_element_id")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_element_attribute_source_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_element_attribute")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_element_attribute_element_id_name"), "element_attribute", ["element_id", "name"])


def create_interchange_claim() -> None:
    op.create_table(
        "interchange_claim",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("maker", TEXT, nullable=False),
        sa.Column("maker_key", KEY, nullable=False),
        sa.Column("number", TEXT, nullable=False),
        sa.Column("number_key", KEY, nullable=False),
        sa.Column("search_key", KEY, nullable=False),
        sa.Column("replaces_maker", TEXT, nullable=False),
        sa.Column("replaces_maker_key", KEY, nullable=False),
        sa.Column("replaces_number", TEXT, nullable=False),
        sa.Column("replaces_number_key", KEY, nullable=False),
        sa.Column("replaces_search_key", KEY, nullable=False),
        sa.Column("source_id", WHOLE, nullable=True),
        sa.Column("date", TEXT, nullable=True),
        sa.Column("remark", TEXT, nullable=True),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint("trim(date) <> '' AND length(date) <= 200", name=op.f("ck_interchange_claim_date")),
        sa.CheckConstraint("trim(maker) <> '' AND length(maker) <= 200", name=op.f("ck_interchange_claim_maker")),
        sa.CheckConstraint(
            "trim(maker_key) <> '' AND length(maker_key) <= 200",
            name=op.f("ck_interchange_claim_maker_key"),
        ),
        sa.CheckConstraint("trim(number) <> '' AND length(number) <= 200", name=op.f("ck_interchange_claim_number")),
        sa.CheckConstraint(
            "trim(number_key) <> '' AND length(number_key) <= 200",
            name=op.f("ck_interchange_claim_number_key"),
        ),
        sa.CheckConstraint("trim(remark) <> '' AND length(remark) <= 4000", name=op.f("ck_interchange_claim_remark")),
        sa.CheckConstraint(
            "trim(replaces_maker) <> '' AND length(replaces_maker) <= 200",
            name=op.f("ck_interchange_claim_replaces_maker"),
        ),
        sa.CheckConstraint(
            "trim(replaces_maker_key) <> '' AND length(replaces_maker_key) <= 200",
            name=op.f("ck_interchange_claim_replaces_maker_key"),
        ),
        sa.CheckConstraint(
            "trim(replaces_number) <> '' AND length(replaces_number) <= 200",
            name=op.f("ck_interchange_claim_replaces_number"),
        ),
        sa.CheckConstraint(
            "trim(replaces_number_key) <> '' AND length(replaces_number_key) <= 200",
            name=op.f("ck_interchange_claim_replaces_number_key"),
        ),
        sa.CheckConstraint(
            "trim(replaces_search_key) <> '' AND length(replaces_search_key) <= 200",
            name=op.f("ck_interchange_claim_replaces_search_key"),
        ),
        sa.CheckConstraint(
            "trim(search_key) <> '' AND length(search_key) <= 200",
            name=op.f("ck_interchange_claim_search_key"),
        ),
        sa.CheckConstraint(
            "maker_key <> replaces_maker_key OR number_key <> replaces_number_key",
            name=op.f("ck_interchange_claim_not_of_itself"),
        ),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_interchange_claim_added_in")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_interchange_claim_source_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_interchange_claim")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_interchange_claim_replaces_search_key"), "interchange_claim", ["replaces_search_key"])
    op.create_index(op.f("ix_interchange_claim_search_key"), "interchange_claim", ["search_key"])


def create_test() -> None:
    op.create_table(
        "test",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("element_id", KEY, nullable=False),
        sa.Column("source_id", WHOLE, nullable=True),
        sa.Column("label", TEXT, nullable=True),
        sa.Column("standard", TEXT, nullable=True),
        sa.Column("edition", TEXT, nullable=True),
        sa.Column("dust", TEXT, nullable=True),
        sa.Column("gravimetric_level_mg_l", REAL, nullable=True),
        sa.Column("gravimetric_level_text", TEXT, nullable=True),
        sa.Column("terminal_pressure_drop_kpa", REAL, nullable=True),
        sa.Column("terminal_pressure_drop_text", TEXT, nullable=True),
        sa.Column("test_liquid", TEXT, nullable=True),
        sa.Column("drop_of", TEXT, nullable=True),
        sa.Column("capacity_basis", TEXT, nullable=True),
        sa.Column("cycle_pressure_kpa", REAL, nullable=True),
        sa.Column("cycle_pressure_text", TEXT, nullable=True),
        sa.Column("laboratory", TEXT, nullable=True),
        sa.Column("date", TEXT, nullable=True),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint("capacity_basis IN ('retained', 'injected')", name=op.f("ck_test_capacity_basis")),
        sa.CheckConstraint("drop_of IN ('element', 'assembly')", name=op.f("ck_test_drop_of")),
        sa.CheckConstraint("laboratory IN ('maker', 'independent')", name=op.f("ck_test_laboratory")),
        sa.CheckConstraint(
            "trim(cycle_pressure_text) <> '' AND length(cycle_pressure_text) <= 200",
            name=op.f("ck_test_cycle_pressure_text"),
        ),
        sa.CheckConstraint("trim(date) <> '' AND length(date) <= 200", name=op.f("ck_test_date")),
        sa.CheckConstraint("trim(dust) <> '' AND length(dust) <= 200", name=op.f("ck_test_dust")),
        sa.CheckConstraint("trim(edition) <> '' AND length(edition) <= 200", name=op.f("ck_test_edition")),
        sa.CheckConstraint(
            "trim(gravimetric_level_text) <> '' AND length(gravimetric_level_text) <= 200",
            name=op.f("ck_test_gravimetric_level_text"),
        ),
        sa.CheckConstraint("trim(label) <> '' AND length(label) <= 200", name=op.f("ck_test_label")),
        sa.CheckConstraint("trim(standard) <> '' AND length(standard) <= 200", name=op.f("ck_test_standard")),
        sa.CheckConstraint(
            "trim(terminal_pressure_drop_text) <> '' AND length(terminal_pressure_drop_text) <= 200",
            name=op.f("ck_test_terminal_pressure_drop_text"),
        ),
        sa.CheckConstraint("trim(test_liquid) <> '' AND length(test_liquid) <= 200", name=op.f("ck_test_test_liquid")),
        sa.CheckConstraint(
            "(cycle_pressure_kpa IS NULL) = (cycle_pressure_text IS NULL)",
            name=op.f("ck_test_cycle_pressure_as_typed"),
        ),
        sa.CheckConstraint(
            "(gravimetric_level_mg_l IS NULL) = (gravimetric_level_text IS NULL)",
            name=op.f("ck_test_gravimetric_level_as_typed"),
        ),
        sa.CheckConstraint(
            "(terminal_pressure_drop_kpa IS NULL) = (terminal_pressure_drop_text IS NULL)",
            name=op.f("ck_test_terminal_pressure_drop_as_typed"),
        ),
        sa.CheckConstraint(
            "cycle_pressure_kpa > 0 AND cycle_pressure_kpa < 1e300",
            name=op.f("ck_test_cycle_pressure_kpa"),
        ),
        sa.CheckConstraint(
            "gravimetric_level_mg_l > 0 AND gravimetric_level_mg_l < 1e300",
            name=op.f("ck_test_gravimetric_level_mg_l"),
        ),
        sa.CheckConstraint(
            "terminal_pressure_drop_kpa > 0 AND terminal_pressure_drop_kpa < 1e300",
            name=op.f("ck_test_terminal_pressure_drop_kpa"),
        ),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_test_added_in")),
        sa.ForeignKeyConstraint(["element_id"], ["element.element_id"], name=op.f("fk_test_element_id")),
        sa.ForeignKeyConstraint(["source_id"], ["source.id"], name=op.f("fk_test_source_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_test")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_test_element_id"), "test", ["element_id"])


def create_rating() -> None:
    op.create_table(
        "rating",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("label", KEY, nullable=False),
        sa.Column("test_id", WHOLE, nullable=False),
        sa.Column("characteristic", TEXT, nullable=False),
        sa.Column("qualifier", TEXT, nullable=False),
        sa.Column("value", REAL, nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("resolution", REAL, nullable=False),
        sa.Column("efficiency_percent", REAL, nullable=True),
        sa.Column("efficiency_resolution", REAL, nullable=True),
        sa.Column("size_um", REAL, nullable=True),
        sa.Column("size_scale", TEXT, nullable=True),
        sa.Column("size_text", TEXT, nullable=True),
        sa.Column("flow_l_min", REAL, nullable=True),
        sa.Column("flow_text", TEXT, nullable=True),
        sa.Column("viscosity_mm2_s", REAL, nullable=True),
        sa.Column("viscosity_text", TEXT, nullable=True),
        sa.Column("density_kg_m3", REAL, nullable=True),
        sa.Column("density_text", TEXT, nullable=True),
        sa.Column("page", TEXT, nullable=True),
        sa.Column("remark", TEXT, nullable=True),
        sa.Column("added_in", WHOLE, nullable=False),
        sa.CheckConstraint(
            "abs(value) < 1e300 AND (value > 0 OR (value > -273.15 AND characteristic IN ('temperature_low', "
            "'temperature_high')))",
            name=op.f("ck_rating_value"),
        ),
        sa.CheckConstraint(
            "characteristic <> 'filtration_ratio' OR size_um IS NOT NULL",
            name=op.f("ck_rating_ratio_has_size"),
        ),
        sa.CheckConstraint(
            "characteristic IN ('filtration_ratio', 'retained_capacity', 'clean_pressure_drop', "
            "'bubble_point', 'collapse_pressure', 'flow_fatigue_cycles', 'working_pressure', "
            "'burst_pressure', 'pressure_fatigue_cycles', 'bypass_cracking_pressure', 'temperature_low', "
            "'temperature_high', 'rated_flow')",
            name=op.f("ck_rating_characteristic"),
        ),
        sa.CheckConstraint(
            "efficiency_percent IS NULL OR characteristic = 'filtration_ratio'",
            name=op.f("ck_rating_efficiency_of_ratio"),
        ),
        sa.CheckConstraint("qualifier IN ('equal', 'at_least', 'at_most', 'about')", name=op.f("ck_rating_qualifier")),
        sa.CheckConstraint("size_scale IN ('c', 'acftd', '?')", name=op.f("ck_rating_size_scale")),
        sa.CheckConstraint(
            "trim(density_text) <> '' AND length(density_text) <= 200",
            name=op.f("ck_rating_density_text"),
        ),
        sa.CheckConstraint("trim(flow_text) <> '' AND length(flow_text) <= 200", name=op.f("ck_rating_flow_text")),
        sa.CheckConstraint("trim(label) <> '' AND length(label) <= 200", name=op.f("ck_rating_label")),
        sa.CheckConstraint("trim(page) <> '' AND length(page) <= 200", name=op.f("ck_rating_page")),
        sa.CheckConstraint("trim(remark) <> '' AND length(remark) <= 4000", name=op.f("ck_rating_remark")),
        sa.CheckConstraint("trim(size_text) <> '' AND length(size_text) <= 200", name=op.f("ck_rating_size_text")),
        sa.CheckConstraint("trim(text) <> '' AND length(text) <= 200", name=op.f("ck_rating_text")),
        sa.CheckConstraint(
            "trim(viscosity_text) <> '' AND length(viscosity_text) <= 200",
            name=op.f("ck_rating_viscosity_text"),
        ),
        sa.CheckConstraint("(density_kg_m3 IS NULL) = (density_text IS NULL)", name=op.f("ck_rating_density_as_typed")),
        sa.CheckConstraint(
            "(efficiency_percent IS NULL) = (efficiency_resolution IS NULL)",
            name=op.f("ck_rating_efficiency_as_printed"),
        ),
        sa.CheckConstraint("(flow_l_min IS NULL) = (flow_text IS NULL)", name=op.f("ck_rating_flow_as_typed")),
        sa.CheckConstraint(
            "(size_um IS NULL) = (size_scale IS NULL) AND (size_um IS NULL) = (size_text IS NULL)",
            name=op.f("ck_rating_size_as_typed"),
        ),
        sa.CheckConstraint(
            "(viscosity_mm2_s IS NULL) = (viscosity_text IS NULL)",
            name=op.f("ck_rating_viscosity_as_typed"),
        ),
        sa.CheckConstraint("density_kg_m3 > 0 AND density_kg_m3 < 1e300", name=op.f("ck_rating_density_kg_m3")),
        sa.CheckConstraint("efficiency_percent BETWEEN 0 AND 100", name=op.f("ck_rating_efficiency_percent")),
        sa.CheckConstraint(
            "efficiency_resolution > 0 AND efficiency_resolution < 1e300",
            name=op.f("ck_rating_efficiency_resolution"),
        ),
        sa.CheckConstraint("flow_l_min > 0 AND flow_l_min < 1e300", name=op.f("ck_rating_flow_l_min")),
        sa.CheckConstraint("resolution > 0 AND resolution < 1e300", name=op.f("ck_rating_resolution")),
        sa.CheckConstraint("size_um > 0 AND size_um < 1e300", name=op.f("ck_rating_size_um")),
        sa.CheckConstraint("viscosity_mm2_s > 0 AND viscosity_mm2_s < 1e300", name=op.f("ck_rating_viscosity_mm2_s")),
        sa.ForeignKeyConstraint(["added_in"], ["revision.id"], name=op.f("fk_rating_added_in")),
        sa.ForeignKeyConstraint(["test_id"], ["test.id"], name=op.f("fk_rating_test_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rating")),
        sa.UniqueConstraint("label", name=op.f("uq_rating_label")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_rating_test_id"), "rating", ["test_id"])


def create_supersession() -> None:
    op.create_table(
        "supersession",
        sa.Column("id", WHOLE, nullable=False),
        sa.Column("revision_id", WHOLE, nullable=False),
        sa.Column("reason", TEXT, nullable=False),
        sa.Column("old_rating_id", WHOLE, nullable=True),
        sa.Column("new_rating_id", WHOLE, nullable=True),
        sa.Column("old_attribute_id", WHOLE, nullable=True),
        sa.Column("new_attribute_id", WHOLE, nullable=True),
        sa.Column("old_claim_id", WHOLE, nullable=True),
        sa.Column("new_claim_id", WHOLE, nullable=True),
        sa.CheckConstraint("trim(reason) <> '' AND length(reason) <= 4000", name=op.f("ck_supersession_reason")),
        sa.CheckConstraint(
            "CASE WHEN old_rating_id IS NULL THEN 0 ELSE 1 END + CASE WHEN old_attribute_id IS NULL THEN 0 "
            "ELSE 1 END + CASE WHEN old_claim_id IS NULL THEN 0 ELSE 1 END = 1",
            name=op.f("ck_supersession_one_old"),
        ),
        sa.CheckConstraint(
            "new_attribute_id IS NULL OR (old_attribute_id IS NOT NULL AND new_attribute_id <> "
            "old_attribute_id)",
            name=op.f("ck_supersession_new_attribute"),
        ),
        sa.CheckConstraint(
            "new_claim_id IS NULL OR (old_claim_id IS NOT NULL AND new_claim_id <> old_claim_id)",
            name=op.f("ck_supersession_new_claim"),
        ),
        sa.CheckConstraint(
            "new_rating_id IS NULL OR (old_rating_id IS NOT NULL AND new_rating_id <> old_rating_id)",
            name=op.f("ck_supersession_new_rating"),
        ),
        sa.ForeignKeyConstraint(
            ["new_attribute_id"], ["element_attribute.id"], name=op.f("fk_supersession_new_attribute_id")
        ),
        sa.ForeignKeyConstraint(["new_claim_id"], ["interchange_claim.id"], name=op.f("fk_supersession_new_claim_id")),
        sa.ForeignKeyConstraint(["new_rating_id"], ["rating.id"], name=op.f("fk_supersession_new_rating_id")),
        sa.ForeignKeyConstraint(
            ["old_attribute_id"], ["element_attribute.id"], name=op.f("fk_supersession_old_attribute_id")
        ),
        sa.ForeignKeyConstraint(["old_claim_id"], ["interchange_claim.id"], name=op.f("fk_supersession_old_claim_id")),
        sa.ForeignKeyConstraint(["old_rating_id"], ["rating.id"], name=op.f("fk_supersession_old_rating_id")),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_supersession_revision_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supersession")),
        sa.UniqueConstraint("old_attribute_id", name=op.f("uq_supersession_old_attribute_id")),
        sa.UniqueConstraint("old_claim_id", name=op.f("uq_supersession_old_claim_id")),
        sa.UniqueConstraint("old_rating_id", name=op.f("uq_supersession_old_rating_id")),
        sqlite_strict=True,
    )
