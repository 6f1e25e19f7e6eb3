"""The truth lies inside with drift, self-correcting instruments and repeats too."""

import numpy as np
import pytest
from scipy.stats import binom, f

from rfcal.maths import circles as levels
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.error_terms import drift_effects, self_correcting, solve
from rfcal.measurement.propagate import Inputs, propagate
from rfcal.uncertainty import intervals
from rfcal.uncertainty.coverage import (
    SHAPED,
    degrees_of_freedom,
    from_repeats,
    region_factor,
    student,
)
from rfcal.uncertainty.quantity import Quantity, both_axes

SESSIONS = 4000
LOW, HIGH = (binom.ppf(p, SESSIONS, 0.95) for p in (0.0005, 0.9995))
FREQUENCY = 70e6 + np.arange(SESSIONS)
SIZES = {"directivity": 0.01, "source_match": 0.02, "tracking": 0.008}


def axes(rng, deviation):
    return deviation * (rng.standard_normal(SESSIONS) + 1j * rng.standard_normal(SESSIONS))


def inside_region(reflection, true, radius=2.447746830680816):
    off = reflection.value - true
    parts = np.stack([off.real, off.imag], axis=-1)[..., None]
    squared = np.swapaxes(parts, -1, -2) @ np.linalg.solve(reflection.covariance(), parts)
    return np.sum(squared[:, 0, 0] <= radius**2)


def nothing():
    return Quantity(np.zeros(SESSIONS, complex))


@pytest.mark.parametrize("device_ohm", [50, 1, 25 + 40j, 3000])
def test_truth_is_inside_with_an_instrument_that_corrects_itself(device_ohm):
    rng = np.random.default_rng(6)
    true = from_impedance(complex(device_ohm))
    d, m, t = (axes(rng, size / np.sqrt(2)) for size in SIZES.values())
    shown = Bilinear.from_error_terms(d, m, 1 + t).apply(true)
    reflection = propagate(Inputs(self_correcting(FREQUENCY, **SIZES), Quantity(shown), nothing()))
    assert LOW <= inside_region(reflection, true) <= HIGH


@pytest.mark.parametrize("size", [0, 0.3, 1.0])
def test_residual_uncertainty_is_the_root_sum_of_squares_of_the_bound(size):
    shown = Quantity(np.array([size + 0j]))
    zero = Quantity(np.zeros(1, complex))
    inputs = Inputs(self_correcting(np.array([1e8]), **SIZES), shown, zero)
    found = propagate(inputs)
    d, m, t = SIZES.values()
    expected = (d**2 + (t * size) ** 2 + (m * size**2) ** 2) / 2
    assert found.variance()[0] == pytest.approx(expected, rel=1e-9)
    drawn = inputs.draw(np.random.default_rng(1), 40_000)
    assert np.var(drawn) / 2 == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("true", [0, 0.9j, -0.95])
def test_truth_is_inside_when_the_analyzer_drifts(true):
    rng = np.random.default_rng(7)
    terms = np.array([0.05 + 0.02j, 0.06 - 0.03j, 0.8 * np.exp(1j)])[:, None]
    terms = terms * np.ones(SESSIONS)
    exact = [Quantity(np.full(SESSIONS, v, complex)) for v in (-1, 1, 0)]
    seen = [Quantity(Bilinear.from_error_terms(*terms).apply(k.value)) for k in exact]
    calibration = solve(FREQUENCY, ["short", "open", "load"], exact, seen)
    drift = [axes(rng, 0.004) for _ in range(3)]
    later = [terms[0] + drift[0], terms[1] + drift[1], terms[2] * (1 + drift[2])]
    raw = Bilinear.from_error_terms(*later).apply(true)
    reading = Quantity(raw, drift_effects("device", calibration, raw, 0.004))
    assert LOW <= inside_region(propagate(Inputs(calibration, reading, nothing())), true) <= HIGH


@pytest.mark.parametrize("count", [2, 3, 4, 8])
def test_truth_is_inside_when_the_scatter_is_only_estimated(count):
    rng = np.random.default_rng(count)
    true = from_impedance(30 + 20j)
    sweeps = true + np.array([axes(rng, 0.002) for _ in range(count)])
    found = from_repeats(sweeps, "repeats")
    freedom = degrees_of_freedom(found)
    few = count < SHAPED
    assert freedom == pytest.approx(2 * (count - 1) if few else count - 1)
    # of a round scatter 2 F(2, 2 (n - 1)), by scipy; of any shape Hotelling's
    radius = np.sqrt(2 * f.ppf(0.95, 2, freedom[0])) if few else region_factor(freedom)[0]
    assert LOW <= inside_region(found, true, radius) <= HIGH
    assert inside_region(found, true) < 0.9 * SESSIONS
    low, high = intervals.interval(levels.RESISTANCE, found)
    assert LOW <= np.sum((low <= 0.6) & (high >= 0.6)) <= HIGH


def test_drawn_repeats_are_a_joint_t():
    """JCGM 102, 6.4.8: quantiles of Student's t in each axis."""
    rng = np.random.default_rng(1)
    found = from_repeats(np.array([[0.1 + 0.2j], [0.11 + 0.23j], [0.14 + 0.21j]] * 2), "r")
    draws = found.draw(rng, 200_000)[:, 0].real
    half = student(np.array([5.0]), 0.975)[0] * np.sqrt(found.covariance()[0, 0, 0])
    ends = np.quantile(draws, [0.025, 0.975]) - found.value[0].real
    assert ends == pytest.approx([-half, half], rel=0.02)


def test_one_sweep_has_no_scatter():
    with pytest.raises(ValueError, match="two sweeps"):
        from_repeats(np.zeros((1, 3), complex), "r")


def test_freedom_of_a_mixture_lies_between():
    found = from_repeats(np.array([[0.1 + 0.2j], [0.11 + 0.23j], [0.14 + 0.21j]]), "r")
    assert degrees_of_freedom(found)[0] == pytest.approx(4)
    assert degrees_of_freedom(found.plus(*both_axes("known", 0.01)))[0] > 4
    assert np.isinf(degrees_of_freedom(Quantity(found.value, both_axes("known", 0.01)))[0])
