"""What is huge: refused early and cheaply, with the limit said, or read within bounds."""

import re
import sys
import tracemalloc
from contextlib import contextmanager

import numpy as np
import pytest

import rfcal
from rfcal import cli
from rfcal.cli import main
from rfcal.errors import SCREEN, ReadingError
from rfcal.findings import Finding, told_once
from rfcal.maths.reflection import from_impedance
from rfcal.measurement import error_terms
from rfcal.measurement.error_terms import Calibration
from rfcal.readings import rows
from rfcal.readings.csv import read_csv
from rfcal.readings.touchstone import read_touchstone
from rfcal.record.findings import passivity
from rfcal.record.format import kinds
from rfcal.record.job.compute import compute, inspect
from rfcal.report.page import page
from rfcal.report.summary import summary_lines
from rfcal.report.text import device
from rfcal.uncertainty import quantity
from tests.record.conftest import BOX, bend, touchstone

LONG = 300_000
"""Lines of a file of which the first data line should be enough."""


@contextmanager
def counted():
    """How many functions are called, in a list of one: work that no busy machine makes longer."""
    calls = [0]

    def call(*_):
        calls[0] += 1

    sys.setprofile(call)
    try:
        yield calls
    finally:
        sys.setprofile(None)


@pytest.fixture
def quick():
    """What is done here is not done for each line, and takes little memory beside the text."""
    tracemalloc.start()
    with counted() as calls:
        yield
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert calls[0] < LONG / 10
    assert most < 60_000_000


@pytest.mark.parametrize(
    ("head", "row", "line"),
    [
        ("# Hz S RI R 50\n", "1e6 0.1 0.2\n", 3),  # the second is equal
        ("# Hz S RI R 50\n", "1e6 0.1\n", 2),
        ("# Hz S RI R 50\n", "0 0.1 0.2\n", 2),
        ("# Hz S RI R 50\n", "x y z\n", 2),
        ("# Hz G RI R 50\n", "1e6 0.1 0.2\n", 1),
        ("", "1e6 0.1 0.2\n", 1),
    ],
)
def test_touchstone_is_refused_at_its_first_bad_line(quick, head, row, line):
    with pytest.raises(ReadingError) as caught:
        read_touchstone(head + row * LONG, "file")
    assert caught.value.line == line


@pytest.mark.parametrize(("head", "line"), [("frequency_hz,re,im\n", 3), ("", 1)])
def test_csv_is_refused_at_its_first_bad_line(quick, head, line):
    with pytest.raises(ReadingError) as caught:
        read_csv(head + "1e6,0.1,0.2\n" * LONG, "file", 50.0)
    assert caught.value.line == line


@pytest.mark.parametrize("command", ["report", "check"])
def test_a_sweep_too_long_for_a_record(filed, tmp_path, capsys, monkeypatch, command):
    bend(filed, "raw/device.s1p", "raw/device.csv")
    text = "".join(f"{1e6 + i},0.1,0.2\n" for i in range(rows.RECORD_POINTS + 1))
    (filed / "raw/device.csv").write_text(f"frequency_hz,re,im\n{text}")
    output = ["--output", str(tmp_path / "o")] if command == "report" else []
    assert main([command, str(filed), *output]) == 2
    said = capsys.readouterr().err
    assert "more than 200,001 points" in said
    assert "line 200003" in said
    assert not (tmp_path / "o").exists()


def test_typed_rows_too_many(typed, capsys, monkeypatch):
    monkeypatch.setattr(kinds, "RECORD_POINTS", 20_001)
    many = ",".join(f"[{14 + i * 1e-6:.6f},1,1]" for i in range(20_002))
    bend(typed, "typed = [[14.1, 12.2, -4.6]]", f"typed = [{many}]")
    assert main(["check", str(typed)]) == 2
    assert "more than 20,001 points" in capsys.readouterr().err


def test_a_file_of_too_many_points_for_anything(monkeypatch, tmp_path):
    monkeypatch.setattr(rows, "MOST_POINTS", 3)
    (tmp_path / "a.s1p").write_text("# Hz S RI R 50\n1e6 0 0\n2e6 0 0\n3e6 0 0\n4e6 0 0\n")
    with pytest.raises(ReadingError, match=r"line 5: more than 3 points"):
        read_touchstone((tmp_path / "a.s1p").read_text(), "a.s1p", most=3)


@pytest.mark.parametrize("place", ["", "[about]\n", "[reread.x]\n"])
def test_a_key_of_endless_parts(typed, capsys, place):
    with (typed / "record.toml").open("a") as file:
        file.write(f"\n{place if place != '[about]' else ''}{'.'.join('a' * 20_000)} = 1\n")
    with counted() as calls:
        assert main(["check", str(typed)]) == 2
    assert "more than a hundred parts" in capsys.readouterr().err
    assert calls[0] < 1_000_000


