"""Lines by narrow bands: the ± of a place holds, and what would resolve more is said.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.feedline.faults.end import RINGING
from rfcal.feedline.faults.events import find_events
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.findings.line.state import about_line, line_verdict
from rfcal.record.findings.line.verdict import before_end
from rfcal.record.format.line import LineCheck
from rfcal.record.job.line import line_state
from rfcal.report.figures.device import line_figure
from rfcal.report.text.line import line_lines
from rfcal.uncertainty.quantity import Quantity
from tests.unit.test_faults import WIDE, foot, noisy
from tests.unit.test_line_loss import NARROW
from tests.unit.test_line_state import clauses, random_rod, rod, state


def narrow_line(rng):
    """What a narrow band found, and the places of the line's fault and end [m]."""
    line = Line(rng.uniform(15, 90), 0.85, 50.0, rng.uniform(0.2, 0.8))
    place, ohm = rng.uniform(3, line.length_m - 3), np.exp(rng.uniform(np.log(15), np.log(150)))
    end = random_rod(rng, NARROW) if rng.random() < 0.5 else rng.choice([1e9, 75.0, 50.0, 100.0])
    seen = foot(NARROW, line, end, (rng.choice(["shunt", "series"]), ohm, place))
    stated = {"length_m": line.length_m} if rng.random() < 0.5 else {}
    return state(rng, NARROW, line, seen, loss_known=rng.random() < 0.5, **stated), (
        place,
        line.length_m,
    )


def test_the_doubt_of_a_place_holds_by_a_narrow_band():
    """Of 200 drawn lines, all that is listed as a place but ringing, and all that can be told."""
    rng, listed, told = np.random.default_rng(51), [], []
    for _ in range(200):
        found, places = narrow_line(rng)
        now = found.now
        for d, u, kind, r in zip(
            now.distance_m,
            now.distance_uncertainty_m,
            now.kind,
            now.size,
            strict=True,
        ):
            assert r < 10
            if kind != RINGING and r > 0.05:
                listed.append(np.min(np.abs(d - np.array(places))) < 2 * u)
        if np.diff(places)[0] > 1.5 * now.band.resolution:
            at = np.argmin(np.abs(now.distance_m - places[0]))
            told.append(abs(now.distance_m[at] - places[0]) < 2 * now.distance_uncertainty_m[at])
    assert np.mean(listed) > 0.95
    assert np.mean(told) > 0.97


@pytest.mark.parametrize("stated", [{}, {"length_m": 40.0}])
def test_a_band_too_narrow_says_what_would_do(stated):
    rng, line = np.random.default_rng(52), Line(40.0, 0.85, 50.0, 0.4)
    seen = foot(NARROW, line, 75.0, ("shunt", 60.0, 20.0), ("series", 30.0, 22.0))
    found = state(rng, NARROW, line, seen, **stated)
    (said,) = (f.message for f in about_line(found) if f.code == "line-narrow")
    assert "within 16 m of each other or of the line's end appear as one" in said
    aim = float(re.search(r" tells them apart from (\S+) m on", said)[1])
    wanted = float(re.search(r"a sweep (\d+) MHz wide or wider", said)[1])
    if stated:  # kinds are open: the sweep that tells them is as wide
        (kinds,) = (t for t in line_lines(found) if "hardly tells kinds apart" in t)
        low, high = map(float, re.search(r"from (\d+) to (\d+) MHz", kinds).groups())
        assert high - low >= max(wanted, 146)
    else:
        assert wanted >= 146
    # one and a half of v / (2 B) are to be 2 m or less; and kinds are to be told, too
    assert wanted * aim == pytest.approx(1.5 * 0.85 * SPEED_OF_LIGHT / 2 / 1e6, rel=0.04)
    assert aim <= 2
    wide = about_line(state(rng, WIDE, line, foot(WIDE, line, 75.0), **stated))
    assert "line-narrow" not in [f.code for f in wide]


FAULTS = {
    "series resistance": lambda rng, w: TwoPort.series(rng.uniform(10, 80) + 0 * w),
    "shunt resistance": lambda rng, w: TwoPort.shunt(1 / rng.uniform(30, 250) + 0 * w),
    "series inductance": lambda rng, w: TwoPort.series(w * rng.uniform(10e-9, 50e-9)),
    "shunt capacitance": lambda rng, w: TwoPort.shunt(w * rng.uniform(4e-12, 20e-12)),
    "series capacitance": lambda rng, w: TwoPort.series(1 / (w * rng.uniform(30e-12, 300e-12))),
}


