"""Random parts of each circuit, made by ngspice (an independent simulator), are found again."""

import os
import shutil
import subprocess

import numpy as np
import pytest

from rfcal.components.circuits import CIRCUITS
from rfcal.components.fit import FitData, choose
from rfcal.uncertainty.quantity import Quantity, both_axes

pytestmark = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
COUNT = int(os.environ.get("PARTS_OF_EACH", "16"))
"""Of each circuit; the shares below were measured with 200."""
FREQUENCY = np.linspace(1e6, 100e6, 100)
OWN = 2 * np.pi * 10e6


def log_uniform(rng, low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def skin(node, ohm, at):
    """A resistance with the root of frequency and as much reactance, as a chain of R and L.

    The sum of ``sqrt(w) j w' / (w + j w')`` over ln w is pi sqrt(j w').
    """
    rows, step = [], np.log(10) / 4
    ways = OWN * 10 ** np.arange(-4, 4.01, 0.25)
    for k, w in enumerate(ways):
        r = ohm * np.sqrt(2) / np.pi * step * np.sqrt(w / OWN)
        here, there = f"{node}_{k}" if k else node, f"{node}_{k + 1}"
        there = at if k == len(ways) - 1 else there
        rows += [f"Rs{node}{k} {here} {there} {r:.12g}", f"Ls{node}{k} {here} {there} {r / w:.12g}"]
    return rows


def series(n, r, henry, farad, extra=""):
    radiates = f"+{extra}*(hertz/1e7)^2" if extra else ""
    return [
        f"R{n} {n} {n}a r='{r:.12g}{radiates}'",
        f"L{n} {n}a {n}b {henry:.12g}",
        f"C{n} {n}b 0 {farad:.12g}",
    ]


def made(name, n, rng):
    """Netlist of one part at a node, and its own values by name."""
    henry, at = log_uniform(rng, 0.2e-6, 5e-6), 2 * np.pi * log_uniform(rng, 8e6, 50e6)
    farad = 1 / (at**2 * henry)
    if name == "capacitor":
        farad, lead, r = log_uniform(rng, 20e-12, 400e-12), rng.uniform(1e-9, 4e-9), 0.5
        r *= rng.uniform()
        return series(n, r, lead, farad), {"capacitance": farad, "esl": lead, "esr": r}
    if name == "series resonator":
        r = log_uniform(rng, 1, 50)
        return series(n, r, henry, farad), {"resistance": r, "inductance": henry}
    if "antenna" in name:
        # radiation at 10 MHz, with the square of frequency
        r, radiates = log_uniform(rng, 2, 20), rng.uniform(20, 60) * (OWN / at) ** 2
        true = {"resistance": r, "radiation_resistance": radiates * (at / OWN) ** 2}
        rows = series(n, r, henry, farad, f"{radiates:.12g}")
        if name == "shunted antenna":
            true["feed_capacitance"] = log_uniform(rng, 5e-12, 80e-12)
            rows.append(f"Cf{n} {n} 0 {true['feed_capacitance']:.12g}")
        return rows, true | {"inductance": henry}
    if name == "parallel resonator":
        r = at * henry * log_uniform(rng, 2, 50)
        rows = [f"R{n} {n} 0 {r:.12g}", f"L{n} {n} 0 {henry:.12g}", f"C{n} {n} 0 {farad:.12g}"]
        return rows, {"resistance": r, "inductance": henry, "capacitance": farad}
    if name == "resistor":
        r, lead, across = log_uniform(rng, 10, 1000), rng.uniform(2e-9, 15e-9), 1e-12
        across *= rng.uniform(0.2, 2)
        rows = [f"R{n} {n} {n}a {r:.12g}", f"L{n} {n}a 0 {lead:.12g}", f"C{n} {n} 0 {across:.12g}"]
        return rows, {"resistance": r}
    if "line" in name:
        z0, delay = rng.uniform(30, 150), np.pi / 2 / at
        end = 1e12 if name == "open line" else 1e-9
        rows = [f"T{n} {n} 0 {n}a 0 Z0={z0:.12g} TD={delay:.12g}", f"R{n} {n}a 0 {end:g}"]
        return rows, {"z0": z0, "delay": delay}
    own, q = rng.uniform(0.5e-12, 3e-12), log_uniform(rng, 60, 300)
    rows = [f"C{n} {n} 0 {own:.12g}", f"L{n} {n} {n}a {henry:.12g}"]
    true = {"inductance": henry, "self_capacitance": own}
    if name == "coil":
        return rows + skin(f"{n}a", OWN * henry / q, "0"), true | {"resistance": OWN * henry / q}
    loss, power = OWN * henry * rng.uniform(0.05, 0.3), rng.uniform(0.7, 1.6)
    rows.append(f"R{n} {n}a 0 r='{loss:.12g}*(hertz/1e7)^{power:.12g}'")
    return rows, true | {"resistance": loss, "loss_power": power}


def simulated(rows, folder):
    """Impedance [ohm] of every part, shape (COUNT, F), driven by 1 A."""
    nodes = [f"p{i}" for i in range(COUNT)]
    drive = [f"I{n} 0 {n} ac 1\nRb{n} {n} 0 1e12" for n in nodes]
    name, points = folder / "parts", FREQUENCY.size
    control = f".control\nac lin {points} 1e6 100e6\nset wr_singlescale\nset wr_vecnames\n"
    said = " ".join(f"real(v({n})) imag(v({n}))" for n in nodes)
    control += f"option numdgt=12\nwrdata {name}.out {said}\n.endc"
    name.with_suffix(".cir").write_text("\n".join(["parts", *rows, *drive, control, ".end"]))
    done = subprocess.run(
        ["ngspice", "-b", name.with_suffix(".cir")], capture_output=True, text=True, cwd=folder
    )
    assert name.with_suffix(".out").exists(), done.stdout + done.stderr
    table = np.loadtxt(name.with_suffix(".out"), skiprows=1)[:, 1:].T
    return table[::2] + 1j * table[1::2]


def known_to(reflection):
    """Noise, and what short, open and load leave, common to all frequencies."""
    slopes = ((1 + reflection) ** 2 / 4, (1 - reflection) ** 2 / 4, 1 - reflection**2)
    effects = both_axes("noise", 0.0005, per_point=True)
    for slope, name in zip(slopes, ("open", "short", "load"), strict=True):
        effects += both_axes(name, 0.002, slope=slope)
    return Quantity(reflection, effects)


@pytest.mark.parametrize("name", CIRCUITS)
def test_parts_that_ngspice_made_are_told_and_their_values_lie_inside(name, tmp_path):
    rng = np.random.default_rng(sum(map(ord, name)))
    parts = [made(name, f"p{i}", rng) for i in range(COUNT)]
    impedances = simulated([row for rows, _ in parts for row in rows], tmp_path)
    right, inside, asked = 0, 0, 0
    for z, (_, true) in zip(impedances, parts, strict=True):
        exact = known_to((z - 50) / (z + 50))
        read = known_to(exact.draw(rng, 1)[0])
        found = choose(FitData(FREQUENCY, read, 50.0, int(np.argmin(np.abs(FREQUENCY - 10e6)))))
        right += found.chosen is not None and name in (found.chosen.name, *found.rivals)
        if found.chosen is not None and found.chosen.name == name:
            figures = found.chosen.figures()
            inside += sum(figures[k].low[0] <= v <= figures[k].high[0] for k, v in true.items())
            asked += len(true)
    # 93 to 97.5 % and 90 % of many, less what chance takes of few
    doubt = 3 * np.sqrt(0.05 / max(asked / 2, 1))
    print(name, f"right or as well {right / COUNT:.3f}, inside {inside / asked:.4f} of {asked}")
    assert right >= 0.9 * COUNT - 2
    assert inside / asked >= 0.93 - doubt
