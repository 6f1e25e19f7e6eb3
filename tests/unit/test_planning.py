"""A plan predicts what a measurement then gives, and its advice helps when followed."""

from dataclasses import replace

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.propagate import propagate
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.planning.plan import EXTRA, Length, Setup, blind, changes, plan
from tests.drawn import monte_carlo

FREQUENCY = np.linspace(70e6, 71e6, 5)
STANDARDS = {kind: Standard(kind, build="machined") for kind in ("short", "open", "load")}
SETUP = Setup(FREQUENCY, STANDARDS)
FEED = Length(
    "feed line",
    Line(12.0, 0.66, 50.0, conductor_db=0.002),
    {"length": 0.05, "velocity factor": 0.01, "impedance": 1.0, "loss": 0.1},
)


def gains(found):
    return {option.change: option.gain for option in found.options}


def test_predicted_interval_is_what_drawing_gives():
    found = plan(SETUP, 120 - 45j)
    inputs = SETUP.inputs(from_impedance(np.full(5, 120 - 45j)))
    drawn = monte_carlo(inputs, 50.0, np.random.default_rng(1), draws=40_000)
    for axis, name in enumerate(("resistance", "reactance")):
        figure = found.figures[name]
        width = figure.high - figure.low
        ends = np.stack([figure.low, figure.high], axis=-1)
        assert drawn.interval[:, axis] == pytest.approx(ends, abs=0.05 * width.max())
    assert sum(found.shares.values()) == pytest.approx(np.ones((5, 2)))


def test_options_are_ranked_and_true():
    """What an option promises is what a plan of the set-up so changed gives."""
    found = plan(SETUP, 52 + 2j)
    ranked = [option.gain for option in found.options]
    assert ranked == sorted(ranked, reverse=True)
    best = found.options[0]
    again = plan(best.setup, 52 + 2j)
    for name, ratio in (("resistance", best.resistance), ("reactance", best.reactance)):
        before, after = found.figures[name], again.figures[name]
        measured = (after.high - after.low) / (before.high - before.low)
        assert measured == pytest.approx(ratio, rel=0.02)


def test_near_a_match_a_better_load_helps_most_of_what_is_known_better():
    better = {k: g for k, g in gains(plan(SETUP, 50)).items() if k.startswith("know")}
    assert max(better, key=better.get) == "know 'load' three times better"
    assert better["know 'short' three times better"] == pytest.approx(0, abs=1e-6)


def test_near_a_short_the_short_matters():
    better = {k: g for k, g in gains(plan(SETUP, 0.5)).items() if k.startswith("know")}
    assert max(better, key=better.get) == "know 'short' three times better"


def test_noise_alone_is_averaged_away():
    exact = {k: Standard(k, uncertainty={"reflection": 1e-9}) for k in STANDARDS}
    noisy = Setup(FREQUENCY, exact, noise=0.01, connection=0.0, drift=0.0)
    assert gains(plan(noisy, 30 + 10j))["average 16 sweeps"] == pytest.approx(0.75, abs=1e-3)


def test_a_long_line_asks_for_calibration_at_its_far_end():
    through = plan(Setup(FREQUENCY, STANDARDS, lines=(FEED,)), 120 - 45j)
    assert through.options[0].change == "calibrate at the far end"
    assert 0 < gains(through)["halve the cable"] < through.options[0].gain
    assert not any("cable" in change for change in changes(SETUP))
    width = [
        p.figures["resistance"].high - p.figures["resistance"].low
        for p in (through, plan(SETUP, 120 - 45j))
    ]
    assert np.all(width[0] > 2 * width[1])


def test_a_line_becomes_part_of_what_the_far_end_is_calibrated_through():
    """Noise is divided by the loss there and back, 16 dB, as the readings are."""
    line = replace(FEED.line, length_m=40.0, conductor_db=20 / np.sqrt(70.5))
    feed = replace(FEED, line=line)
    exact = {k: Standard(k, uncertainty={"reflection": 0.0}) for k in STANDARDS}
    noisy = Setup(FREQUENCY, exact, connection=0.0, drift=0.0, lines=(feed,))
    there = changes(noisy)["calibrate at the far end"]
    near, far = (
        propagate(s.inputs(np.full(5, 0.3j))).variance() for s in (replace(noisy, lines=()), there)
    )
    assert np.sqrt(far / near) == pytest.approx(np.full(5, 10 ** (16 / 20)), rel=0.02)


def test_half_a_cable_is_measured_with_the_same_tape():
    half = changes(Setup(FREQUENCY, STANDARDS, lines=(FEED,)))["halve the cable"].lines[0]
    assert half.line.length_m == FEED.line.length_m / 2
    assert half.deviations == FEED.deviations


def test_what_an_offset_standard_brings_rests_on_its_delay(monkeypatch):
    def gain(delay):
        known = replace(EXTRA["offset open"], uncertainty={"reflection": 0.002, "delay": delay})
        monkeypatch.setitem(EXTRA, "offset open", known)
        return gains(plan(SETUP, 30 - 20j))

    found = [gain(delay)["add the standard 'offset open'"] for delay in (0.0, 10e-12, 50e-12)]
    assert found[0] > 2 * found[1] > 10 * found[2] > 0
    monkeypatch.undo()
    assert gains(plan(SETUP, 30 - 20j))["add the standard 'offset open'"] < 0.6 * found[0]
    assert gain(10e-12)["know 'load' three times better"] > found[1]


def test_an_instrument_that_corrects_itself_takes_no_standards():
    with pytest.raises(CalibrationError, match="leave out one"):
        plan(Setup(FREQUENCY, STANDARDS, residual={}), 50)
    with pytest.raises(CalibrationError, match="0 standards"):
        plan(Setup(FREQUENCY), 50)


@pytest.mark.parametrize(("near", "far"), [("25 ohm", "100 ohm"), ("100 ohm", "25 ohm")])
def test_of_two_resistors_the_one_like_the_device_helps_more(near, far, monkeypatch):
    # as like each other as they can be: strays of a plug count more beside 100 ohm
    alike = {name: replace(EXTRA[name], build="machined") for name in (near, far)}
    monkeypatch.setattr("rfcal.planning.plan.EXTRA", alike)
    found = gains(plan(SETUP, float(near.split()[0])))
    assert found[f"add the standard '{near}'"] > found[f"add the standard '{far}'"] > 0


def test_blind_at_the_rim_and_not_in_the_middle(monkeypatch):
    places = np.array([0, 0.3j, -0.5, 0.98, 0.999, -0.9995, 0.99j])
    with monkeypatch.context() as few:
        few.setattr("rfcal.planning.plan._rings", lambda: places)
        found = blind(SETUP)
    assert found.resistance.tolist() == [False, False, False, False, True, True, True]
    # at the rim beside the axis a reactance is seen well where the resistance is not
    assert not found.reactance[6]
    assert found.reactance[4]
    worse = blind(Setup(FREQUENCY, STANDARDS, connection=0.02, lines=(FEED,)))
    better = blind(SETUP)
    assert worse.resistance.sum() > better.resistance.sum() > 0
