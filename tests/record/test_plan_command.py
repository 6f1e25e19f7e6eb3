"""``rfcal plan``: what a record's set-up will be able to say, before anything is read."""

import re

import pytest

from rfcal.cli import main
from rfcal.record.job.compute import compute
from rfcal.record.job.plan import outlook
from tests.record.conftest import DEVICE_OHM, bend

AHEAD = """
format = 1
[record]
title = "ahead"
[[standard]]
name = "short"
kind = "short"
reading = "raw/short.s1p"
[[standard]]
name = "open"
kind = "open"
[[standard]]
name = "load"
kind = "load"
[[measurement]]
name = "antenna"
reading = "raw/antenna.s1p"
  [[measurement.between]]
  line = "RG-213"
  length_m = 12
"""


@pytest.fixture
def ahead(tmp_path):
    """A record of which nothing is read yet."""
    (tmp_path / "record.toml").write_text(AHEAD)
    return tmp_path


def test_nothing_need_be_read_yet(ahead, capsys):
    assert main(["plan", str(ahead), "--mhz", "70", "--ohm", "30-j12"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"if it is 30 - j12 ohm: R .* ohm, X .* ohm, SWR 1\.81", said)
    assert "largest source of uncertainty of R is antenna: line 1" in said
    assert "warning" not in said  # a perfect analyzer is no finding
    assert "calibrate at the far end" in said
    missing = said.split("what could not be noticed, and the reading that would:")[1]
    assert missing.count("[[check]]") == 2
    assert "in the place of 'antenna'" in missing
    assert "Read 'short' once more after 'antenna'" in missing


def test_a_report_still_needs_the_readings(ahead, capsys):
    assert main(["report", str(ahead), "--output", str(ahead / "o")]) == 2
    assert "there is no file 'raw/short.s1p'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "nothing says at which frequency: give answer_mhz, or say --mhz"),
        (["--mhz", "nan"], "no frequency that is measured"),
        (["--mhz", "70", "--ohm", "much"], "no impedance: write it as 30-12j"),
        (["--mhz", "70", "--ohm=-5"], "R is not below zero"),
    ],
)
def test_what_cannot_be_planned_is_refused(ahead, capsys, options, words):
    assert main(["plan", str(ahead), *options]) == 2
    assert words in capsys.readouterr().err


def test_a_plan_is_as_wide_as_the_answer_then_is(filed):
    """A perfect analyzer was planned with, and that of the record is nearly one."""
    (planned,) = outlook(filed, ohm=DEVICE_OHM).planned
    (plan,) = planned.plans.values()
    device = compute(filed).devices[0]
    half = device.expanded_uncertainty()[device.answer]
    assert planned.frequency_hz == device.frequency[device.answer]
    for name, measured in zip(("resistance", "reactance"), half, strict=True):
        figure = plan.figures[name]
        assert (figure.high - figure.low)[0] / 2 == pytest.approx(measured, rel=0.15)


def test_a_set_up_that_cannot_see_is_warned_of_before(typed, capsys):
    bend(typed, "resistance_ohm = 33.0", "resistance_ohm = 100.0")
    assert main(["plan", str(typed)]) == 0
    said = capsys.readouterr().out
    assert "warning: Every check would agree as well if" in said
    assert "no reading is missing" in said
    found = {finding.code for finding in outlook(typed).findings}
    assert "check-blind" in found
