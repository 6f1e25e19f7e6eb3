"""The state of a line whose length is known or not: what is its end, and what cannot be a place.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.faults.end import RINGING, strongest_on
from rfcal.feedline.faults.kinds import UNCLEAR
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.cables import CABLES
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings.line.state import about_line, line_verdict
from rfcal.record.findings.line.verdict import before_end
from rfcal.record.format.line import LineCheck
from rfcal.record.job.line import line_state
from rfcal.report.figures.device import line_figure
from rfcal.report.text.line import line_lines
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_faults import HIGH, WIDE, foot, noisy

NARROW = np.linspace(66e6, 74e6, 201)


def state(rng, frequency, line, now, then=None, *, loss_known=False, **stated):
    """What a record says of sweeps; it states the velocity factor, and `length_m` if given."""
    doubt = {"velocity factor": 0.005} | ({"length": 0.1} if "length_m" in stated else {})
    known = replace(line, **{"length_m": 0.0, **stated})
    wanted = LineCheck("now", None, (), known, loss_known, doubt, (), False)
    now, then = (
        sweep if sweep is None else Quantity(noisy(rng, sweep, 0.0005)) for sweep in (now, then)
    )
    return line_state(wanted, frequency, now, then, [], 50.0)


def clauses(said):
    """A state as one row of clauses, wherever its sentences break."""
    return re.sub(r"\. ([A-Z])", lambda found: f"; {found[1].lower()}", said)


def rod(frequency, resonance=70e6, resistance=40.0, quality=8.0):
    """Impedance of a series-resonant antenna [ohm]."""
    ratio = frequency / resonance
    return resistance * (1 + 1j * quality * (ratio - 1 / ratio))


def random_rod(rng, frequency):
    """One of those that a band is swept for."""
    resonance = np.mean(frequency) * rng.uniform(0.95, 1.05)
    return rod(frequency, resonance, rng.uniform(20, 100), rng.uniform(4, 15))


@pytest.mark.parametrize("frequency", [NARROW, WIDE], ids=["narrow", "wide"])
def test_a_fault_is_never_called_the_end_of_a_line_of_known_length(frequency):
    """Before antennas that can be told apart from it, and matched ends, which are not seen."""
    rng = np.random.default_rng(21)
    wave = 0.85 * SPEED_OF_LIGHT / np.mean(frequency)
    resolution = 0.85 * SPEED_OF_LIGHT / 2 / np.ptp(frequency)
    for _ in range(60):
        line = Line(rng.uniform(20, 60), 0.85, 50.0, 0.5)
        kind, matched = rng.choice(["shunt", "series"]), rng.random() < 0.5
        end = 50.0 if matched else random_rod(rng, frequency)
        near = 3 * wave if matched else max(3 * wave, 1.5 * resolution)
        place = rng.uniform(1, max(line.length_m - near, 1.5))
        seen = foot(frequency, line, end, (kind, rng.uniform(30, 120), place))
        found = state(rng, frequency, line, seen, length_m=line.length_m)
        if found.end is None:
            continue
        at_end = found.now.distance_m[found.end]
        assert abs(at_end - line.length_m) < abs(at_end - place), (line, place, end)
        assert set(found.now.kind[found.end + 1 :]) <= {RINGING}


def test_a_fault_before_an_end_that_is_not_seen():
    line = Line(21.21, 0.85, 50.0, 0.5)
    seen = foot(NARROW, line, 50.0, ("shunt", 100.0, 7.9))
    said = line_lines(state(np.random.default_rng(1), NARROW, line, seen, length_m=21.21))
    assert re.search(r"Reflection at 7\.\d+ ± [01]\.", said[0]), said[0]
    assert "the line's end by the record" in "\n".join(said[1:])


def test_what_lies_beyond_a_known_end_is_called_ringing():
    line = Line(21.21, 0.85, 50.0, 0.5)
    said = line_lines(
        state(np.random.default_rng(2), WIDE, line, foot(WIDE, line, rod(WIDE)), length_m=21.21)
    )
    (end,) = (k for k, text in enumerate(said) if "the line's end, " in text)
    assert end == len(said) - 2
    assert "behind the end and is no place" in said[-1]


@pytest.mark.parametrize("band", [WIDE, HIGH, np.linspace(140e6, 152e6, 121)], ids=len)
def test_what_passes_a_new_place_tells_whether_it_takes_up_power(band):
    rng, line, told = np.random.default_rng(8), Line(60.0, 0.85, 50.0, 0.5), Counter()
    w = 2j * np.pi * band
    for part, resists in (
        (TwoPort.series(25.0 + 0 * w), True),
        (TwoPort.shunt(1 / 100.0 + 0 * w), True),
        (TwoPort.series(w * 30e-9), False),
        (TwoPort.shunt(w * 10e-12), False),
        (TwoPort.series(1 / (w * 100e-12)), False),
    ):
        near, far = line.two_port(band, 25.0), line.two_port(band, 35.0)
        end = random_rod(rng, band)
        now = from_impedance((near @ part @ far).input_impedance(end))
        found = state(rng, band, line, now, foot(band, line, end), length_m=60.0)
        said = line_lines(found)[0]
        assert "step" not in said, said
        told[resists] += ("resistive joint" in said or "leak" in said) == resists
    assert told[True] == 2
    assert told[False] == 3


def test_a_gap_is_placed_by_all_of_a_wide_band_and_is_no_resistance():
    """What its phase turns over the band is no distance."""
    rng, off = np.random.default_rng(4), []
    for band in (WIDE, HIGH):
        for _ in range(12):
            line = Line(rng.uniform(40, 80), 0.85, 50.0, 0.5)
            place, farad = rng.uniform(3, 35), rng.uniform(60e-12, 150e-12)
            near, far = line.two_port(band, place), line.two_port(band, line.length_m - place)
            gap = TwoPort.series(1 / (2j * np.pi * band * farad))
            seen = from_impedance((near @ gap @ far).input_impedance(50.0 + 0 * band))
            now = state(rng, band, line, seen, loss_known=bool(rng.random() < 0.5)).now
            m = int(np.argmin(np.abs(now.distance_m - place)))
            off.append((now.distance_m[m] - place) / now.distance_uncertainty_m[m])
            assert now.kind[m] in {"series capacitance", *UNCLEAR}
    assert np.max(np.abs(off)) < 2


@pytest.mark.parametrize("compare", [False, True], ids=["alone", "baseline"])
@pytest.mark.parametrize("leak", [np.inf, 400.0], ids=["clean", "leaking"])
@pytest.mark.parametrize("place", [12.0, 20.0])
def test_a_connector_not_tightened_is_one_place_and_told(place, leak, compare):
    """300 pF in series: its tail at low frequencies is no place behind it."""
    rng, line = np.random.default_rng(9102), Line(30.0, 0.85, 50.0, 0.6)
    frequency = np.linspace(1e6, 250e6, 501)
    part = TwoPort.series(1 / (2j * np.pi * frequency * 300e-12 + 1 / leak))
    near, far = (line.two_port(frequency, m) for m in (place, line.length_m - place))
    end = rod(frequency)
    now = from_impedance((near @ part @ far).input_impedance(end))
    then = foot(frequency, line, end) if compare else None
    found = state(rng, frequency, line, now, then, loss_known=True, length_m=30.0)
    said = line_verdict(found)[0]
    first = re.match(r"(?:New r|Small r|R)eflection at ([\d.]+) ± [\d.]+ m", said)
    assert first, said
    assert float(first[1]) == pytest.approx(place, abs=0.1)
    assert "capacitance in series, as of a broken conductor or a connector not tightened" in said
    behind = found.now.distance_m - place
    assert not np.any((behind > 0.2) & (behind < 6.0))


def test_what_tells_kinds_follows_from_what_the_record_has():
    """Far ends swept of the sound line do not tell what a fault is: so they are asked for anew."""
    line = Line(40.0, 0.85, 50.0, 0.5)
    wanted = LineCheck("", None, ((1.0, "end"),), line, True, {"length": 0.1}, (), True)
    rng, fault = np.random.default_rng(4), ("shunt", 100.0, 17.0)
    for ends, words in (((), "sweep once more"), ((1e9,), "as it is now")):
        sweeps = [Quantity(noisy(rng, foot(WIDE, line, z), 0.0005)) for z in ends]
        now = Quantity(noisy(rng, foot(WIDE, line, 70.0, fault), 0.0005))
        has = (
            wanted
            if ends
            else replace(
                wanted,
                far_ends=(),
                by_length=False,
                doubt={"length": 0.1, "velocity factor": 0.005},
            )
        )
        said = line_lines(line_state(has, WIDE, now, None, sweeps, 50.0))
        assert words in " ".join(said), said


def test_an_antenna_at_the_end_of_a_sound_line_is_no_two_places():
    """Of unknown length: what rings behind it, however late, is no end."""
    rng = np.random.default_rng(1)
    for _ in range(8):
        line = Line(rng.uniform(25, 80), 0.85, 50 * (1 + 0.02 * rng.standard_normal()), 0.5)
        seen = foot(WIDE, line, random_rod(rng, WIDE))
        found = state(rng, WIDE, replace(line, z0=50.0), seen)
        assert "that may be the line's end" in clauses(line_lines(found)[0])


def test_what_lies_beyond_a_wrong_length_cannot_be_a_place_of_that_line():
    line = Line(40.0, 0.85, 50.0, 0.5)
    said = line_lines(
        state(np.random.default_rng(2), WIDE, line, foot(WIDE, line, 1e9), length_m=30.0)
    )
    assert "no place if the line ends at 30 m" in said[-1]


def test_an_antennas_own_delay_is_in_the_place_of_a_narrow_band_end():
    rng, pulls = np.random.default_rng(5), []
    for _ in range(80):
        line = Line(rng.uniform(40, 80), 0.85, 50.0, 0.5)
        seen = foot(NARROW, line, random_rod(rng, NARROW))
        now = state(rng, NARROW, line, seen).now
        if now.distance_m.size:
            at = np.argmin(np.abs(now.distance_m - line.length_m))
            pulls.append((now.distance_m[at] - line.length_m) / now.distance_uncertainty_m[at])
    assert len(pulls) > 60
    assert np.mean(np.abs(pulls) < 2) > 0.93


def between(frequency, line, end, kind, value, place):
    """The line with capacitance [F] across it, or a wet piece [m] put in, at a place [m]."""
    near, far = (line.two_port(frequency, m) for m in (place, line.length_m - place))
    if kind == "capacitance":
        part = TwoPort.shunt(2j * np.pi * frequency * value)
    else:
        part = replace(line, length_m=value, z0=44.0, velocity_factor=0.7).two_port(frequency)
    return from_impedance((near @ part @ far).input_impedance(end * np.ones(frequency.size)))


@pytest.mark.parametrize("kind", ["capacitance", "wet piece"])
def test_a_place_that_slows_the_wave_is_no_warmth(kind):
    """The line is longer from there on: said so, with the place, and never of a negative one."""
    rng = np.random.default_rng(31)
    for _ in range(12):
        line = Line(rng.uniform(25, 60), 0.8, 50.0, 0.3)
        place, end = rng.uniform(4, line.length_m - 4), random_rod(rng, WIDE)
        value = rng.uniform(10e-12, 30e-12) if kind == "capacitance" else rng.uniform(0.5, 2.5)
        now = between(WIDE, line, end, kind, value, place)
        found = state(rng, WIDE, line, now, foot(WIDE, line, end), length_m=line.length_m)
        text = "\n".join(line_lines(found))
        assert "all along it as far as its places tell" not in text
        assert "-" not in "".join(re.findall(r"^  \S+", text, re.MULTILINE))
        shift = found.comparison.shift
        if shift is not None and abs(shift.size) > 0:
            assert shift.size > 0
            assert shift.from_m == pytest.approx(place, abs=1.0)
        elif kind == "wet piece":
            pytest.fail(f"{value} m of wet line at {place} m of {line.length_m} m not noticed")


@pytest.mark.parametrize("frequency", [WIDE, HIGH], ids=["wide", "high"])
def test_a_crush_is_always_told_or_to_make_the_line_longer(frequency):
    """By how much of itself it seems so is no headline."""
    rng = np.random.default_rng(31)
    for turn in range(12):
        line = Line(rng.uniform(30, 60), 0.85, 50.0, 0.4)
        place, value = rng.uniform(5, line.length_m - 6), rng.uniform(8e-12, 30e-12)
        end = random_rod(rng, frequency) if turn % 2 else 1e9
        now = between(frequency, line, end, "capacitance", value, place)
        then = foot(frequency, line, end)
        found = state(rng, frequency, line, now, then, length_m=line.length_m)
        said, fault = line_verdict(found)
        told = r"longer than (it was|in the baseline)|capacitance across the line"
        assert re.search(told, said + line_lines(found)[-1])
        assert "%" not in said
        assert fault


def test_what_folds_back_from_the_end_has_the_size_of_where_it_is():
    """An open end at 150 m of a line whose steps show 64 m: its loss is that of the longer way."""
    frequency, line = np.linspace(1e6, 160e6, 81), Line(150.0, 0.85, 50.0, 0.3)
    now = foot(frequency, line, 1e9)
    found = state(np.random.default_rng(6), frequency, line, now, loss_known=True, length_m=150.0)
    assert abs(found.now.reflection[found.end]) == pytest.approx(1, abs=0.1)


def test_a_shorter_line_is_no_cold_one():
    """A piece of nearly all of it taken out: what is gone is said, and no percentage of cold."""
    line = Line(40.0, 0.8, 50.0, 0.3)
    now = foot(WIDE, replace(line, length_m=0.3), 1e9)
    for end in (1e9, 75.0, rod(WIDE)):
        found = state(np.random.default_rng(4), WIDE, line, now, foot(WIDE, line, end))
        text = "\n".join(line_lines(found))
        assert "cold" not in text
        assert min(c.distance_m for c in found.comparison.changes) >= 0
        assert found.now.distance_m.min() >= 0


@pytest.mark.parametrize("end", [1e9, 50.0, 75.0])
def test_a_line_not_quite_of_its_impedance_has_no_fault_at_its_foot(end):
    """Of 2 % standard, as cables of one type differ."""
    rng, frequency = np.random.default_rng(9), WIDE
    for _ in range(20):
        line = Line(rng.uniform(15, 60), 0.85, 50 * (1 + 0.02 * rng.standard_normal()), 0.4)
        seen = foot(frequency, line, end)
        now = state(rng, frequency, replace(line, z0=50.0), seen).now
        assert not np.any(now.distance_m < 3)


def random_reactance(rng, frequency, kind):
    """Somewhere on a line that goes on matched or ends open."""
    line = Line(rng.uniform(20, 60), 0.85, 50.0, 0.4)
    place, w = rng.uniform(5, line.length_m - 5), 2j * np.pi * frequency
    if kind == "shunt capacitance":
        part = TwoPort.shunt(w * rng.uniform(1e-12, 12e-12))
    elif kind == "series inductance":
        part = TwoPort.series(w * rng.uniform(3e-9, 30e-9))
    else:
        part = TwoPort.series(1 / (w * np.exp(rng.uniform(np.log(30e-12), np.log(500e-12)))))
    near, far = (line.two_port(frequency, m) for m in (place, line.length_m - place))
    end = rng.choice([50.0, 1e9])
    seen = from_impedance((near @ part @ far).input_impedance(np.full(frequency.size, end)))
    return line, place, seen


@pytest.mark.parametrize("kind", ["shunt capacitance", "series inductance", "series capacitance"])
@pytest.mark.parametrize("frequency", [HIGH, WIDE], ids=["high", "wide"])
def test_a_reactances_phase_slope_is_in_the_doubt_of_its_place(frequency, kind):
    rng, pulls, told = np.random.default_rng(12), [], []
    for _ in range(40):
        line, place, seen = random_reactance(rng, frequency, kind)
        now = state(rng, frequency, line, seen, loss_known=True).now
        at = np.argmin(np.abs(now.distance_m - place))
        pulls.append((now.distance_m[at] - place) / now.distance_uncertainty_m[at])
        told.append(now.kind[at])
    assert np.sqrt(np.mean(np.square(pulls))) < 1.4
    assert set(told) <= {kind, "mismatch", "unknown", "slow change"}
    assert told.count(kind) >= (30 if kind == "series capacitance" else 16)


@pytest.mark.parametrize(("frequency", "known"), [(WIDE, False), (HIGH, False), (NARROW, True)])
def test_a_gap_and_a_crush_are_told_or_named_as_a_pair(frequency, known):
    """One opens the line at low frequency, the other at high; a narrow band may leave both."""
    told, pair = Counter(), {"series capacitance", "shunt capacitance"}
    for kind in sorted(pair):
        rng = np.random.default_rng(2)
        for _ in range(20):
            line, place, seen = random_reactance(rng, frequency, kind)
            now = state(rng, frequency, line, seen, loss_known=known).now
            at = np.argmin(np.abs(now.distance_m - place))
            told[kind, now.kind[at]] += 1
            told[kind, "both"] += pair <= set(now.fits[at])
    assert not told["series capacitance", "shunt capacitance"]
    assert not told["shunt capacitance", "series capacitance"]
    if frequency is NARROW:
        assert min(told[kind, "both"] for kind in pair) >= 2
    else:
        assert told["series capacitance", "series capacitance"] >= 12


def test_what_cannot_be_told_from_each_other_is_named_together():
    """A joint or another cable behind it: alike before an antenna, not before an open end."""
    rng, line = np.random.default_rng(14), Line(40.0, 0.85, 50.0, 0.4)
    fault = "series", 12.0, 17.0
    before_rod = line_lines(state(rng, WIDE, line, foot(WIDE, line, rod(WIDE), fault)))
    assert any(
        ": a resistive joint or a step of impedance (other or wet cable from there on), 0.09" in s
        for s in before_rod
    )
    assert any("far end open or short and name that sweep as reading" in s for s in before_rod)
    before_open = foot(WIDE, line, 1e9, fault)
    # an open end of unknown loss tells nothing: to sweep it alone would be in vain
    assert any("state its type, or its loss" in s for s in before_rod)
    told = line_lines(state(rng, WIDE, line, before_open, loss_known=True))
    assert any(": a resistive joint, 0.1" in s for s in told)
    assert not any("step" in s for s in told[1:])


def test_a_leak_before_a_matched_end_is_named_beside_what_it_may_be():
    rng, line = np.random.default_rng(18), Line(42.0, 0.85, 50.0, 0.5)
    seen = foot(WIDE, line, 50.0, ("shunt", 80.0, 17.0))
    said, _ = line_verdict(state(rng, WIDE, line, seen, loss_known=True, length_m=42.0))
    assert ", a leak across the line (a wet joint) or a step of impedance (other or wet" in said


def test_a_crushed_length_on_a_line_of_unknown_loss_is_told():
    """Of 0.3 m, shorter than can be told apart: capacitance across the line."""
    rng, line = np.random.default_rng(19), Line(42.0, 0.85, 50.0, 0.5)
    crush = replace(line, length_m=0.3, z0=35.0).two_port(WIDE)
    whole = line.two_port(WIDE, 26.0) @ crush @ line.two_port(WIDE, 15.7)
    seen = from_impedance(whole.input_impedance(rod(WIDE, 97e6)))
    said, _ = line_verdict(state(rng, WIDE, line, seen, length_m=42.0))
    assert re.search(
        "capacitance across the line, as of .* wet place.*: look there. That is before", said
    )


def test_the_picture_marks_what_is_no_place():
    rng, line = np.random.default_rng(20), Line(40.0, 0.85, 50.0, 0.4)
    seen = foot(WIDE, line, rod(WIDE), ("shunt", 40.0, 26.0))
    for stated in ({}, {"length_m": 40.0}):
        found = state(rng, WIDE, line, seen, loss_known=True, **stated)
        # out to the end, back to the fault and out to the end once more
        assert np.any(np.abs(found.now.bounces_m - 54) < 1)
        drawn = line_figure(found).axes[0].collections
        marked = {each.get_label(): each.get_offsets()[:, 0] for each in drawn}
        (places, late) = (marked[label] for label in ("place that reflects", "ringing, no place"))
        assert np.any(np.abs(places - 26) < 1)
        assert np.all(late > 40)
        assert np.all(marked["bounce, no place"] > 41)


def test_what_an_antenna_does_late_is_no_bounce():
    """Without any fault it is the same; only out to the end, back to the fault and out again is."""
    rng, line = np.random.default_rng(20), Line(35.0, 0.66, 50.0, 0.62, 0.006)
    for faults, at in (((), []), ((("series", 25.0, 22.0),), [48.0])):
        seen = foot(WIDE, line, rod(WIDE, 28.5e6, 60.0, 5.0), *faults)
        found = state(rng, WIDE, line, seen, loss_known=True, length_m=35.0)
        drawn = line_figure(found).axes[0].collections
        marked = {each.get_label(): each.get_offsets()[:, 0] for each in drawn}
        for place in marked.get("bounce, no place", ()):
            assert np.min(np.abs(place - np.array(at)), initial=np.inf) < 1.5


def test_an_end_that_wide_steps_fold_back_is_told_where_it_is():
    """So are what rings behind it and what changed there."""
    rng, frequency = np.random.default_rng(17), WIDE[::2]
    line = Line(170.0, 0.8, 50.0, 0.2)
    now, then = (
        foot(frequency, line, rod(frequency), *[("shunt", 100.0, 68.0)] * k) for k in (1, 0)
    )
    found = state(rng, frequency, line, now, then, loss_known=True, length_m=170.0)
    assert found.now.distance_m[found.end] == pytest.approx(170, abs=0.5)
    assert found.now.distance_m[0] == pytest.approx(68, abs=0.1)
    assert found.comparison.changes[0].distance_m == pytest.approx(68, abs=0.1)
    assert not any(5 < change.distance_m < 60 for change in found.comparison.changes)
    assert "farther" not in line_lines(found)[0]  # it would lie beyond the end


def test_a_place_that_may_lie_several_ranges_farther_is_said_so():
    """Steps that show 26 m of a line of 90 m: the joint at 58 m seems to be at 6."""
    rng, frequency, line = np.random.default_rng(62), WIDE[::12], Line(90.0, 0.85, 50.0, 0.3)
    seen = foot(frequency, line, 75.0, ("series", 40.0, 58.0))
    said = line_lines(state(rng, frequency, line, seen, length_m=90.0))
    assert re.search(r"connected \(or 27 m farther, or a multiple of that\), 0\.", said[0]), said
    assert "sweep in smaller steps before you look" in said[0]
    assert "look there" not in said[0]


def test_too_faint_a_place_is_neither_listed_nor_taken_for_the_end():
    """A crush before a load that hardly reflects: the load's last thousandths are no end."""
    band, line = np.linspace(400e6, 470e6, 141), Line(12.0, 0.85, 50.0, 0.4)
    near, far = line.two_port(band, 4.6), line.two_port(band, 7.4)
    crush = TwoPort.shunt(2j * np.pi * band * 0.8e-12)
    seen = from_impedance((near @ crush @ far).input_impedance(50.5 + 0 * band))
    said = line_lines(state(np.random.default_rng(1), band, line, seen))
    assert re.search(r"Reflection at 4\.6\d+ ± .* capacitance across the line", said[0])
    assert "nearest first: 1 (" in said[1]


