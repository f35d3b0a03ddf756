"""The small sums as a customer asks them, against published and independently computed values."""

from __future__ import annotations

import pytest

from specdb.calculations import calculate

# Computed from efficiency = 100 (β - 1) / β (ISO 16889), and the pairs that are customarily printed (common practice).
PAIRS = [
    (2, 50, 50),
    (10, 90, 90),
    (20, 95, 95),
    (75, 98.6667, 98.7),
    (100, 99, 99),
    (200, 99.5, 99.5),
    (1000, 99.9, 99.9),
]


@pytest.mark.parametrize(("beta", "efficiency", "printed"), PAIRS)
def test_ratio_and_efficiency(beta, efficiency, printed):
    told = calculate("efficiency", {"ratio": beta})
    assert told.efficiency.value == pytest.approx(efficiency, abs=5e-5)
    assert told.customary_efficiency.value == printed
    assert calculate("filtration_ratio", {"efficiency": f"{printed} %"}).customary_ratio == beta


def test_a_printed_98_7_percent():
    # Computed from the definition: "98.7 %" inverts to 76.92, and its digits leave 1/0.0135 to 1/0.0125.
    told = calculate("filtration_ratio", {"efficiency": "98.7 %"})
    assert told.ratio == pytest.approx(76.92, abs=5e-3)
    assert (told.ratio_low, told.ratio_high) == (pytest.approx(74.074, abs=5e-4), pytest.approx(80, rel=1e-9))


@pytest.mark.parametrize(("up", "down", "beta"), [("2000 /mL", "1000 /mL", 2), ("101351.35 /100mL", "13.5135 /mL", 75)])
def test_ratio_of_counts(up, down, beta):
    # Computed from the balance of one full-flow filter (from memory: E. C. Fitch, Oklahoma State University).
    assert calculate("filtration_ratio", {"upstream": up, "downstream": down}).ratio == pytest.approx(beta, rel=1e-5)


def test_between_two_tested_points():
    # Computed: β 20 at 5 µm(c) and 200 at 10 µm(c) give β 75 at 7.8702 µm(c) on a semi-log plot (ISO 16889; the plot
    # from memory); log-log would give 7.4434.
    points = "5 um(c) = 20; 10 um(c) = 200"
    told = calculate("size_at_ratio", {"ratio": "75", "points": points})
    assert told.size.value == pytest.approx(7.8702, abs=5e-5)
    assert told.size.unit == "µm(c)"
    assert calculate("ratio_at_size", {"size": "7.8702 um(c)", "points": points}).ratio == pytest.approx(75, abs=5e-3)


# Read in a particle-counter maker's public note on reporting to ISO 11171.
SCALES = {1: 4.2, 2: 4.6, 3: 5.1, 5: 6.4, 7: 7.7, 10: 9.8, 15: 13.6, 20: 17.5, 25: 21.2, 30: 24.9, 40: 31.7, 50: 38.2}


@pytest.mark.parametrize(("acftd", "c"), SCALES.items())
def test_size_scales(acftd, c):
    assert calculate("size_scale", {"size": f"{acftd} um(acftd)"}).size_c.value == c
    assert calculate("size_scale", {"size": f"{c} um(c)"}).size_acftd.value == acftd


def test_worked_example_of_the_viscosity_index():
    # ASTM D2270, clauses 5 and 6: 73.30 and 8.86 mm²/s, viscosity index 92.
    assert calculate("viscosity_index", {"viscosity_40": "73.30 cSt", "viscosity_100": "8.86 cSt"}).reported == 92


@pytest.mark.parametrize(
    ("points", "temperature", "expected"),
    [
        ("32 cSt at 40 degC; 5.4 cSt at 100 degC", "0 degC", 336.000),
        ("32 cSt at 40 degC; 5.4 cSt at 100 degC", "68 degF", 86.278),
        ("46 cSt at 40 degC; 6.8 cSt at 100 degC", "50 degC", 29.973),
    ],
)
def test_viscosity_at_a_temperature(points, temperature, expected):
    # Computed apart from this program from ASTM D341, log log (ν + 0.7) = A - B log T, with T = t + 273.15.
    told = calculate("viscosity", {"temperature": temperature, "points": points})
    assert told.viscosity.value == pytest.approx(expected, abs=5e-4)


def test_worksheet_on_d341():
    # A public worksheet on ASTM D341: 32 mm²/s at 40 °C and 5.4 at 100 °C give 8.5 at 80 °C.
    told = calculate("viscosity", {"temperature": "80 degC", "points": "32 cSt at 40 degC; 5.4 cSt at 100 degC"})
    assert told.viscosity.value == pytest.approx(8.5, abs=0.05)


@pytest.mark.parametrize(("grade", "middle"), [(2, 2.2), (3, 3.2), (5, 4.6), (7, 6.8), (46, 46.0), (3200, 3200.0)])
def test_grades(grade, middle):
    # ISO 3448:1992: midpoint ± 10 % at 40 °C; VG 2, 3, 5 and 7 have midpoints of their own.
    told = calculate("viscosity", {"temperature": "40 degC", "grade": f"ISO VG {grade}"})
    low, high = told.viscosity_low.value, told.viscosity_high.value
    assert (low, told.viscosity.value, high) == (pytest.approx(0.9 * middle), middle, pytest.approx(1.1 * middle))


