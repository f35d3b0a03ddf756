"""Every mark of a picture stands where the verdicts say, every word can be read, one question gives the same bytes."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import matplotlib
import numpy as np
import pytest

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.catalog.reading import load_snapshot
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session
from specdb.criteria import Judged, judge
from specdb.duty import CUSTOMARY, NO_ASSUMPTIONS, Requirement
from specdb.duty.question import ComparisonAsked, read_question
from specdb.errors import NotOnFileError, QuestionError
from specdb.exchange import import_folder
from specdb.pictures import PICTURES, PictureKey, draw
from specdb.pictures.bands import bands, letter_of
from specdb.pictures.criteria import ratio_of
from specdb.pictures.scales import even_ticks, log_ticks, plain
from specdb.ranking import Ranking, compare, rank
from specdb.units import UnitSystem, express
from specdb.wording import CAUTIONS
from tests.specdb.pictures.drawn import Drawn, assert_legible

WORK: dict[str, Any] = {
    "flow": "75 L/min",
    "fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "class": "HM"},
    "operating_temperature": "50 degC",
    "cold_start_temperature": "0 degC",
    "bypass": "element",
    "bypass_cracking_pressure": "170 kPa",
    "require": [
        {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
        {"characteristic": "filtration_ratio", "at_least": 1000, "size": "20 um(c)", "flow": "60 L/min"},
        {"characteristic": "retained_capacity", "at_least": "60 g"},
        {"characteristic": "clean_pressure_drop", "at_most": "25 kPa", "viscosity": "32 mm2/s"},
    ],
}


def element_of(snapshot: Snapshot, number: str) -> str:
    (found,) = snapshot.elements.element_id[snapshot.elements.number == number]
    return str(found)


def drawn(
    snapshot: Snapshot, picture: PictureKey, number: str, asked: dict[str, Any], units: UnitSystem = "si"
) -> Drawn:
    return Drawn(draw(picture, element_of(snapshot, number), read_question(asked), snapshot, units))


def seen(snapshot: Snapshot, number: str, asked: dict[str, Any]) -> tuple[Ranking, int]:
    named = ComparisonAsked.model_validate({"elements": [{"number": number}], **asked})
    compared = compare(named, snapshot)
    return compared.ranking, compared.rows[0]


def of(ranking: Ranking, characteristic: str) -> list[Judged]:
    return [each for each in ranking.judged if each.requirement.characteristic == characteristic]


# --- what the criteria say, without any drawing ---------------------------------------------------


@pytest.mark.parametrize("assumptions", [NO_ASSUMPTIONS, CUSTOMARY])
@pytest.mark.parametrize(
    "requirement",
    [
        Requirement("", "filtration_ratio", "stated", low=200.0, size_um=10.0, scale="c", flow_l_min=75.0),
        Requirement(
            "", "clean_pressure_drop", "stated", high=25.0, flow_l_min=75.0, viscosity_low_mm2_s=27.0,
            viscosity_high_mm2_s=33.0, drop_of="element",
        ),
    ],
    ids=lambda requirement: requirement.characteristic,
)  # fmt: skip
def test_a_band_is_what_the_criterion_says_of_each_element_with_one_test(
    demo: Snapshot, requirement: Requirement, assumptions: Any
) -> None:
    judged = judge(demo, requirement, assumptions)
    points = demo.of(requirement.characteristic)
    compared = 0
    for row in range(0, len(demo.elements), 3):
        if len(np.unique(points.test[points.element == row])) != 1:
            continue
        (band,) = bands(demo, row, [10.0], lambda _: requirement, assumptions)
        shown = band.low[0], band.high[0], band.estimate[0]
        assert shown == pytest.approx((judged.low[row], judged.high[row], judged.estimate[row]), nan_ok=True)
        compared += 1
    assert compared > 30


def test_a_jump_of_a_bound_is_found_between_two_places(demo: Snapshot) -> None:
    (row,) = np.flatnonzero(demo.elements.number == "12-7")
    base = {"low": 1.0, "scale": "c", "flow_l_min": 75.0}

    def at(size: float) -> Requirement:
        return Requirement("", "filtration_ratio", "stated", size_um=size, **base)  # type: ignore[arg-type]

    (coarse,) = bands(demo, int(row), [8.0, 10.0], at, NO_ASSUMPTIONS)
    (fine,) = bands(demo, int(row), [8.0, 10.0], at, NO_ASSUMPTIONS, rising=True)
    assert coarse.low[0] > coarse.low[1]  # an "at most" point further on leaves only what the point below proves
    jump = int(np.flatnonzero(np.diff(fine.low) < 0)[0])
    assert fine.places[jump + 1] - fine.places[jump] < 0.01
    assert set(coarse.places) <= set(fine.places)


def test_a_ratio_of_one_and_more_serves(demo: Snapshot) -> None:
    """Of every element on file and every criterion that has a ratio: the bar and the verdict say the same."""
    ranking = rank(read_question({"duty": WORK | {"assumptions": "customary"}}), demo)
    told = {MEETS: 0, MISSES: 0, NOT_SHOWN: 0}
    for judged in ranking.judged:
        for row in range(len(demo.elements)):
            ratio = ratio_of(judged, row)
            if ratio is None or judged.by_rounding[row] or not (ratio.low > 0 or math.isfinite(ratio.high)):
                continue
            verdict = int(judged.verdict[row])
            assert ratio.low <= ratio.high
            serves = {MEETS: ratio.low >= 1 - 1e-9, MISSES: ratio.high < 1, NOT_SHOWN: ratio.low < 1 <= ratio.high}
            disagree = judged.other_test[row] >= 0
            assert serves[verdict] or disagree, (judged.requirement.id, demo.elements.number[row], ratio)
            if math.isfinite(judged.margin[row]):
                assert math.log(ratio.low) == pytest.approx(judged.margin[row])
            told[verdict] += 1
    assert min(told.values()) > 20


def test_words_and_temperatures_have_no_ratio_and_two_limits_have_the_worse(demo: Snapshot) -> None:
    row = int(np.flatnonzero(demo.elements.number == "Dulse 23")[0])
    for requirement in (
        Requirement("", "seal", "stated", word="NBR"),
        Requirement("", "temperature_high", "stated", low=50.0),
        Requirement("", "length", "stated", low=100.0),
        Requirement("", "retained_capacity", "stated", open=True),
    ):
        assert ratio_of(judge(demo, requirement), row) is None
    both = ratio_of(judge(demo, Requirement("", "retained_capacity", "stated", low=50.0, high=60.0)), row)
    assert both is not None
    assert both.high < 1  # 66 g are on file: more than the most


# --- filtration ratio -----------------------------------------------------------------------------


def test_results_and_limits_of_the_ratio_stand_at_their_sizes(demo: Snapshot) -> None:
    picture = drawn(demo, "filtration_ratio", "Dulse 23", {"duty": WORK})
    x, y = picture.axis("x", log=False), picture.axis("y", log=True)
    points = demo.of("filtration_ratio")
    points = points.rows(np.flatnonzero(points.element == np.flatnonzero(demo.elements.number == "Dulse 23")[0]))
    assert len(points) > 3
    for number in range(len(points)):
        at_x, at_y = picture.spot(f"measured-{number + 1}")
        assert x(at_x) == pytest.approx(points.size_um[number], abs=0.01)
        assert y(at_y) == pytest.approx(points.value[number], rel=1e-3)
    for name, size, ratio in (("1", 10.0, 200.0), ("2", 20.0, 1000.0)):
        at_x, at_y = picture.spot(f"required-filtration_ratio-{name}")
        assert x(at_x) == pytest.approx(size, abs=0.01)
        assert y(at_y) == pytest.approx(ratio, rel=1e-3)
    assert picture.text("verdict-filtration_ratio-1") == "≥ 200 required: meets"
    assert {"bound-A", "bound-B", "lower-A", "lower-B", "upper-B"} <= picture.names
    assert "Test B: ISO 16889, QB-3 (Multi-pass report 23-118 on Dulse 23)" in picture.words


def test_the_lower_line_of_the_ratio_passes_where_the_verdict_says(demo: Snapshot) -> None:
    duty = {"flow": "75 L/min", "require": [{"characteristic": "filtration_ratio", "at_least": 200, "size": "9 um(c)"}]}
    picture = drawn(demo, "filtration_ratio", "12-1", {"duty": duty})
    ranking, row = seen(demo, "12-1", {"duty": duty})
    (judged,) = of(ranking, "filtration_ratio")
    x, y = picture.axis("x", log=False), picture.axis("y", log=True)
    shown = [y(at_y) for at_x, at_y in picture.line("lower-A") if x(at_x) == pytest.approx(9.0, abs=1e-3)]
    assert shown == pytest.approx([judged.low[row]], rel=1e-3)
    assert picture.text("verdict-filtration_ratio") == "≥ 200 required: misses"


def test_what_is_shown_at_conditions_of_its_own_is_drawn_by_itself(demo: Snapshot) -> None:
    picture = drawn(demo, "filtration_ratio", "12-8", {"duty": WORK})
    ranking, row = seen(demo, "12-8", {"duty": WORK})
    judged = of(ranking, "filtration_ratio")[1]
    y = picture.axis("y", log=True)
    assert y(picture.spot("shown-filtration_ratio-2-low")[1]) == pytest.approx(judged.low[row], rel=1e-3)
    assert "A requirement at other conditions than the bounds are drawn for is judged at its own." in picture.words


def test_tests_on_the_other_scale_are_told_apart_by_their_marks(demo: Snapshot) -> None:
    asked = {"duty": {"require": [{"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(acftd)"}]}}
    picture = drawn(demo, "filtration_ratio", "XIV-3a", asked)
    x = picture.axis("x", log=False)
    # 10 µm on the ACFTD scale are 9.8 µm(c): integer table of ISO/TR 16386 and ISO 11171:1999.
    assert x(picture.spot("required-filtration_ratio")[0]) == pytest.approx(9.8, abs=0.01)
    (use,) = (each for each in picture.named("measured-1").iter() if each.tag.endswith("use"))
    assert "fill: #ffffff" in use.get("style", "")
    assert "tested on the ACFTD scale, at the converted size" in picture.words
    on_c = drawn(demo, "filtration_ratio", "12-1", asked)
    (use,) = (each for each in on_c.named("measured-1").iter() if each.tag.endswith("use"))
    assert "fill: #ffffff" not in use.get("style", "")


# --- clean pressure drop --------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_drop_passes_where_the_verdicts_say(demo: Snapshot, units: UnitSystem) -> None:
    picture = drawn(demo, "pressure_drop", "12-1", {"duty": WORK}, units)
    ranking, row = seen(demo, "12-1", {"duty": WORK})
    x, y = picture.axis("x", log=False), picture.axis("y", log=True)

    def pressure(kpa: float) -> Any:
        return pytest.approx(express(kpa, "pressure", units)[0], rel=2e-3)

    own, work, cold = of(ranking, "clean_pressure_drop")
    assert (work.requirement.rule, cold.requirement.rule) == ("clean_drop_below_bypass", "cold_start_bypass")
    for judged, temperature in ((work, 50.0), (cold, 0.0)):
        at = express(temperature, "temperature", units)[0]
        for name, bound in (("lower-A", judged.low[row]), ("upper-A", judged.high[row])):
            crossing = [y(at_y) for at_x, at_y in picture.line(name) if x(at_x) == pytest.approx(at, abs=0.01)]
            assert crossing == [pressure(bound)]
        at_x, at_y = picture.spot(f"required-{judged.requirement.id}")
        assert x(at_x) == pytest.approx(at, abs=0.02)
        assert y(at_y) == pressure(170.0)
    assert f"required-{own.requirement.id}" not in picture.names  # which holds at a viscosity of its own
    assert ", at conditions of its own, not drawn." in picture.words
    for name, kpa in (("bypass", 170.0), ("own-bypass", 170.0), ("collapse", 1000.0)):
        assert [y(at_y) for _, at_y in picture.line(name)] == [pressure(kpa)] * 2
    for name, temperature in (("operating", 50.0), ("cold-start", 0.0)):
        places = [x(at_x) for at_x, _ in picture.line(name)]
        assert places == pytest.approx([express(temperature, "temperature", units)[0]] * 2, abs=0.02)
    assert picture.text("bypass-words") == f"bypass opens: {'170 kPa' if units == 'si' else '24.66 psi'} (duty)"
    assert ("psi" in picture.words, "kPa" in picture.words) == (units == "us", units == "si")


def test_a_drop_that_is_not_on_file_is_told_so(demo: Snapshot) -> None:
    picture = drawn(demo, "pressure_drop", "00701", {"duty": WORK})
    assert picture.text("nothing") == "nothing on file"
    assert not [name for name in picture.names if name.startswith(("bound", "estimate", "collapse"))]


# --- criteria -------------------------------------------------------------------------------------


def test_the_bound_that_decides_stands_at_its_ratio(demo: Snapshot) -> None:
    picture = drawn(demo, "criteria", "12-5", {"original": {"number": "Dulse 23"}, "duty": WORK})
    ranking, row = seen(demo, "12-5", {"original": {"number": "Dulse 23"}, "duty": WORK})
    x = picture.axis("x", log=True)
    assert x(picture.line("required")[0][0]) == pytest.approx(1.0, rel=1e-3)
    decided = [judged for judged in ranking.judged if f"decides-{judged.requirement.id}" in picture.names]
    assert len(decided) > 5
    for judged in decided:
        ratio = ratio_of(judged, row)
        assert ratio is not None
        told = ratio.low if judged.verdict[row] == MEETS else ratio.high
        assert x(picture.line(f"decides-{judged.requirement.id}")[0][0]) == pytest.approx(told, rel=2e-3)
    for judged in ranking.judged:
        words = picture.text(f"verdict-{judged.requirement.id}")
        assert words.startswith({MEETS: "meets", MISSES: "misses", NOT_SHOWN: "not shown"}[int(judged.verdict[row])])
    assert "in place of Quollbeck Dulse 23" in picture.words


# --- every picture --------------------------------------------------------------------------------

LONG = "Winding & Sons <Filtration> Works $x^2$ of the Outer Isles, 滤芯"
LONG_NUMBER = "N-0123456789" * 12
HARD = {
    "elements": f"""\
