"""Events on simulated lines: how near the truth, which kinds, what is refused.

The lines are chain matrices of the project's own model, multiplied exactly: all bouncing is in.
"""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.feedline.faults.basis import prepare
from rfcal.feedline.faults.events import find_events, gate, loss_by_droop
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line

WIDE = np.linspace(1e6, 160e6, 401)
HIGH = np.linspace(50e6, 150e6, 201)
ENDS = {"open": 1e9, "short": 1e-6, "load": 50.0}


def foot(frequency, line, end, *faults):
    """Reflection in 50 ohm of a line with faults (kind, ohm, place [m]) and an end [ohm]."""
    one, at = np.ones(frequency.size), 0.0
    net = TwoPort.series(0 * one)
    for kind, ohm, place in faults:
        part = TwoPort.shunt(one / ohm) if kind == "shunt" else TwoPort.series(one * ohm)
        net, at = net @ line.two_port(frequency, place - at) @ part, place
    net = net @ line.two_port(frequency, line.length_m - at)
    return from_impedance(net.input_impedance(end * one))


def noisy(rng, reflection, deviation=0.001):
    noise = rng.standard_normal((2, reflection.size))
    return reflection + deviation * (noise[0] + 1j * noise[1])


def random_case(rng):
    """A line, its fault (or none) and its end, of the spread that the accuracy is stated for."""
    frequency = (WIDE, HIGH)[rng.integers(2)]
    line = Line(rng.uniform(8, 80), rng.uniform(0.66, 0.9), 50.0, rng.uniform(0, 1.0))
    resolution = line.velocity_factor * SPEED_OF_LIGHT / 2 / (frequency[-1] - frequency[0])
    kind = ("shunt", "series", None)[rng.integers(3)]
    end = ("open", "short", "load")[rng.integers(2 if kind is None else 3)]
    ohm = np.exp(rng.uniform(np.log(10), np.log(250)))
    place = rng.uniform(3 * resolution, line.length_m - 3 * resolution)
    faults = [(kind, ohm, place)] if kind else []
    return frequency, line, end, faults


def guess(frequency, seen, line, loss_known):
    """The line as a record knows it: with its loss, or with what the sweep itself shows of it."""
    return line if loss_known else loss_by_droop(frequency, seen, line, z_ref=50.0)


@pytest.mark.parametrize("loss_known", [True, False])
def test_faults_and_ends_are_where_they_are(loss_known):
    rng = np.random.default_rng(11)
    pulls = []
    for case in range(200 if loss_known else 80):
        frequency, line, end, faults = random_case(rng)
        seen = noisy(rng, foot(frequency, line, ENDS[end], *faults))
        found = find_events(
            frequency, seen, guess(frequency, seen, line, loss_known), loss_known=loss_known
        )
        assert found.distance_m.size <= 6
        truths = [(place, max(0.3, found.band.resolution / 10)) for _, _, place in faults]
        truths += [(line.length_m, 0.005 * line.length_m)] if end != "load" else []
        for place, allowed in truths:
            off = found.distance_m - place
            nearest = np.argmin(np.abs(off))
            assert abs(off[nearest]) < allowed, (case, line, end, faults, found.distance_m)
            pulls.append(abs(off[nearest]) / found.distance_uncertainty_m[nearest])
    # two standard uncertainties hold the truth at least as often as they say
    assert np.mean(np.array(pulls) < 2) > 0.95


@pytest.mark.parametrize("end", ["open", "short"])
@pytest.mark.parametrize("fault", ["shunt", "series"])
def test_kinds_of_fault_and_end(fault, end):
    rng = np.random.default_rng(3)
    for frequency in (WIDE, HIGH):
        line = Line(42.0, 0.8, 50.0, 0.4)
        seen = noisy(rng, foot(frequency, line, ENDS[end], (fault, 60.0, 17.0)))
        found = find_events(frequency, seen, line)
        # also at its foot, where loss makes the line a little other than 50 ohm
        assert found.kind == (f"{fault} resistance", end)
        expected = {"shunt": -50 / (2 * 60 + 50), "series": 60 / (2 * 50 + 60)}[fault]
        assert found.reflection[0] == pytest.approx(expected, abs=0.02)