def faulty(rng, frequency, kind):
    """The state of a line of 40 m and known loss with a fault at 17 m, before an antenna."""
    line, w = Line(40.0, 0.85, 50.0, 0.5), 2j * np.pi * frequency
    near, far = (line.two_port(frequency, m) for m in (17.0, 23.0))
    whole = near @ FAULTS[kind](rng, w) @ far
    seen = from_impedance(whole.input_impedance(random_rod(rng, frequency)))
    return state(rng, frequency, line, seen, loss_known=True, length_m=40.0)


def test_a_narrow_band_names_the_kinds_that_fit_and_the_band_that_decides():
    rng, held, wrong = np.random.default_rng(54), [], []
    for kind in (kind for kind in FAULTS for _ in range(12)):
        found = faulty(rng, NARROW, kind)
        at = int(np.argmin(np.abs(found.now.distance_m - 17)))
        told, fits = found.now.kind[at], found.now.fits[at]
        if told in FAULTS:
            wrong.append(told != kind)
        elif fits:
            held.append(kind in fits)
            row = line_lines(found)[2 + at]
            assert len(re.split(r", (?!0\.)| or ", row.split(": ")[1])) <= 4
            assert "cannot be told" not in row
            if len(fits) > 1:
                assert any("a sweep from 73 to 219 MHz does" in said for said in line_lines(found))
    assert len(held) > 15
    assert np.mean(held) > 0.85
    assert sum(wrong) <= 1


@pytest.mark.parametrize("kind", FAULTS)
def test_the_band_that_is_to_decide_does(kind):
    rng, told = np.random.default_rng(55), []
    for _ in range(8):
        now = faulty(rng, np.linspace(73e6, 219e6, 201), kind).now
        at = int(np.argmin(np.abs(now.distance_m - 17)))
        told.append(now.kind[at] == kind or kind in now.fits[at][:2])
    assert np.mean(told) > 0.85


def test_what_the_end_hides_is_said():
    rng, line = np.random.default_rng(53), Line(40.0, 0.85, 50.0, 0.4)
    for frequency, near, changed in ((WIDE, "1.2", "1.6"), (NARROW, "16", "21")):
        then = foot(frequency, line, 75.0)
        now = foot(frequency, line, 75.0, ("shunt", 150.0, 39.6))
        said, _ = line_verdict(state(rng, frequency, line, then, length_m=40.0))
        assert f"a fault in its last {near} m would not be told from the end" in clauses(said)
        said, fault = line_verdict(state(rng, frequency, line, now, then, length_m=40.0))
        assert fault
        assert f"or something in its last {changed} m" in said
    seen = foot(WIDE, line, 75.0, ("shunt", 80.0, 17.0))
    said = line_lines(state(rng, WIDE, line, seen, length_m=40.0))
    (row,) = (text for text in said if "the line's end, " in text)
    assert row.endswith("which hides what may be in its last 1.2 m")


@pytest.mark.parametrize("ohm", [44.7, 56.0])
def test_a_step_of_impedance_is_never_left_out_by_a_narrow_band(ohm):
    """As of water from there on: where kinds are named, it is one of them."""
    rng, band, told = np.random.default_rng(56), np.linspace(140e6, 150e6, 201), set()
    for place in (20.0, 25.0, 33.0, 40.0):
        line = Line(60.0, 0.66, 50.0, 0.62, 0.006)
        wet = Line(60.0 - place, 0.59, ohm, 1.2, 0.05)
        whole = line.two_port(band, place) @ wet.two_port(band)
        seen = from_impedance(whole.input_impedance(48 + 4j * (band - 145e6) / 5e6))
        said, _ = line_verdict(state(rng, band, line, seen, loss_known=True, length_m=60.0))
        assert "a step of" in said or "(a joint, a kink, water, other cable)" in said, said
        told.add("cannot tell" in said)
    assert True in told