maker,number,kind
"{LONG}",{LONG_NUMBER},spin-on
Demo,ONE,
Demo,NONE,
Demo,WILD,cartridge
""",
    "ratings": f"""\
maker,number,characteristic,qualifier,value,size,flow,viscosity,test,drop_of
"{LONG}",{LONG_NUMBER},filtration_ratio,equal,2.3,4 um(c),75 L/min,,t,
"{LONG}",{LONG_NUMBER},filtration_ratio,about,250,10 um(c),75 L/min,,t,
Demo,ONE,filtration_ratio,equal,200,10 um(c),,,,
Demo,ONE,clean_pressure_drop,at_most,20 kPa,,75 L/min,32 mm2/s,,element
Demo,WILD,filtration_ratio,equal,0.5,0.01 um(c),1e-3 L/min,,w,
Demo,WILD,filtration_ratio,equal,1e12,1000 um(c),1e-3 L/min,,w,
Demo,WILD,filtration_ratio,equal,75,10 um(?),,,v,
Demo,WILD,clean_pressure_drop,equal,1e9 kPa,,1e3 L/min,1000 mm2/s,d,element
Demo,WILD,collapse_pressure,about,1.2 kPa,,,,,
""",
}


@pytest.fixture(scope="module")
def hard(tmp_path_factory: pytest.TempPathFactory) -> Snapshot:
    """Long names, signs that mean something to XML and to formulas, one result, none, and values far apart."""
    folder: Path = tmp_path_factory.mktemp("hard")
    for name, text in HARD.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    engine = open_store(f"sqlite:///{folder / 'store.sqlite'}", create=True)
    import_folder(engine, folder, actor="test", reason="hard to draw")
    with read_session(engine) as connection:
        snapshot = load_snapshot(connection, 1)
    engine.dispose()
    return snapshot


@pytest.mark.parametrize(
    ("picture", "number"),
    [
        *((picture, LONG_NUMBER) for picture in PICTURES),
        *(("filtration_ratio", number) for number in ("ONE", "NONE", "WILD")),
        *(("pressure_drop", number) for number in ("ONE", "WILD")),
    ],
    ids=lambda value: value[:20],
)
def test_what_is_hard_to_draw_is_legible(hard: Snapshot, picture: PictureKey, number: str) -> None:
    found = drawn(hard, picture, number, {"duty": WORK}, "us")
    assert_legible(found)
    if number == LONG_NUMBER:
        assert LONG in found.title
        assert "".join(LONG.split()) in "".join(found.words.split())
    if number == "NONE":
        assert found.text("nothing") == "nothing on file"


@pytest.mark.parametrize("picture", PICTURES)
def test_a_picture_is_legible_told_to_who_cannot_see_it_and_the_same_each_time(
    demo: Snapshot, picture: PictureKey
) -> None:
    asked = {"original": {"number": "Dulse 22"}, "duty": WORK | {"assumptions": "customary"}}
    found = drawn(demo, picture, "Dulse 23", asked)
    assert_legible(found)
    assert found.root.get("role") == "img"
    assert found.root.get("aria-labelledby") == "title description"
    assert found.title.endswith("Quollbeck Dulse 23")
    assert len(found.description) > 200
    assert all(caution in found.words for caution in CAUTIONS)
    assert "Catalogue revision 1, method" in found.words
    assert "Assumed beyond proof: " in found.words
    with matplotlib.rc_context({"font.size": 30.0, "svg.hashsalt": "another", "lines.linewidth": 9.0}):
        again = drawn(demo, picture, "Dulse 23", asked)
        assert matplotlib.rcParams["font.size"] == 30.0
    assert again.svg == found.svg


def test_there_is_one_drawing_for_each_key() -> None:
    assert tuple(PICTURES) == get_args(PictureKey)
    assert all(key == picture.key for key, picture in PICTURES.items())


# --- what cannot be drawn -------------------------------------------------------------------------


def test_what_a_picture_lacks_is_named(demo: Snapshot) -> None:
    with pytest.raises(QuestionError) as refused:
        drawn(demo, "pressure_drop", "12-1", {"duty": {"bypass": "head"}})
    assert [fault.field for fault in refused.value.faults] == ["duty.flow", "duty.fluid.grade"]  # type: ignore[union-attr]
    with pytest.raises(QuestionError) as refused:
        drawn(demo, "pressure_drop", "12-1", {"duty": WORK | {"fluid": {"viscosity": "32 mm2/s"}}})
    assert refused.value.field == "duty.fluid.viscosity_index"
    with pytest.raises(QuestionError, match="Nothing is required"):
        drawn(demo, "criteria", "12-1", {})
    with pytest.raises(NotOnFileError) as absent:
        draw("criteria", "0" * 16, read_question({"duty": WORK}), demo)
    assert absent.value.field == "element_id"


def test_a_ratio_is_drawn_though_nothing_is_required(demo: Snapshot) -> None:
    picture = drawn(demo, "filtration_ratio", "12-1", {})
    assert "lower-A" in picture.names
    assert not [name for name in picture.names if name.startswith("required")]


# --- numbers along an axis ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "told"), [(200.0, "200"), (0.05, "0.05"), (123456.0, "123500"), (-40.0, "\N{MINUS SIGN}40"), (0.0, "0")]
)
def test_numbers_are_plain(value: float, told: str) -> None:
    assert plain(value) == told


@pytest.mark.parametrize("ticks", [log_ticks, even_ticks])
@pytest.mark.parametrize(("low", "high"), [(1.0, 1000.0), (0.9, 1.2), (3.0, 700.0), (1e-6, 1e12), (5.0, 5.5)])
def test_an_axis_has_a_few_ticks_within_it(
    ticks: Callable[[float, float], list[float]], low: float, high: float
) -> None:
    found = ticks(low, high)
    assert 2 <= len(found) <= 12
    assert found == sorted(set(found))
    room = 1e-9 * (high - low)
    assert low - room <= found[0] < found[-1] <= high + room


def test_tests_are_lettered() -> None:
    assert [letter_of(place) for place in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]
