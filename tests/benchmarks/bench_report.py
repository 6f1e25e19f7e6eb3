"""The whole of ``rfcal report`` as a person waits for it, beside a bare script that draws as much.

New processes in the same run: the script imports numpy, scipy.interpolate, matplotlib and Jinja2
and draws as many SVG figures with as many points. Printed are medians, ratios (of processor time
too, which other programs disturb less) and peak memory.
"""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance

DEMO = Path(__file__).parents[2] / "data" / "demo"
FIGURES = {"beacon-antenna": 6, "tower-line": 4}
POINTS = {"beacon-antenna": 201, "tower-line": 401}
SWEEPS = (51, 201, 1601, 10_001, 100_001)
YARDSTICK = """
import sys
import numpy as np
import scipy.interpolate
import jinja2
from io import StringIO
from matplotlib.figure import Figure
figures, points = int(sys.argv[1]), int(sys.argv[2])
x, drawn = np.linspace(1, 60, points), []
noise = np.random.default_rng(1).normal(size=(4, points))
for _ in range(figures):
    figure = Figure(figsize=(7.5, 6))
    for ax, rows in zip(figure.subplots(2), (noise[:2], noise[2:])):
        for row in rows:
            ax.plot(x, np.cumsum(row))
    out = StringIO()
    figure.savefig(out, format="svg")
    drawn.append(out.getvalue())
jinja2.Template("{% for one in drawn %}{{ one }}{% endfor %}").render(drawn=drawn)
"""
RECORD = """format = 1
[record]
title = "Sensor coil over a band"
[analyzer]
noise = 0.0003
connection = 0.0005
drift = 0.0
[[standard]]
name = "short"
kind = "short"
inductance = [0.35e-9]
uncertainty = 0.001
reading = "short.s1p"
[[standard]]
name = "open"
kind = "open"
capacitance = [60e-15]
uncertainty = 0.001
reading = "open.s1p"
[[standard]]
name = "load"
kind = "load"
resistance_ohm = 49.9
resistance_uncertainty_ohm = 0.1
uncertainty = 0.0
reading = "load.s1p"
[[check]]
name = "33 ohm resistor"
resistance_ohm = 33.0
resistance_uncertainty_ohm = 0.1
uncertainty = 0.001
reading = "check.s1p"
[[measurement]]
name = "sensor"
reading = "sensor.s1p"
answer_mhz = 27.12
"""


def write_record(folder: Path, points: int) -> None:
    """The sensor coil of the demo from 1 to 60 MHz, from files."""
    rng = np.random.default_rng(1)
    frequency = np.linspace(1e6, 60e6, points)
    w = 2j * np.pi * frequency
    box = Bilinear.from_error_terms(
        0.03 * np.exp(-w * 2e-9), 0.05 * np.exp(0.4j - w * 3e-9), 0.95 * np.exp(-w * 13.6e-9)
    )
    devices = {"short": w * 0.35e-9, "open": 1 / (w * 60e-15), "load": 49.9 + 0 * w}
    for name, ohm in {**devices, "check": 33 + 0 * w, "sensor": 2.5 + w * 0.8e-6}.items():
        noise = 3e-4 * (rng.normal(size=points) + 1j * rng.normal(size=points))
        raw = box.apply(from_impedance(ohm, 50.0)) + noise
        rows = np.column_stack([frequency, raw.real, raw.imag])
        file = folder / f"{name}.s1p"
        np.savetxt(file, rows, "%.1f %.9f %.9f", header="# Hz S RI R 50", comments="")
    (folder / "record.toml").write_text(RECORD)


def used(*words: str) -> tuple[float, float]:
    """Run a new interpreter, and give the most memory [MB] and the processor time [s] it took."""
    child = subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0
    return usage.ru_maxrss / 1024, usage.ru_utime + usage.ru_stime


@pytest.fixture(scope="module")
def sweeps(tmp_path_factory):
    folders = {}
    for points in SWEEPS:
        folders[points] = tmp_path_factory.mktemp(f"sweep{points}")
        write_record(folders[points], points)
    return folders


@pytest.mark.parametrize("who", ["bare script", "rfcal report"])
@pytest.mark.parametrize("what", [*map(str, SWEEPS), *FIGURES])
def test_report(benchmark, what, who, sweeps, tmp_path):
    figures, points = FIGURES.get(what, 3), POINTS.get(what) or int(what)
    folder = DEMO / what if what in FIGURES else sweeps[points]
    if who == "bare script":
        words = ["-c", YARDSTICK, str(figures), str(points)]
    else:
        run = "import sys; from rfcal.cli import main; sys.exit(main())"
        words = ["-c", run, "report", str(folder), "--output", str(tmp_path / "o"), "--force"]
    rounds = 1 if points > 100_000 else 3
    peak, cpu = benchmark.pedantic(used, args=words, rounds=rounds)
    output = tmp_path / "o" / "results.json"
    size = output.stat().st_size / points if output.exists() else None
    benchmark.extra_info.update(report=what, points=points, who=who, peak=peak, cpu=cpu, json=size)
