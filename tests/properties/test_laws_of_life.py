"""Life by the dirt that comes in: agreement with the criterion, thresholds, the original, and prices."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specdb.advice.life import (
    LONG_FOR_DUTY,
    SHORT_OF_ORIGINAL,
    Bounded,
    ServiceLife,
    life_notes,
    prices_not_used,
    service_lives,
)
from specdb.answers.deciding import equivalents
from specdb.bounds import MISSES, NOT_SHOWN
from specdb.duty.question import read_question
from specdb.duty.requirement import CUSTOMARY, NO_ASSUMPTIONS, Requirement
from specdb.ranking import Ranking, rank
from specdb.trade.service_life import LABORATORY_CAPACITY
from tests.properties.test_ranking_against_reference import rows_by_name
from tests.reference import slow
from tests.reference.catalogues import catalogues, quick, snapshot_of

FLOW_L_MIN, TERMINAL_KPA = 100.0, 200.0


def asked(original: str | None = None, maker: str = "A", **duty: Any) -> dict[str, Any]:
    """A question of life at the flow and the terminal drop that the catalogues here are about."""
    stated = {"flow": "100 L/min", "bypass_cracking_pressure": "200 kPa"} | duty
    return {"duty": stated} | ({} if original is None else {"original": {"maker": maker, "number": original}})


def held(number: str, qualifier: str | None, grams: float = 0.0, maker: str = "A") -> slow.Element:
    """An element of which one capacity is on file, tested at the duty's conditions; with no qualifier none at all."""
    collapse = slow.Test((slow.Point("collapse_pressure", "equal", 1000.0, 1.0),))
    if qualifier is None:
        return slow.Element(maker, number, (collapse,))
    point = slow.Point("retained_capacity", qualifier, grams, 1.0, flow_l_min=FLOW_L_MIN)
    test = slow.Test((point,), "ISO 16889", "ISO 12103-1 A3", None, None, "retained", TERMINAL_KPA)
    return slow.Element(maker, number, (test, collapse))


def ranked(elements: list[slow.Element], question: dict[str, Any]) -> Ranking:
    return rank(read_question(question), snapshot_of(elements))


def lives_of(elements: list[slow.Element], question: dict[str, Any]) -> dict[str, ServiceLife]:
    ranking = ranked(elements, question)
    rows = range(len(elements))
    return {ranking.snapshot.elements.number[row]: life for row, life in service_lives(ranking, rows).items()}


# --- on random catalogues -------------------------------------------------------------------------


@given(
    catalogues(("retained_capacity",)),
    st.sampled_from((0.05, 0.06, 0.5)),
    st.sampled_from((500.0, 1000.0, 1200.0)),
    st.sampled_from((0.5, 1.0)),
    st.sampled_from((None, "customary")),
)
@quick
def test_a_life_is_the_capacity_that_the_criterion_shows_over_the_ingression(elements, ingression, hours, used, assume):
    question = asked(
        ingression={"mass": f"{ingression} g/h"},
        service_interval=f"{hours} h",
        capacity_used=f"{used * 100} %",
        **({"assumptions": assume} if assume else {}),
    )
    ranking = ranked(elements, question)
    (judged,) = ranking.judged
    assert judged.requirement.rule == "service_life"
    needed = Requirement(
        "it", "retained_capacity", "derived", low=hours * ingression / used, flow_l_min=FLOW_L_MIN,
        terminal_pressure_drop_kpa=TERMINAL_KPA,
    )  # fmt: skip
    told, _ = slow.order(elements, [needed], CUSTOMARY if assume else NO_ASSUMPTIONS)
    lives = service_lives(ranking, range(len(elements)))
    for place, row in enumerate(rows_by_name(elements)):
        life, (expected,) = lives[row], told[place]
        low = 0.0 if expected.low is None or math.isinf(expected.low) else expected.low
        high = math.inf if expected.high is None else expected.high
        estimate = math.nan if expected.estimate is None else expected.estimate
        interval = (life.interval_h.low, life.interval_h.high, life.interval_h.estimate)
        for found, grams in zip(interval, (low, high, estimate), strict=True):
            assert found == pytest.approx(grams * used / ingression, nan_ok=True)
        # What is called short is what the criterion leans to missing.
        lean = int(judged.lean[row])
        assert life.short == (None if lean == NOT_SHOWN else lean == MISSES)


