"""A part's values against handbook formulas (values from memory) and against GTC."""

from itertools import combinations

import GTC
import numpy as np
import pytest

from rfcal.components.fit import FitData, choose, fit
from rfcal.components.weighting import Weighting
from rfcal.record.job.components import equivalents
from rfcal.uncertainty.derived import derived
from rfcal.uncertainty.quantity import Quantity, both_axes

FREQUENCY = np.linspace(1e6, 100e6, 199)
OMEGA = 2 * np.pi * FREQUENCY


def sweep_of(z, noise=1e-4):
    reflection = (z - 50) / (z + 50)
    return FitData(FREQUENCY, Quantity(reflection, both_axes("n", noise, per_point=True)), 50.0, 18)


def resonator(r, henry, farad):
    return r + 1j * OMEGA * henry + 1 / (1j * OMEGA * farad)


def test_series_and_parallel_equivalents_go_over_into_each_other_by_q():
    # Rp = Rs (1 + Q^2), Xp = Xs (1 + 1/Q^2) (handbook, value from memory)
    sweep = sweep_of(12 + 1j * OMEGA * 1e-6)
    found = equivalents(derived(FREQUENCY, sweep.reflection, z_ref=50.0))
    value = {name: figure.value for name, figure in found.items()}
    q = value["q"]
    np.testing.assert_allclose(q, OMEGA * 1e-6 / 12, rtol=1e-9)
    np.testing.assert_allclose(value["dissipation_factor"], 1 / q, rtol=1e-12)
    np.testing.assert_allclose(value["parallel_resistance"], 12 * (1 + q**2), rtol=1e-9)
    np.testing.assert_allclose(value["parallel_inductance"], 1e-6 * (1 + q**-2), rtol=1e-9)


def test_a_resonators_bandwidth_lies_between_its_points_of_half_power():
    # |X| = R at both; Q = f0 / (f2 - f1) (handbook, value from memory)
    r, henry, farad = 8.0, 1e-6, 25e-12
    figures = choose(sweep_of(resonator(r, henry, farad))).figures
    fine = np.linspace(1e6, 100e6, 2_000_001)
    x = 2 * np.pi * fine * henry - 1 / (2 * np.pi * fine * farad)
    inside = fine[np.abs(x) <= r]
    assert figures["bandwidth"].value[0] == pytest.approx(inside[-1] - inside[0], rel=1e-4)
    middle = np.sqrt(inside[0] * inside[-1])
    assert figures["resonance"].value[0] == pytest.approx(middle, rel=1e-5)
    quality = figures["resonance"].value[0] / figures["bandwidth"].value[0]
    assert figures["q"].value[0] == pytest.approx(quality, rel=1e-6)


def test_a_line_resonates_where_it_is_a_quarter_wave_long():
    # an open quarter wave is a short (handbook, value from memory)
    delay = 5e-9
    z = -50j * 1.5 / np.tan(OMEGA * delay)
    figures = choose(sweep_of(z)).figures
    assert figures["resonance"].value[0] == pytest.approx(1 / (4 * delay), rel=1e-4)
    assert figures["z0"].value[0] == pytest.approx(75, rel=1e-4)


def test_gtc_gives_the_same_uncertainty_of_what_is_read_off_a_fit():
    sweep = sweep_of(resonator(8.0, 1e-6, 25e-12), 1e-3)
    found = fit("series resonator", sweep, Weighting.of(sweep.reflection))
    p, covariance = found.values(), found.parameters.covariance()[:, 0, 0]
    changes = np.array([effect.change.real for effect in found.parameters.effects])
    whole = changes.T @ changes
    np.testing.assert_allclose(np.diag(whole), covariance, rtol=1e-12)
    r, x, s = GTC.multiple_ureal(list(p), list(np.sqrt(covariance)), GTC.inf, list("rxs"))
    for (i, one), (j, other) in combinations(enumerate((r, x, s)), 2):
        GTC.set_correlation(whole[i, j] / np.sqrt(whole[i, i] * whole[j, j]), one, other)
    middle = found.sweep.scale.middle / (2 * np.pi)
    told = found.figures()
    for name, by_gtc in {
        "resonance": middle * GTC.sqrt(s / x),
        "bandwidth": middle * r / x,
        "q": GTC.sqrt(x * s) / r,
    }.items():
        half = (told[name].high[0] - told[name].low[0]) / 2
        assert told[name].value[0] == pytest.approx(GTC.value(by_gtc), rel=1e-9)
        assert half == pytest.approx(1.96 * GTC.uncertainty(by_gtc), rel=1e-3)
