"""A folder of sweeps is told apart by names and by looks, and it says how sure that is."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import RecordError
from rfcal.record.job.sorting import sorted_out
from tests.record.conftest import touchstone

DEMO = Path("data/demo")


def analyzer(rng, frequency):
    """An analyzer of modest quality with a piece of cable before the plane, as a function."""

    def term(least, most):
        size, turns = rng.uniform(least, most), rng.uniform(-0.3, 0.3)
        start = np.exp(2j * np.pi * rng.uniform())
        return size * start * np.exp(2j * np.pi * turns * frequency / frequency[-1])

    directivity, source = term(0.02, 0.15), term(0.02, 0.2)
    delay = rng.uniform(0.05e-9, 0.6e-9) + (rng.uniform(0, 20e-9) if rng.uniform() < 0.3 else 0)
    tracking = rng.uniform(0.8, 1.0) * np.exp(-4j * np.pi * frequency * delay)

    def read(true):
        noise = 5e-4 * (rng.standard_normal((2, frequency.size)))
        return directivity + tracking * true / (1 - source * true) + noise[0] + 1j * noise[1]

    return read


def session(folder, rng, names):
    """Files of three standards and a device, by the names that they are given."""
    low = rng.choice([1.8e6, 7e6, 50e6, 144e6])
    frequency = np.linspace(low, low * rng.choice([1.02, 1.3, 3.0]), 51)
    read = analyzer(rng, frequency)
    ohm = rng.uniform(5, 200) + 1j * rng.uniform(-150, 150)
    w = frequency / frequency.mean()
    load = ohm.real + 1j * (ohm.imag + rng.uniform(-60, 60) * (w - 1 / w))
    true = {"short": -1.0, "open": 1.0, "load": -0.001, "device": (load - 50) / (load + 50)}
    for (_, reflection), name in zip(true.items(), names, strict=True):
        text = touchstone(frequency, read(reflection * np.ones(51, complex)))
        (folder / f"{name}.s1p").write_text(text)


def test_sweeps_without_names_are_told_apart_by_how_they_reflect(tmp_path):
    rng, right, sure = np.random.default_rng(5), 0, 0
    for i in range(25):
        folder = tmp_path / str(i)
        folder.mkdir()
        session(folder, rng, ("a", "b", "c", "d"))
        found = {guess.kind: guess for guess in sorted_out(folder)}
        hit = [Path(found[k].sweep.label).stem for k in ("short", "open", "load")] == [
            "a",
            "b",
            "c",
        ]
        clear = "NOT SURE" not in found["short"].why
        right, sure = right + hit, sure + (clear and not hit)
    assert right >= 23
    assert sure == 0  # what is wrong says that it may be


def test_a_demo_is_sorted_and_computes(tmp_path, capsys):
    folder = tmp_path / "begun"
    assert main(["new", str(folder), "--from", str(DEMO / "beacon-antenna/raw")]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "short: short.s1p, by its name and by how it reflects"
    assert "check: 75-ohm.s1p, by its name" in said
    assert "device: antenna.s1p, what is left" in said
    assert "reread: short-again.s1p, by its name" in said
    raw = (DEMO / "beacon-antenna/raw/antenna.s1p").read_bytes()
    assert (folder / "raw/antenna.s1p").read_bytes() == raw
    assert main(["check", str(folder)]) == 0
    assert "check '75-ohm' agrees" in capsys.readouterr().out


def test_names_that_contradict_the_looks_are_told(tmp_path):
    for name, other in (("short", "open"), ("open", "short"), ("load", "load"), ("antenna",) * 2):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path / f"{other}.s1p")
    found = {guess.kind: guess.why for guess in sorted_out(tmp_path)}
    assert found["short"] == (
        "by its name only: by how it reflects, 'open.s1p' looks more like the short"
    )
    assert found["load"] == "by its name and by how it reflects"


def test_a_resistor_is_known_by_its_name(tmp_path):
    for name in ("short", "open", "load", "antenna"):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path / f"{name}.s1p")
    shutil.copy(DEMO / "beacon-antenna/raw/75-ohm.s1p", tmp_path / "resistor_75R.s1p")
    (check,) = (guess for guess in sorted_out(tmp_path) if guess.kind == "check")
    assert check.ohm == 75.0


def test_what_cannot_be_sorted_is_refused(tmp_path):
    with pytest.raises(RecordError, match="no such folder"):
        sorted_out(tmp_path / "none")
    with pytest.raises(RecordError, match="it holds 0 sweeps"):
        sorted_out(tmp_path)
    for name in ("short", "open", "load"):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path)
        if name == "short":
            with pytest.raises(RecordError, match="it holds 1 sweep "):
                sorted_out(tmp_path)
    shutil.copy(DEMO / "tower-line/raw/antenna.s1p", tmp_path)
    with pytest.raises(RecordError, match="3 have 201 points from 69 to 72"):
        sorted_out(tmp_path)


def test_a_file_whose_name_not_every_system_holds_is_refused(tmp_path):
    for name, other in (("short", "short"), ("open", "open"), ("load", "load"), ("antenna", "a:b")):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path / f"{other}.s1p")
    begun = tmp_path / "begun"
    assert main(["new", str(begun), "--from", str(tmp_path)]) == 2
    assert not begun.exists()