@given(catalogues(("retained_capacity",), least=2))
@quick
def test_beside_the_original_lives_stand_as_capacities_do(elements):
    original = elements[0]
    question = asked(
        original.number, original.maker, ingression={"mass": "0.05 g/h"}, require=[
            {"characteristic": "retained_capacity", "at_least": "1 g"}
        ]
    )  # fmt: skip
    ranking = ranked(elements, question)
    lives = service_lives(ranking, range(len(elements)))
    of_original = lives[ranking.duty.original]
    assert of_original.to_original is None
    for row, life in lives.items():
        if row != ranking.duty.original:
            for grams in filter(math.isfinite, (life.capacity_g.low, life.capacity_g.high)):
                for other in filter(math.isfinite, (of_original.capacity_g.low, of_original.capacity_g.high)):
                    if other > 0:
                        assert life.to_original.low <= grams / other * (1 + 1e-12)
                        assert life.to_original.high >= grams / other * (1 - 1e-12)


@given(st.sampled_from(("equal", "at_least", "at_most", "about")), st.floats(1, 1000), st.floats(0.001, 10))
@quick
def test_twice_the_dirt_is_half_the_life_at_twice_the_cost(qualifier, grams, ingression):
    def told(rate: float) -> ServiceLife:
        costs = {"prices": "x = 40", "change_cost": 60}
        require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
        question = asked(ingression={"mass": f"{rate!r} g/h"}, costs=costs, require=require)
        return lives_of([held("X", qualifier, grams)], question)["X"]

    one, two = told(ingression), told(2 * ingression)
    for side in ("low", "high", "estimate"):
        assert getattr(two.interval_h, side) == pytest.approx(getattr(one.interval_h, side) / 2, nan_ok=True)
        assert getattr(two.cost_per_1000_h, side) == pytest.approx(2 * getattr(one.cost_per_1000_h, side), nan_ok=True)
    assert two.cost_per_gram == one.cost_per_gram
    assert one.cost_per_gram.low <= 40 / grams <= one.cost_per_gram.high * (1 + 1e-12) or qualifier == "at_least"


# --- thresholds -----------------------------------------------------------------------------------

SIZES = {
    # number: qualifier, grams, too small and too large beside an original of 60 g and for 1000 h at 0.05 g/h (50 g)
    "tiny": ("equal", 20.0, True, False),
    "half": ("equal", 30.0, True, False),  # no less than half of the original's life, yet short of what is asked
    "enough": ("equal", 50.0, False, False),
    "thrice": ("equal", 150.0, False, False),
    "huge": ("equal", 181.0, False, True),
    "perhaps": ("about", 20.0, True, False),
    "some": ("at_least", 55.0, False, False),
    "much": ("at_least", 200.0, False, True),
    "little": ("at_most", 45.0, True, False),
    "silent": (None, 0.0, None, None),
}


def test_too_small_and_too_large_are_told_by_what_is_proven_else_by_the_estimate():
    elements = [held("O", "equal", 60.0), *(held(number, *told[:2]) for number, told in SIZES.items())]
    lives = lives_of(elements, asked("O", ingression={"mass": "0.05 g/h"}, service_interval="1000 h"))
    assert {n: (lives[n].too_small, lives[n].too_large) for n in SIZES} == {n: told[2:] for n, told in SIZES.items()}
    assert (lives["O"].too_small, lives["O"].too_large) == (False, False)
    assert f"less than {SHORT_OF_ORIGINAL:g} times the original's life" in lives["tiny"].words()
    assert "shorter than the 1000 h asked for" in lives["tiny"].words()
    assert "original" not in lives["half"].words().partition("Small")[2]
    assert f"more than {LONG_FOR_DUTY:g} times the original's life" in lives["huge"].words()
    assert "may age before it fills" in lives["much"].words()
    assert "shorter, by estimate, than" in lives["perhaps"].words()
    assert "nothing is on file" in lives["silent"].words()


