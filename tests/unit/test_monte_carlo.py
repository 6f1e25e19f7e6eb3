"""Monte Carlo: what it may rest on, when it stops, and when the linear answer holds."""

import tracemalloc

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.assessment import assess, linear_holds
from rfcal.measurement.error_terms import calibrate
from rfcal.measurement.model import Inputs, impedance, propagate
from rfcal.measurement.monte_carlo import adaptive, moments, tolerance_of
from rfcal.uncertainty.derived import derived
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

OHM = np.array([45 - 12j, 120 + 30j, 20 + 60j, 9950 + 0j, 0.05 + 0j])
BOX = Bilinear.from_error_terms(
    *(np.full(OHM.size, v) for v in (0.05 + 0.02j, 0.06 - 0.03j, 0.8 * np.exp(1j)))
)


def session(shared=()):
    known, seen = [], []
    for name, value in {"short": -1, "open": 1, "load": 0}.items():
        effects = (*both_axes(f"{name}: definition", 0.003), *shared)
        known.append(Quantity(np.full(OHM.size, value, complex), effects))
        noise = both_axes(f"{name}: noise", 0.0005, per_point=True)
        seen.append(Quantity(BOX.apply(known[-1].value), noise))
    calibration = calibrate(1e8 + np.arange(OHM.size), ["short", "open", "load"], known, seen)
    noise = both_axes("noise", 0.0005, per_point=True)
    reading = Quantity(BOX.apply(from_impedance(OHM)), noise)
    zero = Quantity(np.zeros(OHM.size, complex), (*both_axes("connection", 0.001), *shared))
    return Inputs(calibration, reading, zero)


def test_streamed_moments_are_those_of_all_draws_at_once():
    inputs, told = session(), []
    found = moments(
        inputs, np.random.default_rng(1), 20_000, progress=lambda done, of: told.append((done, of))
    )
    linear = propagate(inputs)
    assert found.covariance[:3] == pytest.approx(linear.covariance()[:3], rel=0.06, abs=4e-7)
    assert found.mean == pytest.approx(linear.value, abs=3e-4)
    assert found.draws == 20_000
    assert told[-1] == (20_000, 20_000)
    assert found.covariance == pytest.approx(np.swapaxes(found.covariance, 1, 2), rel=1e-6)


def test_memory_does_not_grow_with_the_draws():
    inputs, peaks = session(), []
    for draws in (20_000, 200_000):
        tracemalloc.start()
        moments(inputs, np.random.default_rng(1), draws)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]


def test_what_standards_and_device_share_is_drawn_once():
    """A connector's offset common to all of them cancels: linear and drawn say the same."""
    shared = session((Effect("plane", np.full(OHM.size, 0.02 + 0j)),))
    drawn = moments(shared, np.random.default_rng(1), 50_000)
    assert drawn.covariance[0] == pytest.approx(
        propagate(shared).covariance()[0], rel=0.05, abs=4e-7
    )
    apart = moments(session(), np.random.default_rng(1), 50_000)
    assert drawn.covariance[0, 0, 0] < 1.5 * apart.covariance[0, 0, 0]


def test_adaptive_stops_when_its_tolerance_is_met():
    """JCGM 101, 7.9: two runs with other seeds differ by less than the tolerance."""
    inputs = session()
    one, two = (adaptive(inputs, 50.0, np.random.default_rng(seed)) for seed in (1, 2))
    assert np.all(one.settled[:3])
    assert np.all(one.draws >= 20_000)
    apart = np.abs(one.interval - two.interval)[:3]
    assert np.all(apart <= 0.2 * 2 * one.tolerance[:3, :, None])
    assert one.radius[:3] == pytest.approx(2.447747, rel=0.01)
    assert one.sample.shape == (OHM.size, 4000)


def test_adaptive_says_where_it_did_not_settle():
    hasty = adaptive(session(), 50.0, np.random.default_rng(1), digits=2, most=20_000)
    assert np.all(hasty.draws == 20_000)
    assert not np.any(hasty.settled)


def test_tolerance_is_half_a_unit_of_the_last_digit():
    """JCGM 101, 7.9.2 example: u = 0.00035 with two digits gives 0.000005."""
    assert tolerance_of(np.array([0.00035]), 2) == pytest.approx([0.000005])
    assert tolerance_of(np.array([2.0, 0.0])) == pytest.approx([0.5, 0.0])


def test_comparison_of_clause_8_refuses_the_open_and_the_short():
    inputs = session()
    reflection = propagate(inputs)
    drawn = adaptive(inputs, 50.0, np.random.default_rng(3))
    holds = linear_holds(reflection, impedance(reflection, 50.0), drawn)
    assert np.all(holds[:3])
    assert not holds[3].any()
    assert not holds[4, 0]


def test_assessment_shows_what_holds():
    inputs = session()
    found = assess(inputs, 50.0, np.random.default_rng(4))
    figures = derived(inputs.calibration.frequency, propagate(inputs), z_ref=50.0)
    resistance = figures["resistance"]
    assert np.all(resistance.low <= OHM.real + 1e-9)
    assert np.all(resistance.high >= OHM.real)
    assert resistance.low[4] == 0
    assert np.all(resistance.low >= 0)
    # beside an open the interval is lopsided: the far end is further away
    assert resistance.high[3] - OHM.real[3] > 2 * (OHM.real[3] - resistance.low[3])
    assert found.region.radius[:3] == pytest.approx(2.447747, rel=1e-5)


def test_a_verdict_is_not_left_to_chance_where_the_tolerance_is_tight():
    """U just below a power of ten makes JCGM 101's tolerance a twentieth of u."""
    points = 200
    # round about a match R is linear in the reflection to parts in a hundred
    small = Quantity(np.zeros(points, complex), both_axes("noise", 0.00968, per_point=True))
    exact = [Quantity(np.full(points, v, complex)) for v in (-1, 1, 0)]
    straight = calibrate(1e8 + np.arange(points), ["short", "open", "load"], exact, exact)
    inputs = Inputs(straight, small, Quantity(np.zeros(points, complex)))
    assert 0.9 < np.sqrt(impedance(propagate(inputs), 50.0).covariance()[0, 0, 0]) < 1
    found = assess(inputs, 50.0, np.random.default_rng(6))
    assert np.all(found.settled)
    assert np.all(found.tolerance == 0.05)
    assert found.draws.max() > found.draws.min()
    assert np.mean(found.linear) > 0.99