@pytest.mark.parametrize(
    ("doubt", "words"), [(1.0, r"5\.\d+ ± 0\.\d+"), (300.0, "not known, below 1\\d")]
)
def test_a_loss_that_is_hardly_known_is_a_bound(doubt, words):
    """As of one far end by a narrow band: a number beside as large a ± is none."""
    rng, band = np.random.default_rng(57), np.linspace(140e6, 150e6, 201)
    line = Line(60.0, 0.66, 50.0, 0.62, 0.006)
    far = ((1.0, "open"), (-1.0, "short"))
    wanted = LineCheck("", None, far, line, False, {"length": 0.25}, (), True)
    sweeps = [Quantity(noisy(rng, foot(band, line, end), 0.0005)) for end in (60.0, 1e9, 0.0)]
    found = line_state(wanted, band, sweeps[0], None, sweeps[1:], 50.0)
    known = found.properties
    found = replace(found, properties=replace(known, covariance=doubt**2 * known.covariance))
    (said,) = (text for text in line_lines(found) if "matched loss" in text)
    assert re.search(rf"matched loss {words} dB in all at 145 MHz", said)
    assert "line-loss-unseen" in [finding.code for finding in about_line(found)]


def test_places_less_than_told_apart_from_the_end_are_in_their_doubt():
    """One pulls the other by a narrow band: what is listed as a place before the end."""
    rng, held = np.random.default_rng(58), []
    resolution = 0.85 * SPEED_OF_LIGHT / 2 / np.ptp(NARROW)
    for _ in range(120):
        line = Line(rng.uniform(30, 70), 0.85, 50.0, rng.uniform(0.2, 0.8))
        place = line.length_m - rng.uniform(1.2, 1.8) * resolution
        ohm, end = np.exp(rng.uniform(np.log(15), np.log(150))), random_rod(rng, NARROW)
        seen = foot(NARROW, line, end, (rng.choice(["shunt", "series"]), ohm, place))
        found = state(rng, NARROW, line, seen, loss_known=True, length_m=line.length_m)
        now = found.now
        at = int(np.argmin(np.abs(now.distance_m - place)))
        if at != found.end and now.kind[at] != RINGING:
            off = abs(now.distance_m[at] - place)
            held.append(off < 2 * now.distance_uncertainty_m[at])
    assert len(held) > 60
    assert np.mean(held) > 0.95


@pytest.mark.parametrize("kind", ["series resistance", "shunt capacitance"])
def test_what_a_narrow_band_names_may_be_a_wet_length(kind):
    """Two metres of it answer as a joint, a leak or a crush does."""
    rng = np.random.default_rng(59)
    for _ in range(10):
        line, end = Line(45.0, 0.85, 50.0, 0.5), random_rod(rng, NARROW)
        wet = Line(2.0, 0.6, rng.uniform(36, 46), rng.uniform(1, 3), 0.05)
        rest = line.two_port(NARROW, 28.0)
        whole = line.two_port(NARROW, 15.0) @ wet.two_port(NARROW) @ rest
        now, then = from_impedance(whole.input_impedance(end)), foot(NARROW, line, end)
        said, _ = line_verdict(state(rng, NARROW, line, now, then, loss_known=True, length_m=45.0))
        named = re.search(r"joint|leak|crush|capacitance", said)
        assert (
            not named or "wet cable" in said or "(a joint, a kink, water, other cable)" in said
        ), said
        said, _ = line_verdict(faulty(rng, NARROW, kind))
        assert (
            "wet cable" in said
            or "(a joint, a kink, water, other cable)" in said
            or "No place" in said
        ), said


def test_what_hides_behind_the_end_of_unknown_length_is_said():
    line = Line(30.0, 0.85, 50.0, 0.5)
    seen = foot(NARROW, line, 75.0, ("series", 20.0, 18.0))
    said, _ = line_verdict(state(np.random.default_rng(60), NARROW, line, seen))
    assert "that may be the line's end" in clauses(said)
    assert "a fault in its last 16 m would not be told from the end" in said


