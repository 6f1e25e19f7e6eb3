"""A wrong velocity factor is named beside the fault that it would pass for.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.maths.reflection import from_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.findings.line.state import line_verdict
from tests.unit.test_faults import WIDE, foot
from tests.unit.test_line_state import clauses, random_rod, rod, state

ENDS = {"open": 1e9, "75 ohm": 75.0, "antenna": rod(WIDE)}


def verdict(true, stated, end, *faults, length_m=40.0):
    """What is said of 40 m of a cable that is taken for another one."""
    line = Line(40.0, true, 50.0, 0.5)
    seen = foot(WIDE, line, end, *faults)
    wrong = replace(line, velocity_factor=stated)
    found = state(np.random.default_rng(1), WIDE, wrong, seen, loss_known=True, length_m=length_m)
    return line_verdict(found)[0]


@pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)
@pytest.mark.parametrize("faults", [(), (("shunt", 80.0, 17.0),)], ids=["sound", "faulty"])
def test_both_explanations_of_a_place_before_the_end_are_named(end, faults):
    said = clauses(verdict(0.85, 0.66, end, *faults))
    other = "with a velocity factor of 0.85, not 0.66, what reflects at 31"
    if np.all(np.abs(end) == 1e9):  # what is open and does not ring is a break first
        assert said.startswith("Reflection at")
        assert f": look there; that is before the line's end at 40.00 ± 0.20 m; or, {other}" in said
    else:
        assert said.startswith(f"Look at the cable's type first: {other}")
        assert "is the line's end; else reflection at" in said
        assert said.endswith("that is before the line's end at 40.00 ± 0.20 m.")
    assert said.lower().count("reflection at") == 1 + len(faults)  # none for what rings


@pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)
@pytest.mark.parametrize("faults", [(), (("shunt", 80.0, 17.0),)], ids=["sound", "faulty"])
def test_a_stated_length_is_not_asked_for(end, faults):
    said = verdict(0.66, 0.85, end, *faults)
    assert "state length_m" not in said
    assert "40 m are too short by a piece of 11." in said
    assert "m if that is the same cable" in said
    assert "for water, which slows the wave" in said
    assert "or the velocity factor is 0.66 and not 0.85" in said


def test_a_break_far_before_the_end_is_no_other_cable():
    """No wave is as fast as that, and where the end is seen it is the end."""
    assert "velocity factor" not in verdict(0.85, 0.85, 1e9, length_m=55.0)
    assert "velocity factor" not in verdict(0.85, 0.85, 1e9, ("shunt", 80.0, 37.0))


def test_a_piece_of_other_cable_is_told_by_its_electrical_length():
    """Behind a line of foam: 2.2 m of a slower cable are 2.9 m of it."""
    line, piece = Line(33.0, 0.87, 50.0, 0.4), Line(2.2, 0.66, 50.0, 1.4)
    whole = line.two_port(WIDE) @ piece.two_port(WIDE)
    seen = from_impedance(whole.input_impedance(rod(WIDE)))
    rng, given = np.random.default_rng(4), {"loss_known": True, "length_m": 33.0}
    said, _ = line_verdict(state(rng, WIDE, line, seen, **given))
    more, half = re.search(r"a piece of (\S+) ± (\S+) m if that is the same cable", said).groups()
    assert float(more) == pytest.approx(2.2 * 0.87 / 0.66, abs=float(half))
    electrical = float(re.search(r"electrical length is (\S+) m", said)[1])
    assert electrical == pytest.approx(float(more) / 0.87, abs=0.06)
    assert 0.2 < float(half) < 1


@pytest.mark.parametrize("frequency", [WIDE, np.linspace(140e6, 150e6, 201)], ids=len)
def test_a_break_comes_before_another_type_of_cable(frequency):
    """Near the end, where another velocity factor would do."""
    rng = np.random.default_rng(11)
    for _ in range(10):
        line = CABLES[rng.choice(["RG-213", "foam 5 mm"])].line(rng.uniform(15, 45))
        place = line.length_m * rng.uniform(0.89, 0.93)
        broken = foot(frequency, replace(line, length_m=place), 1e9)
        given = {"loss_known": True, "length_m": line.length_m}
        said, fault = line_verdict(state(rng, frequency, line, broken, **given))
        assert fault
        assert re.match(
            r"Reflection at \S+ ± \S+ m from where the standards were connected, ", said
        )
        assert float(said.split()[2]) == pytest.approx(place, abs=0.3)
        assert re.search(
            r"look there[.;] [Tt]hat is .* m[.;] [Oo]r, with a velocity factor of", said
        )


TALL = np.linspace(1e6, 300e6, 501)
"""A band whose antenna resonates in the middle of it."""


@pytest.mark.parametrize("length_m", [0.0, 25.0], ids=["of unknown length", "25 m"])
def test_an_antenna_is_no_ringing_of_a_faint_lobe_before_it(length_m):
    """By a cable of another type, whose loss shapes the antenna's answer."""
    rng, far = np.random.default_rng(7), 25.0 * 0.87 / 0.66
    foam = replace(CABLES["foam 10 mm"].line(0.0), length_m=length_m)
    for quality in (6.0, 8.0, 9.0, 10.0, 12.0):
        antenna = rod(TALL, 145e6, 55.0, quality)
        seen = foot(TALL, Line(25.0, 0.66, 50.5, 1.3, 0.025), antenna)
        found = state(rng, TALL, foam, seen, loss_known=True, length_m=length_m)
        place = float(re.findall(r"^Reflection at (\d+\.\d+) ± ", line_verdict(found)[0])[0])
        assert place == pytest.approx(far, rel=0.01)
        words = "the record's 25 m are too short" if length_m else "may be the line's end"
        assert words in clauses(line_verdict(found)[0])


