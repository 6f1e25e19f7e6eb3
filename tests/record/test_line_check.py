"""``[line_check]`` in a record: events with distances, and what changed since a baseline."""

import json

import numpy as np
import pytest

from rfcal.errors import RfcalError
from rfcal.faces.cli import main
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.line import Line
from rfcal.record import compute
from tests.record.conftest import BOX, touchstone

FREQUENCY = np.linspace(1e6, 160e6, 401)
LINE = Line(40.0, 0.85, 50.0, 0.8)


def seen(shunt_ohm=None, at=23.4):
    """Reflection of a line ended by 60 ohm, with or without a shunt on its way."""
    end = np.full(401, from_impedance(60.0))
    if shunt_ohm is None:
        return LINE.two_port(FREQUENCY).bilinear().apply(end)
    z = to_impedance(LINE.two_port(FREQUENCY, 40.0 - at).bilinear().apply(end))
    z = 1 / (1 / z + 1 / shunt_ohm)
    return LINE.two_port(FREQUENCY, at).bilinear().apply(from_impedance(z))


@pytest.fixture
def tower(filed):
    """The record of files on a wide grid, with a line check and a baseline."""
    for name, value in (("short", -1), ("open", 1), ("load", 0), ("device", 0.3)):
        text = touchstone(FREQUENCY, BOX.apply(np.array([complex(value)])))
        (filed / f"raw/{name}.s1p").write_text(text)
    for name, reflection in (("now", seen(120.0)), ("then", seen())):
        (filed / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, BOX.apply(reflection)))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[line_check]\nreading = "raw/now.s1p"\nbaseline = "raw/then.s1p"\n'
            "velocity_factor = 0.85\n"
        )
    return filed


def test_fault_and_end_are_found_and_the_change_is_the_fault(tower):
    line = compute.compute(tower).line
    places = [event.distance_m for event in line.now.events]
    assert min(abs(p - 23.4) for p in places) < 0.1
    assert min(abs(p - 40.0) for p in places) < 0.1
    strongest = max(line.changes.events, key=lambda event: abs(event.reflection))
    assert strongest.distance_m == pytest.approx(23.4, abs=0.1)
    assert strongest.kind == "lower impedance"


def test_line_check_in_page_and_json(tower, tmp_path, capsys):
    assert main(["report", str(tower), "--output", str(tmp_path / "o")]) == 0
    assert "changed since the baseline" in capsys.readouterr().out
    assert "The line" in (tmp_path / "o/report.html").read_text()
    found = json.loads((tmp_path / "o/results.json").read_text())["line_check"]
    assert found["resolution_m"] == pytest.approx(0.85 * 299792458 / 2 / 159e6)
    assert {"distance_m", "distance_uncertainty_m", "reflection", "kind"} == set(found["events"][0])
    assert main(["unpack", str(tmp_path / "o/report.html"), str(tmp_path / "back")]) == 0
    assert (tmp_path / "back/raw/then.s1p").is_file()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("velocity_factor = 0.85", "", "velocity_factor"),
        ("velocity_factor = 0.85", "velocity_factor = 1.5", "faster than light"),
        ("velocity_factor = 0.85", 'line = "RG-999"', "none of RG-58A"),
        ("velocity_factor = 0.85", "velocity = 0.85", "'velocity_factor'"),
        ("raw/then.s1p", "raw/none.s1p", "no file"),
    ],
)
def test_bad_line_checks(tower, old, new, words):
    text = (tower / "record.toml").read_text()
    (tower / "record.toml").write_text(text.replace(old, new))
    with pytest.raises(RfcalError, match=words):
        compute.compute(tower)


def test_sweeps_that_do_not_compare(tower):
    (tower / "raw/then.s1p").write_text(touchstone(FREQUENCY[:200], np.array([0.1])))
    with pytest.raises(RfcalError, match="same frequencies"):
        compute.inspect(tower)
