"""Intervals off displays that show less hold the truth in 95 of 100 sessions; signs by rising."""

import numpy as np
import pytest

from rfcal.errors import ReadingError
from rfcal.maths.reflection import to_impedance
from rfcal.measurement.undecided import by_rise
from rfcal.readings.display import Beyond, Display, beyond_impedance
from rfcal.record.job import displays
from rfcal.uncertainty.coverage import K_ELLIPSE
from rfcal.uncertainty.curved_regions import region_of
from rfcal.uncertainty.quantity import Quantity, both_axes, combine
from tests.display_sessions import Shown, coverage, sessions, spread

SESSIONS = 150
LEAST = 0.95 - 3 * np.sqrt(0.05 * 0.95 / SESSIONS)
SHOWN = {
    "no sign of the device": Shown(device="unsigned"),
    "no sign at all": Shown("unsigned", "unsigned"),
    "whole ohms, no sign": Shown("unsigned", "unsigned", step_ohm=1.0),
    "|Z| and SWR": Shown(device="sizes"),
    "|Z| alone": Shown(device="size"),
    "SWR alone": Shown(device="swr"),
    "up to 200 ohm": Shown(most_ohm=200.0),
    "up to 999 ohm": Shown(most_ohm=999.0),
    "up to 9999 ohm": Shown(most_ohm=9999.0),
}


@pytest.fixture
def apart(monkeypatch):
    """Neighbouring points are sessions of their own, so nothing rises from one to the next."""
    monkeypatch.setattr(displays, "by_rise", lambda f, *rest: np.ones((2, f.size), bool))


@pytest.mark.parametrize("name", SHOWN)
def test_intervals_hold_the_truth(apart, name):
    rng, mhz = np.random.default_rng(7), {"no sign at all": 146.0}.get(name, 14.1)
    held = coverage(*sessions(rng, spread(mhz * 1e6, SESSIONS), SHOWN[name]))
    assert np.all(held >= LEAST), held


@pytest.mark.parametrize("ohm", [200.0, 999.0, 9999.0])
@pytest.mark.parametrize("sign", [0, 1, -1])
def test_beyond_a_display_is_what_has_a_larger_impedance(ohm, sign):
    with np.errstate(divide="ignore", invalid="ignore"):
        z = to_impedance(beyond_impedance(ohm, 50.0, sign), 50.0)
    inside = np.isfinite(z) & (z.real > 0)
    assert np.min(np.abs(z[inside])) == pytest.approx(ohm)
    if sign:
        assert np.all(sign * z[inside].imag >= -1e-6 * np.abs(z[inside]))


def rises(x, r, step=0.03, doubt=0.1):
    """Allowed signs over steps of frequency, for sizes of X of either sign [ohm]."""
    f = 14e6 * (1 + step * np.arange(len(x)))
    both = np.array([x, -np.array(x)], float)
    return by_rise(f, both, np.full(both.shape, float(r)), np.full(both.shape, doubt)).tolist()


def test_reactance_rises_where_little_is_lost():
    assert rises([100, 103], 5) == [[True, True], [False, False]]
    assert rises([103, 100], 5) == [[False, False], [True, True]]


def test_no_sign_follows_from_what_is_lossy_or_hardly_changes():
    assert rises([100, 103], 50) == [[True, True], [True, True]]
    assert rises([100, 100.2], 5) == [[True, True], [True, True]]


def test_a_passage_through_resonance_is_followed():
    # a series resonance between the third and the fourth of points that lie close
    assert rises([30, 20, 10, 0.5, 10, 20], 1, step=0.05) == [
        [False, False, False, True, True, True],
        [True, True, True, True, False, False],
    ]


def test_sizes_that_do_not_go_together_are_refused():
    def options(z, swr):
        return Display("a", 50.0, "row", (1.0, 0.1)).sizes([(14.0, z)], [(14.0, swr)])

    with pytest.raises(ReadingError, match="SWR of 5 or more"):
        options(10.0, 1.5)
    # 60 ohm may show beside an SWR of 1.2, as 59.5 does
    found = np.array([sweep.reflection[0] for sweep in options(60.0, 1.2).sweeps])
    assert np.all(np.abs(np.abs(to_impedance(found, 50.0)) - 60) < 0.5 + 1e-9)
    assert np.abs(found).max() == pytest.approx(0.25 / 2.25)
    assert len(options(Beyond(999.0), Beyond(9.9)).sweeps) >= 4


def test_one_step_of_two_sizes_is_no_movement():
    """Near X = 0 one step of |Z| turns what both sizes allow by more than noise does."""

    def nearest(label, z, swr, value):
        options = Display(label, 50.0, "row", (0.1, 0.01)).sizes([(7.1, z)], [(7.1, swr)])
        return options.nearest(value, 50.0).quantity(50.0)

    before = nearest("before", 1.7, 29.43, -0.93)
    for z, swr, moved in ((1.8, 28.56, False), (1.7, 29.2, False), (3.2, 28.56, True)):
        after = nearest("after", z, swr, before.value)
        noise = both_axes("noise", 0.001)
        change = combine(after.value - before.value, (after, 1), (before, -1)).plus(*noise)
        off = region_of(change).squared_distance_to(Quantity(0 * change.value))
        assert (off[0] > K_ELLIPSE**2) == moved


def test_a_ratio_beyond_the_display_may_be_of_more_than_is_sent():
    """Raw reflections go beyond 1, where the SWR is below zero."""
    beyond = Display("a", 50.0, "row", (0.1, 0.01)).sizes([(7.1, 1.7)], [(7.1, Beyond(99.0))])
    size = np.abs([sweep.reflection[0] for sweep in beyond.sweeps])
    assert size.min() < 0.981
    assert size.max() > 1.06