@pytest.mark.parametrize("length_m", [0.0, 40.0], ids=["of unknown length", "40 m"])
def test_what_an_antenna_rings_is_no_place_nor_the_end(length_m):
    """However far below the band it resonates; by its own cable's type, or by a slower one's."""
    rng = np.random.default_rng(9)
    for mhz, quality in ((28.5, 8.0), (28.5, 11.0), (50.2, 5.0), (14.2, 8.0)):
        cable = CABLES["foam 5 mm"].line(40.0)
        seen = foot(TALL, cable, rod(TALL, 1e6 * mhz, 45.0, quality))
        stated = replace(CABLES["RG-58C"].line(0.0) if length_m else cable, length_m=length_m)
        for far in {length_m, 0.85 * length_m}:  # where the ringing has more or less faded
            line = replace(stated, length_m=far)
            found = state(rng, TALL, line, seen, loss_known=True, length_m=far)
            said, fault = line_verdict(found)
            words = "look at the cable's type" if length_m else "may be the line's end"
            assert words in said[0].lower() + said[1:]
            assert said.lower().count("reflection") == 1, said
            assert fault == bool(length_m)


@pytest.mark.parametrize("true", ["RG-213", "RG-58C"])
def test_more_than_all_that_comes_back_is_a_sign_of_another_type(true):
    """Where no length tells it; and nothing is said to reflect more than all."""
    for seed in range(5):
        seen = foot(TALL, CABLES[true].line(35.0), rod(TALL, 28e6 + 2e7 * seed))
        stated, rng = CABLES["RG-58C"].line(0.0), np.random.default_rng(seed)
        said, fault = line_verdict(state(rng, TALL, stated, seen, loss_known=True))
        assert fault == ("look at the cable's type" in said) == (true == "RG-213"), said
        assert not re.search(r", 1\.[0-9]+ \(", said)


def dipole(frequency, resonance):
    """Impedance of a wire of two quarter waves [ohm]: a line that radiates, open at its end."""
    turns = np.pi / 2 * frequency / resonance
    return 380 / np.tanh(0.17 * np.sqrt(frequency / resonance) + 1j * turns)