def test_end_kinds_need_the_loss():
    line = Line(70.0, 0.7, 50.0, 0.9)
    seen = foot(WIDE, line, ENDS["open"])
    known = find_events(WIDE, seen, line)
    assert known.kind[-1] == "open"
    assert known.reflection[-1] == pytest.approx(1, abs=0.02)
    assert find_events(WIDE, seen, Line(1.0, 0.7), loss_known=False).kind[-1] == "unknown"


def test_reactance_is_a_mismatch():
    line = Line(30.0, 0.8)
    capacitor = 1 / (2j * np.pi * WIDE * 40e-12)
    found = find_events(WIDE, foot(WIDE, line, capacitor), line)
    assert found.kind[-1] == "mismatch"


@pytest.mark.parametrize("loss_known", [True, False])
@pytest.mark.parametrize("z0", [48.6, 50.0])
def test_one_line_with_resistance_and_a_shunt(z0, loss_known):
    w = 2 * np.pi * WIDE
    series, shunt = (
        0.27 + 1j * w * 48.6 / (0.83 * SPEED_OF_LIGHT),
        1j * w / (48.6 * 0.83 * SPEED_OF_LIGHT),
    )
    first, second = (
        TwoPort.line(np.sqrt(series / shunt), np.sqrt(series * shunt) * length)
        for length in (22.6, 9.9)
    )
    net = first @ TwoPort.shunt(np.full(401, 1 / 85)) @ second
    seen = from_impedance(net.input_impedance(np.full(401, 50.0)))
    in_db = 0.27 / (2 * 48.6) * 2000 / np.log(10) / np.sqrt(80)  # as it is at mid-band
    found = find_events(WIDE, seen, Line(1.0, 0.83, z0, in_db, skin=0.0), loss_known=loss_known)
    assert found.distance_m.size <= 6
    at = np.argmin(np.abs(found.distance_m - 22.6))
    assert found.distance_m[at] == pytest.approx(22.6, abs=0.3)
    assert found.kind[at] == "shunt resistance"


LOADED = Line(1.0, 0.8, 50.0, 0.4)


def chain(frequency, end, *parts):
    """Reflection of pieces of line (length, impedance) and of two-ports in a row."""
    whole = TwoPort.series(np.zeros(frequency.size))
    for part in parts:
        if isinstance(part, tuple):
            part = replace(LOADED, length_m=part[0], z0=part[1]).two_port(frequency)
        whole = whole @ part
    return from_impedance(whole.input_impedance(np.full(frequency.size, end)))


def kinds_beyond_the_foot(frequency, seen):
    seen = noisy(np.random.default_rng(1), seen)
    found = find_events(frequency, seen, LOADED)
    return [k for k, d in zip(found.kind, found.distance_m, strict=True) if 1 < d < 39]


@pytest.mark.parametrize("frequency", [WIDE, HIGH])
@pytest.mark.parametrize("end", [50.0, 1e9])
def test_connectors_are_reactances(frequency, end):
    w = 2j * np.pi * frequency
    for part, kind in (
        (TwoPort.series(w * 5e-9), "series inductance"),
        (TwoPort.shunt(w * 2e-12), "shunt capacitance"),
    ):
        seen = chain(frequency, end, (20, 50.0), part, (20, 50.0))
        assert kinds_beyond_the_foot(frequency, seen) == [kind]


