"""Two sweeps of one line: what changed and where, and no alarm where nothing did.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.changes.compare import compare
from rfcal.feedline.faults.events import find_events
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings.line.state import line_verdict
from rfcal.record.format.line import LineCheck
from rfcal.record.job.line import line_state
from rfcal.report.text.line import line_lines
from rfcal.uncertainty.quantity import Effect, Quantity
from tests.unit.test_faults import ENDS, HIGH, WIDE, foot, noisy
from tests.unit.test_line_state import clauses, random_rod, state
from tests.unit.test_line_state import rod as dipole

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


@pytest.mark.parametrize("band", [WIDE, HIGH], ids=["wide", "high"])
def test_a_joint_that_went_bad_is_told_as_a_fault(band):
    """It was there before: what it is now, and that somebody is to look, is said all the same."""
    rng, line = np.random.default_rng(11), Line(30.0, 0.66, 50.0, 0.6)
    for ohm in (5.0, 8.0, 15.0):
        end = random_rod(rng, band)
        now, then = (foot(band, line, end, ("series", r, 17.0)) for r in (ohm, 0.7))
        found = state(rng, band, line, now, then, loss_known=True, length_m=30.0)
        said, fault = line_verdict(found)
        assert re.match(
            r"The reflection at 1\d\.\d+ ± 0\.\d+ m from where [a-z ]+ has grown, .*t was 0\.00",
            said,
        )
        assert "a resistive joint" in said
        assert "look there" in said
        assert fault


def test_an_end_that_was_taken_off_tells_no_delay():
    """An antenna before, nothing now: its own phase is no longer or shorter line."""
    rng = np.random.default_rng(12)
    for _ in range(8):
        line = Line(rng.uniform(25, 50), 0.66, 50.0, 0.6)
        antenna = rod(rng.uniform(60e6, 100e6), rng.uniform(30, 80), rng.uniform(5, 10))
        found = state(
            rng, WIDE, line, foot(WIDE, line, 1e9), foot(WIDE, line, antenna), loss_known=True
        )
        assert found.comparison.shift is None


def test_a_jumper_does_not_begin_at_a_new_joint_behind_it():
    """1.5 m more at the foot, and a joint gone bad farther up, which slows nothing."""
    rng, line = np.random.default_rng(13), Line(36.5, 0.66, 50.0, 0.6)
    now = foot(WIDE, line, rod(), ("series", 6.0, 21.5))
    then = foot(WIDE, replace(line, length_m=35.0), rod())
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=35.0)
    assert re.match(r"From somewhere between 0.0 and 3\d\.\d m on", line_verdict(found)[0])
    assert found.comparison.shift.size == pytest.approx(1.5, abs=0.02)
    # the velocity factor is known to 0.5 of 66
    assert found.comparison.shift.uncertainty > 1.5 * 0.005 / 0.66


def test_places_behind_a_wet_stretch_are_told_along_the_line():
    """2 m of 40 have got wet, from 15 m on: the far end of it seems farther than it is."""
    rng, line = np.random.default_rng(14), Line(40.0, 0.85, 50.0, 0.4)
    wet = replace(line, length_m=2.0, z0=36.0, velocity_factor=0.5)
    whole = line.two_port(WIDE, 15.0) @ wet.two_port(WIDE) @ line.two_port(WIDE, 23.0)
    now, then = from_impedance(whole.input_impedance(rod())), foot(WIDE, line, rod())
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=40.0)
    assert found.comparison.shift.size == pytest.approx(1.4, abs=0.05)
    assert (
        "m (17.0 m along the line if it is wet or other cable from 15.0 m to there)"
        in line_verdict(found)[0]
    )


@pytest.mark.parametrize(
    ("plain", "other"),
    [(("series", 5.0), True), (("shunt", 500.0), True), (("series", 0.0), False)],
    ids=["joint", "leak", "nothing"],
)
def test_a_longer_line_is_not_said_to_be_so_from_a_plain_joint_on(plain, other):
    """3 m have got wet from 30 m on, and a joint at 14 m bad, which slows nothing."""
    rng, line, one = np.random.default_rng(9108), Line(45.0, 0.87, 50.0, 0.35), np.ones(WIDE.size)
    wet = replace(line, length_m=3.0, z0=45.0, velocity_factor=0.8)
    kind, ohm = plain
    part = TwoPort.shunt(one / ohm) if kind == "shunt" else TwoPort.series(ohm * one)
    whole = line.two_port(WIDE, 14.0) @ part @ line.two_port(WIDE, 16.0)
    whole = whole @ wet.two_port(WIDE) @ line.two_port(WIDE, 12.0)
    now, then = from_impedance(whole.input_impedance(rod())), foot(WIDE, line, rod())
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=45.0)
    said, shift = line_verdict(found)[0], found.comparison.shift
    assert shift.from_m == pytest.approx(30.0, abs=0.5)
    assert re.match(r"From (29|30)\.\d m on", said)
    assert ("or from 14.0 m on unless a plain joint or leak is there" in said) is other
    assert "14.0 m to there" not in said
    assert "m (33.0 m along the line if it is wet or other cable from 30.0 m to there)" in said


@pytest.mark.parametrize(("z0", "vf"), [(75.0, 0.66), (75.0, 0.72), (42.0, 0.7)])
def test_a_slower_stretch_of_any_impedance_is_told_from_its_start(z0, vf):
    rng, line = np.random.default_rng(31), Line(34.0, 0.85, 50.0, 0.35)
    for start in (8.0, 17.0):
        piece = replace(line, length_m=2.6, z0=z0, velocity_factor=vf)
        whole = line.two_port(WIDE, start) @ piece.two_port(WIDE)
        whole = whole @ line.two_port(WIDE, line.length_m - start - 2.6)
        now, then = from_impedance(whole.input_impedance(rod())), foot(WIDE, line, rod())
        found = state(rng, WIDE, line, now, then, loss_known=True, length_m=34.0)
        said, shift = line_verdict(found)[0], found.comparison.shift
        assert shift.from_m == pytest.approx(start, abs=0.1)
        assert re.match(rf"From {shift.from_m:.1f} m on, counted from \D*, the line is", said), said
        far = start + 2.6 * 0.85 / vf
        assert re.search(
            rf"(?:then|it is so|it goes) from {start:.0f}\.\d m on to .*{far:.1f} m", said
        ), said


def test_how_much_longer_and_up_to_where_water_makes_a_line_holds_where_it_takes_up_power():
    """6 m of 62 have got wet, from 35 m on, and lose a lot."""
    rng, band, line = (
        np.random.default_rng(37),
        np.linspace(1e6, 60e6, 296),
        Line(62, 0.85, 50, 0.4),
    )
    wet = Line(6.0, 0.7, 42.0, 1.2, 0.08)
    whole = line.two_port(band, 35.0) @ wet.two_port(band) @ line.two_port(band, 21.0)
    end = dipole(band, 14.2e6, 42.0, 9.0)
    now, then = from_impedance(whole.input_impedance(end)), foot(band, line, end)
    said, _ = line_verdict(state(rng, band, line, now, then, loss_known=True, length_m=62.0))
    longer, half = map(float, re.search(r"is (\S+) ± (\S+) m longer", said).groups())
    assert abs(longer - 6 * (0.85 / 0.7 - 1)) < half < 0.15
    near, far = map(
        float, re.search(r"[Ii]f it is wet, .* between (\S+) and (\S+) m", said).groups()
    )
    assert near < 41.0 < far
    along = float(re.search(r"\((\S+) m along the line if it is wet", said)[1])
    assert near < along < far


@pytest.mark.parametrize(("ohm", "told"), [(1.9, True), (0.5, False)])
def test_a_small_new_place_is_told_of_a_line_that_is_as_it_was(ohm, told):
    rng, line = np.random.default_rng(32), Line(28.0, 0.66, 50.0, 0.6)
    end, small = random_rod(rng, WIDE), ("series", ohm, 17.0)
    now, then = foot(WIDE, line, end, small), foot(WIDE, line, end)
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=28.0)
    said, fault = line_verdict(found)
    assert not fault
    assert said.startswith(
        "New but small reflection at 17.0" if told else "The line is as it was"
    ), said
    assert (": look there at the next visit" in said) is told
    # what has come is no sound connector, and no word of a fault either
    rows = [row for row in line_lines(found) if row.startswith("  17.0")][:1]
    assert [row.endswith("return loss)") for row in rows] == [True] * told
    assert not any("far end open" in row for row in line_lines(found))  # nobody need tell its kind
    same = line_verdict(state(rng, WIDE, line, now, now, loss_known=True, length_m=28.0))[0]
    assert same.startswith("The line is as it was")


def test_weather_is_not_called_more_than_weather():
    """0.14 % of delay on a sound line: told below, and in no contradiction to the headline."""
    rng, line = np.random.default_rng(15), Line(35.0, 0.66, 50.0, 0.6)
    now, then = (foot(WIDE, replace(line, velocity_factor=v), rod()) for v in (0.661, 0.66))
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=35.0)
    assert line_verdict(found)[0].startswith("The line is as it was")
    (said,) = (text for text in line_lines(found) if "delay" in text)
    assert "shorter than in the baseline, all along it as weather may make it" in said
    assert "water" not in said


def test_weather_comes_after_the_place_that_may_have_slowed_the_wave():
    """0.6 m of wet cable at 8 m, whose two ends no band of this width tells apart."""
    rng, line = np.random.default_rng(1), Line(40.0, 0.85, 50.0, 0.5)
    then, end = foot(WIDE, line, rod()), rod()
    for piece in (replace(line, length_m=31.4), Line(0.6, 0.7, 44.0, 0.5)):
        end = piece.two_port(WIDE).input_impedance(end)
    now = foot(WIDE, replace(line, length_m=8.0), end)
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=40.0)
    (said,) = (text for text in line_lines(found) if "delay is" in text)
    assert " m on, where something is new, or all along it as weather" in said


def test_what_the_standards_plane_reflects_in_the_baseline_alone_is_another_calibration():
    rng, line = np.random.default_rng(16), Line(35.0, 0.66, 50.0, 0.6)
    sound = foot(WIDE, line, rod())
    found = state(rng, WIDE, line, sound, sound + 0.03, loss_known=True, length_m=35.0)
    assert line_verdict(found)[0].startswith(
        "The baseline alone has a reflection at the standards'"
    )


def jumper(line, end, loss):
    """The line with 1.5 m of thinner cable put in at its foot."""
    piece = replace(line, length_m=1.5, conductor_db=loss)
    return from_impedance((piece.two_port(WIDE) @ line.two_port(WIDE)).input_impedance(end))


@pytest.mark.parametrize("loss", [0.6, 1.6, 2.8])
def test_what_an_added_piece_loses_is_no_change_of_the_end(loss):
    rng, line = np.random.default_rng(17), Line(35.0, 0.66, 50.0, 0.6)
    for _ in range(3):
        end = random_rod(rng, WIDE)
        then = foot(WIDE, line, end)
        found = state(
            rng, WIDE, line, jumper(line, end, loss), then, loss_known=True, length_m=35.0
        )
        assert found.comparison.changes == ()
        assert found.comparison.shift.size == pytest.approx(1.5, abs=0.03)
        # a change of the end itself is told all the same
        now = jumper(line, 0.5 * end, loss)
        found = state(rng, WIDE, line, now, then, loss_known=True, length_m=35.0)
        assert found.comparison.changes[-1].size > 0.1


def test_the_end_of_a_line_that_grew_since_its_far_end_was_swept_is_its_end():
    rng, line = np.random.default_rng(18), Line(35.0, 0.66, 50.0, 0.6)
    wanted = LineCheck("", None, ((1.0, "end"),), line, True, {"length": 0.1}, (), True)
    end = rod()
    sweeps = jumper(line, end, 1.6), foot(WIDE, line, end), foot(WIDE, line, 1e9)
    now, then, far = (Quantity(noisy(rng, each, 0.0005)) for each in sweeps)
    said = "\n".join(line_lines(line_state(wanted, WIDE, now, then, [far], 50.0)))
    assert re.search(r"36\.\d+ ± \S+ m: the line's end \(by the record at 35 m\)", said)
    assert not re.search(r"36\.\d.* no place", said)
    assert "has changed" not in said


@pytest.mark.parametrize("z0", [56.0, 44.0, 75.0])
def test_another_cable_from_a_place_on_is_a_step_of_impedance(z0):
    """The open far end shows that nothing is lost there; of a joint it shows the loss."""
    rng, line = np.random.default_rng(19), Line(30.0, 0.66, 50.0, 0.6)
    for place in rng.uniform(5, 25, 4):
        other = replace(line, length_m=30 - place, z0=z0)
        whole = line.two_port(WIDE, place) @ other.two_port(WIDE)
        joint = ("series", abs(z0 - 50) * 2, place)
        for seen, is_step in (
            (from_impedance(whole.input_impedance(1e9 + 0 * WIDE)), True),
            (foot(WIDE, line, 1e9, joint), False),
        ):
            said, _ = line_verdict(state(rng, WIDE, line, seen, loss_known=True, length_m=30.0))
            assert (", a step of impedance, as of another cable" in said) is is_step


def test_the_end_of_a_line_that_was_shortened_is_its_end():
    rng, line = np.random.default_rng(20), Line(35.0, 0.66, 50.0, 0.6)
    now, then = (foot(WIDE, replace(line, length_m=m), rod()) for m in (33.0, 35.0))
    found = state(rng, WIDE, line, now, then, loss_known=True, length_m=35.0)
    assert found.comparison.shift.size == pytest.approx(-2, abs=0.02)
    said = "\n".join(line_lines(found))
    assert re.search(r"3[23]\.\d+ ± \S+ m: the line's end \(by the record at 35 m\)", said)
    assert "no single simple fault" not in said


@pytest.mark.parametrize("far_m", [200.0, 600.0])
def test_what_loss_made_good_blows_up_far_behind_the_end_is_no_change(far_m):
    """An echo of 0.02 from 600 m of a line that ends at 28 m would be of more than all there is."""
    frequency, line = np.linspace(140e6, 150e6, 201), Line(28.0, 0.66, 50.0, 3.0)
    then = foot(frequency, line, 60.0)
    far = 0.02 * np.exp(-4j * np.pi * frequency * far_m / (0.66 * SPEED_OF_LIGHT))
    known = {"length_m": 28.0, "loss_known": True}
    found = state(np.random.default_rng(5), frequency, line, then + far, then, **known)
    assert all(change.size <= 2 for change in found.comparison.changes)


def test_an_end_of_the_same_size_is_said_to_have_turned():
    line, rng = Line(40.0, 0.85, 50.0, 0.3), np.random.default_rng(6)
    now, then = (foot(WIDE, line, ohm) for ohm in (20.0, 125.0))
    found = state(rng, WIDE, line, now, then, length_m=40.0, loss_known=True)
    said = line_verdict(found)[0]
    assert "as before, but at another phase" in said, said


@pytest.mark.parametrize(
    ("mhz", "most"), [((140, 150), 2e-3), ((49, 55), 2e-3), ((1, 300), 1.1e-4)], ids=str
)
def test_weather_is_no_change_of_the_end_where_phases_alone_tell_it(mhz, most):
    """Antennas of the band and far below it; what weather does is made good, a new joint is not."""
    rng, band = np.random.default_rng(21), np.linspace(*mhz, 301) * 1e6
    for _ in range(12):
        line = Line(rng.uniform(15, 60), 0.66, 50.0, 0.6, 0.005)
        then = replace(line, velocity_factor=0.66 * (1 + rng.uniform(-most, most)))
        end = dipole(band, rng.choice([28e6, np.mean(band)]), 40.0, 8.0)
        swept = foot(band, line, end), foot(band, then, end)
        stated = {"length_m": line.length_m} if rng.random() < 0.7 else {}
        found = state(rng, band, line, *swept, loss_known=True, **stated)
        said, fault = line_verdict(found)
        assert said.startswith("The line is as it was"), said
        assert not fault
        joint = foot(band, line, end, ("series", 8.0, line.length_m - 3.0))
        found = state(rng, band, line, joint, swept[1], loss_known=True, **stated)
        assert line_verdict(found)[1]


@pytest.mark.parametrize("mhz", [(1, 160), (140, 150)], ids=str)
@pytest.mark.parametrize("near_m", [2.0, 20.0], ids=["at the top", "on the way"])
def test_a_break_is_told_as_one_and_nothing_else(mhz, near_m):
    """No piece was taken out, no antenna retuned, and beyond it nothing is as it was."""
    rng, band = np.random.default_rng([22, *mhz]), np.linspace(*mhz, 201) * 1e6
    for _ in range(10):
        line = Line(rng.uniform(25, 60), 0.66, 50.0, 0.6, 0.005)
        end = random_rod(rng, band)
        place = line.length_m - rng.uniform(0.3, near_m)
        gap = ("series", 1 / (2j * np.pi * band * 0.3e-12), place)
        swept = foot(band, line, end, gap), foot(band, line, end)
        stated = {"length_m": line.length_m} if rng.random() < 0.7 else {}
        found = state(rng, band, line, *swept, loss_known=True, **stated)
        said, fault = line_verdict(found)
        assert fault
        pattern = r"(New reflection at|The line now ends at) (\S+) ± (\S+) m.*an? (open|short)"
        _, at, half, _ = re.match(pattern, said).groups()
        assert abs(float(at) - place) < float(half), said
        assert "taken out" not in said
        assert "otherwise" not in said
        told = clauses(said)
        assert ("nothing is seen beyond it" in told) != ("up to there" in told)


def test_a_break_at_the_top_is_told_before_what_is_gone_with_it():
    rng, line = np.random.default_rng(25), Line(40.0, 0.66, 50.0, 0.6, 0.005)
    for off in (0.4, 1.0):
        end, joint = random_rod(rng, WIDE), ("series", 2.0, 38.0)
        gap = ("series", 1 / (2j * np.pi * WIDE * 0.3e-12), 40.0 - off)
        swept = foot(WIDE, line, end, gap), foot(WIDE, line, end, joint)
        said, _ = line_verdict(state(rng, WIDE, line, *swept, loss_known=True, length_m=40.0))
        assert "an open line" in said, said


def test_a_joint_well_before_the_end_is_no_retuned_antenna():
    """By a narrow band that hardly tells them apart: its own place is known."""
    rng, band = np.random.default_rng(26), np.linspace(140e6, 150e6, 201)
    for _ in range(12):
        line = Line(rng.uniform(25, 35), 0.66, 50.0, 0.6, 0.005)
        end, place = random_rod(rng, band), line.length_m - rng.uniform(8, 11)
        joint = ("series", rng.uniform(10, 25), place)
        swept = foot(band, line, end, joint), foot(band, line, end)
        known = {"loss_known": True, "length_m": line.length_m}
        said, fault = line_verdict(state(rng, band, line, *swept, **known))
        assert fault
        assert "as an antenna does" not in said or "in its last" in said, said


@pytest.mark.parametrize("top", [250e6, 160e6], ids=["to 250 MHz", "to 160 MHz"])
@pytest.mark.parametrize("share", [-0.04, 0.05, 0.06])
def test_what_a_line_loses_on_another_day_is_no_change_of_its_end(share, top):
    rng, band = np.random.default_rng([27, round(1000 * abs(share))]), np.linspace(1e6, top, 401)
    for _ in range(2):
        line = Line(60.0, 0.66, 50.0, 0.6, 0.005)
        other = {"conductor_db": 0.6 * (1 + share), "dielectric_db": 0.005 * (1 + share)}
        day = replace(line, velocity_factor=0.66 * (1 - share / 20), **other)
        end, retuned = (dipole(band, mhz * 1e6, 40.0, 8.0) for mhz in (50, 50.2))
        known = {"loss_known": True, "length_m": 60.0}
        sweeps = foot(band, day, retuned), foot(band, line, end)
        said, fault = line_verdict(state(rng, band, line, *sweeps, **known))
        assert said.startswith("The line is as it was"), said
        assert not fault
        if "but for weather" in said:
            rows = line_lines(state(rng, band, line, *sweeps, **known))
            more = "more" if share > 0 else "less"
            assert any(re.match(rf"its loss is 0\.\d+ dB {more} at .* made good", r) for r in rows)
        # a plug at its top takes up alike at all frequencies
        sweeps = foot(band, line, end, ("series", 5.0, 59.7)), sweeps[1]
        said, fault = line_verdict(state(rng, band, line, *sweeps, **known))
        assert fault, said


@pytest.mark.parametrize("mhz", [(50, 54), (140, 150)], ids=str)
def test_a_hot_day_is_no_change_of_the_end_by_a_narrow_band(mhz):
    rng, band = np.random.default_rng(33), np.linspace(*mhz, 201) * 1e6
    for share in (0.055, -0.05):
        for _ in range(4):
            line = Line(rng.uniform(45, 65), 0.66, 50.0, 1.4, 0.01)
            other = {"conductor_db": 1.4 * (1 + share), "dielectric_db": 0.01 * (1 + share)}
            day, end = replace(line, **other), dipole(band, 28e6, 40.0, 8.0)
            swept = foot(band, day, end), foot(band, line, end)
            found = state(rng, band, line, *swept, loss_known=True, length_m=line.length_m)
            said, fault = line_verdict(found)
            assert not fault, said
            assert "if it was as warm in both sweeps, look at what the line ends in" in clauses(
                said
            )
            # what hardly reflects any more is no weather
            worse = foot(band, line, 1 / (1 / end + 1 / 100))
            found = state(rng, band, line, worse, swept[1], loss_known=True)
            assert line_verdict(found)[1]


@pytest.mark.parametrize("mhz", [(120, 170), (100, 200), (1, 30)], ids=str)
@pytest.mark.parametrize("share", [0.1, 0.13, -0.1])
def test_loss_between_weather_and_age_is_told_as_it_is_and_is_no_change_of_the_end(mhz, share):
    rng, band = np.random.default_rng(35), np.linspace(*mhz, 401) * 1e6
    line = Line(60.0, 0.66, 50.0, 1.1, 0.02)
    other = {"conductor_db": 1.1 * (1 + share), "dielectric_db": 0.02 * (1 + share)}
    day, end = replace(line, **other), dipole(band, np.mean(band), 40.0, 8.0)
    swept = foot(band, day, end), foot(band, line, end)
    said, fault = line_verdict(state(rng, band, line, *swept, loss_known=True, length_m=60.0))
    more = share * 60 * (1.1 * np.sqrt(np.mean(band) / 1e6) + 0.02 * np.mean(band) / 1e6) / 100
    told = re.match(r"The line may lose (\S+) ± (\S+) dB (more|less) than it did", said)
    assert told, said
    assert abs(float(told[1]) - abs(more)) <= float(told[2]) + 0.05
    assert told[3] == ("more" if more > 0 else "less")
    assert f"; a much {'hotter' if share > 0 else 'colder'} line does" in clauses(said)
    assert fault
    assert "otherwise as it was" not in said


@pytest.mark.parametrize("mhz", [144.7, 145.3, 142.5])
def test_a_hot_day_and_an_antenna_that_hardly_moved_are_no_change_of_the_end(mhz):
    """Such a move alone is none; one that is one is told with the doubt that warmth is in it."""
    rng, band = np.random.default_rng(37), np.linspace(50e6, 200e6, 401)
    line = Line(35.0, 0.66, 50.0, 0.67, 0.005)
    day = replace(line, velocity_factor=0.66 * 1.0017, conductor_db=0.67 * 1.056)
    end, moved = (dipole(band, each * 1e6, 52.0, 6.0) for each in (145.0, mhz))
    for _ in range(4):
        known = {"loss_known": True, "length_m": 35.0}
        sweeps = foot(band, day, moved), foot(band, line, end)
        said, fault = line_verdict(state(rng, band, line, *sweeps, **known))
        assert fault == (mhz == 142.5), said
        if fault:
            assert "no other place changed, and what warmth did to the line is in" in clauses(said)
        else:
            assert said.startswith("The line is as it was but for weather"), said
        # a plug at its top takes up alike at all frequencies
        sweeps = foot(band, day, end, ("series", 5.0, 34.7)), sweeps[1]
        assert line_verdict(state(rng, band, line, *sweeps, **known))[1]


def test_where_warmth_may_be_in_the_change_of_an_end_the_line_is_not_called_as_it_was():
    rng, band = np.random.default_rng(36), np.linspace(120e6, 170e6, 401)
    line = Line(50.0, 0.66, 50.0, 0.6, 0.005)
    day = replace(line, velocity_factor=0.66 * 1.002, conductor_db=0.66)
    swept = (
        foot(band, day, dipole(band, 144.6e6, 40.0, 8.0)),
        foot(band, line, dipole(band, 146.9e6, 40.0, 8.0)),
    )
    said, _ = line_verdict(state(rng, band, line, *swept, loss_known=True, length_m=50.0))
    assert said.startswith("What the line ends in")
    assert "no other place changed, and what warmth did to the line is in these figures" in clauses(
        said
    )


@pytest.mark.parametrize("length_m", [35.0, 0.0], ids=["stated", "not stated"])
def test_a_piece_that_was_added_is_asked_for_on_the_ground_first(length_m):
    rng, line = np.random.default_rng(28), Line(35.0, 0.66, 50.0, 0.6)
    end = random_rod(rng, WIDE)
    stated = {"loss_known": True, **({"length_m": length_m} if length_m else {})}
    swept = jumper(line, end, 0.6), foot(WIDE, line, end)
    said, fault = line_verdict(state(rng, WIDE, line, *swept, **stated))
    assert fault
    told = r"From somewhere between 0\.0 and \S+ m on, the line is 1\.5\d* ± \S+ m longer than "
    assert re.match(f"{told}it was: ask on the ground whether a piece was put in", clauses(said))
    # behind a joint that stayed where it was it is not at the foot
    swept = foot(WIDE, replace(line, length_m=36.5), end, OLD), foot(WIDE, line, end, OLD)
    said, _ = line_verdict(state(rng, WIDE, line, *swept, **stated))
    assert said.startswith("From somewhere between 12.0 and 35")
    assert (
        "antenna does" not in said
    )  # what goes round between joint and end has moved twice as far


@pytest.mark.parametrize("length_m", [18.0, 0.0], ids=["stated", "not stated"])
@pytest.mark.parametrize("ohm", [68.0, 80.0])
def test_a_feed_point_that_corroded_in_a_narrow_resonance_is_told_first(ohm, length_m):
    """It moves what is seen near there alone; the figures are those of there, and differ."""
    rng, band, line = np.random.default_rng(15), np.linspace(1e6, 60e6, 296), Line(18.0, 0.8)
    antennas = (dipole(band, 28.5e6, r, 12.0 * 60 / r) for r in (ohm, 60.0))
    now, then = (foot(band, line, antenna) for antenna in antennas)
    given = {"loss_known": True} | ({"length_m": length_m} if length_m else {})
    found = state(rng, band, line, now, then, **given)
    said, fault = line_verdict(found)
    assert fault
    said = clauses(said)
    told = re.match(r"What .* changed most at (28\.\d+) MHz, .* is (0\.\d+) .* was (0\.\d+)", said)
    shown = [float(np.interp(float(told[1]) * 1e6, band, abs(sweep))) for sweep in (now, then)]
    assert [float(told[2]), float(told[3])] == pytest.approx(shown, abs=0.01)
    assert told[2] != told[3]
    assert "the line is otherwise as it was" in said
    assert told[0].split("it changed", 1)[1] in "\n".join(line_lines(found)[1:])
    said, fault = line_verdict(state(rng, band, line, then, then, **given))
    assert said.startswith("The line is as it was"), said
    assert not fault


@pytest.mark.parametrize("off", [0.5, 1.1])
def test_a_line_that_was_cut_is_asked_for_first_and_ends_where_it_is_seen(off):
    """The record has the length before: no antenna was moved, as all is explained."""
    rng, line = np.random.default_rng(29), Line(33.0, 0.66, 50.0, 0.65, 0.003)
    for _ in range(3):
        end = random_rod(rng, WIDE)
        swept = (foot(WIDE, replace(line, length_m=m), end) for m in (33.0 - off, 33.0))
        found = state(rng, WIDE, line, *swept, loss_known=True, length_m=33.0)
        said, fault = line_verdict(found)
        assert fault
        assert found.comparison.changes == ()
        told = re.search(r"the line is (\S+) ± (\S+) m shorter than it was: ", said)
        assert re.search("break there first|whether it was cut", said)
        assert abs(float(told[1]) - off) < float(told[2]) + 0.01
        assert "antenna does" not in said
        ends = next(row for row in line_lines(found) if "the line's end" in row and ": the" in row)
        place, half = re.match(r"  (\S+) ± (\S+) m: ", ends).groups()
        assert abs(float(place) - 33.0 + off) < float(half)
        assert "by the record at 33 m" in ends


def test_a_cut_on_a_warm_day_behind_an_old_joint_is_a_cut():
    """The day moves the joint a little, and no place far along is new by that."""
    rng, line = np.random.default_rng(34), Line(36.0, 0.66, 50.0, 0.6, 0.005)
    for off in (0.9, 1.6):
        end, joint = random_rod(rng, WIDE), ("series", 2.2, 11.0)
        warm = replace(line, length_m=36.0 - off, velocity_factor=0.66 * 0.9995)
        swept = foot(WIDE, warm, end, joint), foot(WIDE, line, end, joint)
        found = state(rng, WIDE, line, *swept, loss_known=True, length_m=36.0)
        said = line_verdict(found)[0]
        told = re.search(r"the line is (\S+) ± (\S+) m shorter than it was", said)
        assert abs(float(told[1]) - off) < float(told[2]) + 0.03, said


def test_a_stretch_that_dried_is_no_cut():
    rng, line = np.random.default_rng(35), Line(29.0, 0.66, 50.0, 0.6, 0.005)
    for start in (8.0, 16.0):
        wet = replace(line, length_m=2.5, z0=44.0, velocity_factor=0.6)
        whole = line.two_port(WIDE, start) @ wet.two_port(WIDE)
        whole = whole @ line.two_port(WIDE, 26.5 - start)
        end = random_rod(rng, WIDE)
        swept = foot(WIDE, line, end), from_impedance(whole.input_impedance(end))
        found = state(rng, WIDE, line, *swept, loss_known=True, length_m=29.0)
        said = line_verdict(found)[0]
        place = re.match(r"From (\S+) m on, counted .* shorter than it was: .* dried", said)[1]
        assert float(place) == pytest.approx(start, abs=0.4)
        assert "is gone" in said


def test_what_came_off_is_told_at_one_place():
    rng, line = np.random.default_rng(36), Line(24.0, 0.66, 50.0, 0.6, 0.005)
    swept = foot(WIDE, line, 1e9), foot(WIDE, line, random_rod(rng, WIDE))
    found = state(rng, WIDE, line, *swept, loss_known=True, length_m=24.0)
    place = re.match(r"The line now ends at (\S+ ± \S+ m) from", line_verdict(found)[0])[1]
    rows = [row for row in line_lines(found) if row.startswith("  2")]
    assert [row.split(":")[0].strip() for row in rows[:2]] == [place, place]
    assert "antenna" not in rows[1]


def test_behind_a_break_everything_is_gone():
    rng, line = np.random.default_rng(30), Line(34.0, 0.66, 50.0, 0.6, 0.005)
    for off in (1.2, 3.0):
        gap = ("series", 1 / (2j * np.pi * WIDE * 1e-12), 34.0 - off)
        end = random_rod(rng, WIDE)
        swept = foot(WIDE, line, end, gap), foot(WIDE, line, end)
        found = state(rng, WIDE, line, *swept, loss_known=True, length_m=34.0)
        said = line_verdict(found)[0]
        assert "nothing is seen beyond" in said
        behind = [c for c in found.comparison.changes if c.distance_m > 34.0 - off / 2]
        assert [c.what for c in behind] == ["gone"], said


@pytest.mark.parametrize("ohm", [1e9, 0.3], ids=["open", "short"])
@pytest.mark.parametrize(("kind", "means"), [("shunt", "a leak"), ("series", "a resistive joint")])
def test_what_came_off_behind_a_fault_is_told_first_and_hides_no_kind(ohm, kind, means):
    """The fault keeps part of it back, so that it reflects no more than the antenna did."""
    rng, line = np.random.default_rng(37), Line(27.0, 0.8, 50.0, 0.4, 0.003)
    fault, like = (kind, 130.0 if kind == "shunt" else 16.0, 9.0), "open" if ohm > 1 else "shorted"
    for _ in range(4):
        swept = foot(WIDE, line, ohm, fault), foot(WIDE, line, random_rod(rng, WIDE))
        for then in (swept[1], None):
            found = state(rng, WIDE, line, swept[0], then, loss_known=True, length_m=27.0)
            said = line_verdict(found)[0]
            end, place = said.split("eflection at 9.0")
            assert re.match("The line('s end| now ends) at 2[67]", end), said
            assert f"{like} line does" in end
            assert means in place
            assert "seems changed" not in said


def test_how_much_an_end_changed_is_said_by_its_phase_too_and_where_the_answer_is_asked():
    """What comes back where it changed most may be less than it was, or as much and turned."""
    rng, band = np.random.default_rng(38), np.linspace(420e6, 450e6, 201)
    line = Line(11.0, 0.8, 50.0, 0.5, 0.003)
    swept = [
        foot(band, line, dipole(band, hz, ohm, 9.0)) for hz, ohm in ((424e6, 62.0), (436e6, 46.0))
    ]
    has = LineCheck("now", None, (), line, True, {"velocity factor": 0.005, "length": 0.1}, (), 0)
    now, then = (Quantity(noisy(rng, sweep, 0.0005)) for sweep in swept)
    found = line_state(has, band, now, then, [], 50.0)
    for answer in (434e6, None, 500e6):
        said = line_verdict(replace(found, answer_hz=answer))[0]
        told = r"most at (\S+) MHz, by (\S+) .*: at (\S+) MHz .*? is (\S+) \(.*? was (\S+) \("
        most, size, at, is_now, was = (float(m) for m in re.search(told, said).groups())
        assert at == pytest.approx(434.0, abs=0.2) or answer != 434e6
        k, here = (int(np.argmin(abs(band - mhz * 1e6))) for mhz in (most, at))
        sizes = abs(abs(swept[0]) - abs(swept[1]))
        assert answer == 434e6 or sizes[here] > 0.9 * sizes.max()
        assert size == pytest.approx(abs(swept[0] - swept[1])[k], abs=0.01)
        assert [is_now, was] == pytest.approx([abs(one[here]) for one in swept], abs=0.01)


@pytest.mark.parametrize(
    ("mhz", "more"), [((420, 450), -0.4), ((420, 450), 0.5), ((432, 434), -0.12)]
)
def test_a_length_that_changed_is_asked_for_by_a_narrow_band_too(mhz, more):
    rng, band = np.random.default_rng(39), np.linspace(*mhz, 101) * 1e6
    line = Line(13.0, 0.8, 50.4, 0.5, 0.003)
    for ohm in (38.0, 75.0):
        end = dipole(band, 433e6, ohm, 6.0)
        swept = (foot(band, replace(line, length_m=13.0 + m), end) for m in (more, 0.0))
        said, fault = line_verdict(
            state(rng, band, replace(line, z0=50.0), *swept, loss_known=True, length_m=13.0)
        )
        assert fault
        assert (
            "may be a line that was cut or made longer (ask on the ground), or is warm" in said
        ), said
        assert "otherwise as it was" not in said


@pytest.mark.parametrize(
    ("moved", "words"),
    [(0.0, "which this alone can explain"), (15e6, "look at the antenna too")],
    ids=["as it was", "retuned"],
)
def test_whether_a_fault_explains_what_changed_at_the_end_is_said(moved, words):
    rng, line = np.random.default_rng(40), Line(31.0, 0.8, 50.0, 0.4, 0.003)
    for fault in (("shunt", 210.0, 13.0), ("series", 9.0, 13.0)):
        ends = (rod(84e6 + hz, 44.0, 9.0) for hz in (moved, 0.0))
        swept = (foot(WIDE, line, end, *[fault] * k) for end, k in zip(ends, (1, 0), strict=True))
        found = state(rng, WIDE, line, *swept, loss_known=True, length_m=31.0)
        said, fault = line_verdict(found)
        assert said.startswith("New reflection at 13.0")
        assert said.endswith(f"{words}."), said


@pytest.mark.parametrize("span", [(13.9e6, 14.5e6), (6.95e6, 7.25e6)])
def test_an_antenna_that_changed_in_a_band_too_narrow_to_tell_where_is_no_weather(span):
    """All of such a line lies within one resolution, and its end seems to be at the foot."""
    frequency, line = np.linspace(*span, 121), Line(45.0, 0.85, 50.0, 0.3)
    ratio = frequency / np.mean(frequency)
    ends = (r * (1 + 1j * q * (ratio - 1 / ratio)) for r, q in ((55.0, 14.0), (36.0, 20.0)))
    then, now = (foot(frequency, line, end) for end in ends)
    found = state(np.random.default_rng(6), frequency, line, now, then, length_m=45.0)
    said, fault = line_verdict(found)
    assert fault
    assert said.startswith("What the line ends in (antenna, feed point), or something anywhere")
    assert not any("nan" in row for row in line_lines(found))


@pytest.mark.parametrize(
    ("band", "old", "new"),
    [((130e6, 160e6), (144.6e6, 62.0, 7.0), (145.4e6, 44.0, 9.0)),
     ((3.5e6, 3.8e6), (3.58e6, 58.0, 11.0), (3.65e6, 58.0, 11.0))],
    ids=["better", "retuned"],
)  # fmt: skip
def test_a_new_antenna_is_told_by_sizes_where_it_changed_most(band, old, new):
    """Not where it works badly before and after; and how much the end hides is said once."""
    rng, line = np.random.default_rng(46), Line(61.0, 0.85, 50.0, 0.37, 0.002)
    band = np.linspace(*band, 401)
    swept = (foot(band, line, dipole(band, *end)) for end in (new, old))
    found = state(rng, band, line, *swept, length_m=61.0)
    said, rows = clauses(line_verdict(found)[0]), line_lines(found)
    change = r"most at \S+ MHz, by 0\.\d+ \(phase counted\): at \S+ MHz what comes back"
    assert re.search(change, said), said
    assert not any("which hides" in row or "± 2" in row or "0 m rings" in row for row in rows[1:])


HF = np.linspace(6.8e6, 7.4e6, 121)


@pytest.mark.parametrize("stated", [{"length_m": 50.0}, {}], ids=["length", "no length"])
@pytest.mark.parametrize("joint", [True, False])
def test_a_band_that_resolves_less_than_the_line_sends_nobody_to_its_end(joint, stated):
    """A splice of 9 ohm halfway or a dipole that sagged: nothing here tells them apart."""
    rng, line = np.random.default_rng(41), Line(50.0, 0.66, 50.0, 0.6)
    end, sagged = (dipole(HF, hz, 62.0, 11.0) for hz in (7.12e6, 7.0e6))
    splice = [("series", 9.0, 32.0)] if joint else []
    swept = foot(HF, line, end if joint else sagged, *splice), foot(HF, line, end)
    found = state(rng, HF, line, *swept, **stated)
    said, fault = line_verdict(found)
    assert fault
    assert said.startswith("What the line ends in (antenna, feed point), or something anywhere on")
    do = "sweep 59 MHz" if stated else "state length_m, and sweep "
    assert f"his band cannot tell places on the line apart (resolution 250 m): {do}" in said
    assert "otherwise as it was" not in said
    assert " ± " not in said
    if not stated:
        alone = state(rng, HF, line, swept[0])
        assert (
            "cannot tell places on the line apart (resolution 250 m): state length_m"
            in line_verdict(alone)[0]
        )
        assert not any(" ± " in row for row in line_lines(alone) if row.startswith("  "))


def test_what_is_new_well_before_the_end_is_not_put_down_to_the_end():
    """A splice two resolutions before a dipole, and the same dipole without it."""
    rng, band = np.random.default_rng(42), np.linspace(1e6, 12e6, 221)
    line = Line(50.0, 0.66, 50.0, 0.6)
    end = dipole(band, 7.12e6, 62.0, 11.0)
    now, then = foot(band, line, end, ("series", 9.0, 32.0)), foot(band, line, end)
    for baseline in (then, None):
        found = state(rng, band, line, now, baseline, length_m=50.0)
        said = line_verdict(found)[0]
        assert re.search(
            r"hat appears at 3[12]\.\d m.*, 0\.0\d+ .*or a place of its own: look there", said
        )
        assert "otherwise as it was" not in said
        assert not any(
            "3" in re.findall(r"at ([\d. and,]+) m rings", row) for row in line_lines(found)
        )
    sound = state(rng, band, line, then, then, length_m=50.0)
    assert "place of its own" not in line_verdict(sound)[0]


def test_an_end_that_reflected_nearly_all_before_has_not_come_off_behind_a_joint():
    rng, band = np.random.default_rng(43), np.linspace(1e6, 30e6, 291)
    line = Line(50.0, 0.66, 50.0, 0.6)
    end = dipole(band, 7.12e6, 62.0, 11.0)
    swept = foot(band, line, end, ("series", 9.0, 32.0)), foot(band, line, end)
    said, _ = line_verdict(state(rng, band, line, *swept, length_m=50.0, loss_known=True))
    assert said.startswith("New reflection at 3")
    assert "now ends" not in said


def test_a_crushed_place_is_told_and_not_how_much_it_slows_the_wave():
    rng, line, w = np.random.default_rng(44), Line(62.0, 0.66, 50.0, 0.6), 2j * np.pi * WIDE
    end = dipole(WIDE, 145e6, 40.0, 12.0)
    near, far = (line.two_port(WIDE, m) for m in (38.5, 23.5))
    now = from_impedance((near @ TwoPort.shunt(w * 7e-12) @ far).input_impedance(end))
    said, _ = line_verdict(
        state(rng, WIDE, line, now, foot(WIDE, line, end), loss_known=True, length_m=62.0)
    )
    assert said.startswith("New reflection at 38.")
    assert "longer" not in said


@pytest.mark.parametrize("off", [0.0, 0.025])
@pytest.mark.parametrize("ohm", [5.0, 20.0, 50.0, 100.0])
def test_whether_an_antenna_changed_is_told_through_a_joint_or_a_leak(ohm, off):
    """Exactly, by what the joint adds to the impedance at its place, with all that bounces."""
    rng, told = np.random.default_rng([46, int(ohm)]), Counter()
    for turn in range(8):
        line = Line(rng.uniform(25, 50), 0.66, 50.0, 0.6)
        resistance, quality = rng.uniform(30, 80), rng.uniform(5, 12)
        kind, value = (("series", ohm), ("shunt", 2500 / ohm))[turn % 2]
        joint = (kind, value, rng.uniform(0.3, 0.5) * line.length_m)
        ends = (dipole(WIDE, 1e8 * (1 + x), resistance, quality) for x in (off, 0.0))
        now, then = (foot(WIDE, line, z, *[joint] * k) for z, k in zip(ends, (1, 0), strict=True))
        given = {"loss_known": True, "length_m": line.length_m}
        found = state(rng, WIDE, line, now, then, **given)
        told[found.comparison.through] += 1
        assert ("look at the antenna too" in line_verdict(found)[0]) is (
            found.comparison.through == "more"
        )
    if off:
        assert told["more"] >= 6
        assert told["all"] == 0
    else:
        assert told == {"all": 8}


def test_an_end_that_is_hardly_seen_through_a_joint_is_not_judged():
    rng, line = np.random.default_rng(47), Line(30.0, 0.66, 50.0, 0.6)
    ends = (dipole(WIDE, 1e8 * x, 50.0, 8.0) for x in (1.03, 1.0))
    joint = ("series", 300.0, 14.0)
    now, then = (foot(WIDE, line, z, *[joint] * k) for z, k in zip(ends, (1, 0), strict=True))
    said, fault = line_verdict(state(rng, WIDE, line, now, then, loss_known=True, length_m=30.0))
    assert said.startswith("New reflection at 1")
    assert "mend this and sweep again, as the antenna cannot be judged before" in said
    assert fault


def test_what_is_seen_through_a_leak_has_neither_moved_nor_come_off():
    """The antenna's own late echoes, and a size that only the leak lowered, seemed to say so."""
    rng, line = np.random.default_rng(48), Line(45.0, 0.66, 50.0, 0.55)
    frequency = np.linspace(1e6, 100e6, 201)
    for resistance, quality, place in ((45.0, 14.0, 9.0), (70.0, 12.0, 36.0), (62.0, 13.5, 20.0)):
        end = dipole(frequency, 50.2e6, resistance, quality)
        then, now = (foot(frequency, line, end, *[("shunt", 125.0, place)] * k) for k in (0, 1))
        found = state(rng, frequency, line, now, then, loss_known=True, length_m=45.0)
        said, _ = line_verdict(found)
        assert said.endswith("which this alone can explain."), said
        assert not re.search("longer|shorter|now ends|comes off", said)