def test_of_folded_places_it_is_said_how_to_sweep_and_no_kind():
    """A line of 120 m, open, in steps that show 88 m."""
    band, line = np.linspace(1.5e6, 99e6, 66), Line(120.0, 0.88, 50.0, 0.22)
    found = state(np.random.default_rng(1), band, line, foot(band, line, 1e9, ("series", 15, 70)))
    said = line_lines(found)
    assert re.search(r"Sweep in steps below 0\.\d+ MHz, or state length_m", said[0])
    assert [finding.code for finding in about_line(found)] == ["line-folded"]
    assert all("or 88 m farther, 0." in row for row in said if row.startswith("  "))


def test_the_end_of_a_line_of_known_length_is_listed_where_it_is():
    """An antenna's own delay makes it seem farther."""
    band, line = np.linspace(40e6, 60e6, 201), Line(40.0, 0.85, 50.0, 0.42)
    seen = foot(band, line, rod(band, 50.3e6, 47.0, 9.0))
    said = line_lines(state(np.random.default_rng(1), band, line, seen, length_m=40.0))
    told = r"  40\.00 ± 0\.20 m: the line's end \(seen at 4\d.*as an antenna's own delay, "
    assert any(re.match(told, row) for row in said)


@pytest.mark.parametrize("ohm", [5.0, 1.2])
def test_the_first_sentence_names_the_strongest_place_that_is_listed(ohm):
    """A joint too small for a fault is not hidden behind a limit; a connector is called one."""
    line = Line(35.0, 0.66, 50.0, 0.62, 0.006)
    seen = foot(WIDE, line, 75.0, ("series", ohm / 2.2, 10.0), ("series", ohm, 22.0))
    found = state(np.random.default_rng(3), WIDE, line, seen, loss_known=True, length_m=35.0)
    said, fault = line_verdict(found)
    said = clauses(said)
    assert not fault
    assert "0.05" not in said.split(";")[0]
    if ohm == 5.0:  # 5 / 105 of what the nearer joint passes there and back
        assert re.match(
            r"Small reflection at 2[12]\.\d+ ± 0\.\d+ m from where [a-z ]+, 0\.04\d \(27 dB", said
        )
        limit = (
            r"from there on\): look there at the next visit; nothing else .* to reflect (0\.\d+) or"
        )
        assert 0.02 < float(re.search(limit, said)[1]) < 0.03  # as the joint at 10 m does
    else:
        assert re.match(r"Nothing before the line's end at .* more than 0\.01\d? \(39 dB", said)
        assert re.search(r"at 2[12]\.\d+ ± 0\.\d+ m, as a sound connector may", said)
    assert "a fault in its last" in said


