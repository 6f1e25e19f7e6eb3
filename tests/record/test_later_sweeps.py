"""A kept calibration, applied to sweeps that were taken later."""

import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import rfcal
from rfcal.cli import main
from rfcal.record.job import later_sweeps
from tests.record.conftest import bend, touchstone

DEMO = "data/demo/beacon-antenna"
LINE = "data/demo/tower-line"


@pytest.fixture
def results(computed):
    return computed("beacon-antenna")


def correct(folder, *files, output, more=()):
    return main(["correct", str(folder), *map(str, files), "--output", str(output), *more])


def test_a_new_sweep_is_corrected_as_the_record_would(results, tmp_path, capsys):
    assert correct(DEMO, f"{DEMO}/raw/antenna.s1p", output=tmp_path / "new") == 0
    device = results.device("antenna")
    back = rfcal.read(tmp_path / "new/antenna-corrected.s1p")
    assert back.reflection == pytest.approx(device.reflection.value, rel=1e-9)
    table = np.genfromtxt(tmp_path / "new/antenna-corrected.csv", delimiter=",", names=True)
    assert table["r_ohm"] == pytest.approx(device.impedance.value.real, rel=1e-5)
    assert table["x_high_ohm"] == pytest.approx(device.interval[:, 1, 1], rel=1e-3)
    said = capsys.readouterr().out
    # where the record's own answer is
    assert said.startswith(f"antenna: {device.at(70.2e6)}")
    assert "at 70.2 MHz" in said
    assert "read the short once more" in said


def test_the_path_of_a_measurement_lies_before_a_new_sweep_too(computed, tmp_path, capsys):
    swept = f"{LINE}/raw/antenna.s1p"
    assert correct(LINE, swept, output=tmp_path / "new", more=("--like", "antenna")) == 0
    there = rfcal.read(tmp_path / "new/antenna-corrected.s1p").reflection
    own = computed("tower-line").device("antenna").reflection.value
    assert there == pytest.approx(own, rel=1e-9)
    assert correct(LINE, swept, output=tmp_path / "other", more=("--like", "mast")) == 2
    assert "one of 'antenna' is expected" in capsys.readouterr().err
    assert not (tmp_path / "other").exists()


def test_a_path_that_is_not_taken_away_is_said_first(computed, tmp_path, capsys):
    swept = f"{LINE}/raw/antenna.s1p"
    assert correct(LINE, swept, output=tmp_path / "here") == 0
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first.startswith("NO path is taken away")
    assert first.endswith("say by --like antenna")
    assert second.startswith("antenna: R")
    assert correct(LINE, swept, output=tmp_path / "there", more=("--like", "antenna")) == 0
    said = capsys.readouterr().out
    assert "taken away:" not in said
    own = computed("tower-line").device("antenna")
    wanted = own.frequency[own.answer]
    assert wanted != own.frequency[own.frequency.size // 2]
    assert said.startswith(f"antenna: {own.at(wanted)}")


def test_frequencies_in_the_wrong_unit_are_named(filed, tmp_path, capsys):
    reading = rfcal.read(filed / "raw/device.s1p")
    swept = tmp_path / "new.s1p"
    swept.write_text(touchstone(reading.frequency / 1e3, reading.reflection))
    assert correct(filed, swept, output=tmp_path / "out") == 2
    said = capsys.readouterr().err
    assert "about 1/1,000 of those of the calibration" in said
    assert "wrong unit of frequency" in said


def test_age_is_told_in_days(results):
    assert "the calibration is 10 days old" in later_sweeps.age_words(results, date(2026, 5, 26))
    assert "a day old" in later_sweeps.age_words(results, date(2026, 5, 17))


def test_a_record_without_a_date_has_a_calibration_of_unknown_age(filed, tmp_path, capsys):
    bend(filed, "date = ", "# date = ")
    assert correct(filed, filed / "raw/device.s1p", output=tmp_path / "new") == 0
    assert "of unknown age" in capsys.readouterr().out


def test_warnings_of_the_calibration_come_along(filed, tmp_path, capsys):
    check = '[[check]]\nname = "wrong"\nresistance_ohm = 44\nreading = "raw/device.s1p"\n'
    bend(filed, "[[measurement]]", check + "[[measurement]]")
    swept = shutil.copy(filed / "raw/device.s1p", tmp_path / "new.s1p")
    assert correct(filed, swept, output=tmp_path / "out") == 0
    assert "warning: " in capsys.readouterr().out


def test_what_cannot_be_corrected_is_refused_before_anything_is_written(filed, tmp_path, capsys):
    for files, words in (
        ([f"{LINE}/raw/antenna.s1p"], "nothing is extrapolated"),
        ([f"{DEMO}/raw/antena.s1p"], "cannot be read"),
        ([f"{filed}/raw/load.s1p", f"{LINE}/raw/load.s1p"], "two sweeps are named 'load'"),
    ):
        assert correct(filed, *files, output=tmp_path / "new") == 2
        assert words in capsys.readouterr().err
    assert not (tmp_path / "new").exists()


def test_a_standard_read_again_has_errors_of_its_own(results):
    (device,) = later_sweeps.corrected(results, [Path(DEMO, "raw/load.s1p")])
    assert device.name == "load, again"
    assert np.diff(device.interval[0, 1])[0] > 0.3
    assert [name for name, _ in later_sweeps.sweep_files([device])] == [
        "load-again-corrected.s1p",
        "load-again-corrected.csv",
    ]


def test_a_header_of_another_program_is_guessed_and_said(filed, tmp_path, capsys):
    reading = rfcal.read(filed / "raw/device.s1p")
    rows = zip(reading.frequency / 1e3, reading.reflection, strict=True)
    text = "".join(f"{f:.9g},{g.real:.12g},{g.imag:.12g}\n" for f, g in rows)
    (tmp_path / "new.csv").write_text(f"Freq (kHz),S11 real,S11 imag\n{text}")
    assert correct(filed, tmp_path / "new.csv", output=tmp_path / "out") == 0
    said = capsys.readouterr().out
    assert "the columns of new.csv were guessed: frequency_khz is 'Freq (kHz)', re is" in said
    own = rfcal.compute(filed).device("device").reflection.value
    assert rfcal.read(tmp_path / "out/new-corrected.s1p").reflection == pytest.approx(own, rel=1e-6)


def test_of_several_paths_none_is_taken_away_unasked(filed, tmp_path, capsys):
    swept = tmp_path / "new.s1p"
    shutil.copy(filed / "raw/device.s1p", swept)
    record = (filed / "record.toml").read_text()
    for i, name in enumerate(["second one", "third"]):
        with (filed / "record.toml").open("a") as file:
            file.write(f'[[measurement]]\nname = "{name}"\nreading = "raw/device.s1p"\n')
            file.write(f'[[measurement.between]]\nline = "RG-213"\nlength_m = {2 + i}\n')
        assert correct(filed, swept, output=tmp_path / name) == 0
        first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("NO path is taken away: what follows holds at the standards' plane; ")
    assert first.endswith("say by --like 'second one' or --like third")
    line = '[line_check]\nreading = "raw/line.s1p"\nvelocity_factor = 0.66\n'
    (filed / "raw/line.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 21), 0.1))
    (filed / "record.toml").write_text(record[: record.index("[[measurement]]")] + line)
    assert correct(filed, swept, output=tmp_path / "none") == 0