def test_without_anything_to_hold_it_against_no_size_is_told():
    require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    (life,) = lives_of([held("X", "equal", 1.0)], asked(ingression={"mass": "5 g/h"}, require=require)).values()
    assert (life.too_small, life.too_large, life.to_original) == (None, None, None)
    assert "Small" not in life.words()


def test_where_no_dirt_comes_in_dirt_ends_no_interval():
    require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    duty = {"ingression": {"mass": "0 g/h"}, "service_interval": "1000 h", "require": require}
    ranking = ranked([held("X", "equal", 60.0)], asked(**duty, costs={"prices": "X = 30"}))
    assert [judged.requirement.characteristic for judged in ranking.judged] == ["collapse_pressure"]
    life = service_lives(ranking, [0])[0]
    assert (life.interval_h, life.too_small) == (None, None)
    # It is changed by the schedule all the same.
    assert (life.changed_after_h, life.cost_per_1000_h) == (Bounded(1000, 1000, 1000), Bounded(30, 30, 30))
    assert life.cost_per_gram == Bounded(0.5, 0.5, 0.5)
    assert "age" in life.words()


def test_without_an_ingression_by_mass_there_is_no_life():
    require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    ranking = ranked([held("X", "equal", 60.0)], asked(require=require, costs={"prices": "X = 30"}))
    assert service_lives(ranking, [0]) == {}
    (note,) = life_notes(ranking)
    assert "ingression.mass" in note
    assert prices_not_used(ranking, [0]) == []
    answer = equivalents(ranking, limit=1)
    assert answer.candidates[0].service_life is None
    assert note in answer.notes


# --- prices ---------------------------------------------------------------------------------------

SHARED = [held("X-1", "equal", 60.0, "A"), held("X-1", "equal", 60.0, "B"), held("Y", "equal", 60.0, "B")]


@pytest.mark.parametrize(
    ("prices", "used", "noted"),
    [
        ("Y = 30", {("B", "Y"): 30}, ()),
        ("y = 30; Y = 30.0", {("B", "Y"): 30}, ()),
        ("A: x \N{EN DASH} 1 = 30; B: X-1 = 40", {("A", "X-1"): 30, ("B", "X-1"): 40}, ()),
        ("X-1 = 30", {}, ("several makers have this number (A, B)",)),
        ("Y = 30; B: Y = 31", {}, ("stated as 30 and 31",)),
        ("Z = 30; A: Y = 31; --- = 3", {}, ("no element that was judged", "on file of B", "no element")),
        ("X-12 = 3", {}, ("Near it on file, each an element of its own: A X-1 (one character less)",)),
    ],
)
def test_a_price_is_that_of_the_one_element_that_it_names(prices, used, noted):
    require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    ranking = ranked(SHARED, asked(ingression={"mass": "0.05 g/h"}, require=require, costs={"prices": prices}))
    elements = ranking.snapshot.elements
    lives = service_lives(ranking, range(3))
    found = {(elements.maker[row], elements.number[row]): life.price for row, life in lives.items()}
    assert {named: price for named, price in found.items() if price is not None} == used
    assert life_notes(ranking) == [LABORATORY_CAPACITY]
    notes = prices_not_used(ranking, range(3))
    assert len(notes) == len(noted)
    assert all(part in note for part, note in zip(noted, notes, strict=True))


