"""Two sweeps of one line: what changed and where, and no alarm where nothing did.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.changes import compare
from rfcal.feedline.faults import find_events
from rfcal.models.line import Line
from rfcal.record.findings.line_verdict import line_verdict
from rfcal.uncertainty.quantity import Effect, Quantity
from tests.unit.test_faults import ENDS, HIGH, WIDE, foot, noisy
from tests.unit.test_line_state import random_rod, state

LINE = Line(50.0, 0.8, 50.0, 0.3)
OLD = ("series", 5.0, 12.0)


def rod(resonance=70e6, resistance=40.0, quality=8.0):
    """Impedance of a series-resonant antenna [ohm]."""
    ratio = WIDE / resonance
    return resistance * (1 + 1j * quality * (ratio - 1 / ratio))


def compared(rng, now, then, *, deviation=0.001, **given):
    now, then = (Quantity(noisy(rng, sweep, deviation)) for sweep in (now, then))
    events, baseline = (find_events(WIDE, sweep.value, LINE) for sweep in (now, then))
    return compare(WIDE, now, then, LINE, events=events, baseline=baseline, **given)


def sweep(*faults, line=LINE, end=ENDS["open"]):
    return foot(WIDE, line, end, *faults)


def test_a_new_fault_and_what_lies_beyond():
    rng = np.random.default_rng(2)
    healthy, faulty = sweep(OLD), sweep(OLD, ("shunt", 100.0, 30.0))
    new, beyond = compared(rng, faulty, healthy).changes
    assert (new.what, new.kind, new.before) == ("new", "shunt resistance", 0)
    assert new.distance_m == pytest.approx(30, abs=0.05)
    assert new.after == pytest.approx(-0.2 * (1 - 5 / 105) ** 2, abs=0.01)
    assert new.size == pytest.approx(0.2 * (1 - 5 / 105) ** 2, abs=0.01)
    assert beyond.what == "changed"
    assert abs(beyond.after / beyond.before) == pytest.approx(0.8**2, abs=0.02)
    assert compared(rng, healthy, faulty).changes[0].what == "gone"


@pytest.mark.parametrize("deviation", [0.0005, 0.005])
@pytest.mark.parametrize("end", [ENDS["open"], 75.0, rod()], ids=["open", "75 ohm", "antenna"])
@pytest.mark.parametrize("longer", [0.0, 2e-4, 1e-3, 3e-3])
def test_a_line_that_grew_in_the_sun_has_not_changed(deviation, end, longer):
    rng = np.random.default_rng(3)
    slow = replace(LINE, velocity_factor=0.8 / (1 + longer))
    for _ in range(3):
        found = compared(
            rng, sweep(OLD, line=slow, end=end), sweep(OLD, end=end), deviation=deviation
        )
        assert found.changes == ()
        size = found.shift.size if found.shift else 0.0
        assert size == pytest.approx(longer, abs=3e-4 if deviation > 0.001 else 5e-5)
        assert found.largest < 8 * deviation + 6 * longer


@pytest.mark.parametrize(
    "end", [rod(71e6), rod(73e6), rod(resistance=30, quality=10.7), rod(resistance=60, quality=5.3)]
)
def test_an_antenna_that_changed_is_told_at_the_end(end):
    now, then = sweep(OLD, end=end), sweep(OLD, end=rod())
    found = compared(np.random.default_rng(4), now, then, end_m=50.5)
    (change,) = found.changes
    assert (change.what, change.distance_m) == ("changed", pytest.approx(50, abs=1.5))
    assert 0.02 < change.size < found.largest
    assert found.largest_hz == pytest.approx(70e6, abs=8e6)


def test_what_both_sweeps_share_is_no_doubt_of_a_change():
    rng = np.random.default_rng(5)
    trip = np.exp(-2 * LINE.propagation(WIDE) * 30)
    shared = Effect("a joint at 30 m", 0.02 * trip)
    now, then = (
        Quantity(noisy(rng, s), (shared,)) for s in (sweep(OLD, ("series", 4.0, 30.0)), sweep(OLD))
    )
    events, baseline = (find_events(WIDE, s.value, LINE) for s in (now, then))
    given = {"events": events, "baseline": baseline}
    assert compare(WIDE, now, then, LINE, **given).changes[0].what == "new"
    apart = Quantity(then.value, (replace(shared, influence="another joint"),))
    assert [c.what for c in compare(WIDE, now, apart, LINE, **given).changes] == ["changed"]


def test_places_that_lie_farther_from_one_on_are_told_as_moved():
    """A piece of half a metre between 12 and 30 m: nothing else has changed."""
    now = foot(WIDE, replace(LINE, length_m=50.5), ENDS["open"], OLD, ("series", 6.0, 30.5))
    found = compared(np.random.default_rng(6), now, sweep(OLD, ("series", 6.0, 30.0)))
    assert found.changes == ()
    assert found.shift.size == pytest.approx(0.5, abs=0.01)
    assert found.shift.between_m == pytest.approx((12, 30), abs=0.1)


def test_a_longer_jumper_at_the_foot_is_no_warmth():
    longer = replace(LINE, length_m=51.2)
    now = foot(WIDE, longer, ENDS["open"], ("series", 5.0, 13.2), ("series", 6.0, 31.2))
    found = compared(np.random.default_rng(7), now, sweep(OLD, ("series", 6.0, 30.0)))
    assert found.changes == ()
    assert found.shift.size == pytest.approx(1.2, abs=0.01)
    assert found.shift.between_m == pytest.approx((0, 12), abs=0.1)


def test_a_fault_that_went_is_told_where_the_line_has_it_now():
    """The line lies 1.2 m farther, so what is gone at 30 m would be at 31.2 m."""
    longer = replace(LINE, length_m=51.2)
    now = foot(WIDE, longer, ENDS["open"], ("series", 5.0, 13.2))
    found = compared(np.random.default_rng(8), now, sweep(OLD, ("series", 12.0, 30.0)))
    first, beyond = found.changes
    assert (first.what, first.after) == ("gone", 0)
    assert first.distance_m == pytest.approx(31.2, abs=0.1)
    assert (beyond.what, beyond.kind) == ("changed", "open")


def test_two_sweeps_of_a_matched_line_are_alike():
    load = LINE.impedance(WIDE)
    found = compared(np.random.default_rng(9), sweep(end=load), sweep(end=load))
    assert (found.changes, found.shift) == ((), None)


def test_a_fault_among_many_places_is_told_where_it_is():
    """The list holds the strongest six; the change is none of them, and no place before it."""
    joints = [("series", 6.0, place) for place in (5, 11, 17, 23, 29)]
    end = rod()
    now = foot(WIDE, LINE, end, *joints, ("series", 6.0, 40.0))
    found = compared(np.random.default_rng(8), now, foot(WIDE, LINE, end, *joints), end_m=50.5)
    first = found.changes[0]
    assert first.distance_m == pytest.approx(40, abs=0.1)
    assert (first.what, abs(first.before) < 0.005) == ("new", True)
    assert abs(first.after) == pytest.approx(first.size, rel=0.2)


def test_what_changes_at_the_foot_is_told_there_and_hides_nothing_behind():
    foot_m = ("series", 5.0, 0.05)
    found = compared(
        np.random.default_rng(9), sweep(foot_m, OLD, ("series", 3.0, 30.0)), sweep(OLD)
    )
    places = [change.distance_m for change in found.changes]
    assert places[:2] == pytest.approx([0.05, 30], abs=0.3)


@pytest.mark.parametrize("stated", [True, False])
@pytest.mark.parametrize("band", [WIDE, HIGH], ids=["wide", "high"])
def test_a_heavy_fault_is_one_fault_and_moves_nothing(band, stated):
    """It lets little of the antenna through: that is no other place, nor what bounces behind."""
    rng = np.random.default_rng([7, stated])
    for turn in range(10):
        line = Line(rng.uniform(25, 70), 0.66, 50 * (1 + 0.01 * rng.standard_normal()), 0.6)
        kind, ohm = (("series", rng.uniform(80, 400)), ("shunt", rng.uniform(6, 30)))[turn % 2]
        end, place = random_rod(rng, band), rng.uniform(9, line.length_m - 5)
        now, then = (foot(band, line, end, *f) for f in ([(kind, ohm, place)], []))
        length = {"length_m": line.length_m} if stated else {}
        found = state(rng, band, line, now, then, loss_known=True, **length)
        said, _ = line_verdict(found)
        assert "longer" not in said
        assert "shorter" not in said
        first, *others = found.comparison.changes
        assert (first.what, first.distance_m) == ("new", pytest.approx(place, abs=0.2))
        assert not any(c.what == "new" or abs(c.before) > 0.1 > abs(c.after) == 0 for c in others)