@pytest.mark.parametrize("frequency", [WIDE, HIGH])
@pytest.mark.parametrize(("z0", "word"), [(42.0, "lower"), (60.0, "higher")])
def test_a_stretch_of_other_line_where_it_can_be_told(frequency, z0, word):
    """Before a total end nothing was lost, so it is a stretch; before a load nobody knows."""
    pieces = (18, 50.0), (3, z0), (19, 50.0)
    told = kinds_beyond_the_foot(frequency, chain(frequency, 1e9, *pieces))
    assert told == [f"stretch of {word} impedance"] * 2
    assert kinds_beyond_the_foot(frequency, chain(frequency, 50.0, *pieces)) == ["unknown"] * 2


@pytest.mark.parametrize("frequency", [WIDE, HIGH])
@pytest.mark.parametrize("end", [50.0, 1e9])
def test_water_is_a_slow_change(frequency, end):
    wet = [(1.0, 50.0 - z) for z in (2, 4, 6, 8, 6, 4, 2)]
    seen = chain(frequency, end, (17, 50.0), *wet, (16, 50.0))
    assert set(kinds_beyond_the_foot(frequency, seen)) == {"slow change"}


@pytest.mark.parametrize("z0", [42.0, 80.0])
def test_a_stretch_with_nothing_seen_beyond_is_unknown(z0):
    matched = LOADED.impedance(WIDE)
    seen = chain(WIDE, matched, (18, 50.0), (5, z0), (19, 50.0))
    assert kinds_beyond_the_foot(WIDE, seen) == ["unknown"] * 2
    found = find_events(WIDE, seen, guess(WIDE, seen, LOADED, False), loss_known=False)
    assert set(found.kind) == {"unknown"}


def test_connectors_in_a_row_are_no_slow_change():
    frequency = np.linspace(1e6, 300e6, 401)
    joint = TwoPort.series(2j * np.pi * frequency * 4e-9)
    seen = chain(
        frequency, 50.0, (3, 50.0), joint, (1.5, 50.0), joint, (1.5, 50.0), joint, (9, 50.0)
    )
    assert kinds_beyond_the_foot(frequency, seen)[:3] == ["series inductance"] * 3


LINE_20 = Line(20.0, 0.85, 50.0, 0.4)


def antenna(frequency):
    """Impedance of a loaded rod, resonant at some 70 MHz [ohm]."""
    w = 2j * np.pi * frequency
    return 40 + w * 0.4e-6 + 1 / (w * 12e-12)


@pytest.mark.parametrize("length", [10.0, 30.0])
def test_what_rings_behind_an_antenna_is_no_slow_change(length):
    frequency, line = np.linspace(1e6, 300e6, 401), replace(LINE_20, length_m=length)
    seen = noisy(np.random.default_rng(1), foot(frequency, line, antenna(frequency)), 0.0005)
    assert "slow change" not in find_events(frequency, seen, line).kind


@pytest.mark.parametrize("length", [5.0, 10.0, 20.0, 41.0])
def test_an_antenna_on_a_line_of_unknown_loss_is_no_fault(length):
    """Its reflection falls with frequency as no cable's loss does, and splits in two or three."""
    frequency = np.linspace(1e6, 60e6, 401)
    line = replace(LINE_20, length_m=length, conductor_db=1.0)
    seen = foot(frequency, line, antenna(frequency))
    guessed = loss_by_droop(frequency, seen, line, z_ref=50.0)
    assert guessed.conductor_db < 3.4
    found = find_events(frequency, seen, guessed, loss_known=False)
    assert not [kind for kind in found.kind if kind.endswith("resistance")]
    assert np.all(found.distance_m > length / 2)


def test_what_the_source_match_leaves_does_not_lie_beyond_the_end():
    line = Line(20.0, 0.66, 50.0, 0.3)
    seen = foot(WIDE, line, ENDS["open"])
    found = find_events(
        WIDE, seen + 0.004 * seen**2, loss_by_droop(WIDE, seen, line, z_ref=50.0), loss_known=False
    )
    at = np.argmin(np.abs(found.distance_m - 20))
    assert 0.85 < abs(found.reflection[at]) < 0.95
    assert found.kind[at] == "open"