def test_a_name_without_end_is_cut(typed, capsys):
    bend(typed, '"device"', f'"{"n " * 50_000}n"')
    assert main(["check", str(typed)]) == 0
    for wrong in ("answer_mhz = 99\n", "answer = 99\n"):  # one that was not read, and no key
        with (typed / "record.toml").open("a") as file:
            name = "n " * 50_000 + "m"
            file.write(f'[[measurement]]\nname = "{name}"\ntyped = [[14.1, 1, 1]]\n{wrong}')
        assert main(["check", str(typed)]) == 2
    assert max(map(len, "".join(capsys.readouterr()).splitlines())) <= SCREEN + 10


def test_of_very_many_measurements_each_takes_as_much_as_of_many(typed, capsys):
    taken = []
    for first, last in ((0, 30), (30, 120)):
        with (typed / "record.toml").open("a") as file:
            for i in range(first, last):
                rows = f"[[14.1, {10 + i / 100:.2f}, 1]]"
                file.write(f'[[measurement]]\nname = "d{i}"\ntyped = {rows}\n')
        with counted() as calls:
            assert main(["check", str(typed)]) == 0
        taken.append(calls[0])
        assert f"d5 (typed) and {last - 5} more" in capsys.readouterr().out
    assert taken[1] < 4.2 * taken[0]


def many_standards(folder, count):
    """As many loads besides, the first and the last exchanged."""
    frequency, ohm = np.linspace(50e6, 60e6, 11), np.geomspace(5, 500, count)
    for i, read in enumerate((ohm[-1], *ohm[1:-1], ohm[0])):
        text = touchstone(frequency, BOX.apply(np.array([from_impedance(read)])))
        (folder / f"raw/d{i}.s1p").write_text(text)
        with (folder / "record.toml").open("a") as file:
            file.write(f'[[standard]]\nname = "d{i}"\nkind = "load"\nuncertainty = 0.002\n')
            file.write(f'resistance_ohm = {ohm[i]:.9g}\nreading = "raw/d{i}.s1p"\n')


@pytest.mark.parametrize("count", [20, 60])
def test_what_many_standards_take(filed, monkeypatch, count):
    taken = {"fits": 0, "pairs": 0, "columns": 0}
    fit, together, nonnegative = (
        Calibration.with_known,
        error_terms._together,
        passivity.nonnegative,
    )

    def fitted(*given):
        taken["fits"] += 1
        return fit(*given)

    def compared(points):
        found = together(points)
        taken["pairs"] += len(found[0])
        return found

    def of_columns(columns, seen):
        taken["columns"] += columns.shape[1]
        return nonnegative(columns, seen)

    monkeypatch.setattr(Calibration, "with_known", fitted)
    monkeypatch.setattr(error_terms, "_together", compared)
    monkeypatch.setattr(passivity, "nonnegative", of_columns)
    many_standards(filed, count)
    said = []
    found = {f.code: f.message for f in inspect(filed, say=said.append).findings}
    assert f"if 'd0' and 'd{count - 1}' were exchanged" in found["standards-disagree"]
    assert "why standards or checks disagree: slip 2 is tried" in said
    # as many whatever the number of standards, of those three that differ come first
    assert 28 < taken["fits"] < 2000
    assert taken["pairs"] < 100
    assert 11 < taken["columns"] < 100


def test_check_says_what_it_is_at_with_many_measurements(typed, monkeypatch):
    said = []
    monkeypatch.setattr(cli, "_progress", said.append)
    assert main(["check", str(typed)]) == 0
    steps = ("reading 'device'", "the error terms", "correcting 'device'", "judging 'device'")
    assert [one for one in said if one in steps] == list(steps)
    assert said[-1] == ""  # so that the answer stands on a line of its own


def test_the_library_says_how_far_it_is_to_who_asks(filed, monkeypatch, capsys):
    monkeypatch.setattr(rows, "TOLD", 5)
    monkeypatch.setattr(quantity, "MANY", 5)
    monkeypatch.setattr(quantity, "PIECE", 5)
    said = []
    names = ("short", "open", "load", "device")
    files = {name: filed / f"raw/{name}.s1p" for name in names}
    *known, raw = (rfcal.read(file, progress=said.append) for file in files.values())
    for name in names:
        told = [one for one in said if one.startswith(f"reading '{files[name]}', point ")]
        assert [one.split()[-1] for one in told] == ["1", "6", "11"]
    del said[:]
    standards = dict(zip(map(rfcal.Standard, names[:3]), known, strict=True))
    calibrated = rfcal.calibrate(standards, progress=said.append)
    calibrated.correct(raw, progress=said.append)
    steps = [f"correcting 'device', point {point}" for point in (1, 6, 11)]
    assert said == ["the error terms at 11 points", *steps]
    calibrated.correct(raw)
    assert len(said) == 4
    assert not "".join(capsys.readouterr())  # silent unless it is asked


