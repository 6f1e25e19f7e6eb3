"""Power along a line and through a path: kept where nothing is lost, refused without a load."""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.feedline.power import along, loss_db
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.models.line import Line

TOWER = Path(__file__).parents[2] / "data/demo/tower-line"


def test_a_lossless_line_loses_nothing():
    line = Line(12.3, 0.7)
    assert loss_db(line, [1e6, 1e8], 20 - 100j) == pytest.approx([0, 0], abs=1e-9)
    found = along(line, 30e6, 20 - 100j, power_w=100.0)
    assert found.watts == pytest.approx(np.full(401, 100.0))
    # standing wave: largest over smallest voltage is the SWR
    size = abs(from_impedance(20 - 100j))
    assert found.volts.max() / found.volts.min() == pytest.approx((1 + size) / (1 - size), rel=1e-2)


def test_matched_and_added_loss():
    """Source: the handbooks' formula for added loss, exact where the impedance is nearly real."""
    line, frequency = Line(30.0, 0.66, 50.0, 0.5, 0.01), np.array([28e6, 144e6])
    matched = line.loss_db_per_100m(frequency) * 0.3
    # total = 10 log10[(a^2 - rho^2) / (a (1 - rho^2))], a = 10^(matched / 10)
    a, rho2 = 10 ** (matched / 10), abs(from_impedance(150.0)) ** 2
    total = 10 * np.log10((a**2 - rho2) / (a * (1 - rho2)))
    assert loss_db(line, frequency, 150.0) == pytest.approx(total, rel=0.01)


def test_gain_of_a_map_is_that_of_its_two_port():
    line, frequency = Line(30.0, 0.66, 60.0, 0.5, 0.01), np.array([3e6, 28e6, 144e6])
    two_port = line.two_port(frequency)
    gain = two_port.bilinear(50.0).power_gain(from_impedance(np.full(3, 33 + 70j)))
    assert gain == pytest.approx(two_port.power_gain(33 + 70j), rel=1e-9)
    assert Bilinear(1.0 + 0j, 0j, 0j, 1.0 + 0j).power_gain(0.3) == pytest.approx(1)


def test_a_load_that_takes_no_power():
    with pytest.raises(CalibrationError, match="resistance above zero"):
        loss_db(Line(1.0), [1e6], -5 + 1j)
    with pytest.raises(CalibrationError, match="is open"):
        loss_db(Line(1.0), [1e6], complex(np.inf))


def test_loss_of_a_measured_path_against_its_truth(computed):
    """The tower line is simulated by ngspice: its own figures with the true antenna behind it."""
    device = computed("tower-line").devices[0]
    truth = json.loads((TOWER / "truth.json").read_text())
    megahertz, per_100m = np.transpose(truth["line"]["loss_db_per_100m"])
    conductor = np.interp(70.165, megahertz, per_100m / np.sqrt(megahertz))
    line = Line(truth["line"]["length_m"], 0.85, truth["line"]["z0_ohm"], conductor)
    at = device.answer
    load = complex(*truth["impedance_ohm"][at])
    true = loss_db(line, [device.frequency[at]], load)[0]
    found = device.path_loss
    assert found.loss_db[at] == pytest.approx(true, abs=1.5 * found.expanded_uncertainty_db[at])
    assert 0 < found.expanded_uncertainty_db[at] < 0.1