def test_what_the_calibration_leaves_is_no_event():
    line, rng = Line(20.0, 0.8, 50.0, 0.3), np.random.default_rng(6)
    clean = foot(WIDE, line, 75.0)
    one, axes = np.ones(401), np.array([[1], [1j]])
    common = 0.003 * np.concatenate([axes * one, axes * clean, axes * clean**2])
    spurious = 0
    for _ in range(50):
        seen = noisy(rng, clean + rng.standard_normal(6) @ common, 0.0005)
        spurious += np.sum(np.abs(find_events(WIDE, seen, line).distance_m - 20) > 1)
        found = find_events(WIDE, seen, line, common=common)
        assert found.distance_m == pytest.approx([20], abs=0.1)
        assert found.reflection_uncertainty == pytest.approx(0.003 * 0.2, rel=0.3)
    assert spurious > 40
    # a fault that is larger than that stays
    fault = foot(WIDE, line, 75.0, ("series", 3.0, 8.0))
    assert find_events(WIDE, fault, line, common=common).kind[0] == "series resistance"


def test_bounces_between_strong_faults_are_not_events():
    line = Line(60.0, 0.8, 50.0, 0.1)
    seen = foot(WIDE, line, ENDS["load"], ("shunt", 30.0, 20.0), ("shunt", 30.0, 30.0))
    found = find_events(WIDE, seen, line)
    # the first bounce, at 40 m, is far above the noise: the trace shows it, the list does not
    bounce = found.magnitude[np.abs(found.band.grid - 40) < 0.5].max()
    assert bounce > 0.02 > 100 * found.echoes.noise
    assert found.distance_m == pytest.approx([20, 30], abs=0.05)


def test_faults_are_not_taken_for_bounces_nor_bounces_for_faults():
    """Before a total end, on sweeps whose range ends little beyond the line, so that they fold."""
    rng = np.random.default_rng(8)
    for _ in range(60):
        line = Line(rng.uniform(20, 60), 0.8, 50.0, rng.uniform(0.1, 0.3))
        points = int(line.length_m * rng.uniform(1.2, 4) * 300e6 / (0.4 * SPEED_OF_LIGHT))
        frequency = np.linspace(1e6, 300e6, points)
        places = np.sort(rng.uniform(5, line.length_m - 5, 2))
        places[1] += max(0.0, places[0] + 3 - places[1])
        faults = [("series", rng.uniform(10, 60)), ("shunt", rng.uniform(50, 300))]
        faults = [(*faults[n], place) for n, place in zip(rng.permutation(2), places, strict=True)]
        end = ENDS[("open", "short")[rng.integers(2)]]
        seen = noisy(rng, foot(frequency, line, end, *faults))
        found = find_events(frequency, seen, line)
        off = np.abs(found.distance_m - np.append(places, line.length_m)[:, None])
        assert np.all(off.min(axis=1) < 0.1), (line, places, found.distance_m)
        assert np.all(np.abs(found.reflection[off.min(axis=0) > 0.8]) < 0.04)


def test_a_far_fault_is_not_made_small():
    line = Line(80.0, 0.7, 50.0, 1.0)
    seen = foot(WIDE, line, ENDS["short"], ("series", 40.0, 75.0))
    found = find_events(WIDE, seen, line)
    fault = found.reflection[np.argmin(np.abs(found.distance_m - 75))]
    assert fault == pytest.approx(40 / 140, abs=0.02)


@pytest.mark.parametrize("deviation", [0.0, 0.001])
def test_a_matched_line_has_no_events(deviation):
    rng = np.random.default_rng(5)
    seen = noisy(rng, np.zeros(401, complex), deviation)
    found = find_events(WIDE, seen, Line(1.0, 0.8), loss_known=False)
    assert found.distance_m.size == 0
    assert found.kind == ()


