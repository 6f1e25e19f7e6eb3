"""Strong places before a line's end, and what they hide.

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


def test_an_end_that_a_narrow_band_sees_elsewhere_may_be_of_another_cable():
    rng, narrow = np.random.default_rng(36), np.linspace(140e6, 150e6, 161)
    for true, told in ((0.66, 0.85), (0.85, 0.66), (0.66, 0.80)):
        line = Line(46.0, true, 50.0, 0.4)
        seen, known = (
            foot(narrow, line, random_rod(rng, narrow)),
            replace(line, velocity_factor=told),
        )
        said = line_verdict(state(rng, narrow, known, seen, loss_known=True, length_m=46.0))[0]
        assert re.search("another type of cable|cable's type|the velocity factor is", said), said