@pytest.mark.parametrize("ohm", [2.0, 5.0])
def test_what_rings_in_an_end_does_not_crowd_out_what_lies_nearer(ohm):
    """However often: a small joint and both ends of a wet stretch are told, or their limit is."""
    band, cable = np.linspace(1e6, 250e6, 501), CABLES["foam 10 mm"].line(45.0)
    pieces = [replace(cable, length_m=each) for each in (14.0, 16.0, 3.0, 12.0)]
    pieces[2] = replace(pieces[2], z0=45.0, velocity_factor=0.8)
    chain = pieces[0].two_port(band) @ TwoPort.series(np.full(band.size, ohm + 0j))
    for piece in pieces[1:]:
        chain = chain @ piece.two_port(band)
    # a wire as a lossy line that is open
    end = 500 / np.tanh(0.1 * np.sqrt(band / 50e6) + 0.5j * np.pi * band / 50e6)
    seen, given = from_impedance(chain.input_impedance(end)), {"length_m": 45.0}
    found = state(np.random.default_rng(1), band, cable, seen, loss_known=True, **given)
    places = found.now.distance_m[before_end(found)]
    assert places == pytest.approx([14.0, 30.0, 33.26], abs=0.1)
    said, fault = line_verdict(found)
    assert fault == (ohm == 2.0)  # before the larger joint the stretch reflects less than that
    if ohm == 5.0:
        told = [float(at) for at in re.findall(r"reflection at (\d+\.\d+) ±", said.lower())]
        assert told == pytest.approx(places, abs=0.01)
        assert "is seen to reflect 0.0" in said


