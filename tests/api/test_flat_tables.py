"""Every answer with rows as CSV and as Parquet: the same cells, of the types that its columns promise, nothing nested,
safe in a spreadsheet program, and read as typed by the programs that people have."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from typing import Any

import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

import api.question
from api import create_app
from api.description import example_of
from api.ranges import Given, GivenLately
from specdb.answers.parquet import ROWS_OF_A_GROUP, ParquetRows
from specdb.answers.tables import Table, column, numbers, whole_numbers, yes_or_no
from specdb.characteristics import CHARACTERISTICS
from specdb.formula_guard import FORMULA_BEGINS, unguarded
from specdb.units import KINDS
from tests.api.asking import EQUIVALENTS
from tests.api.examples import addressed
from tests.api.machines import MACHINES
from tests.browser.serving import served

PARQUET = "application/vnd.apache.parquet"
RATINGS = {"required_low", "required_high", "shown_low", "shown_high", "estimate", "value", "converted"}
"""Numbers whose unit changes from row to row and stands in the column ``unit``."""
COSTS = {
    *(f"{cost}_{end}" for cost in ("cost_per_1000_h", "cost_per_gram") for end in ("low", "high", "estimate")),
    *("cost_per_1000_h", "cost_per_gram"),
}
"""Numbers whose unit stands in the column ``currency``."""
WITHOUT_UNIT = {
    *("allow", "margin", "smallest_margin", "cycles", "ratio", "ratio_low", "ratio_high", "ratio_least", "ratio_below"),
    *("ratio_above", "customary_ratio", "area_ratio", "turnovers_per_hour", "viscosity_index"),
}
"""Shares and pure numbers."""
_RATIOS_AND_COUNTS = "|".join(key for key, each in CHARACTERISTICS.items() if not each.kind)
PURE = re.compile(f"({_RATIOS_AND_COUNTS})(_[0-9]+)?_shown_(low|high)")
"""What is shown of such a characteristic."""
UNITS_IN_NAMES = {column("", kind, units)[1:] for kind in KINDS for units in ("si", "us")} | {"per_100ml", "mpa_s"}
UNIT_IN_NAME = re.compile(f"_({'|'.join(UNITS_IN_NAMES)})$")

MORE = {
    # what makes rows of other kinds than the worked example does, by operation
    "get_element": [{"query": {"history": "true"}}],
    "find_equivalents": [
        {"body": {"duty": MACHINES["return"], "limit": 2, "include_windows": True}},
        {"body": {"duty": MACHINES["suction"], "limit": 2}},
        {"body": {"original": {"number": "Dulse 23"}, "limit": 20}},
    ],
    "list_elements": [{"query": {"limit": "200"}}, {"query": {"thread": "M99x9"}}],
    "search": [{"query": {"q": "=7-K"}}],
    "cross_check": [
        {"query": {"table": table}, "body": {"lines": [{"original.number": "Dulse 23"}, {"original.number": "?"}]}}
        for table in ("summary", "criteria", "requests")
    ],
}


def tables(client: TestClient) -> dict[str, tuple[str, str, dict[str, Any]]]:
    """Method, address and description of each operation whose answer has rows."""
    found = {
        name: told
        for name, told in addressed(client).items()
        if {"text/csv", PARQUET} & told[2]["responses"]["200"]["content"].keys()
    }
    for name, (_, _, operation) in found.items():
        assert {"text/csv", PARQUET} <= operation["responses"]["200"]["content"].keys(), name
    return found


def asked_of(operation_id: str) -> Iterator[dict[str, Any]]:
    """The worked request, and those of ``MORE``."""
    worked = example_of(operation_id)["request"]
    yield worked
    for more in MORE.get(operation_id, ()):
        yield {"path": worked.get("path", {}), **more}


def rows_of(asked: dict[str, Any]) -> str:
    """What is asked for of which the columns depend, beside the address and the units."""
    query = asked.get("query", {})
    required = sorted(name for name in query if name.startswith("require."))
    return f"history={query.get('history')} table={query.get('table', 'summary')} {required}"


def fetched(client: TestClient, method: str, path: str, asked: dict[str, Any], ending: str, units: str) -> bytes:
    query = {name: value for name, value in asked.get("query", {}).items() if name != "format"}
    takes_units = "/v1/calculations/" in path or path not in ("/v1/calculations", "/v1/characteristics")
    sent: dict[str, Any] = {"params": query | ({"units": units} if takes_units else {})}
    if "body" in asked:
        sent["json"] = asked["body"]
    response = client.request(method, path.format(**asked.get("path", {})) + ending, **sent)
    assert response.status_code == 200, response.text
    return response.content


def cell_of(text: str, holds: pa.DataType) -> Any:
    """A cell of CSV as a value of the type that its column has in Parquet."""
    if text == "":
        return None
    if holds == pa.string():
        assert not text.startswith(FORMULA_BEGINS)
        return unguarded(text)
    if holds == pa.bool_():
        return {"true": True, "false": False}[text]
    if holds == pa.int64():
        assert re.fullmatch(r"-?[0-9]+", text), text
        return int(text)
    assert holds == pa.float64()
    assert re.fullmatch(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", text), text
    return float(text)


def assert_flat(name: str, rows: list[list[Any]]) -> None:
    """No cell holds a part of an answer that has parts of its own, nor what a program writes of nothing."""
    for row in rows:
        for cell in row:
            if isinstance(cell, str):
                assert not re.match(r"\s*[\[{<]|\(['\"]", cell), (name, cell)
                assert not re.search(r"[\"'][a-z_]+[\"']: ", cell), (name, cell)
                assert cell not in ("None", "null", "nan", "NaN", "<NA>", "True", "False"), (name, cell)


def assert_well_named(name: str, schema: pa.Schema) -> None:
    assert len(set(schema.names)) == len(schema.names), name
    for field in schema:
        assert re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", field.name), (name, field.name)
        if field.type != pa.float64() or field.name in WITHOUT_UNIT or PURE.fullmatch(field.name):
            continue
        if field.name in RATINGS:
            assert "unit" in schema.names, (name, field.name)
        elif field.name in COSTS:
            assert "currency" in schema.names, (name, field.name)
        else:
            assert UNIT_IN_NAME.search(field.name), (name, field.name)


def test_every_table_is_the_same_as_csv_and_as_parquet(client: TestClient) -> None:
    offered = tables(client)
    assert {"get_equivalents", "list_elements", "search", "list_revisions", "calculate_conversion"} <= offered.keys()
    of_units: dict[tuple[str, str, str], pa.Schema] = {}
    for name, (method, path, _) in offered.items():
        for asked in asked_of(name):
            rows = rows_of(asked)
            for units in ("si",) if (name, rows, "us") in of_units else ("si", "us"):
                written = fetched(client, method, path, asked, ".csv", units).decode()
                packed = pq.read_table(io.BytesIO(fetched(client, method, path, asked, ".parquet", units)))
                columns, *lines = csv.reader(io.StringIO(written, newline=""), strict=True)
                assert columns == packed.column_names, name
                read = [[cell_of(*pair) for pair in zip(row, packed.schema.types, strict=True)] for row in lines]
                assert read == [list(row.values()) for row in packed.to_pylist()], name
                assert_flat(name, read)
                # Whatever was found, the columns are the same, of the same types.
                assert of_units.setdefault((name, rows, units), packed.schema).equals(packed.schema), name
    for (name, rows, units), schema in of_units.items():
        assert_well_named(name, schema)
        # In other units only the names of quantities differ, so that neither can be taken for the other.
        other = of_units[name, rows, "us" if units == "si" else "si"]
        plain = [[UNIT_IN_NAME.sub("_", each) for each in names] for names in (schema.names, other.names)]
        assert plain[0] == plain[1]
        assert schema.types == other.types


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=6) | st.builds(
    "".join, st.lists(st.sampled_from(["'", '"', ",", "; ", "\r", "\n", "7-K", *FORMULA_BEGINS]), max_size=5)
)
A_COLUMN_EACH = ("text", *numbers("number_kpa"), *whole_numbers("whole"), *yes_or_no("truth"))


@given(
    st.lists(
        st.tuples(
            TEXTS | st.none(),
            st.floats(allow_nan=False, allow_infinity=False) | st.none(),
            st.integers(-(2**63), 2**63 - 1) | st.none(),
            st.booleans() | st.none(),
        ),
        max_size=4,
    )
)
def test_any_table_is_safe_to_open_and_reads_back_the_same(rows: list[tuple[Any, ...]]) -> None:
    table = Table(A_COLUMN_EACH, rows)
    headings, *written = csv.reader(io.StringIO(table.csv(), newline=""), strict=True)
    assert headings == [*A_COLUMN_EACH]
    assert not [row for row in written if row[0].startswith(FORMULA_BEGINS)]
    texts = [row[0] or "" for row in rows]
    assert [unguarded(row[0]) for row in written] == texts
    # What nothing is taken for keeps its looks.
    assert all(row[0] == text or row[0] == f"'{text}" for row, text in zip(written, texts, strict=True))
    packed = pq.read_table(io.BytesIO(table.parquet()))
    assert packed.schema.types == [pa.string(), pa.float64(), pa.int64(), pa.bool_()]
    there = [tuple(None if cell == "" else cell for cell in row) for row in rows]
    assert [tuple(row.values()) for row in packed.to_pylist()] == there
    frame = table.frame()
    assert [str(each) for each in frame.dtypes] == ["str", "float64", "Int64", "boolean"]
    pd.testing.assert_frame_equal(pd.read_parquet(io.BytesIO(table.parquet())), frame)


def test_rows_that_come_one_by_one_are_packed_in_groups() -> None:
    file = io.BytesIO()
    with ParquetRows(file, (*whole_numbers("place"), "text")) as packing:
        for place in range(2 * ROWS_OF_A_GROUP + 1):
            packing.write([(place, None)])
    read = pq.ParquetFile(io.BytesIO(file.getvalue()))
    groups = [read.metadata.row_group(group).num_rows for group in range(read.num_row_groups)]
    assert groups == [ROWS_OF_A_GROUP, ROWS_OF_A_GROUP, 1]
    assert read.read().column("place").to_pylist() == list(range(2 * ROWS_OF_A_GROUP + 1))
    cut_off = io.BytesIO()
    with pytest.raises(ZeroDivisionError), ParquetRows(cut_off, ("text",)) as packing:
        packing.write([(str(1 / place),) for place in (1, 0)])
    with pytest.raises(pa.ArrowInvalid):
        pq.read_table(io.BytesIO(cut_off.getvalue()))


# --- forms ----------------------------------------------------------------------------------------

ELEMENTS = "/v1/elements"


def test_parquet_is_had_as_csv_is(client: TestClient) -> None:
    by_address = client.get(f"{ELEMENTS}.parquet")
    by_field = client.get(ELEMENTS, params={"format": "parquet"})
    by_header = client.get(ELEMENTS, headers={"accept": f"{PARQUET}, application/json;q=0.5"})
    tags = {client.get(f"{ELEMENTS}{ending}").headers["etag"] for ending in ("", ".csv", ".parquet")}
    assert len(tags) == 3
    for response in (by_address, by_field, by_header):
        assert response.headers["content-type"] == PARQUET
        assert response.content == by_address.content
        following = response.links["next"]["url"]
        assert client.get(following, headers={"accept": PARQUET}).headers["content-type"] == PARQUET
    assert by_address.links["first"]["url"] == f"{ELEMENTS}.parquet"
    assert by_field.links["first"]["url"] == f"{ELEMENTS}?format=parquet"
    assert client.get(f"{ELEMENTS}.parquet?format=csv").status_code == 406
    assert client.get("/health.parquet").status_code == 404
    assert client.get(ELEMENTS, headers={"accept": "application/*"}).headers["content-type"] == "application/json"


# --- parts ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_one_range_of_bytes_is_given(client: TestClient, ending: str) -> None:
    address = f"{ELEMENTS}{ending}?limit=3"
    whole = client.get(address)
    assert (whole.status_code, whole.headers["accept-ranges"]) == (200, "bytes")
    body, tag, size = whole.content, whole.headers["etag"], len(whole.content)
    for stated, part in {
        "bytes=0-9": body[:10],
        "bytes=4-4": body[4:5],
        f"bytes={size - 3}-": body[-3:],
        f"Bytes = 5-{size + 100}": body[5:],
        "bytes=-7": body[-7:],
        f"bytes=-{size * 10}": body,
    }.items():
        response = client.get(address, headers={"range": stated})
        assert (response.status_code, response.content) == (206, part), stated
        first = body.rindex(part) if stated.startswith("bytes=-") else int(re.findall(r"\d+", stated)[0])
        assert response.headers["content-range"] == f"bytes {first}-{first + len(part) - 1}/{size}"
        assert int(response.headers["content-length"]) == len(part)
        assert response.headers["etag"] == tag
        assert response.headers["content-type"] == whole.headers["content-type"]
    for stated in (f"bytes={size}-", f"bytes={size + 9}-{size + 10}", "bytes=-0"):
        refused = client.get(address, headers={"range": stated})
        assert refused.status_code == 416, stated
        assert refused.headers["content-range"] == f"bytes */{size}"
        assert refused.json()["type"] == "urn:specdb:problem:range"
    # What names no single range of bytes is passed over: other units, several ranges, one that runs backwards.
    for stated in ("bytes=", "bytes=-", "bytes=9-5", "bytes=0-1,4-5", "lines=0-1", "bytes=a-b", f"bytes=0-{'9' * 30}"):
        assert client.get(address, headers={"range": stated}).content == body, stated


def test_a_range_is_of_the_answer_that_the_caller_has_begun(client: TestClient) -> None:
    address = f"{ELEMENTS}.csv?limit=3"
    whole = client.get(address)
    tag, ten = whole.headers["etag"], {"range": "bytes=0-9"}
    assert client.get(address, headers=ten | {"if-range": tag}).status_code == 206
    for other in (f"W/{tag}", '"another"', "Mon, 30 Nov 2026 12:00:00 GMT"):
        response = client.get(address, headers=ten | {"if-range": other})
        assert (response.status_code, response.content) == (200, whole.content)
    assert client.get(address, headers=ten | {"if-none-match": tag}).status_code == 304
    headed = client.head(address, headers=ten)
    assert (headed.status_code, headed.content) == (200, b"")
    assert int(headed.headers["content-length"]) == len(whole.content)
    # JSON and answers to POST are given whole.
    assert client.get(f"{ELEMENTS}?limit=3", headers=ten).status_code == 200
    posted = client.post(f"{EQUIVALENTS}.csv", json={"original": {"number": "Dulse 23"}, "limit": 1}, headers=ten)
    assert (posted.status_code, "accept-ranges" in posted.headers) == (200, False)


def test_an_answer_that_is_read_in_parts_is_made_once(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    made = []

    def counted(*asked: Any) -> Any:
        made.append(asked)
        return rank(*asked)

    rank = api.question.rank
    monkeypatch.setattr(api.question, "rank", counted)
    address = f"{EQUIVALENTS}.parquet?original.number=Dulse%2023&limit=17"
    size = int(client.head(address).headers["content-length"])
    parts = [client.get(address, headers={"range": f"bytes={n}-{n + 9999}"}).content for n in range(0, size, 10_000)]
    assert len(parts) > 2
    assert b"".join(parts) == client.get(address).content
    assert len(made) == 1
    client.get(f"{EQUIVALENTS}.parquet?original.number=Dulse%2023&limit=18")
    assert len(made) == 2


def test_few_bytes_are_kept() -> None:
    kept = GivenLately(most_bytes=25)
    given_ = {name: Given(name.encode() * 10, {"ETag": name}) for name in "abc"}
    for name in "ab":
        kept.keep((name,), given_[name])
    assert kept.get(("a",)) is given_["a"]
    kept.keep(("c",), given_["c"])
    assert [kept.get((name,)) for name in "abc"] == [given_["a"], None, given_["c"]]
    kept.keep(("d",), Given(b"d" * 26, {"ETag": "d"}))
    assert [kept.get((name,)) for name in "abcd"] == [given_["a"], None, given_["c"], None]


# --- as typed -------------------------------------------------------------------------------------


def test_pandas_and_polars_read_the_address_as_it_is_typed(client: TestClient, demo_store_url: str) -> None:
    asked = "original.number=Dulse%2023&limit=30"
    ids = [each["element"]["element_id"] for each in client.get(f"{EQUIVALENTS}?{asked}").json()["candidates"]]
    with served(create_app(demo_store_url)) as service:
        url = f"{service}/v1/equivalents.csv?{asked}"
        packed = f"{service}/v1/equivalents.parquet?{asked}"
        in_pandas = pd.read_csv(url)
        typed = pd.read_parquet(packed)
        in_polars = pl.read_csv(url)
        scanned = pl.scan_parquet(packed).collect()
        chosen = pl.scan_parquet(packed).filter(pl.col("rank") == 1).select("number").unique().collect()
        assert pl.scan_csv(url).select("verdict").collect().shape == (len(in_polars), 1)
    assert len(ids) == 30
    for frame in (in_pandas, typed):
        assert list(dict.fromkeys(frame["element_id"])) == ids
        assert frame["rank"].max() == 30
        assert frame.loc[frame["verdict"] == "meets", "margin"].min() >= 0
        assert set(frame["advisory"]) == {True, False} or set(frame["advisory"]) == {False}
    assert [str(typed[each].dtype) for each in ("number", "rank", "margin", "unbeaten")] == [
        *("str", "Int64", "float64", "boolean")
    ]
    assert in_polars["element_id"].unique(maintain_order=True).to_list() == ids
    assert scanned.schema["unbeaten"] == pl.Boolean
    assert scanned.shape == in_polars.shape == in_pandas.shape
    assert scanned["margin"].to_list() == in_polars["margin"].to_list()
    # The number begins as a formula does: Parquet has it as it is, CSV guarded.
    assert chosen["number"].to_list() == ["=7-K"]
    assert unguarded(in_pandas["number"][0]) == in_polars["number"][0].removeprefix("'") == "=7-K"
