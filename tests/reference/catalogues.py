"""Random catalogues and requirements, small and full of coincidences, and the frames a snapshot is built of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from unittest import mock

import pandas as pd
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

from specdb import ranking
from specdb.catalog.snapshot import Snapshot, build_snapshot
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria import Judged, judge
from specdb.duty import Question
from specdb.duty.circumstances import Circumstances
from specdb.duty.requirement import NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.duty.resolve import Duty
from specdb.trade.filtration import beta_from_efficiency, customary_beta
from tests.reference import slow

JUDGED = tuple(key for key, c in CHARACTERISTICS.items() if c.sense != "shown")
CURVES = ("filtration_ratio", "clean_pressure_drop", "retained_capacity")

thorough = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)
quick = settings(thorough, max_examples=16)

# --- frames ---------------------------------------------------------------------------------------

ELEMENT_COLUMNS = ("element_id", "maker", "number", "maker_key", "number_key")
ATTRIBUTE_COLUMNS = ("element_id", "name", "number", "code")
OF_TEST = (
    "standard", "dust", "test_liquid", "drop_of", "capacity_basis", "terminal_pressure_drop_kpa", "cycle_pressure_kpa",
)  # fmt: skip
TEST_COLUMNS = ("id", "element_id", "source_id", "laboratory", *OF_TEST)
OF_POINT = (
    "characteristic", "qualifier", "value", "resolution", "size_um", "flow_l_min", "viscosity_mm2_s", "density_kg_m3",
    "efficiency_percent", "efficiency_resolution",
)  # fmt: skip
RATING_COLUMNS = ("id", "test_id", "size_scale", *OF_POINT)


def snapshot_of(elements: list[slow.Element], claims: pd.DataFrame | None = None) -> Snapshot:
    """The columnar view of a plain catalogue, built from frames such as the store gives."""
    element_rows: list[dict[str, Any]] = []
    attributes: list[dict[str, Any]] = []
    tests: list[dict[str, Any]] = []
    ratings: list[dict[str, Any]] = []
    for element in elements:
        key = f"{element.maker}/{element.number}"
        names = {"maker": element.maker, "number": element.number}
        element_rows.append(
            {"element_id": key, **names, "maker_key": element.maker, "number_key": element.number}
        )
        attributes += [{"element_id": key, "name": n, "number": v, "code": None} for n, v in element.measures.items()]
        attributes += [{"element_id": key, "name": n, "number": None, "code": v} for n, v in element.words.items()]
        for test in element.tests:
            row = {"id": len(tests) + 1, "element_id": key, "source_id": None, "laboratory": None}
            tests.append(row | {name: getattr(test, name) for name in OF_TEST})
            for point in test.points:
                rating = {"id": len(ratings) + 1, "test_id": len(tests), "size_scale": point.scale}
                ratings.append(rating | {name: getattr(point, name) for name in OF_POINT})
    return build_snapshot(
        1,
        pd.DataFrame(element_rows, columns=ELEMENT_COLUMNS, dtype=object),
        pd.DataFrame(attributes, columns=ATTRIBUTE_COLUMNS, dtype=object),
        pd.DataFrame(tests, columns=TEST_COLUMNS, dtype=object),
        pd.DataFrame(ratings, columns=RATING_COLUMNS, dtype=object),
        claims=claims,
    )


def rank(
    elements: list[slow.Element], requirements: list[Requirement], assumptions: Assumptions = NO_ASSUMPTIONS
) -> ranking.Ranking:
    """The program's ranking of a plain catalogue against requirements as they are."""
    duty = Duty(tuple(requirements), assumptions, None, (), (), Circumstances(), (), ())
    with mock.patch.object(ranking, "resolve", return_value=duty):
        return ranking.rank(Question(), snapshot_of(elements))


def judge_all(
    elements: list[slow.Element], requirements: list[Requirement], assumptions: Assumptions
) -> list[Judged]:
    snapshot = snapshot_of(elements)
    return [judge(snapshot, required, assumptions) for required in requirements]


# --- catalogues -----------------------------------------------------------------------------------

