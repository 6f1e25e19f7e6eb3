"""Circles of the reflection plane and the figures that are constant on them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rfcal.maths import circles as levels
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.propagate import propagate
from rfcal.models.cables import CABLES
from rfcal.models.standards import Standard
from rfcal.planning.plan import Length, Setup
from rfcal.uncertainty import curved_regions as bent
from rfcal.uncertainty import intervals
from rfcal.uncertainty.derived import derived
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes
from tests.coverage_audit import audit, session

FREQUENCY = np.array([100e6])
LEVELS = {
    levels.RESISTANCE: lambda z: z.real,
    levels.REACTANCE: lambda z: z.imag,
    levels.CONDUCTANCE: lambda z: (1 / z).real,
    levels.SUSCEPTANCE: lambda z: (1 / z).imag,
    levels.SQUARED_IMPEDANCE: lambda z: abs(z) ** 2,
    levels.SQUARED_REFLECTION: lambda z: abs((z - 1) / (z + 1)) ** 2,
    levels.REACTANCE_OVER_RESISTANCE: lambda z: z.imag / z.real,
}
passive = st.tuples(st.floats(0.02, 50), st.floats(-50, 50)).map(lambda p: complex(*p))


@given(passive)
def test_levels_are_the_figures_they_are_called(z):
    x = from_impedance(np.array([z]), 1.0)
    for level, figure in LEVELS.items():
        assert level.value(x)[0] == pytest.approx(figure(z), rel=1e-6, abs=1e-9)


@settings(deadline=None, max_examples=10)
@given(st.lists(st.tuples(passive, st.floats(1e-5, 1e-3)), min_size=50, max_size=50))
def test_value_is_always_inside(cases):
    z, deviation = np.array(cases).T
    x = Quantity(from_impedance(z, 1.0), both_axes("e", deviation.real))
    for level in LEVELS:
        low, high = intervals.interval(level, x)
        value = level.value(x.value)
        slack = 1e-9 + 1e-9 * np.abs(value)
        assert np.all(low <= value + slack)
        assert np.all(value <= high + slack)


def figures(ohm, deviation=0.003, **kwargs):
    x = Quantity(from_impedance(np.array([complex(ohm)])), both_axes("e", deviation))
    return derived(FREQUENCY, x, z_ref=50.0, **kwargs)


def test_where_all_is_straight_the_interval_is_the_linear_one():
    """R = 50 (1 + x)/(1 - x) at 50 ohm: dR = 100 dx."""
    found = figures(50 + 20j, 1e-6)
    u = 1e-6 * abs(100 / (1 - from_impedance(np.array([50 + 20j]))[0]) ** 2)
    for name, value in (("resistance", 50), ("reactance", 20)):
        ends = found[name].low[0], found[name].high[0]
        assert ends == pytest.approx([value - 1.959964 * u, value + 1.959964 * u], abs=1e-3 * u)


def test_perfect_match_has_one_sided_figures():
    found = figures(50)
    assert found["swr"].low[0] == 1
    assert 1.005 < found["swr"].high[0] < 1.02
    assert np.isinf(found["return_loss"].high[0])
    assert 40 < found["return_loss"].low[0] < 55
    assert found["q"].low[0] == 0


def test_short_has_a_resistance_from_zero_and_no_upper_q():
    found = figures(0.05 + 30j)
    assert found["resistance"].low[0] == 0
    assert 0.2 < found["resistance"].high[0] < 1
    assert np.isinf(found["q"].high[0])
    assert np.isinf(found["swr"].high[0])
    # the reactance is as good as anywhere
    assert found["series_inductance"].low[0] == pytest.approx(30 / (2 * np.pi * 1e8), rel=0.02)


def test_open_has_no_upper_resistance_and_a_reactance_of_either_sign():
    found = figures(1e5)
    assert np.isinf(found["resistance"].high[0])
    # the reading cannot tell it from a large reactance, so only |Z| has a lower end
    assert found["resistance"].low[0] == 0
    assert found["impedance_magnitude"].low[0] > 5000
    assert (found["reactance"].low[0], found["reactance"].high[0]) == (-np.inf, np.inf)
    # its capacitance, though, is bounded: u(B) = 0.003 / 100 S
    assert found["parallel_capacitance"].high[0] == pytest.approx(
        1.96 * 0.003 / 100 / (2 * np.pi * 1e8), rel=0.02
    )


@pytest.mark.parametrize("ohm", [0.1 + 40j, 0.05 + 100j, 0.3 - 80j, -0.05 + 40j])
def test_good_coil_has_a_least_q(ohm):
    """R's largest and X's least value bound it, though the reading fits a device without loss."""
    found = figures(ohm)
    least = np.abs([found["reactance"].low[0], found["reactance"].high[0]]).min()
    assert found["q"].low[0] > 0.9 * least / found["resistance"].high[0]
    assert np.isinf(found["q"].high[0])
    # one whose sign nobody knows may have any
    assert figures(0.1 + 0.05j)["q"].low[0] == 0


def test_least_q_behind_a_doubtful_line():
    """There the range over a bent region is taken, which touches the unit circle."""
    value, rest = from_impedance(np.array([0.1 + 40j])), both_axes("e", 0.002)
    ends = [value * np.exp(0.08j * side * bent.NODE) for side in (-1, 0, 1)]
    x = Quantity(value, (*rest, Effect("turn", 0.08j * value)))
    region = bent.region_of(x, [tuple(Quantity(end, rest) for end in ends)])
    assert region.bent[0]
    found = derived(FREQUENCY, x, z_ref=50.0, region=region)
    assert found["q"].low[0] > 10
    assert np.isinf(found["q"].high[0])
    assert found["resistance"].low[0] == 0
    assert np.isinf(found["swr"].high[0])


def test_q_covers():
    """Whole sessions with three standards; six standard deviations of a binomial count."""
    frequency = 70e6 + 1e-3 * np.arange(1500)
    setup = Setup(frequency, {kind: Standard(kind) for kind in ("short", "open", "load")})
    for ohm in (0.3 + 40j, 0.3 + 100j, 2 - 80j):
        true = np.full(frequency.size, from_impedance(ohm))
        inputs = session(setup, true, np.random.default_rng(11))
        q = derived(frequency, propagate(inputs), z_ref=50.0)["q"]
        inside = (q.low <= abs(ohm.imag) / ohm.real) & (abs(ohm.imag) / ohm.real <= q.high)
        assert inside.mean() > 0.95 - 6 * np.sqrt(0.95 * 0.05 / frequency.size)
        assert np.all(q.low > 0)


def test_which_ends_are_known():
    found = figures(0.05 + 30j)
    assert found["resistance"].one_sided == ["below"]
    assert found["swr"].one_sided == found["parallel_resistance"].one_sided == ["above"]
    assert found["return_loss"].one_sided == ["below"]
    assert found["reactance"].one_sided == [None]
    match = figures(50)
    assert match["swr"].one_sided == match["q"].one_sided == ["below"]
    assert match["return_loss"].one_sided == ["above"]
    assert figures(1e5)["reactance"].one_sided == ["unknown"]


def test_reading_beyond_the_bound_leaves_the_bound():
    x = Quantity(np.array([-1.01 + 0j]), both_axes("e", 0.003))
    low, high = intervals.interval(levels.RESISTANCE, x)
    assert low[0] == 0
    assert 0 < high[0] < 0.004
    low, _ = intervals.interval(levels.RESISTANCE, x, passive=False)
    assert low[0] < 0


def test_capacitor_in_series_is_the_reciprocal():
    found = figures(5 - 80j)["series_capacitance"]
    w = 2 * np.pi * 1e8
    assert found.value[0] == pytest.approx(1 / (80 * w))
    assert found.low[0] < found.value[0] < found.high[0]
    assert found.unit == "F"
    # one that may as well be a coil is of no known size
    doubtful = figures(5 - 0.1j)["series_capacitance"]
    assert (doubtful.low[0], doubtful.high[0]) == (-np.inf, np.inf)


def test_more_doubt_never_narrows():
    for ohm in (50, 1, 3000, 20 + 60j, 9950):
        less, more = figures(ohm, 0.002), figures(ohm, 0.004)
        for name, figure in less.items():
            assert more[name].low[0] <= figure.low[0], name
            assert more[name].high[0] >= figure.high[0], name


def test_audit_counts_what_it_says():
    """All near 95 % where everything is straight; beside an open the linear R is not."""
    setup = Setup(FREQUENCY, {kind: Standard(kind) for kind in ("short", "open", "load")})
    found = audit(setup, 30 - 20j, np.random.default_rng(1), sessions=1000)
    assert found.sessions == 1000
    # six standard deviations of a binomial count
    assert all(abs(n - 950) < 42 for n in found.inside.values())
    beside = audit(setup, 9950, np.random.default_rng(1), sessions=1000)
    assert beside.inside["linear resistance"] < 920 < beside.inside["resistance"]
    assert beside.endless["resistance"] > 0


@pytest.mark.parametrize("ohm", [40 + 15j, 25, 3000])
def test_behind_a_line_known_by_its_type_only(ohm):
    """A doubtful velocity factor turns the reflection by half a radian, along an arc."""
    cable = CABLES["RG-213"].line(14.0)
    deviations = {"length": 0.01, "velocity factor": 0.005, "impedance": 1.0, "loss": 0.1}
    standards = {kind: Standard(kind) for kind in ("short", "open", "load")}
    setup = Setup(FREQUENCY, standards, lines=(Length("line", cable, deviations),))
    found = audit(setup, ohm, np.random.default_rng(2), sessions=600)
    # five standard deviations of a binomial count below; it may be more than is said
    for name in ("region", "resistance", "reactance", "impedance_magnitude", "swr"):
        assert found.inside[name] > 570 - 5 * 5.3, name
    assert found.inside["linear resistance"] < 560 or ohm == 25
