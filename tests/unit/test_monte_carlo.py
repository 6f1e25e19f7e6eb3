"""Monte Carlo: what it may rest on, when it stops, and when the linear answer holds."""

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.error_terms import solve
from rfcal.measurement.propagate import ASKED, Inputs, assess, impedance, propagate, tolerance_of
from rfcal.uncertainty.derived import derived, ends_of
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
    calibration = solve(1e8 + np.arange(OHM.size), ["short", "open", "load"], known, seen)
    noise = both_axes("noise", 0.0005, per_point=True)
    reading = Quantity(BOX.apply(from_impedance(OHM)), noise)
    zero = Quantity(np.zeros(OHM.size, complex), (*both_axes("connection", 0.001), *shared))
    return Inputs(calibration, reading, zero)


def scatter(inputs, draws=50_000):
    """Mean and covariance of drawn reflections."""
    drawn = inputs.draw(np.random.default_rng(1), draws)
    parts = np.stack([drawn.real, drawn.imag], axis=-1)
    return drawn.mean(axis=0), np.array([np.cov(parts[:, k].T) for k in range(OHM.size)])


def test_draws_have_the_moments_of_linear_propagation():
    linear = propagate(session())
    mean, covariance = scatter(session())
    assert covariance[:3] == pytest.approx(linear.covariance()[:3], rel=0.06, abs=4e-7)
    assert mean == pytest.approx(linear.value, abs=3e-4)


def test_what_standards_and_device_share_is_drawn_once():
    """A connector's offset common to all of them cancels: linear and drawn say the same."""
    shared = session((Effect("plane", np.full(OHM.size, 0.02 + 0j)),))
    covariance = scatter(shared)[1][0]
    assert covariance == pytest.approx(propagate(shared).covariance()[0], rel=0.05, abs=4e-7)
    assert covariance[0, 0] < 1.5 * scatter(session())[1][0, 0, 0]


def assessed(inputs, seed=1, answer=0):
    reflection = propagate(inputs)
    figures = derived(inputs.calibration.frequency, reflection, z_ref=50.0)
    rng = np.random.default_rng(seed)
    return assess(inputs, ends_of(figures), 50.0, rng, answer=answer), figures


def test_drawing_stops_when_the_verdict_is_sure():
    """JCGM 101, 7.9: no fewer than two batches, and two seeds say the same."""
    one, two = (assessed(session(), seed)[0] for seed in (1, 2))
    assert np.array_equal(one.linear, two.linear)
    assert np.all(one.settled)
    assert np.all(one.draws >= 20_000)
    assert one.tolerance == pytest.approx(two.tolerance)


def test_drawing_says_where_the_verdict_is_not_sure(monkeypatch):
    """One batch tells nothing of how its figures scatter."""
    monkeypatch.setattr("rfcal.measurement.propagate.MOST", 10_000)
    hasty = assessed(session())[0]
    assert np.all(hasty.draws == 10_000)
    assert not np.any(hasty.settled)


def test_a_long_sweep_is_asked_at_few_points_and_where_most_is_bent():
    """Bend grows towards an open, at the last frequency."""
    points = 101
    shown = Quantity(np.linspace(0, 0.9, points) + 0j, both_axes("noise", 0.003, per_point=True))
    exact = [Quantity(np.full(points, v, complex)) for v in (-1, 1, 0)]
    straight = solve(1e8 + np.arange(points), ["short", "open", "load"], exact, exact)
    inputs = Inputs(straight, shown, Quantity(np.zeros(points, complex)))
    found = assessed(inputs, answer=7)[0]
    assert found.index.size == ASKED
    assert 7 in found.index
    assert points - 1 in found.index
    assert found.region.radius.shape == (points,)


def test_tolerance_is_half_a_unit_of_the_last_digit():
    """JCGM 101, 7.9.2: half a unit of the last digit that counts."""
    assert tolerance_of(np.array([0.00035])) == pytest.approx([0.00005])
    assert tolerance_of(np.array([2.0, 0.0])) == pytest.approx([0.5, 0.0])


def test_comparison_of_clause_8_refuses_the_open_and_the_short():
    found = assessed(session(), 3)[0]
    assert list(found.index) == [0, 1, 2, 3, 4]
    assert np.all(found.linear[:3])
    assert not found.linear[3].any()
    assert not found.linear[4, 0]


def test_assessment_shows_what_holds():
    found, figures = assessed(session(), 4)
    resistance = figures["resistance"]
    assert np.all(resistance.low <= OHM.real + 1e-9)
    assert np.all(resistance.high >= OHM.real)
    assert resistance.low[4] == 0
    assert np.all(resistance.low >= 0)
    # beside an open the interval is lopsided: the far end is further away
    assert resistance.high[3] - OHM.real[3] > 2 * (OHM.real[3] - resistance.low[3])
    assert found.region.radius[:3] == pytest.approx(2.447747, rel=1e-5)


def test_a_verdict_is_not_left_to_chance_where_the_tolerance_is_tight(monkeypatch):
    """U just below a power of ten makes JCGM 101's tolerance a twentieth of u."""
    points = 100
    # round about a match R is linear in the reflection to parts in a hundred
    small = Quantity(np.zeros(points, complex), both_axes("noise", 0.00968, per_point=True))
    exact = [Quantity(np.full(points, v, complex)) for v in (-1, 1, 0)]
    straight = solve(1e8 + np.arange(points), ["short", "open", "load"], exact, exact)
    inputs = Inputs(straight, small, Quantity(np.zeros(points, complex)))
    assert 0.9 < np.sqrt(impedance(propagate(inputs), 50.0).covariance()[0, 0, 0]) < 1
    monkeypatch.setattr("rfcal.measurement.propagate.ASKED", points)
    found = assessed(inputs, 6)[0]
    assert np.all(found.settled)
    assert np.all(found.tolerance == 0.05)
    assert found.draws.max() > found.draws.min()
    assert np.mean(found.linear) > 0.99