@pytest.mark.parametrize("mhz", [7.1, 14.2, 28.4, 50.5])
def test_what_a_wire_answers_late_is_neither_the_end_nor_a_place(mhz):
    """A long one does so many metres behind its feed: by its own cable's type, or by another's."""
    rng = np.random.default_rng(int(10 * mhz))
    for _ in range(8):
        solid, foam = rng.choice(["RG-213", "RG-58C"]), rng.choice(["foam 10 mm", "foam 5 mm"])
        true, wrong = rng.permutation([solid, foam])
        cable = CABLES[true].line(rng.uniform(15, 45))
        seen = foot(TALL, cable, dipole(TALL, 1e6 * mhz * rng.uniform(0.98, 1.02)))
        for kind, length_m in ((true, 0.0), (true, cable.length_m), (wrong, cable.length_m)):
            line = replace(CABLES[kind].line(0.0), length_m=length_m)
            found = state(rng, TALL, line, seen, loss_known=True, length_m=length_m)
            said, fault = line_verdict(found)
            assert not fault or kind == wrong, said
            assert "look there" not in said
            if kind == wrong:
                (fits,) = re.findall(r"velocity factor (?:of|is) (0\.\d+)", said)
                assert float(fits) == pytest.approx(cable.velocity_factor, rel=0.04), said


FAN = 1 / sum(1 / dipole(BAND := np.linspace(1e6, 200e6, 401), mhz) for mhz in (14.2e6, 50.3e6))
"""Impedance of two wires at one feed point, of which what rings is a third of the answer [ohm]."""


@pytest.mark.parametrize("water", [False, True], ids=["sound", "with a wet joint"])
@pytest.mark.parametrize("old", [False, True], ids=["alone", "with a baseline"])
@pytest.mark.parametrize("share", [1.04, 1.07, 1.1])
def test_the_end_of_a_line_that_is_stated_too_long_is_its_antenna_not_what_rings(water, old, share):
    """What rings near the stated length makes no damaged place of the end, nor a shorter line."""
    line = CABLES["RG-213"].line(45.2)
    sound, length = foot(BAND, line, FAN), round(45.2 * share, 1)
    seen = foot(BAND, line, FAN, ("shunt", 300.0, 31.0)) if water else sound
    then = sound if old else None
    given = {"loss_known": True, "length_m": length}
    found = state(
        np.random.default_rng(4), BAND, replace(line, length_m=length), seen, then, **given
    )
    said = line_verdict(found)[0]
    assert said.startswith("Look at the cable's type first"), said
    (fits,) = re.findall(r"with a velocity factor of (0\.\d+)", said)
    assert float(fits) == pytest.approx(0.66 * share, abs=0.01)
    assert "shorter" not in said
    assert water or "look there" not in said


@pytest.mark.parametrize(("kind", "ohm"), [("series", 140.0), ("shunt", 17.0)])
def test_a_joint_near_the_end_of_a_line_of_the_right_length_is_told(kind, ohm):
    """What little comes from behind it is the antenna where a baseline had it."""
    line = CABLES["RG-213"].line(45.2)
    seen, sound = foot(BAND, line, FAN, (kind, ohm, 42.0)), foot(BAND, line, FAN)
    given = {"loss_known": True, "length_m": 45.2}
    for then in (None, sound):
        said = line_verdict(state(np.random.default_rng(4), BAND, line, seen, then, **given))[0]
        assert re.match(r"(R|New r)eflection at 42\.\d+ ", said), said
        assert ("or, with a velocity factor of 0.71" in said) == (then is None)


@pytest.mark.parametrize(("true", "stated"), [("foam 10 mm", "RG-213"), ("RG-58C", "RG-8X")])
def test_with_a_baseline_another_cable_is_named_and_places_are_on_the_line(true, stated):
    """Where the end was seen tells the velocity factor; what is new is at its own metres."""
    rng = np.random.default_rng(23)
    for _ in range(6):
        line = CABLES[true].line(rng.uniform(20, 60))
        end, place = random_rod(rng, WIDE), rng.uniform(4, line.length_m - 3)
        then, joint = foot(WIDE, line, end), ("series", rng.uniform(8, 20), place)
        wrong = replace(CABLES[stated].line(0.0), length_m=line.length_m)
        known = {"loss_known": True, "length_m": line.length_m}
        for now, faulty in ((then, False), (foot(WIDE, line, end, joint), True)):
            said, _ = line_verdict(state(rng, WIDE, wrong, now, then, **known))
            pattern = r"type first, .* velocity factor of (\S+) ± (\S+), not"
            fits, half = map(float, re.search(pattern, said).groups())
            assert abs(fits - line.velocity_factor) < 1.2 * half < 0.1
            assert faulty or "the line is as it was" in clauses(said)
            if faulty:
                pattern = r"at (\S+) ± (\S+) m \((\S+) m by the stated type\)"
                at, half, by_type = map(float, re.search(pattern, said).groups())
                assert abs(at - place) < half + 0.05
                ratio = wrong.velocity_factor / line.velocity_factor
                assert by_type == pytest.approx(place * ratio, rel=0.02)