@pytest.mark.parametrize(("after", "explains"), [(75.0, True), (40.0, False)])
def test_a_change_that_a_new_fault_explains_is_so_called(after, explains):
    """At the line's end, whose place is that of the list; how far sweeps differ is no place."""
    rng, line = np.random.default_rng(5), Line(35.0, 0.66, 50.0, 0.62, 0.006)
    now, then = foot(WIDE, line, after, ("shunt", 80.0, 22.0)), foot(WIDE, line, 75.0)
    said = line_lines(state(rng, WIDE, line, now, then, loss_known=True, length_m=35.0))
    (row,) = (text for text in said if "changed by" in text)
    assert row.startswith("  35.00 ± 0.20 m: ")
    assert explains is ("which this alone can explain" in said[0])
    assert not any("sweeps differ" in text for text in said)
    said = line_lines(state(rng, WIDE, line, then, then, loss_known=True, length_m=35.0))
    assert "the two sweeps differ by" in said[-1]


@pytest.mark.parametrize("frequency", [WIDE, HIGH], ids=["wide", "high"])
def test_nobody_is_sent_up_for_what_is_no_fault(frequency):
    """An impedance off by what cables of one type differ, and an antenna's answer over the band."""
    rng = np.random.default_rng(202)
    for z0 in (47.4, 52.6):
        seen = foot(frequency, Line(40.0, 0.85, z0, 0.5), 75.0)
        found = state(rng, frequency, Line(40.0, 0.85, 50.0, 0.5), seen, length_m=40.0)
        assert "look there" not in line_verdict(found)[0]
    for _ in range(60):
        line = Line(rng.uniform(30, 75), 0.85, 50.0, rng.uniform(0.4, 0.8))
        seen = foot(frequency, line, random_rod(rng, frequency))
        for stated in ({}, {"length_m": line.length_m}):
            said, fault = line_verdict(state(rng, frequency, line, seen, **stated))
            assert not fault, said
            assert "look there" not in said