QUALIFIERS = st.sampled_from(("equal", "equal", "at_least", "at_most", "about"))
# On, just inside and just outside 5 % of 100 L/min.
FLOWS = st.sampled_from((None, 60.0, 94.9, 95.0, 98.0, 100.0, 100.0, 100.0, 105.0, 105.1, 130.0))
RATIO_SIZES = st.sampled_from((0.5, 3.0, 4.0, 5.0, 6.4, 7.0, 9.8, 10.0, 10.0, 12.0, 15.0, 20.0, 25.0, 110.0))
RATIOS = st.sampled_from((0.9, 1.5, 2.0, 10.0, 20.0, 74.6, 75.0, 99.6, 100.0, 150.0, 199.0, 200.0, 202.0, 1000.0))
DUSTS = st.sampled_from((None, None, None, "ISO 12103-1 A3", "ACFTD", "ISO 12103-1 A2"))
RESOLUTIONS = st.sampled_from((0.1, 1.0, 10.0))
TERMINAL_DROPS = st.sampled_from((None, 100.0, 199.5, 200.0, 201.1, 300.0))
CYCLE_PRESSURES = st.sampled_from((None, 300.0, 497.6, 500.0, 502.4, 503.0, 800.0))
LIQUIDS = st.sampled_from((None, None, "2-propanol", "mineral oil"))
STANDARDS = {
    "filtration_ratio": ("ISO 16889", "ISO 16889", "ISO 4572", None),
    "retained_capacity": ("ISO 16889", "ISO 4572", None),
    "bubble_point": ("ISO 2942", None),
    "flow_fatigue_cycles": ("ISO 3724", "ISO 23181", None),
}
OTHER_VALUES = {
    "retained_capacity": (40.0, 59.8, 60.0, 60.4, 80.0),
    "bubble_point": (1.5, 2.0, 2.004, 3.0),
    "flow_fatigue_cycles": (9960.0, 1e4, 1e5, 1e6),
    "pressure_fatigue_cycles": (9960.0, 1e4, 1e5, 1e6),
    "temperature_low": (-40.0, -30.0, -29.9, -10.0),
    "temperature_high": (80.0, 99.6, 100.0, 120.0),
    "collapse_pressure": (24.0, 40.0, 500.0, 995.0, 995.6, 1000.0, 1000.0, 1003.0, 2000.0),
    "air_pressure_drop": (1.0, 1.995, 2.0, 2.004, 5.0),
    "air_particle_size": (1.0, 2.995, 3.0, 3.004, 5.0),
}
PRESSURES_KPA = (500.0, 995.0, 995.6, 1000.0, 1000.0, 1003.0, 2000.0)


@st.composite
def ratio_points(draw: st.DrawFn) -> list[slow.Point]:
    count = draw(st.integers(1, 5))
    sizes = draw(st.lists(RATIO_SIZES, min_size=count, max_size=count))
    ratios = draw(st.lists(RATIOS, min_size=count, max_size=count))
    if draw(st.integers(0, 3)):
        sizes, ratios = sorted(sizes), sorted(ratios)
    scale = draw(st.sampled_from(("c", "c", "acftd", "?")))
    flow = draw(FLOWS)
    mixed = draw(st.integers(0, 3)) == 0
    points = []
    for size, ratio in zip(sizes, ratios, strict=True):
        point = slow.Point(
            "filtration_ratio",
            draw(QUALIFIERS),
            ratio,
            draw(RESOLUTIONS),
            size,
            draw(st.sampled_from(("c", "acftd", "?"))) if mixed else scale,
            draw(FLOWS) if mixed else flow,
        )
        if draw(st.integers(0, 5)) == 0:
            point = as_efficiency(point, draw(st.sampled_from((50.0, 98.0, 98.7, 99.0, 99.3, 99.5, 99.9, 100.0))))
        points.append(point)
    return points


def as_efficiency(point: slow.Point, efficiency: float) -> slow.Point:
    value = 2000.0 if efficiency == 100 else customary_beta(efficiency) or beta_from_efficiency(efficiency)
    return replace(
        point, value=value, resolution=1.0, efficiency_percent=efficiency, efficiency_resolution=0.1
    )


@st.composite
def drop_points(draw: st.DrawFn) -> list[slow.Point]:
    """Mostly near a law of the two terms, each point to its printed digits."""
    lawful = draw(st.integers(0, 3)) > 0
    viscous, inertial = draw(st.sampled_from(((1.0, 0.0), (0.7, 0.3), (0.3, 0.7), (0.0, 1.0))))
    viscosities = st.sampled_from(draw(st.sampled_from(((32.0,), (32.0, 46.0, 32.1), (None, 32.0), (None,)))))
    densities = st.sampled_from(draw(st.sampled_from(((None,), (None, 870.0), (860.0, 870.0)))))
    flows = draw(st.lists(FLOWS, min_size=1, max_size=4))
    points = []
    for flow in flows:
        viscosity, density, resolution = draw(viscosities), draw(densities), draw(st.sampled_from((0.1, 1.0)))
        share = (flow or 100.0) / 100.0
        drop = 25.0 * (viscous * share * (viscosity or 32.0) / 32.0 + inertial * share**2) * (density or 870.0) / 870.0
        drop *= draw(st.sampled_from((1.0, 1.0, 0.97, 1.03))) if lawful else draw(st.sampled_from((0.5, 1.0, 2.0)))
        value = max(round(drop / resolution) * resolution, resolution)
        points.append(
            slow.Point(
                "clean_pressure_drop",
                draw(QUALIFIERS),
                value,
                resolution,
                flow_l_min=flow,
                viscosity_mm2_s=viscosity,
                density_kg_m3=density,
            )
        )
    return points


