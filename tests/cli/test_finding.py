"""``specdb search``, ``list``, ``history`` and ``characteristics``: the API's own answers, and what is printed."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api import create_app
from specdb.duty.typed import requirement_of
from tests.cli.conftest import Run
from tests.cli.processes import environment

SEARCH, LIST, REVISIONS, VOCABULARY = "/v1/search", "/v1/elements", "/v1/revisions", "/v1/characteristics"


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


QUESTIONS: list[tuple[list[str], str, dict[str, Any]]] = [
    (["search", "dulse", "2"], SEARCH, {"q": "dulse 2"}),
    (["search", "quollbeck", "dulse", "23"], SEARCH, {"q": "quollbeck dulse 23"}),
    (["search", "I2-l", "--limit", "1", "--as-of", "1"], SEARCH, {"q": "I2-l", "limit": 1, "as_of": "1"}),
    (["search", "quolbeck"], SEARCH, {"q": "quolbeck"}),
    (["search", "zzzzz"], SEARCH, {"q": "zzzzz"}),
    (["list", "--limit", "500"], LIST, {"limit": 500}),
    (["list", "--maker", "quollbeck", "--kind", "spin-on"], LIST, {"maker": "quollbeck", "kind": "spin-on"}),
    (
        ["list", "--fit", "outside_diameter 96 mm +- 2 mm", "--fit", "thread=1-12 UNF", "--units", "us"],
        LIST,
        {"outside_diameter": "96 mm +- 2 mm", "thread": "1-12 UNF", "units": "us"},
    ),
    (["list", "--fit", "fluid_class HETG"], LIST, {"fluid_class": "HETG"}),
    (
        [
            *("list", "--require", "β at 10 µm(c) at least 200", "--require", "capacity at least 60 g"),
            *("--require", "clean drop at most 30 kPa at 75 L/min and 32 mm²/s", "--assume", "customary", "--might"),
        ],
        LIST,
        {
            "require.1.characteristic": "filtration_ratio", "require.1.at_least": "200", "require.1.size": "10 um(c)",
            "require.2.characteristic": "retained_capacity", "require.2.at_least": "60 g",
            "require.3.characteristic": "clean_pressure_drop", "require.3.at_most": "30 kPa",
            "require.3.flow": "75 L/min", "require.3.viscosity": "32 mm2/s",
            "assumptions": "customary", "might": "true",
        },
    ),
    (["history"], REVISIONS, {}),
    (["history", "--limit", "1", "--as-of", "1"], REVISIONS, {"limit": 1, "as_of": "1"}),
    (["characteristics"], VOCABULARY, {}),
]


@pytest.mark.parametrize(("arguments", "address", "query"), QUESTIONS)
def test_each_form_is_the_answer_of_the_api(
    run: Run, client: TestClient, tmp_path: Path, arguments: list[str], address: str, query: dict[str, Any]
) -> None:
    told = run(*arguments, "--json").answer()
    expected = client.get(address, params=query).json()
    if "next" in expected:  # the address of a page, which only the API has
        expected["next"] = None
    assert told == expected
    rows = run(*arguments, "--csv")
    assert (rows.status, rows.err) == (0, "")
    assert rows.out == client.get(address, params=query | {"format": "csv"}).content.decode()
    kept = tmp_path / "rows.parquet"
    assert run(*arguments, "--parquet", str(kept)).out == f"The rows are in {kept}.\n"
    assert kept.read_bytes() == client.get(address, params=query | {"format": "parquet"}).content
    assert "--parquet: This is there already" in run(*arguments, "--parquet", str(kept)).refused(2)
    other = run(*arguments, "--parquet", str(tmp_path / "rows.csv"))
    assert "--parquet: The rows are kept as Parquet." in other.refused(2)
    assert [*tmp_path.iterdir()] == [kept]


def test_the_history_of_an_element_is_the_answer_of_the_api(run: Run, client: TestClient) -> None:
    told = run("history", "dulse", "22", "--json").answer()
    address = f"{LIST}/{told['element_id']}"
    assert told == client.get(address, params={"history": "true"}).json()
    assert told["history"]
    expected = client.get(address, params={"history": "true", "format": "csv"}).content.decode()
    assert run("history", "dulse", "22", "--csv").out == expected


def test_csv_reaches_standard_output_in_utf8_with_both_line_ends(demo_store_url: str, quick_specdb: Path) -> None:
    done = subprocess.run(
        [quick_specdb, "rank", "Dulse 23", "--csv"],
        env=environment(SPECDB_DATABASE_URL=demo_store_url, PYTHONIOENCODING="latin-1"),
        capture_output=True,
        check=True,
        timeout=60,
    )
    lines = done.stdout.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in b"".join(lines)
    assert len(lines) > 20
    assert "10 µm(c)" in done.stdout.decode("utf-8")


# --- search ---------------------------------------------------------------------------------------


def test_hits_are_told_with_how_near_they_are_and_what_to_type_next(run: Run) -> None:
    done = run("search", "quollbeck", "dulse", "23")
    assert (done.status, done.err) == (0, "")
    answer = run("search", "quollbeck", "dulse", "23", "--json").answer()
    for hit in answer["hits"]:
        assert hit["words"] in done.out
    assert "Next: specdb show 'Quollbeck: Dulse 23'" in done.out
    assert run("show", "Quollbeck: Dulse 23").status == 0
    assert "Next, if it is this one: specdb show 'Quollbeck: Dulse 21'" in run("search", "dulse", "2").out


def test_a_claim_is_told_as_a_claim(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    sheets = {
        "elements": "maker,number\nDemo Works,D 1\n",
        "interchanges": "maker,number,replaces_maker,replaces_number\nDemo Works,D 1,Gone Works,G 77-4\n",
    }
    assert run("import", str(folder(**sheets)), url=own_url).status == 0
    printed = run("search", "G 77-4", url=own_url).out
    assert "Gone Works" in printed
    assert "a claim, no proof" in printed
    assert "no test result" in printed


def test_a_number_known_from_claims_only_is_refused_alike_wherever_it_is_asked_for(run: Run) -> None:
    shown = run("show", "45/2").refused(3)
    assert "Gorsepan 45/2 is claimed to replace Quollbeck Dulse 23 (GP-1, 2019-10-03): a claim, no proof." in shown
    assert shown.endswith(
        "Next: specdb rank 'Quollbeck: Dulse 23' or specdb rank 'Umberglyph: Rowan/10'.\n"
    )
    assert run("rank", "45/2").refused(3) == shown
    remedy = shown.partition("Found: 45/2. ")[2]
    assert remedy
    assert remedy in run("compare", "12-2", "--original", "45/2").refused(3)


def test_a_search_that_finds_nothing_says_what_to_try(run: Run) -> None:
    done = run("search", "zzzzz")
    assert done.status == 0
    assert "Try a part of the number" in done.out
    assert "Next:" not in done.out


def test_a_search_that_finds_more_than_it_lists_says_so(run: Run) -> None:
    assert re.search(r"\d+ more; type more of the number, or add --limit\.", run("search", "dulse", "--limit", "2").out)


def test_a_search_for_nothing_is_refused(run: Run) -> None:
    assert run("search", "--", "-").refused(2).startswith("specdb: TEXT: ")


# --- list -----------------------------------------------------------------------------------------


def test_a_list_tells_how_it_was_asked_and_how_to_go_on(run: Run) -> None:
    first = run("list", "--fit", "outside_diameter 96 mm +- 2 mm", "--limit", "5")
    assert "Asked: outside diameter 96 mm ± 2 mm" in first.out
    assert re.search(r"1 to 5 of \d+\.", first.out)
    assert "add --offset 5." in first.out
    second = run("list", "--fit", "outside_diameter 96 mm +- 2 mm", "--limit", "5", "--offset", "5")
    assert re.search(r"6 to 10 of \d+\.", second.out)
    listed = run("list", "--fit", "outside_diameter 96 mm +- 2 mm", "--limit", "10", "--json").answer()["elements"]
    for place, element in enumerate(listed):
        assert f" {element['number']} " in (first.out if place < 5 else second.out)


def test_a_list_of_nothing_says_what_to_try(run: Run) -> None:
    printed = run("list", "--fit", "outside_diameter 7 mm").out
    assert "No element on file states all of this." in printed
    assert "more room" in printed
    assert "--offset leaves out all of them" in run("list", "--offset", "1000000").out


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["--kind", "spun"], 2, ["--kind: ", "spin-on"]),
        (["--maker", "Nobody At All"], 3, ["--maker: "]),
        (["--fit", "colour red"], 2, ["colour", "outside_diameter"]),
        (["--fit", "length"], 2, ["--fit length"]),
        (["--fit", "length 140"], 2, ["--fit length", "no unit"]),
        (["--fit", "length 140 mm +- 1 bar"], 2, ["--fit length"]),
        (["--fit", "kind spin-on", "--kind", "spin-on"], 2, ["--kind: ", "asked twice"]),
        (["--limit", "501"], 2, ["'--limit'", "500"]),
        (["--require", "capacity >= 60 bar"], 2, ["--require no. 1, at_least", "mass"]),
        (["--require", "temperature >= 90 degC"], 2, ["--require: ", "temperature_low, temperature_high"]),
        (["--require", "clean drop <= 30 kPa at 75"], 2, ["--require: ", '"at 100 L/min and 46 mm2/s"']),
        (["--require", "β10(c) >= 200 at 12 um(c)"], 2, ["--require: ", "size is stated twice"]),
        (["--assume", "nothing"], 2, ["--assume nothing", "Known are"]),
    ],
)
def test_a_list_that_cannot_be_made_is_refused(run: Run, arguments: list[str], status: int, told: list[str]) -> None:
    said = run("list", *arguments).refused(status)
    assert len(said.splitlines()) == 1
    assert all(each in said for each in told), said


def test_a_list_by_ratings_shows_the_proof_and_what_to_ask_for(run: Run) -> None:
    asked = ("list", "--require", "clean drop <= 30 kPa at 75 L/min and 32 mm2/s", "--fit", "thread 1-12 UNF")
    told = run(*asked, "--might", "--limit", "500", "--json").answer()
    surely = run(*asked, "--limit", "500")
    assert "Required: clean_pressure_drop: clean pressure drop: at most 30 kPa (at 75 L/min and 32 mm²/s)" in surely.out
    assert f"Besides, {told['might_fit']} might fit: " in surely.out
    assert "add --might" in surely.out
    printed = run(*asked, "--might", "--limit", "500").out
    for element in told["elements"]:
        (line,) = re.findall(rf"^(.*{re.escape(element['maker'])} +{re.escape(element['number'])} .*)$", printed, re.M)
        assert line.split()[0] == element["fits"]
        (shown,) = element["criteria"]
        assert ("? " in line) == (shown["verdict"] == "not_shown")
        assert (" thread " in line) == (element["unstated"] == ["thread"])
    (test, _), *_ = [(words, e) for e in told["elements"] for words in e["ask_for"]]
    settles = sum(test in element["ask_for"] for element in told["elements"])
    assert f"{test} (settles it for {settles})" in printed


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("β10(c) ≥ 200", {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um(c)"}),
        ("beta 7,5 (acftd) >= 75", {"characteristic": "filtration_ratio", "at_least": "75", "size": "7,5 um(acftd)"}),
        (
            "efficiency at least 99.5 % at 10 um(c), 75 L/min; dust ISO MTD",
            {
                "characteristic": "filtration_ratio", "at_least": "99.5 %", "size": "10 um(c)", "flow": "75 L/min",
                "dust": "ISO MTD",
            },
        ),
        (
            "dirt capacity at 170 kPa at least 60 g",
            {"characteristic": "retained_capacity", "at_least": "60 g", "terminal_pressure_drop": "170 kPa"},
        ),
        (
            "pressure drop <= 30 kPa at 20 gpm and 150 SUS at 100 degF",
            {
                "characteristic": "clean_pressure_drop", "at_most": "30 kPa", "flow": "20 gpm",
                "viscosity": "150 SUS at 100 degF",
            },
        ),
        (
            "flow fatigue >= 1e5 at 300 kPa; standard ISO 3724",
            {
                "characteristic": "flow_fatigue_cycles", "at_least": "1e5", "cycle_pressure": "300 kPa",
                "standard": "ISO 3724",
            },
        ),
        ("water capacity >= 100 g", {"characteristic": "water_capacity", "at_least": "100 g"}),
        ("dirt holding capacity min 80 g", {"characteristic": "retained_capacity", "at_least": "80 g"}),
        ("capacity of not less than 80 g", {"characteristic": "retained_capacity", "at_least": "80 g"}),
        (
            "pressure drop max 30kPa @ 100 L/min, 46 mm2/s",
            {
                "characteristic": "clean_pressure_drop", "at_most": "30kPa", "flow": "100 L/min",
                "viscosity": "46 mm2/s",
            },
        ),
        (
            "clean Δp at 100 L per min less than 0.3 bar",
            {"characteristic": "clean_pressure_drop", "at_most": "0.3 bar", "flow": "100 L per min"},
        ),
        ("clean \N{INCREMENT}p up to 0.3 bar", {"characteristic": "clean_pressure_drop", "at_most": "0.3 bar"}),
        ("max temp more than 80 degC", {"characteristic": "temperature_high", "at_least": "80 degC"}),
        ("B10(c)>=200", {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um(c)"}),
        ("β10>200", {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um"}),
    ],
)  # fmt: skip
def test_requirements_are_read_as_the_trade_writes_them(typed: str, asked: dict[str, str]) -> None:
    assert requirement_of(typed) == asked


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("dirt holding capasity >= 80 g", "Is retained_capacity meant? Known are filtration_ratio"),
        ("beta10 >= 200", '"10 um(c)"'),
        ("capacity not under 80 g", "This is no requirement."),
        ("capacity = 80 g", "This is no requirement."),
    ],
)
def test_what_is_no_requirement_says_what_would_be_one(run: Run, typed: str, told: str) -> None:
    assert told in run("list", "--require", typed).refused(2)


# --- history --------------------------------------------------------------------------------------

FIRST = "maker,number,thread\nDemo Works,D 1,1-12 UNF\n"
RATED = "rating,supersedes,maker,number,characteristic,value\nr1,,Demo Works,D 1,collapse_pressure,10 bar\n"
RATED_AGAIN = RATED + "r2,r1,Demo Works,D 1,collapse_pressure,12 bar\n"


def test_what_was_believed_when_is_told(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    run("import", str(folder(elements=FIRST, ratings=RATED)), "--reason", "first sheet", url=own_url)
    assert run("import", str(folder(ratings=RATED_AGAIN)), "--reason", "a letter", url=own_url).status == 0
    printed = run("history", "D 1", url=own_url).out
    for text in ("Revision 1, ", "first sheet", "Revision 2, ", "a letter", "10 bar", "12 bar", "superseded"):
        assert text in printed
    assert "Revision 2, " not in run("history", "D 1", "--as-of", "1", url=own_url).out
    revisions = run("history", url=own_url).out
    assert revisions.index("a letter") < revisions.index("first sheet")
    assert "1 earlier ones; add --limit." in run("history", "--limit", "1", url=own_url).out


def test_a_catalogue_without_revisions_says_how_to_begin(run: Run, folder: Callable[..., Path], own_url: str) -> None:
    run("import", str(folder(elements=FIRST)), "--dry-run", url=own_url)
    printed = run("history", url=own_url).out
    assert "Nothing has been put on file yet." in printed
    assert "specdb import" in printed


def test_a_maker_alone_has_no_history(run: Run) -> None:
    assert "Give the part number too." in run("history", "--maker", "Quollbeck").refused(2)
    assert "no such number" not in run("history", "Dulse 99").refused(3)


# --- characteristics ------------------------------------------------------------------------------


def test_the_vocabulary_is_printed_whole(run: Run) -> None:
    printed = run("characteristics").out
    answer = run("characteristics", "--json").answer()
    for each in (*answer["characteristics"], *answer["attributes"]):
        assert each["key"] in printed
        assert each.get("sentence", each["title"]) in printed