def test_the_end_of_a_line_of_unknown_length_is_its_strongest_place():
    """Not a joint before an open end, nor what an antenna's answer shows faintly before it."""
    rng, line = np.random.default_rng(63), Line(50.0, 0.85, 50.0, 0.5)
    for end in (1e9, rod(WIDE, 80e6, 40.0, 5.0)):
        now = state(rng, WIDE, line, foot(WIDE, line, end, ("series", 25.0, 20.0))).now
        first = strongest_on(now).start
        assert now.distance_m[first] == pytest.approx(50, abs=1)
        assert now.size[first] > np.max(now.size) / 3


def test_a_joint_with_some_inductance_is_told_as_one_and_little_else_is():
    """By a wide band; a crush, a wet stretch, a leak and an antenna go over it otherwise."""
    rng, band = np.random.default_rng(17), np.linspace(1e6, 300e6, 401)
    told, w = Counter(), 2j * np.pi * band
    for _ in range(12):
        line = Line(rng.uniform(25, 45), 0.66, 50 * (1 + 0.01 * rng.standard_normal()), 0.5)
        place, antenna = rng.uniform(5, 20), random_rod(rng, band)
        near, far = (line.two_port(band, m) for m in (place, line.length_m - place))
        ohm = rng.uniform(4, 9)
        wet = replace(line, length_m=rng.uniform(0.5, 3), z0=44.0, velocity_factor=0.6)
        parts = {
            "joint": TwoPort.series(ohm + ohm * rng.uniform(0.35, 1.0) * w / abs(w[200])),
            "crush": TwoPort.shunt(w * rng.uniform(2e-12, 8e-12)),
            "water": wet.two_port(band),
            "leak": TwoPort.shunt(1 / rng.uniform(150, 400) + w * 1e-12),
            "none": TwoPort.series(0 * w),
        }
        for name, part in parts.items():
            seen = from_impedance((near @ part @ far).input_impedance(antenna))
            known = replace(line, z0=50.0)
            found = state(rng, band, known, seen, loss_known=True, length_m=line.length_m)
            told[name] += "a bad joint (a resistance with some" in "\n".join(line_lines(found))
    assert told["joint"] >= 9, told
    assert told.total() - told["joint"] <= 1, told


