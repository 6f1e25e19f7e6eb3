"""Drift, repeats and instruments that correct themselves, from the record to the page."""

import json

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import RfcalError
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.standards import Standard
from rfcal.record.job.compute import compute
from rfcal.report.page import output_files
from rfcal.uncertainty.coverage import K_AXIS, budget
from tests.record.conftest import BOX, DEVICE_OHM, bend, touchstone

FREQUENCY = np.linspace(50e6, 60e6, 11)
SELF = """
format = 1
[record]
title = "corrects itself"
[analyzer]
residual_directivity = 0.02
drift = 0.0
[[check]]
name = "75 ohm"
resistance_ohm = 75.0
uncertainty = 0.002
typed = [[52.0, 75.6, 0.3]]
[[measurement]]
name = "device"
typed = [[52.0, 30.1, -20.2], [53.0, 30.3, -19.5]]
"""


def test_drift_widens_the_answer_and_stands_in_the_budget(filed):
    still = compute(filed).devices[0].expanded_uncertainty()
    bend(filed, "drift = 0.0", "drift = 0.004")
    device = compute(filed).devices[0]
    assert np.all(device.expanded_uncertainty() > 1.2 * still)
    assert any(source.startswith("drift: directivity") for source in budget(device.impedance))
    bend(filed, "drift = 0.004\n", "")
    note = next(f for f in compute(filed).findings if f.code == "defaults")
    assert "[analyzer]: drift 0.0005" in note.message


def write_repeats(folder, count, scatter, frequency=FREQUENCY):
    rng = np.random.default_rng(1)
    names = [f"raw/device-{k}.s1p" for k in range(count)]
    for name in names:
        off = rng.standard_normal((2, frequency.size)) * scatter
        reflection = from_impedance(DEVICE_OHM) + off[0] + 1j * off[1]
        (folder / name).write_text(touchstone(frequency, BOX.apply(reflection)))
    return names


def test_repeats_count_by_their_own_scatter(filed):
    names = write_repeats(filed, 6, 0.003)
    bend(filed, 'reading = "raw/device.s1p"', f"reading = {json.dumps(names)}")
    results = compute(filed)
    device = results.devices[0]
    shares = budget(device.impedance)
    assert "device: repeats" in shares
    assert "device: noise" not in shares
    assert abs(device.impedance.value - DEVICE_OHM).max() < 1
    assert {s.origin.file for s in results.sweeps if s.origin} >= set(names)
    found = json.loads(b"".join(output_files(results)["results.json"]))["measurements"][0]
    freedom = np.array(found["degrees_of_freedom"], float)
    assert np.all((freedom > 4) & np.isfinite(freedom))


def test_repeats_cover_as_often_as_they_say(filed):
    """Four repeats scatter anew at each of 330 points, and nothing else is off."""
    frequency = np.linspace(50e6, 60e6, 330)
    for kind in ("short", "open", "load"):
        seen = BOX.apply(Standard(kind).reflection(frequency))
        (filed / f"raw/{kind}.s1p").write_text(touchstone(frequency, seen))
    names = write_repeats(filed, 4, 0.01, frequency)
    bend(filed, 'reading = "raw/device.s1p"', f"reading = {json.dumps(names)}")
    ends = compute(filed).devices[0].interval
    true = np.array([DEVICE_OHM.real, DEVICE_OHM.imag])
    inside = (ends[..., 0] <= true) & (true <= ends[..., 1])
    # few degrees of freedom: three standard deviations of the counting
    assert np.all(inside.mean(axis=0) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / 330))


def test_repeats_that_do_not_go_together(filed):
    names = write_repeats(filed, 2, 0.003)
    (filed / names[1]).write_text(touchstone(FREQUENCY[:5], np.array([0.1])))
    bend(filed, 'reading = "raw/device.s1p"', f"reading = {json.dumps(names)}")
    with pytest.raises(RfcalError, match=r"device-1.s1p.*other frequencies"):
        compute(filed)
    bend(filed, json.dumps(names), json.dumps([names[0], f"./{names[0]}"]))
    with pytest.raises(RfcalError, match="to the last digit"):
        compute(filed)


@pytest.fixture
def itself(tmp_path):
    folder = tmp_path / "self"
    folder.mkdir()
    (folder / "record.toml").write_text(SELF)
    return folder


def test_an_instrument_that_corrects_itself(itself, tmp_path, capsys):
    results = compute(itself)
    device = results.devices[0]
    assert device.impedance.value == pytest.approx([30.1 - 20.2j, 30.3 - 19.5j])
    assert results.checks[0].agrees
    shares = budget(device.impedance)
    assert shares["residual directivity"].min() > 0.5
    # the guide's bound, all residuals at their worst, is wider than 95 % of root sums of squares
    size = np.abs(device.reflection.value)
    bound = 0.02 + 0.01 * size + 0.02 * size**2
    radius = K_AXIS * np.sqrt(device.reflection.variance())
    assert np.all(radius < 1.2 * bound)
    assert main(["report", str(itself), "--output", str(tmp_path / "o")]) == 0
    assert "DOES NOT" not in capsys.readouterr().out
    page = (tmp_path / "o/report.html").read_text()
    assert "corrects itself" in page
    assert "path loses" not in page
    assert "as the standards found it" not in page
    assert main(["unpack", str(tmp_path / "o/report.html"), str(tmp_path / "back")]) == 0
    assert main(["check", str(itself)]) == 0


def test_a_line_behind_an_instrument_that_corrects_itself(itself):
    with (itself / "record.toml").open("a") as file:
        file.write('[[measurement.between]]\nline = "RG-213"\nlength_m = 1.0\n')
    device = compute(itself).devices[0]
    assert "residual directivity" in budget(device.impedance)
    assert device.path_loss is not None
    assert device.path_loss.loss_db[0] > 0.01
    assert abs(to_impedance(device.reflection.value)[0] - (30.1 - 20.2j)) > 5


def test_neither_standards_nor_residuals(itself):
    bend(itself, "residual_directivity = 0.02\n", "")
    with pytest.raises(RfcalError, match=r"three .*residual_directivity"):
        compute(itself)