def test_one_fault_of_hundreds_is_told_once(typed, tmp_path, capsys):
    with (typed / "record.toml").open("a") as file:
        for i in range(6):
            row = f"[14.1, {-30 - i / 100:.2f}, -5.0]"
            file.write(f'[[measurement]]\nname = "d{i}"\ntyped = [{row}]\n')
    results = compute(typed)
    assert len([f for f in results.findings if f.code == "active"]) == 6
    page_text = page(results)
    assert main(["check", str(typed)]) == 0
    for text in ("\n".join(summary_lines(results)), page_text, capsys.readouterr().out):
        assert text.count("which nothing passive does") == 1
        assert re.search("same holds for (&#39;|')d1.*d3(&#39;|') and 2 more, with other", text)


def test_what_is_told_of_one_thing_often_does_not_repeat_its_name():
    alike = [Finding("read-alike", "warning", "standards", f"'a{k}' reads as b.") for k in range(5)]
    assert told_once(alike)[0].message.endswith("The same holds for 4 more, with other numbers.")


def test_very_many_devices_have_a_line_each(typed, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(device, "MOST_SHOWN", 3)
    monkeypatch.setattr(cli, "MOST_NAMED", 3)
    with (typed / "record.toml").open("a") as file:
        for i in range(3):
            file.write(f'[[measurement]]\nname = "d{i}"\ntyped = [[14.1, {10 + i}, -1.{i}]]\n')
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert "(beside it: results.json, device.s1p and 3 more)" in said
    lines = [line for line in said.splitlines() if line.startswith("d2 at 14.1 MHz: R ")]
    assert len(lines) == 1
    page = (tmp_path / "o/report.html").read_text()
    for name, ohm in (
        line.split(" at 14.1 MHz: R ") for line in said.splitlines() if ": R " in line
    ):
        assert f"<td>{name}</td>" in page
        assert f'<td class="n">{ohm.split(",")[0]}</td>' in page
    assert 'aria-label="Reflection chart. ' not in page
    assert main(["verify", str(tmp_path / "o/report.html")]) == 0


def test_a_page_of_six_long_sweeps_is_small(filed, tmp_path):
    frequency = np.linspace(1e6, 60e6, 1601)
    rng, turns = np.random.default_rng(1), np.exp(-2j * np.pi * frequency * 9e-9)
    true = {"short": -1.0, "open": 1.0, "load": 0.0}
    true |= {f"d{i}": (0.2 + 0.1 * i) * turns**i for i in range(6)}
    for name, reflection in true.items():
        noise = 3e-4 * rng.normal(size=(2, 1601))
        read = np.round(BOX.apply(reflection) + noise[0] + 1j * noise[1], 7)
        (filed / f"raw/{name}.s1p").write_text(touchstone(frequency, read))
    bend(filed, '"device"\nreading = "raw/device.s1p"', '"d0"\nreading = "raw/d0.s1p"')
    with (filed / "record.toml").open("a") as file:
        for i in range(1, 6):
            file.write(f'[[measurement]]\nname = "d{i}"\nreading = "raw/d{i}.s1p"\n')
    assert main(["report", str(filed), "--output", str(tmp_path / "o")]) == 0
    assert (tmp_path / "o/report.html").stat().st_size < 3_000_000


def test_a_long_sweep_is_corrected_in_pieces_as_at_once(monkeypatch):
    frequency = np.linspace(50e6, 60e6, 101)
    true = {"short": -1, "open": 1, "load": 0, "device": 0.3 - 0.4j}
    sweeps = {
        name: rfcal.Sweep(frequency, BOX.apply(np.full(101, reflection, complex)), label=name)
        for name, reflection in true.items()
    }
    device = sweeps.pop("device")
    standards = {rfcal.Standard(kind): sweep for kind, sweep in sweeps.items()}
    whole = rfcal.calibrate(standards).correct(device)
    between = rfcal.Sweep(frequency[:-1] + 3e3, device.reflection[:-1], label="between")
    there = rfcal.calibrate(standards).correct(between)
    monkeypatch.setattr(quantity, "MANY", 100)
    monkeypatch.setattr(quantity, "PIECE", 40)
    calibrated = rfcal.calibrate(standards)
    long = calibrated.correct(device)
    for one in ("impedance", "reflection"):
        found, expected = getattr(long, one), getattr(whole, one)
        assert np.array_equal(found.value, expected.value)
        assert np.array_equal(found.covariance(), expected.covariance())
        assert np.array_equal(found.variance(), expected.variance())
        assert [e.influence for e in found.effects] == [e.influence for e in expected.effects]
    assert np.array_equal(long.interval, whole.interval)
    assert str(long.at(59e6)) == str(whole.at(59e6))
    assert np.array_equal(long.figures["q"].high, whole.figures["q"].high)
    assert np.array_equal(calibrated.terms.condition, whole.inputs.calibration.condition)
    monkeypatch.setattr(quantity, "MANY", 99)
    found = calibrated.correct(between).reflection
    assert np.array_equal(found.covariance(), there.reflection.covariance())