def test_a_warmer_line_beside_an_adapter_is_no_antenna_alone():
    """Its end turns farther than the adapter turned it, and by no more than weather does."""
    line, adapter = Line(27.0, 0.84, 50.0, 0.4), Line(0.03, 0.84, 50.0, 0.4)
    band = np.linspace(1e6, 300e6, 401)
    joint = TwoPort.shunt(2j * np.pi * band * 5e-12)
    swept = []
    for stretch in (1.0008, 1.0):
        near, far = (line.two_port(band, metres * stretch) for metres in (3.0, 24.0))
        whole = near @ joint @ far
        whole = adapter.two_port(band) @ whole if stretch > 1 else whole
        swept.append(from_impedance(whole.input_impedance(dipole(band, 145e6, 60.0, 8.0))))
    given = {"loss_known": True, "length_m": 27.0}
    said, _ = line_verdict(state(np.random.default_rng(3), band, line, *swept, **given))
    assert "or is warmer or colder, or an antenna that was moved" in said


def test_a_sure_place_is_told_before_one_that_may_be_the_ends_own_answer():
    rng, band = np.random.default_rng(42), np.linspace(1e6, 12e6, 221)
    line, end = Line(50.0, 0.66, 50.0, 0.6), dipole(band, 7.12e6, 62.0, 11.0)
    now = foot(band, line, end, ("series", 25.0, 9.0), ("series", 12.0, 32.0))
    said = line_verdict(state(rng, band, line, now, length_m=50.0))[0]
    assert re.match(r"Reflection at 9\.\d ± .*What appears at 31\.\d m, .*a place of its own", said)
