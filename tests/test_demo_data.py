"""The demo data are what their script makes, and tell the story that the notebooks tell."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

DEMO = Path(__file__).parents[1] / "data" / "demo"


def test_script_makes_the_same_bytes():
    done = subprocess.run(
        [sys.executable, DEMO / "make_demo.py", "--check"], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout


def test_script_does_not_use_what_it_is_there_to_check():
    assert "import rfcal" not in (DEMO / "make_demo.py").read_text()


def test_pigtail_turns_a_capacitor_into_an_inductor(computed):
    device = computed("sensor-coil").devices[0]
    true = json.loads((DEMO / "sensor-coil" / "truth.json").read_text())["impedance_ohm"][0]
    assert device.raw.reflection[0].imag > 0 > true[1]
    assert device.impedance.value[0].imag < 0


def test_demos_agree_with_their_checks_and_need_no_warning(computed):
    for name in ("sensor-coil", "beacon-antenna", "car-whip"):
        results = computed(name)
        assert all(check.agrees for check in results.checks)
        assert {f.code for f in results.findings} <= {"match-voltage", "typed-unseen"}


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_tower_line_is_what_ngspice_makes_of_its_script():
    """ngspice, an independent circuit simulator: netlists in the script, numbers to 1e-6."""
    done = subprocess.run(
        [sys.executable, DEMO / "make_tower_line.py", "--check"], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout
    assert "import rfcal" not in (DEMO / "make_tower_line.py").read_text()


def test_tower_line_gives_the_antenna_at_the_top_and_the_fault(computed):
    """Sweeps from the bottom: antenna behind the measured line, damaged connector at 23.4 m."""
    results = computed("tower-line")
    device = results.devices[0]
    truth = json.loads((DEMO / "tower-line" / "truth.json").read_text())
    true = np.array(truth["impedance_ohm"])
    found = np.stack([device.impedance.value.real, device.impedance.value.imag], axis=-1)
    assert np.mean(np.abs(found - true) <= device.expanded_uncertainty()) > 0.9
    assert all(check.agrees for check in results.checks)
    line = results.line
    assert min(abs(line.now.distance_m - truth["fault"]["distance_m"])) < 0.1
    first = line.comparison.changes[0]
    assert first.distance_m == pytest.approx(truth["fault"]["distance_m"], abs=0.1)
    assert (first.what, first.kind) == ("new", "shunt resistance")
    assert line.length_m == pytest.approx(truth["line"]["length_m"], abs=0.05)
    assert line.properties.delay_s * 1e9 == pytest.approx(truth["line"]["delay_ns"], rel=0.005)
    for megahertz, loss in truth["line"]["loss_db_per_100m"]:
        found, doubt = line.properties.loss_db(np.array([megahertz * 1e6]))
        assert abs(found[0] - loss * 0.398) < 3 * doubt[0]


def test_trap_parts_are_what_their_script_makes():
    done = subprocess.run(
        [sys.executable, DEMO / "make_trap_parts.py", "--check"], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout
    assert "import rfcal" not in (DEMO / "make_trap_parts.py").read_text()


def test_trap_parts_are_found_as_they_were_made(computed):
    results = computed("trap-parts")
    assert all(check.agrees for check in results.checks)
    assert not [f for f in results.findings if f.severity != "note"]
    truth = json.loads((DEMO / "trap-parts" / "truth.json").read_text())
    coil, capacitor, choke = (part.verdict for part in results.parts)
    assert [v.chosen.name for v in (coil, capacitor, choke)] == [
        "coil",
        "capacitor",
        "parallel resonator",
    ]
    own = 1 / (2 * np.pi * np.sqrt(truth["coil"]["L"] * truth["coil"]["C"]))
    for verdict, name, true in (
        (coil, "inductance", truth["coil"]["L"]),
        (coil, "self_resonance", own),
        (capacitor, "capacitance", truth["capacitor"]["C"]),
        (capacitor, "esl", truth["capacitor"]["ESL"]),
        (choke, "resistance", truth["choke"]["R"]),
        (choke, "inductance", truth["choke"]["L"]),
        (choke, "capacitance", truth["choke"]["C"]),
    ):
        figure = verdict.figures[name]
        assert figure.low[0] <= true <= figure.high[0], name