@st.composite
def other_points(draw: st.DrawFn, key: str) -> list[slow.Point]:
    values = st.sampled_from(OTHER_VALUES.get(key, PRESSURES_KPA))
    count = draw(st.sampled_from((1, 1, 1, 2, 3)))
    flow = draw(FLOWS)
    mixed = draw(st.booleans())
    return [
        slow.Point(
            key,
            draw(QUALIFIERS),
            draw(values),
            draw(RESOLUTIONS),
            flow_l_min=(draw(FLOWS) if mixed else flow) if "flow" in CHARACTERISTICS[key].judged_with else None,
        )
        for _ in range(count)
    ]


@st.composite
def random_test(draw: st.DrawFn, key: str) -> slow.Test:
    points = {"filtration_ratio": ratio_points(), "clean_pressure_drop": drop_points()}.get(key, other_points(key))
    return slow.Test(
        tuple(draw(points)),
        standard=draw(st.sampled_from(STANDARDS.get(key, (None,)))),
        dust=draw(DUSTS) if key in ("filtration_ratio", "retained_capacity") else None,
        test_liquid=draw(LIQUIDS) if key == "bubble_point" else None,
        drop_of=draw(st.sampled_from((None, "element", "assembly"))) if key == "clean_pressure_drop" else None,
        capacity_basis=draw(st.sampled_from((None, "retained", "injected"))) if key == "retained_capacity" else None,
        terminal_pressure_drop_kpa=draw(TERMINAL_DROPS) if key == "retained_capacity" else None,
        cycle_pressure_kpa=draw(CYCLE_PRESSURES) if key.endswith("fatigue_cycles") else None,
    )


WORDS = {
    "kind": ("spin-on", "cartridge", "breather"),
    "thread": ("1-12 UNF", "M26x1.5"),
    "seal": ("NBR", "FKM", "EPDM", "none"),
    "bypass_valve": ("yes", "no"),
    "zinc_parts": ("yes", "no"),
}
MEASURES = {"length": (99.0, 100.0, 101.0, 103.0), "outside_diameter": (95.0, 96.0, 97.5)}
FLUIDS = (None, "HM", "HM HV", "HFC")
MEDIA = (None, "glass fibre", "cellulose", "polyester")


@st.composite
def elements_of(
    draw: st.DrawFn, keys: tuple[str, ...], maker: str, number: str, tests_at_most: int, tests_joined: bool = True
) -> slow.Element:
    tests: list[slow.Test] = []
    for key in keys:
        tests += draw(st.lists(random_test(key), min_size=0, max_size=tests_at_most))
    if tests_joined and len(tests) > 1 and draw(st.integers(0, 5)) == 0:
        # One test may report several characteristics.
        other = tests.pop()
        tests[0] = replace(tests[0], points=tests[0].points + other.points)
    words = {k: draw(st.sampled_from(v)) for k, v in WORDS.items() if draw(st.booleans())}
    for name in ("fluids_compatible", "fluids_excluded", "fluids_tested", "fluids_failed"):
        listed = draw(st.sampled_from(FLUIDS))
        if listed is not None:
            words[name] = listed
    media = draw(st.sampled_from(MEDIA))
    if media is not None:
        words["media"] = media
    measures = {k: draw(st.sampled_from(v)) for k, v in MEASURES.items() if draw(st.booleans())}
    return slow.Element(maker, number, tuple(tests), words, measures)


@st.composite
def catalogues(
    draw: st.DrawFn,
    keys: tuple[str, ...],
    least: int = 1,
    most: int = 6,
    tests_at_most: int = 3,
    tests_joined: bool = True,
) -> list[slow.Element]:
    numbers = draw(
        st.lists(
            st.tuples(st.sampled_from("AB"), st.sampled_from("1234")), min_size=least, max_size=most, unique=True
        )
    )
    return [draw(elements_of(keys, maker, number, tests_at_most, tests_joined)) for maker, number in numbers]


# --- requirements ---------------------------------------------------------------------------------

LIMITS: dict[str, tuple[float, ...]] = {
    "filtration_ratio": (2.0, 75.0, 100.0, 200.0),
    "clean_pressure_drop": (20.0, 25.0, 26.0, 40.0),
    **OTHER_VALUES,
}


