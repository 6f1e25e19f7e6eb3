"""Verdicts: how often chance alone turns them, and that what is unknown is called unknown."""

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.faces.words import summary
from rfcal.models.between import between_points
from rfcal.models.quantity import Quantity, both_axes
from rfcal.record.agreement import agree, too_many
from rfcal.record.compute import compute
from rfcal.record.judge import DISAGREE_PROBABILITY
from tests.record.conftest import BOX, START, bend, touchstone

SESSIONS = 2000


@pytest.mark.parametrize("points", [1, 2, 5, 9, 50, 201])
@pytest.mark.parametrize("common", [True, False])
def test_a_sound_check_seldom_disagrees(points, common):
    rng = np.random.default_rng(5)
    expected = Quantity(np.full(points, 0.2 + 0j), both_axes("definition", 0.001))
    effects = both_axes("noise", 0.002)
    scale = np.hypot(0.001, 0.002)
    disagree = 0
    for _ in range(SESSIONS):
        size = 1 if common else points
        off = scale * (rng.standard_normal(size) + 1j * rng.standard_normal(size))
        disagree += not agree(Quantity(expected.value + off, effects), expected)
    # 2 % at most, and four standard deviations of the counting
    assert disagree / SESSIONS < 0.02 + 4 * np.sqrt(0.02 * 0.98 / SESSIONS)


def test_a_wrong_check_disagrees_even_at_few_points():
    expected = Quantity(np.full(201, 0.2 + 0j), both_axes("definition", 0.001))
    off = np.zeros(201)
    off[90:96] = 0.02
    assert not agree(Quantity(expected.value + off, both_axes("noise", 0.001)), expected)
    one = Quantity(np.array([0.2 + 0j]), both_axes("definition", 0.001))
    assert not agree(Quantity(one.value + 0.006, both_axes("noise", 0.001)), one)


@pytest.mark.parametrize("points", [1, 99, 201, 1601])
def test_standards_seldom_disagree_by_chance(points):
    rng = np.random.default_rng(6)
    outside = rng.random((20_000, points)) < DISAGREE_PROBABILITY
    alarms = np.mean([too_many(row, DISAGREE_PROBABILITY) for row in outside])
    assert alarms < 3 * DISAGREE_PROBABILITY


def test_two_points_are_too_few_to_go_between(filed):
    with pytest.raises(CalibrationError, match="2 points"):
        between_points([1.5], [1.0, 2.0], [0.1, 0.2], what="values")
    value, doubt = between_points([1.0, 3.0], [1.0, 2.0, 3.0], [1, 1j, 5], what="values")
    assert value == pytest.approx([1, 5])  # at the points themselves nothing is interpolated
    assert not doubt.any()
    ends = np.array([50e6, 60e6])
    for name, reflection in (("short", -1), ("open", 1), ("load", 0)):
        text = touchstone(ends, BOX.apply(np.full(2, reflection, complex)))
        (filed / f"raw/{name}.s1p").write_text(text)
    with pytest.raises(CalibrationError, match=r"'device'.*2 points"):
        compute(filed)


def test_a_path_that_hides_the_device_is_said_to(typed):
    text = '\n[[measurement.between]]\nline = "RG-213"\nlength_m = 900\n'
    (typed / "record.toml").write_text(START + text)
    results = compute(typed)
    assert [f.code for f in results.findings if f.about == "device"] == ["device-hidden"]
    assert np.isinf(results.devices[0].expanded_uncertainty()).all()
    assert any("unknown" in line for line in summary(results))


def test_a_wide_answer_is_not_called_near_an_open(filed):
    """Reflection 0.27 behind a lossy line: wide, and nowhere near an open."""
    with (filed / "record.toml").open("a") as file:
        file.write(
            '\n[[measurement.between]]\nline = "RG-174"\nlength_m = 100\n'
            "loss_uncertainty_percent = 1\nlength_uncertainty_m = 0.001\n"
            "velocity_factor_uncertainty = 0.0001\nz0_uncertainty_ohm = 0.1\n"
        )
    found = {f.code for f in compute(filed).findings if f.about == "device"}
    assert "device-hidden" in found
    assert "near-open" not in found


def test_one_stated_uncertainty_leaves_the_other_defaults(typed):
    bend(typed, "uncertainty = 0.0              # nothing beyond that of its resistance\n", "")
    results = compute(typed)
    note = next(f for f in results.findings if f.code == "uncertainty-default")
    assert note.about == "load"
    assert "reflection 0.002" in note.message
    assert "resistance" not in note.message


def test_steps_of_typed_magnitudes_are_said(typed):
    bend(typed, "typed = [[14.1, 12.2, -4.6]]", "typed_reflection = [[14.1, 1, 17e1]]")
    results = compute(typed)
    step = abs(results.devices[0].raw.effects[0].change)
    assert step == pytest.approx(0.01 / np.sqrt(12))
    note = next(f for f in results.findings if f.code == "display-step")
    assert "0.01 in magnitude and 1 degrees" in note.message


def test_an_answer_between_points_is_said(filed):
    bend(filed, 'name = "device"', 'name = "device"\nanswer_mhz = 55.3')
    notes = [f.message for f in compute(filed).findings if f.code == "answer-nearest"]
    assert len(notes) == 1
    assert "55 MHz" in notes[0]