def test_resolution_and_range():
    found = find_events(HIGH, np.exp(-1e-6j * HIGH), Line(1.0, 0.7), loss_known=False)
    assert found.band.resolution == pytest.approx(0.7 * SPEED_OF_LIGHT / 2 / 100e6)
    assert found.band.range == pytest.approx(0.7 * SPEED_OF_LIGHT / 2 / 0.5e6)


def test_doubt_of_the_velocity_factor_grows_with_distance():
    seen = foot(WIDE, Line(50.0, 0.8), ENDS["open"])
    found = find_events(WIDE, seen, Line(50.0, 0.8), velocity_factor_uncertainty=0.008)
    assert found.distance_uncertainty_m[-1] == pytest.approx(0.5, rel=0.01)


def test_gate_keeps_one_fault():
    line, fault = Line(50.0, 0.8, 50.0, 0.3), ("shunt", 80.0, 20.0)
    seen = noisy(np.random.default_rng(1), foot(WIDE, line, ENDS["open"], fault))
    kept = gate(WIDE, seen, line, start_m=17.0, stop_m=23.0)
    # without what lies beyond: the line goes on for ever, matched
    alone = line.two_port(WIDE, 20.0) @ TwoPort.shunt(np.full(401, 1 / 80.0))
    true = from_impedance(alone.input_impedance(line.impedance(WIDE)), line.impedance(WIDE))
    assert np.abs(seen - true).max() > 0.3
    assert np.abs(kept - true)[20:-20].max() < 0.005


@pytest.mark.parametrize(
    ("frequency", "words"),
    [
        (np.geomspace(1e6, 160e6, 401), "linear sweep"),
        (WIDE[::-1], "linear sweep"),
        (WIDE[:10], "16 points"),
    ],
)
def test_refusals(frequency, words):
    with pytest.raises(CalibrationError, match=words):
        find_events(frequency, np.ones(frequency.size, complex), Line(1.0))


def test_a_loss_that_leaves_nothing_far_away():
    """A narrow sweep has a range of kilometres, which no echo comes back from."""
    frequency = np.linspace(10.1e6, 10.15e6, 21)
    line = Line(5.0, 0.66, 50.0, 10.0)
    found = find_events(frequency, foot(frequency, line, ENDS["open"]), line)
    assert np.all(np.isfinite(found.magnitude))


def test_an_echo_of_nothing_stays_where_it_is():
    band = prepare(WIDE, np.zeros(401), Line(1.0), True)
    assert band.shift(np.array([[0, 0, 0], [1, 0, 0]], complex)) == pytest.approx([0, 0])


def test_gate_narrower_than_the_resolution_is_refused():
    with pytest.raises(CalibrationError, match="wider"):
        gate(WIDE, np.ones(401, complex), Line(1.0), start_m=5.0, stop_m=5.1)


@pytest.mark.parametrize("band", [WIDE, HIGH], ids=["wide", "high"])
@pytest.mark.parametrize("more", [1.0, 3.6])
@pytest.mark.parametrize("across", [False, True], ids=["joint", "leak"])
def test_reactance_beside_a_resistance_is_in_the_doubt_of_its_place(across, more, band):
    """The slope of its phase passes for distance, hidden by the resistance or not."""
    line, place, w = Line(23.0, 0.8, 50.0, 0.4), 1.7, 2j * np.pi * band
    part = (
        TwoPort.shunt(1 / 310.0 + 1.2e-12 * more * w)
        if across
        else TwoPort.series(7.0 + 2.6e-9 * more * w)
    )
    whole = line.two_port(band, place) @ part @ line.two_port(band, line.length_m - place)
    seen = noisy(np.random.default_rng(5), from_impedance(whole.input_impedance(1e9 + w)), 2e-4)
    found = find_events(band, seen, line)
    m = found.nearest(place, 0.3)
    off, doubt = abs(found.distance_m[m] - place), found.distance_uncertainty_m[m]
    assert 0.02 < off < 1.96 * doubt < 0.35, (off, doubt)
