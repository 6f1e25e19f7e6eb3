"""A small record to bend and break: the one that ``rfcal new`` writes, and one with files."""

from pathlib import Path

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.models.standards import Standard
from rfcal.record.format.start import starting_record

START = starting_record()
BOX = Bilinear.from_error_terms(np.array([0.04 + 0.02j]), np.array([0.03j]), np.array([0.9 + 0.1j]))
DEVICE_OHM = 30 - 20j

WITH_FILES = """
format = 1
[record]
title = "files"
date = 2026-05-16
[analyzer]
noise = 0.0005
connection = 0.001
drift = 0.0
[[standard]]
name = "short"
kind = "short"
reading = "raw/short.s1p"
uncertainty = 0.002
[[standard]]
name = "open"
kind = "open"
reading = "raw/open.s1p"
uncertainty = 0.002
[[standard]]
name = "load"
kind = "load"
reading = "raw/load.s1p"
uncertainty = 0.002
[[measurement]]
name = "device"
reading = "raw/device.s1p"
"""


def touchstone(frequency, reflection) -> str:
    rows = (
        f"{f:.12g} {g.real:.15g} {g.imag:.15g}"
        for f, g in zip(frequency, np.broadcast_to(reflection, frequency.shape), strict=True)
    )
    return "# Hz S RI R 50\n" + "\n".join(rows) + "\n"


def polar(frequency, reflection) -> str:
    """The same in magnitudes and angles."""
    pairs = np.abs(reflection) + 1j * np.degrees(np.angle(reflection))
    return touchstone(frequency, pairs).replace(" RI ", " MA ")


@pytest.fixture
def typed(small, tmp_path) -> Path:
    """The starting record, in a folder of its own."""
    folder = tmp_path / "typed"
    folder.mkdir()
    (folder / "record.toml").write_text(START)
    return folder


@pytest.fixture
def filed(small, tmp_path) -> Path:
    """A record of four sweeps at 11 points, without noise."""
    return write_files(tmp_path / "filed")


@pytest.fixture(scope="session")
def report_of_files(tmp_path_factory, at_the_answer) -> Path:
    """Page and results of that record, written once in all tests."""
    folder = tmp_path_factory.mktemp("page")
    with at_the_answer():
        record = write_files(folder / "filed")
        assert main(["report", str(record), "--output", str(folder / "o")]) == 0
    return folder / "o"


@pytest.fixture(scope="session")
def page_of_files(report_of_files) -> str:
    """The page about that record."""
    return (report_of_files / "report.html").read_text(encoding="utf-8")


@pytest.fixture
def page(small, page_of_files, tmp_path) -> Path:
    """A copy of that page to damage."""
    path = tmp_path / "page.html"
    path.write_text(page_of_files, encoding="utf-8")
    return path


def write_files(folder: Path) -> Path:
    (folder / "raw").mkdir(parents=True)
    (folder / "record.toml").write_text(WITH_FILES)
    frequency = np.linspace(50e6, 60e6, 11)
    true = {kind: Standard(kind).reflection(frequency) for kind in ("short", "open", "load")}
    true["device"] = np.full(11, from_impedance(DEVICE_OHM))
    for name, reflection in true.items():
        text = touchstone(frequency, BOX.apply(reflection))
        (folder / "raw" / f"{name}.s1p").write_text(text)
    return folder


def bend(folder: Path, old: str, new: str) -> None:
    """Replace one piece of the record's text, which must be there exactly once or more."""
    path = folder / "record.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


FREQUENCY = np.linspace(50e6, 60e6, 41)
MATCH = '\n[match]\nfrequency_mhz = 55\nband_mhz = [54, 56]\npower_w = 5\ntopologies = ["L"]\n'


@pytest.fixture
def asked(filed):
    """The record of files with a network of L sections asked for, over 41 points."""
    for name, value in (("short", -1), ("open", 1), ("load", 0)):
        text = touchstone(FREQUENCY, BOX.apply(np.array([complex(value)])))
        (filed / f"raw/{name}.s1p").write_text(text)
    write(filed, "device", np.full(41, from_impedance(DEVICE_OHM)))
    with (filed / "record.toml").open("a") as file:
        file.write(MATCH)
    return filed


def write(folder, name, reflection):
    (folder / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, BOX.apply(reflection)))