@pytest.mark.parametrize("across", [False, True], ids=["in series", "across"])
def test_between_a_resistive_joint_and_a_loose_one_there_is_no_hole(across):
    """From all resistance to all reactance some joint is named, with the kind that it is near."""
    rng, band = np.random.default_rng(18), np.linspace(1e6, 300e6, 401)
    line = Line(38.0, 0.85, 50.0, 0.35)
    near, far = (line.two_port(band, m) for m in (21.5, 16.5))
    antenna = rod(band, 145e6, 45.0, 8.0)
    words = "leak|capacitance across" if across else "joint|inductance in series"
    for ratio in (0.0, 0.4, 1.0, 2.0, 3.0, 4.0, 5.5, 7.0, 10.0, 15.0, 100.0):
        z = (1 + 2j * ratio * band / 300e6) / np.hypot(1, ratio) * 25.0
        part = TwoPort.shunt(z / 2500) if across else TwoPort.series(z)
        seen, then = (
            from_impedance(way.input_impedance(antenna)) for way in (near @ part @ far, near @ far)
        )
        found = state(rng, band, line, seen, then, loss_known=True, length_m=38.0)
        said, _ = line_verdict(found)
        assert re.search(rf"ew reflection at 2[12][^;]*({words})", said), (ratio, said)