@st.composite
def requirements_on(draw: st.DrawFn, key: str, identity: str, usual_way_only: bool = False) -> Requirement:
    where: dict[str, Any] = {"allow": draw(st.sampled_from((0.0, 0.0, 0.05)))}
    judged_with = CHARACTERISTICS[key].judged_with
    if "size" in judged_with:
        where["size_um"] = draw(st.sampled_from((4.0, 7.0, 7.7, 9.8, 10.0, 10.0, 14.0, 30.0)))
        where["scale"] = draw(st.sampled_from(("c", "c", "acftd")))
    if "flow" in judged_with:
        where["flow_l_min"] = draw(st.sampled_from((None, 100.0, 100.0)))
    if "viscosity" in judged_with:
        band = draw(st.sampled_from(((None, None), (32.0, 32.0), (32.0, 32.0), (28.0, 36.0))))
        where["viscosity_low_mm2_s"], where["viscosity_high_mm2_s"] = band
    if "density" in judged_with:
        dense = draw(st.sampled_from(((None, None), (None, None), (870.0, 870.0), (900.0, 900.0), (850.0, 930.0))))
        where["density_low_kg_m3"], where["density_high_kg_m3"] = dense
    if "terminal_pressure_drop" in judged_with:
        where["terminal_pressure_drop_kpa"] = draw(st.sampled_from((None, 200.0, 200.0)))
    if "cycle_pressure" in judged_with:
        where["cycle_pressure_kpa"] = draw(st.sampled_from((None, 500.0, 500.0)))
    if "test_liquid" in judged_with:
        where["test_liquid"] = draw(LIQUIDS)
    if "drop_of" in judged_with:
        where["drop_of"] = draw(st.sampled_from((None, "element", "assembly")))
    if "capacity_basis" in judged_with:
        where["capacity_basis"] = draw(st.sampled_from((None, "retained", "injected")))
    if "standard" in judged_with:
        where["standard"] = draw(st.sampled_from((None, "ISO 3724", "ISO 23181")))
    if "dust" in judged_with:
        where["dust"] = draw(DUSTS)
    values = st.sampled_from(LIMITS.get(key, PRESSURES_KPA))
    first, second = sorted((draw(values), draw(values)))
    usual = "at_most" if CHARACTERISTICS[key].sense in ("lower", "covers_below") else "at_least"
    limits = usual if usual_way_only else draw(st.sampled_from((usual, usual, usual, "at_least", "at_most", "both")))
    if limits in ("at_least", "both"):
        where["low"] = first
    if limits in ("at_most", "both"):
        where["high"] = second
    return Requirement(identity, key, "stated", **where)


@st.composite
def attribute_requirements(draw: st.DrawFn) -> list[Requirement]:
    found = []
    for name, choices in WORDS.items():
        if draw(st.integers(0, 2)) == 0:
            found.append(Requirement(name, name, "stated", word=draw(st.sampled_from(choices))))
    for name in MEASURES:
        if draw(st.integers(0, 2)) == 0:
            low, high = draw(st.sampled_from(((95.0, 97.0), (99.0, 101.0), (-slow.INF, 100.0))))
            found.append(Requirement(name, name, "stated", low=low, high=high))
    if draw(st.booleans()):
        found.append(Requirement("fluid_class", "fluid_class", "stated", word=draw(st.sampled_from(("HM", "HFC")))))
    for name in ("seal_compatibility", "media_compatibility"):
        if draw(st.integers(0, 2)) == 0:
            found.append(Requirement(name, name, "derived", word=draw(st.sampled_from(("HM", "HFC", "HEES", "HFDR")))))
    return found


ASSUMPTIONS = st.one_of(
    st.just(NO_ASSUMPTIONS),
    st.builds(
        Assumptions,
        unstated_conditions_match=st.booleans(),
        about_within=st.sampled_from((None, 0.15, 0.01)),
        viscous_share_at_least=st.sampled_from((None, 0.7, 0.9)),
        converted_sizes_count=st.booleans(),
        bare_size_is=st.sampled_from((None, "c", "acftd")),
    ),
)


@dataclass(frozen=True)
class Case:
    elements: list[slow.Element]
    requirements: list[Requirement]
    assumptions: Assumptions


@st.composite
def cases(
    draw: st.DrawFn,
    keys: tuple[str, ...] = JUDGED,
    least: int = 1,
    most: int = 6,
    tests_at_most: int = 3,
    characteristics_at_most: int = 3,
    assumptions: st.SearchStrategy[Assumptions] = ASSUMPTIONS,
) -> Case:
    """A catalogue and requirements on what is in it."""
    chosen = tuple(
        draw(st.lists(st.sampled_from(keys), min_size=1, max_size=characteristics_at_most, unique=True))
    )
    elements = draw(catalogues(chosen, least, most, tests_at_most))
    required = [
        draw(requirements_on(key, f"{key}-{n}")) for key in chosen for n in range(draw(st.sampled_from((1, 1, 2))))
    ]
    return Case(elements, required + draw(attribute_requirements()), draw(assumptions))
