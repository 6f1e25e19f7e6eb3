"""A folder of sweeps is told apart by names and by looks, and it says how sure that is."""

import shutil
from pathlib import Path

import numpy as np
import pytest

import rfcal
from rfcal.cli import main
from rfcal.errors import RecordError
from rfcal.maths.reflection import to_impedance
from rfcal.record.job.begin import sorted_out
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


@pytest.mark.parametrize(
    ("name", "ohm"), [("check75", 75), ("resistor 75", 75), ("check2", None), ("check-2026", None)]
)
def test_a_check_may_have_its_ohms_without_their_unit(tmp_path, capsys, name, ohm):
    for sweep in ("short", "open", "load", "antenna"):
        shutil.copy(DEMO / f"beacon-antenna/raw/{sweep}.s1p", tmp_path)
    shutil.copy(DEMO / "beacon-antenna/raw/75-ohm.s1p", tmp_path / f"{name}.s1p")
    assert main(["new", str(tmp_path / "begun"), "--from", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert (f"check: {name}.s1p, by its name" in said) == bool(ohm)
    assert ("by ohms in the name of its file" in said) == (not ohm)
    assert ("resistance_ohm = 75" in (tmp_path / "begun/record.toml").read_text()) == bool(ohm)


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


def exported(file, name):
    """A demo's sweep as a program exports it, with a header of its own."""
    raw = rfcal.read(DEMO / f"beacon-antenna/raw/{name}.s1p")
    z = to_impedance(raw.reflection)
    rows = zip(raw.frequency / 1e6, z.real, z.imag, strict=True)
    text = "".join(f"{f:.6f};{r:.9f};{x:.9f}\n".replace(".", ",") for f, r, x in rows)
    file.write_text(f"Export of today\nFreq (MHz);R (\u03a9);X (\u03a9)\n{text}", encoding="utf-8")


def test_headers_of_other_programs_are_guessed_and_written_down(tmp_path, capsys):
    source, begun = tmp_path / "sweeps", tmp_path / "begun"
    source.mkdir()
    for name in ("short", "load", "75-ohm"):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", source)
    for name in ("open", "antenna", "short-again"):
        exported(source / f"{name}.csv", name)
    (source / "notes.csv").write_text("what,who\nsweeps,me\n")
    shutil.copy(DEMO / "tower-line/raw/open.s1p", source / "other.s1p")
    assert main(["new", str(begun), "--from", str(source)]) == 0
    said = capsys.readouterr().out
    assert "its columns were guessed: frequency_mhz is 'Freq (MHz)', r_ohm is 'R (\u03a9)'" in said
    assert "left out: notes.csv, line 1: the header must be" in said
    assert "left out: other.s1p, which has " in said
    assert not (begun / "raw/notes.csv").exists()
    found = rfcal.compute(begun).device("antenna").reflection.value
    again = tmp_path / "again"
    assert main(["new", str(again), "--from", str(DEMO / "beacon-antenna/raw")]) == 0
    true = rfcal.compute(again).device("antenna").reflection.value
    assert found == pytest.approx(true, abs=1e-6)


def test_a_standard_read_again_is_known_by_its_looks_and_a_rounded_grid_is_no_other(tmp_path):
    rng = np.random.default_rng(3)
    frequency = np.linspace(1e6, 60e6, 61)
    read = analyzer(rng, frequency)
    known = {"kurz": -1.0, "offen": 1.0, "fifty": 0.003, "kurz2": -1.0, "spule": 0.3 + 0.8j}
    for name, reflection in known.items():
        at = np.round(frequency, -4) if name == "spule" else frequency
        text = touchstone(at, read(reflection * np.ones(61, complex)))
        (tmp_path / f"{name}.s1p").write_text(text)
    found = {Path(guess.sweep.label).stem: guess for guess in sorted_out(tmp_path)}
    again = next(guess for guess in found.values() if guess.kind == "reread")
    assert {again.sweep.label, found["kurz2"].sweep.label} <= {"kurz.s1p", "kurz2.s1p"}
    assert again.of == "short"
    assert "NOT SURE" in again.why
    assert found["spule"].kind == "device"


def test_what_is_left_out_is_named_where_too_little_remains(tmp_path):
    for name in ("short", "open", "load"):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path)
    (tmp_path / "antenna.csv").write_text("Freq,R,X\n70,50,3\n")
    with pytest.raises(RecordError, match=r"3 have .*; left out: antenna.csv, line 1: the header"):
        sorted_out(tmp_path)


def test_a_file_whose_name_not_every_system_holds_is_refused(tmp_path):
    for name, other in (("short", "short"), ("open", "open"), ("load", "load"), ("antenna", "a:b")):
        shutil.copy(DEMO / f"beacon-antenna/raw/{name}.s1p", tmp_path / f"{other}.s1p")
    begun = tmp_path / "begun"
    assert main(["new", str(begun), "--from", str(tmp_path)]) == 2
    assert not begun.exists()