@pytest.mark.parametrize(("pore", "pressure_pa"), [(5, 17056), (10, 8528), (20, 4264), (100, 852.8)])
def test_pores(pore, pressure_pa):
    # Computed from p = 4 σ cos θ / d (Young–Laplace), σ = 21.32 mN/m, θ = 0.
    liquid = {"surface_tension_mn_m": 21.32}
    bubble = calculate("bubble_pressure", {"pore": f"{pore} um"} | liquid)
    assert bubble.pressure.value * 1000 == pytest.approx(pressure_pa)
    assert calculate("pore_size", {"pressure": f"{pressure_pa} Pa"} | liquid).pore.value == pytest.approx(pore)


def test_head_of_the_liquid():
    # Computed: 12 mm at 785 kg/m³ under standard gravity, 92.38 Pa.
    told = calculate("pore_size", {"pressure": "8620.38 Pa", "depth": "12 mm", "density": "785 kg/m3"})
    assert told.head.value * 1000 == pytest.approx(92.38, abs=5e-3)
    assert told.pore.value == pytest.approx(10, abs=2e-3)


def test_2_propanol_is_the_liquid_unless_another_is_stated():
    # 21.322 mN/m at 20 °C: chemicals 1.5, after J. J. Jasper, 1972.
    told = calculate("bubble_pressure", {"pore": "10 um"})
    assert told.pressure.value == pytest.approx(4 * 21.322 / 10, rel=1e-12)


@pytest.mark.parametrize(
    ("psi", "name", "working", "burst"),
    [
        (1, "low", 150, (300, 300)),
        (150, "low", 150, (300, 300)),
        (151, "medium", 500, (1000, 1500)),
        (500, "medium", 500, (1000, 1500)),
        (501, "high", 3000, (6000, 6000)),
        (3000, "high", 3000, (6000, 6000)),
    ],
)
def test_pressure_classes(psi, name, working, burst):
    # Common practice, without a source: 150 psi working and 300 psi burst; 500 and 1,000 to
    # 1,500 psi; 3,000 and 6,000 psi.
    told = calculate("pressure_class", {"working_pressure": f"{psi} psi"}, "us")
    assert told.pressure_class == name
    assert told.class_working_pressure.value == pytest.approx(working)
    assert (told.burst_low.value, told.burst_high.value) == pytest.approx(burst)


def test_the_air_over_a_reservoir():
    # pint 0.25 has the standard atmosphere as 101325 Pa, exact by definition.
    told = calculate("suction_drop", {"pump_inlet_pressure": "0 kPa"} | {"reservoir_pressure": "0.02 MPa (g)"})
    assert (told.pump_inlet_pressure.value, told.drop.value) == (pytest.approx(101.325), pytest.approx(20))
    assert calculate("suction_drop", {"pump_inlet_pressure": "80 kPa abs"}).reservoir_pressure.value == 101.325


@pytest.mark.parametrize(
    ("value", "to", "converted", "code"),
    [
        # NIST SP 811: exact by definition.
        ("1 gpm", "L/min", 3.785411784, "L/min"),
        ("1 imp gpm", "L/min", 4.54609, "L/min"),
        ("1 psi", "kPa", 6.894757293168, "kPa"),
        ("1 bar", "kPa", 100, "kPa"),
        ("1 kgf/cm2", "kPa", 98.0665, "kPa"),
        ("1 inHg", "Pa", 3386.388640, "Pa"),
        ("1 inH2O", "Pa", 249.08891, "Pa"),
        ("1 St", "mm2/s", 100, "mm²/s"),
        ("1 ft2/s", "cSt", 92903.04, "cSt"),
        ("1 mil", "um", 25.4, "µm"),
        ("1 lb", "g", 453.59237, "g"),
        ("1 cfm", "L/min", 28.316846592, "L/min"),
        ("100 degC", "degF", 212, "°F"),
        ("-40 degF", "degC", -40, "°C"),
        ("0 degC", "K", 273.15, "K"),
    ],
)
def test_conversions(value, to, converted, code):
    told = calculate("convert", {"value": value, "to": to})
    assert told.converted.value == pytest.approx(converted, rel=1e-9)
    assert told.converted.unit == code


@pytest.mark.parametrize(("mm2_s", "sus"), [(10, 58.837), (32, 150.488), (46, 214.193), (100, 463.463)])
def test_saybolt_seconds(mm2_s, sus):
    # chemicals 1.5, chemicals.viscosity.viscosity_converter (ASTM D2161), at 100 °F.
    told = calculate("convert", {"value": f"{mm2_s} cSt", "to": "SUS", "temperature": "100 degF"})
    assert told.converted.value == pytest.approx(sus, abs=5e-4)
    assert calculate("convert", {"value": f"{sus} SUS at 100 degF"}).converted.value == pytest.approx(mm2_s, rel=1e-5)


def test_saybolt_seconds_of_thick_oil():
    # ASTM D2161: above 75 mm²/s, SUS = 4.632 ν at 100 °F and 4.664 ν at 210 °F.
    for at, factor in (("100 degF", 4.632), ("210 degF", 4.664)):
        told = calculate("convert", {"value": "500 cSt", "to": "SUS", "temperature": at})
        assert told.converted.value == pytest.approx(500 * factor, rel=3e-4)