@pytest.mark.parametrize("start", [0.0, 11.0], ids=["at the foot", "on the way"])
def test_a_wet_stretch_is_told_from_where_to_where(start):
    """Water slows the wave, so what lies behind it seems farther off than it is."""
    rng, band, held = np.random.default_rng(77), np.linspace(1e6, 300e6, 401), []
    for _ in range(12):
        line = Line(rng.uniform(25, 45), 0.8, 50.0, 0.4)
        wet_m, slow = rng.uniform(2, 6), rng.uniform(0.87, 0.95)
        wet = Line(wet_m, 0.8 * slow, 50 * rng.uniform(0.82, 0.9), 0.8, 0.01)
        before, behind = (line.two_port(band, m) for m in (start, line.length_m - start - wet_m))
        whole = before @ wet.two_port(band) @ behind
        seen = from_impedance(whole.input_impedance(random_rod(rng, band)))
        given = {"loss_known": True, "length_m": line.length_m}
        said, _ = line_verdict(state(rng, band, line, seen, **given))
        told = re.search(
            r"[Ii]f it is wet, it is so from (\S+) m on to between (\S+) and (\S+) m", said
        )
        if told:
            first, near, far = map(float, told.groups())
            held.append(abs(first - start) < 0.3 and near - 0.2 < start + wet_m < far + 0.2)
        assert "from where the standards were connected" in clauses(said).split(";")[0], said
    assert len(held) > 6
    assert np.mean(held) > 0.85


def test_a_short_piece_of_other_cable_is_among_what_a_narrow_band_leaves_open():
    rng, band = np.random.default_rng(78), np.linspace(140e6, 150e6, 201)
    for metres in (0.8, 1.2, 1.6, 2.0):
        line, piece = Line(28.0, 0.66, 50.0, 0.6), Line(metres, 0.66, 75.0, 1.3)
        whole = piece.two_port(band) @ line.two_port(band)
        seen = from_impedance(whole.input_impedance(random_rod(rng, band)))
        given = {"loss_known": True, "length_m": 28.0}
        assert "other" in line_verdict(state(rng, band, line, seen, **given))[0]


def test_an_open_end_is_told_where_it_is_seen():
    """A break 0.5 m below the antenna is at the end as far as a sweep tells, and yet not there."""
    rng, line = np.random.default_rng(16), Line(30.0, 0.66, 50.0, 0.6)
    broken = foot(WIDE, replace(line, length_m=29.5), 1e9)
    found = state(rng, WIDE, line, broken, loss_known=True, length_m=30.0)
    said = line_verdict(found)[0]
    place, half = re.match(
        r"The line's end at (\S+) ± (\S+) m from where .* an open", said
    ).groups()
    assert abs(float(place) - 29.5) < float(half)
    rows = "\n".join(line_lines(found))
    assert f"{place} ± {half} m: the line's end (by the record at 30 m), an open line" in rows
    assert "30.00 ± 0.20" not in rows
    assert "last 0." not in said


