"""The demo data are what their script makes, and tell the story that the notebooks tell."""

import json
import subprocess
import sys
from pathlib import Path

from rfcal.record import compute

DEMO = Path(__file__).parents[1] / "data" / "demo"


def test_script_makes_the_same_bytes():
    done = subprocess.run(
        [sys.executable, DEMO / "make_demo.py", "--check"], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout


def test_script_does_not_use_what_it_is_there_to_check():
    assert "import rfcal" not in (DEMO / "make_demo.py").read_text()


def test_pigtail_turns_a_capacitor_into_an_inductor():
    device = compute.compute(DEMO / "sensor-coil").devices[0]
    true = json.loads((DEMO / "sensor-coil" / "truth.json").read_text())["impedance_ohm"][0]
    assert device.raw.reflection[0].imag > 0 > true[1]
    assert device.impedance.value[0].imag < 0


def test_demos_agree_with_their_checks_and_need_no_warning():
    for name in ("sensor-coil", "beacon-antenna"):
        results = compute.compute(DEMO / name)
        assert all(check.agrees for check in results.checks)
        assert results.findings == ()
