"""A real measured session against the answers that a program of other people gives for it.

Source: test data of the Python package edges-cal 7.1.1 (MIT licence), see the folder's NOTICE.txt:
raw sweeps of an open, a short and a load behind offset lines and of five devices, 40 to 200 MHz,
and the five corrected reflections as published.
"""

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest

from rfcal.maths import reflection as refl
from rfcal.record.job.compute import compute

FOLDER = Path(__file__).parents[1] / "reference" / "radio_astronomy_oneport"
DEVICES = ("antenna", "ambient load", "hot load", "open cable", "shorted cable")
with (FOLDER / "expected.csv").open(newline="") as file:
    ROWS = list(csv.DictReader(file))
EXPECTED = {
    name: np.array(
        [
            complex(*(float(row[f"{name}_{part}".replace(" ", "_")]) for part in ("re", "im")))
            for row in ROWS
        ]
    )
    for name in DEVICES
}


def numbers(name):
    """Frequency and raw reflection of a sweep, by plain numpy."""
    lines = (FOLDER / "raw" / f"{name.replace(' ', '_')}.s1p").read_text().splitlines()
    table = np.array([line.split() for line in lines if line[:1].isdigit()], float)
    return table[:, 0], 10 ** (table[:, 1] / 20) * np.exp(1j * np.radians(table[:, 2]))


def corrected(folder):
    return {device.name: device for device in compute(folder).devices}


@pytest.fixture(scope="module")
def ours():
    return corrected(FOLDER)


def bent(tmp_path, *changes):
    """The same record with pieces of its text replaced."""
    shutil.copytree(FOLDER / "raw", tmp_path / "raw")
    text = (FOLDER / "record.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "record.toml").write_text(text)
    return corrected(tmp_path)


def test_the_answers_follow_from_the_readings_without_this_library():
    """Numpy alone: impedances, tanh, a 3 x 3 system per frequency."""
    frequency, _ = numbers("antenna")
    loss = 2.3e9 * 33e-12 * np.sqrt(frequency / 1e9) / 100
    turn = loss + 1j * (2 * np.pi * frequency * 33e-12 + loss)
    z0 = 50 + (1 - 1j) * 2.3e9 * np.sqrt(frequency / 1e9) / (4 * np.pi * frequency)
    known, seen = [], []
    for name, ohm in (("open", 1e9), ("short", 0.0), ("load", 49.8)):
        z = z0 * (ohm + z0 * np.tanh(turn)) / (z0 + ohm * np.tanh(turn))
        known.append((z - 50) / (z + 50))
        seen.append(numbers(f"standard {name}")[1])
    g, m = np.array(known).T, np.array(seen).T
    terms = np.linalg.solve(np.stack([g, np.ones_like(g), -g * m], axis=-1), m[..., None])
    a, b, c = terms[..., 0].T
    for name in DEVICES:
        raw = numbers(name)[1]
        assert (raw - b) / (a - c * raw) == pytest.approx(EXPECTED[name], abs=1e-9), name


@pytest.mark.parametrize("name", DEVICES)
def test_corrected_reflection(ours, name):
    """Published answers, to 1e-9; their own digits carry 2e-11."""
    device = ours[name]
    assert device.frequency == pytest.approx([float(row["frequency_hz"]) for row in ROWS])
    assert device.reflection.value == pytest.approx(EXPECTED[name], abs=1e-9)


def test_antenna_in_ohms(ours):
    """Recomputed from the published answers: R, X and SWR at a few frequencies."""
    device = ours["antenna"]
    z = refl.to_impedance(device.reflection.value)
    for mhz, expected in {
        49.6: 28.8387 - 52.3906j,
        75.2: 64.0373 + 13.4198j,
        99.7333: 38.1729 - 15.4176j,
        200: 53.8527 + 54.9408j,
    }.items():
        at = np.argmin(np.abs(device.frequency - mhz * 1e6))
        assert z[at] == pytest.approx(expected, abs=1e-4)
    best = np.argmin(np.abs(device.reflection.value))
    assert device.frequency[best] == pytest.approx(83.7333e6, abs=100)
    assert refl.swr(device.reflection.value)[best] == pytest.approx(1.36749, abs=1e-5)


def test_what_the_correction_is_worth():
    raw = numbers("antenna")[1]
    assert np.max(np.abs(raw - EXPECTED["antenna"])) == pytest.approx(1.047, abs=0.001)


def test_what_the_models_of_the_standards_are_worth(tmp_path):
    """Standards taken as ideal instead: the size of the error, recomputed outside this project."""
    ideal = bent(
        tmp_path,
        ("offset_delay_ps = 33.0", "offset_delay_ps = 0.0"),
        ("offset_loss_gohm_per_s = 2.3", "offset_loss_gohm_per_s = 0.0"),
        ("resistance_ohm = 49.8", "resistance_ohm = 50.0"),
    )["antenna"]
    error = np.abs(ideal.reflection.value - EXPECTED["antenna"])
    assert error.max() == pytest.approx(0.0371, abs=1e-4)
    assert np.sqrt(np.mean(error**2)) == pytest.approx(0.0199, abs=1e-4)


def test_what_a_load_measured_by_ohmmeter_is_worth(tmp_path):
    plain = bent(tmp_path, ("resistance_ohm = 49.8", "resistance_ohm = 50.0"))["antenna"]
    error = np.abs(plain.reflection.value - EXPECTED["antenna"])
    assert error.max() == pytest.approx(0.00267, abs=1e-5)
