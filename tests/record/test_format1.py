"""A record of format 1 computes for good: four records as they once were, and what they gave."""

import json
from pathlib import Path

import numpy as np
import pytest

from rfcal.record.job.compute import compute
from rfcal.record.job.whatif import changed

RECORDS = Path(__file__).parent / "format1"
ANSWERS = json.loads((RECORDS / "answers.json").read_text())
MERGED = dict.fromkeys(
    ("analyzer-default", "uncertainty-default", "load-default", "path-default"), "defaults"
)
"""Notes that were one for each item, and are one for the record now."""
ADDED = {"tower-line": ["line-fault", "no-check-behind"], "sensor-coil": ["typed-unseen"]}
"""Findings that were not made then."""
BOUNCES = 1
"""Places behind the line's end that were listed then: 2 x 39.87 m - 23.40 m is where the end's echo
seems to be that came back from the fault once."""
END = {"mismatch": "unknown"}
"""An antenna at the end fits no simple fault; whether one could be settled is no answer."""
USUAL = {"raw-above-one"}
"""Notes on what every uncorrected analyzer does, which are not made any more."""


def answers(results) -> dict:
    """What a record came to, at five frequencies of each device."""
    devices = {}
    for device in results.devices:
        at = sorted({*np.linspace(0, device.frequency.size - 1, 4).astype(int), device.answer})
        z = device.impedance.value[at]
        devices[device.name] = {
            "point": [int(i) for i in at],
            "frequency_hz": device.frequency[at].tolist(),
            "impedance_ohm": np.stack([z.real, z.imag], axis=-1).tolist(),
            "interval_ohm": device.interval[at].tolist(),
        }
    found = {
        "devices": devices,
        "checks": {check.name: bool(check.agrees) for check in results.checks},
        "findings": sorted(finding.code for finding in results.findings),
    }
    if results.line is not None:
        found["distance_m"] = results.line.now.distance_m.tolist()
        found["kind"] = [END.get(kind, kind) for kind in results.line.now.kind]
        found["length_m"] = results.line.length_m
    if results.matches:
        first = results.matches[0].proposals[0].candidate
        found["topology"] = first.network.topology
        found["parts"] = [float(e.value) for e in first.network.elements]
        found["worst_swr"] = float(first.worst_swr)
    return found


def test_values_stay_where_defaults_have_grown():
    """A record that leaves uncertainties to defaults keeps its values; intervals may widen."""
    then = ANSWERS["beacon-antenna"]["devices"]["antenna"]
    bare = {"uncertainty": None, "resistance_uncertainty_ohm": None}
    results = compute(changed(RECORDS / "beacon-antenna", "load", **bare))
    now = answers(results)["devices"]["antenna"]
    middle = np.array(then["impedance_ohm"])
    assert np.array(now["impedance_ohm"]) == pytest.approx(middle, rel=1e-6)
    widths = [np.diff(np.array(found["interval_ohm"]), axis=-1) for found in (then, now)]
    assert np.all(widths[1] > widths[0])


@pytest.mark.parametrize("name", ANSWERS)
def test_the_answer_is_what_it_was(name):
    then, now = ANSWERS[name], answers(compute(RECORDS / name))
    assert now.keys() == then.keys()
    assert now["devices"].keys() == then["devices"].keys()
    for device, was in then["devices"].items():
        found = now["devices"][device]
        assert found["point"] == was["point"]
        assert found["frequency_hz"] == pytest.approx(was["frequency_hz"], rel=1e-12)
        middle = np.array(was["impedance_ohm"])
        assert np.array(found["impedance_ohm"]) == pytest.approx(middle, rel=1e-6)
        # ends of intervals may follow a better method: within a tenth of their half-width
        ends = np.array(was["interval_ohm"])
        half = np.abs(ends - middle[..., None]).max(axis=-1, keepdims=True)
        assert np.all(np.abs(np.array(found["interval_ohm"]) - ends) < 0.1 * half)
    for key in ("kind", "distance_m") if "kind" in then else ():  # a bounce is no place any more
        then[key] = then[key][: len(then[key]) - BOUNCES]
        then[key] = [END.get(found, found) for found in then[key]]
    for key in ("checks", "kind", "topology"):
        assert now.get(key) == then.get(key)
    findings = {MERGED.get(code, code) for code in then["findings"] if code not in USUAL}
    assert now["findings"] == sorted([*findings, "no-reread", *ADDED.get(name, ())])
    for key, tolerance in {
        "distance_m": 1e-4,
        "length_m": 1e-4,
        # may follow the capacitance of the coil as it is wound for its current
        "worst_swr": 3e-3,
        "parts": 1e-3,
    }.items():
        if key in then:
            assert now[key] == pytest.approx(then[key], rel=tolerance)