def test_a_length_that_fits_leaves_the_stated_type():
    rng = np.random.default_rng(24)
    for name in ("foam 10 mm", "RG-58C"):
        line, end = CABLES[name].line(35.0), random_rod(rng, WIDE)
        then, near = foot(WIDE, line, end), replace(line, length_m=35.3)
        known = {"loss_known": True, "length_m": 35.3}
        assert "type" not in line_verdict(state(rng, WIDE, near, then, then, **known))[0]


@pytest.mark.parametrize("length_m", [0.0, 40.0], ids=["of unknown length", "40 m"])
def test_a_break_behind_cable_that_loses_more_is_no_joint(length_m):
    """None has ten times the line's impedance; and its metres are by the stated cable's speed."""
    rng = np.random.default_rng(31)
    for true, stated, at in (("RG-8X", "RG-213", 14), ("foam 5 mm", "RG-213", 16)) * 4:
        line, ohm = CABLES[true].line(at + rng.uniform(0, 6)), rng.choice([0.01, 1e9])
        kind = "an open line" if ohm > 1 else "a shorted line"
        taken = replace(CABLES[stated].line(0.0), length_m=length_m)
        given = {"loss_known": True, "length_m": length_m}
        said, _ = line_verdict(state(rng, TALL, taken, foot(TALL, line, ohm), **given))
        behind = (
            f"{kind} behind cable that loses more than the stated type (look at its print first"
        )
        assert f"return loss), {behind}: metres change with it)" in said


def test_of_the_stated_cable_a_large_joint_with_a_line_behind_it_is_one():
    line = CABLES["RG-213"].line(24.0)
    seen, given = foot(TALL, line, 1e9, ("series", 120.0, 12.0)), {"loss_known": True}
    found = state(np.random.default_rng(3), TALL, line, seen, length_m=24.0, **given)
    said, _ = line_verdict(found)
    assert "a resistive joint" in said
    assert "type" not in said


def test_a_break_near_the_top_is_told_before_another_type_where_the_loss_is_not_known():
    rng, line = np.random.default_rng(9), Line(31.0, 0.664, 50.0, 0.66)
    for below in (1.4, 4.0):
        seen = foot(WIDE, replace(line, length_m=31.0 - below), 1e9)
        said, fault = line_verdict(state(rng, WIDE, line, seen, length_m=31.0))
        assert fault
        assert said.startswith(f"Reflection at {31 - below:.1f}")
        assert re.search(
            r"look there[.;] [Tt]hat is .* m[.;] [Oo]r, with a velocity factor of 0\.", said
        )


def test_an_end_beyond_its_stated_place_may_be_of_jumpers_or_an_antennas_own_delay():
    """Jumpers of solid cable at both ends of 24 m of foam, which are slower than the foam."""
    rng, band = np.random.default_rng(38), np.linspace(400e6, 470e6, 351)
    foam, solid = CABLES["foam 10 mm"].line(24.0), Line(1.35, 0.66, 50.4, 0.62, 0.0025)
    whole = solid.two_port(band) @ foam.two_port(band) @ solid.two_port(band)
    seen = from_impedance(whole.input_impedance(rod(band, 436e6, 46.0, 7.0)))
    given = {"loss_known": True, "length_m": 26.7}
    said, _ = line_verdict(state(rng, band, replace(foam, length_m=26.7), seen, **given))
    assert "own delay, jumpers or another type of cable make it" in said, said
