"""The demo records against ngspice, an independent circuit simulator (Debian package)."""

import importlib.util
import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")

DEMO = Path(__file__).parents[2] / "data" / "demo"
_spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
make_demo = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make_demo)

ANTENNA = "R1x far p {R}\nL1 p q {L}\nC1 q 0 {C}\nRq q 0 1e15\nC2 far 0 {C_feed}"
CIRCUITS = {
    "short": f"L1 far 0 {make_demo.SHORT_L}",
    "open": f"C1 far 0 {make_demo.OPEN_C}\nR1x far 0 1e15",
    "load": "R1x far 0 49.9",
    "sensor": "R1x far p {R}\nL1 p q {L}\nC1 q 0 {C}\nRq q 0 1e15".format(**make_demo.COIL),
    "antenna": ANTENNA.format(**make_demo.ANTENNA),
    "whip": ANTENNA.format(**make_demo.WHIP),
}
SETTINGS = {
    "sensor-coil": (make_demo.PIGTAIL, 27.12e6, 27.12e6, 1),
    "beacon-antenna": (make_demo.TOWER_LINE, 69e6, 72e6, 201),
    "car-whip": (make_demo.PIGTAIL, 28e6, 29e6, 51),
}


def simulate(folder, netlist: str, voltages: list[str], sweep) -> np.ndarray:
    """Complex node voltages, shape (voltages, F)."""
    first, last, points = sweep
    wanted = " ".join(f"re{i} im{i}" for i in range(len(voltages)))
    lets = "\n".join(
        f"let re{i} = real({v})\nlet im{i} = imag({v})" for i, v in enumerate(voltages)
    )
    (folder / "circuit.cir").write_text(
        f"* circuit\n{netlist}\n.control\nset wr_singlescale\nset numdgt=15\n"
        f"ac lin {points} {first} {last}\n{lets}\nwrdata out.txt {wanted}\nquit\n.endc\n.end\n"
    )
    done = subprocess.run(
        ["ngspice", "-b", "circuit.cir"], cwd=folder, capture_output=True, text=True, timeout=60
    )
    assert (folder / "out.txt").exists(), done.stdout + done.stderr
    table = np.atleast_2d(np.loadtxt(folder / "out.txt"))
    return (table[:, 1::2] + 1j * table[:, 2::2]).T


@pytest.mark.parametrize("demo", SETTINGS)
@pytest.mark.parametrize("artefact", CIRCUITS)
def test_raw_readings_before_noise(tmp_path, demo, artefact):
    """The whole way: bridge with its strays, lossy line (LTRA), artefact; 1e-6."""
    cable, *sweep = SETTINGS[demo]
    bridge = make_demo.BRIDGE
    netlist = (
        "Vs src 0 AC 1\nRs src b 50\n"
        f"Ra b arm {bridge['R1']}\nRb b ref {bridge['R2']}\nRc ref 0 {bridge['R3']}\n"
        f"Cc ref 0 {bridge['C3']}\nCd arm 0 {bridge['Cd']}\nLd arm near {bridge['Ld']}\n"
        f"O1 near 0 far 0 cable\n.model cable LTRA R={cable.resistance} L={cable.inductance:.17g} "
        f"G=0 C={cable.capacitance:.17g} LEN={cable.length} REL=1 ABS=1\n{CIRCUITS[artefact]}"
    )
    arm, ref, b = simulate(tmp_path, netlist, ["v(arm)", "v(ref)", "v(b)"], sweep)
    frequency = np.linspace(sweep[0], sweep[1], sweep[2])
    load = make_demo.ARTEFACTS[artefact](2 * np.pi * frequency)
    ours = make_demo.raw_reading(frequency, load, cable)
    assert 2 * (arm - ref) / b == pytest.approx(ours, abs=1e-6)


@pytest.mark.parametrize(
    ("demo", "artefact"),
    [("sensor-coil", "sensor"), ("beacon-antenna", "antenna"), ("car-whip", "whip")],
)
def test_corrected_device_against_the_simulated_truth(tmp_path, computed, demo, artefact):
    """What rfcal makes of the demo's noisy readings holds ngspice's own impedance of the device."""
    _, *sweep = SETTINGS[demo]
    (z,) = simulate(tmp_path, f"I1 0 far AC 1\n{CIRCUITS[artefact]}", ["v(far)"], sweep)
    stored = np.array(json.loads((DEMO / demo / "truth.json").read_text())["impedance_ohm"])
    assert stored[:, 0] + 1j * stored[:, 1] == pytest.approx(z, rel=1e-6)
    device = computed(demo).devices[0]
    found, half = device.impedance.value, device.expanded_uncertainty()
    inside = [np.abs(found.real - z.real) <= half[:, 0], np.abs(found.imag - z.imag) <= half[:, 1]]
    assert np.mean(inside) > 0.9
