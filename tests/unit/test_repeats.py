"""Degrees of freedom of readings that rest on repeats, and what they do to coverage."""

import numpy as np
import pytest

from rfcal.maths.circles import RESISTANCE
from rfcal.uncertainty.coverage import K_AXIS, factor_along, from_repeats, student
from rfcal.uncertainty.intervals import interval
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

ALONG_R = np.ones(1, complex)


@pytest.mark.parametrize(("count", "freedom"), [(2, 2), (3, 4), (4, 3), (10, 9)])
def test_repeats_alone_have_their_own_freedom(count, freedom):
    rng = np.random.default_rng(count)
    sweeps = rng.standard_normal((count, 5, 2)) @ np.array([1, 1j])
    found = factor_along(from_repeats(sweeps, "repeats"), ALONG_R)
    assert found == pytest.approx(float(student(freedom)), rel=1e-3)


def test_nothing_repeated_is_a_normal_variable():
    plain = Quantity(np.zeros(5, complex), both_axes("definition", 0.1))
    assert np.all(factor_along(plain, ALONG_R) == K_AXIS)


@pytest.mark.parametrize("known", [0.2, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("count", [2, 3, 5])
def test_a_scatter_that_is_small_by_chance_does_not_narrow_the_whole(count, known):
    """Repeats beside something known: Welch and Satterthwaite over all would cover 92.5 %."""
    rng, sessions = np.random.default_rng(4), 40_000
    sweeps = rng.standard_normal((count, sessions, 2)) @ np.array([1, 1j])
    deviation = known / np.sqrt(count)
    found = from_repeats(sweeps, "repeats").plus(*both_axes("definition", deviation))
    off = found.value.real + deviation * rng.standard_normal(sessions)
    inside = np.abs(off) <= factor_along(found, ALONG_R) * np.sqrt(found.covariance()[:, 0, 0])
    assert 0.947 < np.mean(inside) < 0.98


@pytest.mark.parametrize("freedom", [3.0, 10.0, np.inf])
def test_intervals_at_the_edge_of_the_chart_keep_their_width_with_repeats(freedom):
    """|reflection| 0.995 known to 0.006: R may be anything from zero on."""
    effects = tuple(
        Effect("repeats", axis * 0.006 * np.ones(1, complex), influence=axis, freedom=freedom)
        for axis in (1, 1j)
    )
    low, high = interval(RESISTANCE, Quantity(np.array([0.995j]), effects))
    assert low == 0
    assert 50 * high > 0.6