@pytest.mark.parametrize(
    ("ohm", "look"),
    [(4.0, "tells which"), (7.0, "look there at the next visit"), (13.0, "look there[;.]")],
)
def test_what_lies_well_before_an_antenna_is_never_said_to_be_no_place(ohm, look):
    """Two resolutions before it, where antennas may ring; with the far end open none does."""
    rng, band, line = np.random.default_rng(31), np.linspace(1e6, 30e6, 201), Line(25, 0.66, 50, 1)
    for end in (rod(band, 14.1e6, 38.0), rod(band, 7.1e6, 55.0, 10.0), 1e9):
        seen = foot(band, line, end, ("series", ohm, 17.0))
        found = state(rng, band, line, seen, loss_known=True, length_m=25.0)
        said, fault = line_verdict(found)
        if np.ndim(end):
            assert fault == (ohm > 10)
            assert re.match(rf"(What appears|Reflection) at 1[678]\.\d .*: .*{look}", said)
        else:
            assert re.search(r"eflection at 1[678]\.\d ± ", said)
        unstated = state(rng, band, line, seen, loss_known=True)
        for row in [*line_lines(found), *line_lines(unstated)]:
            assert not re.search(r"at 1[678]\.\d.*no place", row)
        before = found.now.distance_m < 20
        assert RINGING not in np.array(found.now.kind)[before]


STEPS_101 = np.linspace(1e6, 200e6, 101)  # show 49.7 m
LONG = Line(45.0, 0.66, 50.0, 0.62)


def fan(frequency, *resonances):
    """Impedance of half-wave dipoles at one feed point [ohm], as lines that radiate."""
    ratio = frequency / np.array(resonances)[:, None]
    radiated = 0.22 * ratio**0.3 * np.minimum(1, ratio**1.5)
    return 1 / np.sum(np.tanh(radiated + 0.5j * np.pi * ratio) / 320, axis=0)


@pytest.mark.parametrize("resonances", [(14.2e6, 50.3e6), (7.1e6,), (28.5e6,)])
def test_what_an_antenna_answers_late_is_no_place_near_the_start(resonances):
    """Beyond 49.7 m it appears there; with a warmer line, and with water or a leak halfway."""
    rng, end = np.random.default_rng(5), fan(STEPS_101, *resonances)
    warm = replace(LONG, velocity_factor=0.66 * 0.9985, conductor_db=0.62 * 1.04)
    then = foot(STEPS_101, LONG, end)
    for faults in ((), (("shunt", 150.0, 25.0),)):
        now, given = foot(STEPS_101, warm, end, *faults), {"loss_known": True, "length_m": 45.0}
        found = state(rng, STEPS_101, LONG, now, then, **given)
        said, fault = line_verdict(found)
        assert fault is bool(faults), said
        assert all(change.distance_m > 24 for change in found.comparison.changes), said
        alone = state(rng, STEPS_101, LONG, now, **given)
        assert line_verdict(alone)[1] is bool(faults)
        assert not np.any(np.abs(alone.now.reflection[alone.now.distance_m < 24]) > 0.01)
        assert ("25." in said) is bool(faults)


def test_a_fault_where_what_rings_would_fold_back_is_told_and_to_be_swept_for_first():
    """Its loss tells it from ringing; an end behind the range is given no best frequency."""
    rng, end = np.random.default_rng(5), fan(STEPS_101, 14.2e6, 50.3e6)
    then, now = (foot(STEPS_101, LONG, end, *faults) for faults in ((), (("series", 12.0, 3.0),)))
    found = state(rng, STEPS_101, LONG, now, then, loss_known=True, length_m=45.0)
    said = line_verdict(found)[0]
    assert re.match(r"Sweep first in steps below 1\.\d+ MHz \(122 points\)\. New reflection", said)
    assert re.search(r" (2\.9|3\.)\d+ ± .*\(or 50 m farther\), 0\.", said), said
    assert "line-steps" in [finding.code for finding in about_line(found)]
    assert line_figure(found).axes[0].get_xlim()[1] > 46


def test_of_an_end_that_is_folded_back_no_best_frequency_is_told():
    for length in (40.0, 55.0):
        line = replace(LONG, length_m=length)
        seen, rng = foot(STEPS_101, line, fan(STEPS_101, 50.3e6)), np.random.default_rng(5)
        given = {"loss_known": True, "length_m": length}
        said = line_verdict(state(rng, STEPS_101, line, seen, **given))[0]
        assert bool(re.search(r"over the band, and 0\.\d+ .* MHz", said)) is (length < 49), said


@pytest.mark.parametrize(("length", "cures"), [(45.0, False), (20.0, True)])
def test_a_length_is_asked_for_where_it_tells_what_folds_back(length, cures):
    line, rng = replace(LONG, length_m=length, velocity_factor=0.66), np.random.default_rng(5)
    seen = foot(STEPS_101, line, fan(STEPS_101, 50.3e6))
    (folded,) = (f for f in about_line(state(rng, STEPS_101, line, seen)) if "folded" in f.code)
    assert ("or state length_m" in folded.message) is cures
