"""Filtration ratio and efficiency: values worked out from the definition, and the plot the standard reads from."""

from __future__ import annotations

import pytest

from specdb.trade.filtration import (
    CUSTOMARY_PAIRS,
    beta_from_efficiency,
    customary_beta,
    efficiency_band,
    efficiency_from_beta,
    interpolate_ratio,
    ratio_from_counts,
    size_at_ratio,
)
from specdb.trade.size_scales import acftd_to_c

# Computed from efficiency = 100 (β - 1) / β, the definition of ISO 16889 (multi-pass test).
EFFICIENCIES = [(2, 50.0), (10, 90.0), (20, 95.0), (75, 98.6667), (100, 99.0), (200, 99.5), (1000, 99.9)]


@pytest.mark.parametrize(("beta", "efficiency"), EFFICIENCIES)
def test_efficiency_of_a_ratio(beta, efficiency):
    assert efficiency_from_beta(float(beta)) == pytest.approx(efficiency, abs=5e-5)


def test_customary_pairs_print_the_efficiency_of_their_ratio():
    # Common practice: these seven printed efficiencies stand for these seven ratios.
    assert CUSTOMARY_PAIRS == {50: 2, 90: 10, 95: 20, 98.7: 75, 99: 100, 99.5: 200, 99.9: 1000}
    for printed, beta in CUSTOMARY_PAIRS.items():
        assert round(efficiency_from_beta(beta), 1) == printed


def test_a_printed_98_7_percent_is_a_band_about_75_and_not_75():
    # Computed from the definition: "98.7 %" inverts to 76.92.
    assert beta_from_efficiency(98.7) == pytest.approx(76.92, abs=5e-3)
    low, high = efficiency_band(98.7, 0.1)
    assert low < 75 < 76.92 < high
    assert customary_beta(98.7) == 75


def test_semi_log_interpolation():
    # Computed: β 20 at 5 µm(c) and 200 at 10 µm(c) give β 75 at 7.8702 µm(c) on a semi-log plot (ISO 16889; that the
    # plot is semi-log is from memory). Log-log would give 7.4434.
    assert size_at_ratio(75.0, 5.0, 20.0, 10.0, 200.0) == pytest.approx(7.8702, abs=5e-5)
    assert interpolate_ratio(7.8702, 5.0, 20.0, 10.0, 200.0) == pytest.approx(75, abs=5e-3)
    assert abs(interpolate_ratio(7.4434, 5.0, 20.0, 10.0, 200.0) - 75) > 10


@pytest.mark.parametrize(
    ("upstream", "downstream", "beta"), [(2000, 1000, 2), (1013.5135, 13.5135, 75), (1001.001, 1.001, 1000)]
)
def test_ratio_of_counts(upstream, downstream, beta):
    # Computed from the balance of one full-flow filter, 1e8 particles per minute into 100 L/min:
    # N_u = R β / (Q (β - 1)) and N_d = R / (Q (β - 1)) per mL (from memory: E. C. Fitch, Oklahoma State University).
    assert ratio_from_counts(float(upstream), float(downstream)) == pytest.approx(beta, rel=1e-5)


def test_target_of_a_specification_on_the_newer_size_scale():
    # US Federal Specification F-F-351F, 4.6.5.2: β10 = 2 and β25 = 75 to ISO 4572, at 9.8 and 21.2 µm(c).
    assert (acftd_to_c(10.0), acftd_to_c(25.0)) == (9.8, 21.2)
