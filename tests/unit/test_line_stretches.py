"""Short stretches of another impedance, and strong places before a line's end.

The lines are chain matrices of the project's own model, multiplied exactly, as in `test_faults`.
"""

import re
from dataclasses import replace

import numpy as np
import pytest

from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line
from rfcal.record.findings.line.state import line_verdict
from rfcal.report.text.line import line_lines
from tests.unit.test_faults import HIGH, WIDE, foot
from tests.unit.test_line_state import clauses, random_rod, rod, state

LINE = Line(27.0, 0.8, 50.0, 0.5)


def with_piece(frequency, z0, piece_m):
    """The state of a line with a piece of another impedance [ohm] from 10 m on."""
    near, far = (LINE.two_port(frequency, m) for m in (10.0, 17.0 - piece_m))
    piece = Line(piece_m, 0.8, z0, 0.5).two_port(frequency)
    seen = from_impedance((near @ piece @ far).input_impedance(rod(frequency)))
    return state(np.random.default_rng(31), frequency, LINE, seen, loss_known=True, length_m=27.0)


@pytest.mark.parametrize(
    ("z0", "like"), [(68.0, "inductance in series"), (34.0, "capacitance across the line")]
)
def test_a_short_stretch_is_named_beside_the_reactance_that_it_is_like(z0, like):
    """Of one that is not known how long it is, that with a usual impedance is told."""
    said = line_lines(with_piece(WIDE, z0, 0.16))
    way = "higher" if z0 > 50 else "lower"
    told = rf"{like}, as of .*, or a stretch of {way} impedance \(.*\), as some (\S+) m of "
    length, ohm = re.search(rf"{told}(\d+) ohm would be", said[0]).groups()
    assert float(ohm) == pytest.approx(75 if z0 > 50 else 33, rel=0.1)
    lengthens = float(length) * (float(ohm) / 50 - 50 / float(ohm))
    assert lengthens == pytest.approx(0.16 * (z0 / 50 - 50 / z0), rel=0.15)
    (top,) = re.findall(r"sweep up to (\d+) MHz, which tells them apart", "\n".join(said))
    wider = np.linspace(1e6, float(top) * 1e6, 601)
    assert like not in line_verdict(with_piece(wider, z0, 0.16))[0]


@pytest.mark.parametrize(("z0", "piece_m"), [(62.0, 0.42), (41.0, 0.5)])
def test_a_stretch_that_bends_over_the_band_is_told_with_its_length_and_impedance(z0, piece_m):
    said = line_verdict(with_piece(WIDE, z0, piece_m))[0]
    told = re.search(r"a stretch of .* impedance .*, as some (\S+) m of (\d+) ohm", said)
    assert float(told[1]) == pytest.approx(piece_m, rel=0.1)
    assert float(told[2]) == pytest.approx(z0, rel=0.05)


@pytest.mark.parametrize("stated", [{}, {"length_m": 20.0}], ids=["open-ended", "stated"])
def test_what_is_seen_through_a_strong_leak_does_not_ring_in_it(stated):
    """A nail through the cable, before an antenna."""
    frequency, line = np.linspace(1e6, 54e6, 241), Line(20.0, 0.8, 50.0, 0.4)
    seen = foot(frequency, line, rod(frequency, 7e6, 55.0, 3.0), ("shunt", 40.0, 8.5))
    said = line_lines(
        state(np.random.default_rng(32), frequency, line, seen, loss_known=True, **stated)
    )
    assert re.search(r"^  (19|20)\.\d+ ± ", "\n".join(said), re.MULTILINE), said
    assert not any(re.search(r"appears at .*\b(19|20)\.\d", row) for row in said), said


def test_only_what_may_be_the_end_is_called_an_antenna():
    """Two faults nearer than can be told apart are of no single kind."""
    line, frequency = Line(30.0, 0.8, 50.0, 0.4), HIGH
    faults = ("series", 20.0, 12.0), ("shunt", 90.0, 12.35)
    seen = foot(frequency, line, rod(frequency), *faults)
    for stated in ({}, {"length_m": 30.0}):
        found = state(np.random.default_rng(33), frequency, line, seen, loss_known=True, **stated)
        text = "\n".join(line_lines(found))
        rows = [row for row in text.split("\n") if row.startswith("  12.")]
        assert rows
        assert not any("antenna" in row for row in rows), rows


def test_a_leak_with_some_capacitance_is_a_wet_joint():
    near, far = (LINE.two_port(WIDE, m) for m in (12.0, 15.0))
    wet = TwoPort.shunt(1 / 220 + 2j * np.pi * WIDE * 9e-12)
    seen = from_impedance((near @ wet @ far).input_impedance(rod(WIDE)))
    stated = {"loss_known": True, "length_m": 27.0}
    said = line_verdict(state(np.random.default_rng(34), WIDE, LINE, seen, **stated))[0]
    assert "a wet joint (a leak with some capacitance): look there; that is before" in clauses(said)


def test_a_usual_cable_that_has_the_end_where_a_narrow_band_sees_it_is_a_candidate():
    rng, named = np.random.default_rng(36), 0
    narrow = np.linspace(140e6, 150e6, 161)
    for true, told in ((0.66, 0.85), (0.85, 0.66), (0.66, 0.80)):
        line = Line(46.0, true, 50.0, 0.4)
        for stated in (told, true):
            seen = foot(narrow, line, random_rod(rng, narrow))
            known = replace(line, velocity_factor=stated)
            said = line_verdict(state(rng, narrow, known, seen, loss_known=True, length_m=46.0))[0]
            fits = [float(v) for v in re.findall(r"velocity factor of (0\.\d+), not", said)]
            if stated == true:
                assert not fits, said
            else:
                named += fits != [] and abs(fits[0] - true) < 0.05
    assert named == 3
