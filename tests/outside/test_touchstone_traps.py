"""Touchstone files as they come: harmless ones are read right, ambiguous ones are refused.

Source of the rules: Touchstone File Format Specification, versions 1.0 and 2.0, IBIS Open Forum;
the files are of our own invention (see the README in tests/reference).
"""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.errors import ReadingError
from rfcal.readings.sweep import read_sweep

FOLDER = Path(__file__).parents[1] / "reference" / "touchstone_traps"
TRAPS = json.loads((FOLDER / "traps.json").read_text())
READ = {name: trap for name, trap in TRAPS.items() if "reflection" in trap}
REFUSED = {name: trap for name, trap in TRAPS.items() if "refused" in trap}


@pytest.mark.parametrize("name", READ)
def test_harmless_files_are_read(name):
    trap = READ[name]
    sweep = read_sweep(FOLDER, name, label="device")
    assert sweep.z_ref == trap["z_ref"]
    assert sweep.frequency == pytest.approx(trap["frequency_hz"], rel=1e-14)
    parts = np.stack([sweep.reflection.real, sweep.reflection.imag], axis=-1)
    assert parts == pytest.approx(np.array(trap["reflection"]), abs=1e-14)


@pytest.mark.parametrize("name", REFUSED)
def test_other_files_are_refused(name):
    trap = REFUSED[name]
    with pytest.raises(ReadingError) as caught:
        read_sweep(FOLDER, name, label="device")
    message = str(caught.value)
    assert message.startswith(name)
    assert trap["refused"] in message
    assert caught.value.line == trap.get("line")
    assert "\n" not in message


def test_every_file_has_an_expectation():
    assert {path.name for path in FOLDER.glob("*.s1p")} == set(TRAPS) == {*READ, *REFUSED}