@pytest.mark.parametrize("length_m", [60.0, 300.0])
def test_what_is_seen_at_least_is_said_and_seen(length_m):
    """A joint that reflects so much is found, on a line that loses little and on one of 40 dB."""
    rng, line = np.random.default_rng(61), Line(length_m, 0.85, 50.0, 1.1)
    place = 0.6 * length_m
    sound = state(rng, NARROW, line, foot(NARROW, line, 75.0), loss_known=True, length_m=length_m)
    (said,) = (row for row in line_lines(sound) if row.startswith("places that reflect"))
    least = float(np.interp(place, sound.now.band.grid, sound.now.least))
    assert ("and of what lies before the end what reflects" in said) is (length_m > 100)
    ohm = 200 * least / (1 - least)
    seen = foot(NARROW, line, 75.0, ("series", ohm, place))
    now = state(rng, NARROW, line, seen, loss_known=True, length_m=length_m).now
    assert now.nearest(place, now.band.resolution) is not None


def test_what_stays_of_an_antenna_is_in_the_doubt_of_a_small_joints_place():

    rng, frequency = np.random.default_rng(51), np.linspace(44e6, 58e6, 281)
    line, held, halves = Line(38.2, 0.66, 50.4, 0.62, 0.0025), [], []
    ratio = frequency / 50.4e6
    end = 44 * (ratio**1.5 + 10j * (ratio - 1 / ratio))
    for _ in range(100):
        joint = rng.uniform(0.9, 1.1) * (1 + rng.uniform(0.0, 0.1) * 1j * ratio)
        seen = noisy(rng, foot(frequency, line, end, ("series", joint, 12.0)), 0.0006)
        found = find_events(frequency, seen, line, z_ref=50.0, z0_uncertainty=0.006)
        at = int(np.argmin(np.abs(found.distance_m - 12.0)))
        halves.append(1.96 * found.distance_uncertainty_m[at])
        held.append(abs(found.distance_m[at] - 12.0) < halves[-1])
    assert sum(held) >= 95, sum(held)
    assert np.median(halves) < 0.8


@pytest.mark.parametrize("stated", [{"length_m": 50.0}, {}], ids=["length", "no length"])
def test_the_picture_ends_where_the_line_does_or_little_is_seen(stated):
    rng, frequency = np.random.default_rng(52), np.linspace(6.8e6, 7.4e6, 121)
    line, ratio = Line(50.0, 0.66, 50.4, 0.62), frequency / 7.1e6
    seen = foot(frequency, line, 60 * (1 + 11j * (ratio - 1 / ratio)))
    ax = line_figure(state(rng, frequency, line, seen, **stated)).axes[0]
    drawn = ax.lines[0].get_xydata()
    assert ax.get_xlim()[1] <= (150.0 if stated else 1700.0)
    assert drawn[-1, 0] >= ax.get_xlim()[1]
    assert np.max(drawn[:, 1]) < 1.5


@pytest.mark.parametrize("baseline", [False, True])
def test_a_place_that_a_narrow_band_takes_for_one_with_the_end_is_within_its_doubt(baseline):
    """Of lines whose joint lies before an antenna, nearer than is told apart; the end is listed."""
    rng, held = np.random.default_rng(61), []
    for _ in range(60):
        line = Line(28.0, 0.85, 50.0, 0.4)
        place, end = rng.uniform(12, 20), random_rod(rng, NARROW)
        then = foot(NARROW, line, end)
        now = foot(NARROW, line, end, ("series", rng.uniform(8, 25), place))
        given = {"loss_known": True, "length_m": 28.0}
        found = state(rng, NARROW, line, now, then if baseline else None, **given)
        rows = "\n".join(line_lines(found))
        assert found.beyond_m is not None or "m: the line's end" in rows
        before = [m for m in before_end(found) if found.now.kind[m] != RINGING]
        off = np.abs(found.now.distance_m[before] - place)
        held += (off < 1.96 * found.now.distance_uncertainty_m[before]).tolist()
    assert len(held) > 15
    assert np.mean(held) >= 0.93


def test_what_folds_back_from_before_the_plane_leaves_the_doubt_of_places_alone():
    """It seems to lie at the far end of the range, where by the loss next to nothing comes back."""
    rng, band = np.random.default_rng(62), np.linspace(430e6, 440e6, 201)
    for _ in range(20):
        line, end = Line(rng.uniform(15, 60), 0.87, 50.5, 0.35), rod(band, 436e6, 44.0, 9.0)
        seen = foot(band, line, end, ("series", 12.0, rng.uniform(3, 12)))
        found = state(rng, band, line, seen, loss_known=True)
        assert np.all(found.now.distance_uncertainty_m < 2 * found.now.band.resolution)