def test_a_price_of_an_element_that_is_not_listed_is_told():
    require = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    ranking = ranked(SHARED, asked(ingression={"mass": "0.05 g/h"}, require=require, costs={"prices": "Y = 30"}))
    answer = equivalents(ranking, limit=2)
    assert ranking.snapshot.elements.number[ranking.candidates[2]] == "Y"
    (told,) = answer.prices_not_used
    assert "B Y is not used: it stands at rank 3, beyond the candidates that are listed" in told
    assert equivalents(ranking, limit=3).prices_not_used == []


CHANGED = {
    # number: qualifier, grams, hours after which it is changed at 0.1 g/h and every 500 h, and what is said of it
    "LONG": ("equal", 60.0, (500, 500, 500), "changed at the service interval of 500 h, which its life covers, 1000 h"),
    "JUST": ("equal", 50.0, (500, 500, 500), "which its life covers, 1000 h"),
    "MORE": ("at_least", 55.0, (500, 500, 500), "which its life covers, 1000 h"),
    "SHORT": ("equal", 40.0, (400, 400, 400), "at the end of its life, sooner than the service interval of 500 h"),
    "PERHAPS": ("about", 40.0, (0, 500, 400), "at the end of its life, sooner, by estimate, than the service interval"),
    "HARDLY": ("about", 60.0, (0, 500, 500), "which its life covers, by estimate, 1000 h"),
    "SOME": ("at_least", 40.0, (400, 500, 400), "sooner, by estimate, than the service interval"),
    "SILENT": (None, 0.0, (0, 500, math.nan), "whichever is sooner, 1000 h of work cost at least 200 crowns"),
}


def test_costs_are_those_of_the_change_by_dirt_or_by_schedule_whichever_is_sooner():
    prices = "; ".join(f"{number} = 40" for number in CHANGED)
    question = asked(
        ingression={"mass": "0.1 g/h"}, service_interval="500 h",
        costs={"currency": "crowns", "change_cost": 60, "prices": prices},
    )  # fmt: skip
    lives = lives_of([held(number, *told[:2]) for number, told in CHANGED.items()], question)
    for number, (_, _, hours, said) in CHANGED.items():
        life = lives[number]
        changed = life.changed_after_h
        assert (changed.low, changed.high, changed.estimate) == pytest.approx(hours, nan_ok=True), number
        costs = [100_000 / h if h else math.inf for h in (hours[1], hours[0], hours[2])]
        cost = life.cost_per_1000_h
        assert (cost.low, cost.high, cost.estimate) == pytest.approx(costs, nan_ok=True), number
        assert said in life.words(), life.words()
    assert lives["LONG"].interval_h.low == 600
    # Without a schedule only the life ends it.
    question["duty"].pop("service_interval")
    question["duty"]["require"] = [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]
    (life,) = lives_of([held("LONG", "equal", 60.0)], question).values()
    assert life.changed_after_h == life.interval_h
    assert "changed at the end of its life, 1000 h of work cost 166.7 crowns" in life.words()


def test_costs_are_bounds_in_the_currency_as_typed():
    costs = {"currency": "crowns", "change_cost": 60, "prices": "X = 40"}
    question = asked(ingression={"mass": "0.1 g/h"}, service_interval="1000 h", costs=costs)
    ranking = ranked([held("X", "at_least", 60.0)], question)
    shown = equivalents(ranking, limit=1).candidates[0].service_life
    per_hours, per_gram = shown.cost_per_1000_h, shown.cost_per_gram
    assert (per_hours.low, per_hours.high, per_hours.unit) == (100, pytest.approx(100 / 0.6), "crowns")
    assert (per_gram.low, per_gram.high, per_gram.unit) == (None, pytest.approx(40 / 60), "crowns")
    assert (shown.interval.low, shown.interval.high, shown.interval.unit) == (600, None, "h")
    assert "166.7 crowns" in shown.words
    assert "40 crowns and 60 crowns for each change" in shown.words
    assert LABORATORY_CAPACITY in equivalents(ranking, limit=1).notes
