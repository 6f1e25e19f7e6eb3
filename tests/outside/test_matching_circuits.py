"""Every network that is ranked, against scikit-rf and ngspice: SWR of the real parts.

The two know nothing of rfcal's formulas: scikit-rf multiplies scattering parameters, ngspice
solves the nodes of a netlist.
"""

import shutil

import numpy as np
import pytest
import skrf

from rfcal.matching.goal import Goal
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.ranking import rank
from rfcal.matching.stock import Stock
from rfcal.models.line import Line
from tests.outside.test_ngspice import simulate

FREQUENCY = np.linspace(13.9e6, 14.5e6, 61)
OMEGA = 2 * np.pi * FREQUENCY
RESISTANCE, INDUCTANCE, CAPACITANCE = 28.0, 5.2e-6, 28e-12
LOAD = RESISTANCE + 1j * OMEGA * INDUCTANCE + 1 / (1j * OMEGA * CAPACITANCE)
STOCK = Stock(
    inductor_parallel_f=2e-12,
    capacitor_series_h=4e-9,
    lines=(Line(1.0, 0.66, 50.0, 0.5), Line(1.0, 0.8, 75.0, 0.4), Line(1.0, 0.9, 300.0, 0.2)),
)
GOAL = Goal(FREQUENCY, LOAD, 14.2e6, (14.0e6, 14.35e6), target_swr=2.0)
CANDIDATES = rank(GOAL, stock=STOCK).candidates


def test_there_is_something_to_check():
    kinds = {c.network.topology.split(",")[0] for c in CANDIDATES}
    assert kinds >= {"L", "pi", "T", "shunt stub", "series stub", "double stub", "two sections"}
    assert len(CANDIDATES) > 30


def scattering(element, sweep) -> skrf.Network:
    """One element by scikit-rf's own media and circuit formulas."""
    part, ground = element.part, skrf.media.DefinedGammaZ0(sweep, z0=50.0)
    if isinstance(part, Line | Stub):
        line = part if isinstance(part, Line) else part.line
        series, shunt = line.per_metre(sweep.f)
        media = skrf.media.DefinedGammaZ0(
            sweep, z0_port=50.0, z0=np.sqrt(series / shunt), gamma=np.sqrt(series * shunt)
        )
        piece = media.line(float(line.length_m), "m")
        if isinstance(part, Line):
            return piece
        one = piece ** (ground.short() if part.end == "short" else ground.open())
        y = one.y[:, 0, 0]
    else:
        omega, value = 2 * np.pi * sweep.f, float(element.value)
        if isinstance(part, Inductor):
            own = ground.resistor(omega * value / part.q) ** ground.inductor(value)
            y = (own ** ground.short()).y[:, 0, 0] + 1j * omega * part.parallel_f
        else:
            own = ground.resistor(1 / (omega * value * part.q)) ** ground.capacitor(value)
            y = (own ** ground.inductor(part.series_h) ** ground.short()).y[:, 0, 0]
    if element.place == "series":
        matrix = np.array([[y, -y], [-y, y]]).transpose(2, 0, 1)
        return skrf.Network(frequency=sweep, s=skrf.network.y2s(matrix, 50.0), z0=50.0)
    one = skrf.Network(frequency=sweep, s=((1 - 50 * y) / (1 + 50 * y))[:, None, None], z0=50.0)
    return ground.shunt(one)


def test_ranked_networks_in_scikit_rf():
    sweep = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    seen = (LOAD - 50) / (LOAD + 50)
    for candidate in CANDIDATES:
        network = skrf.Network(frequency=sweep, s=seen[:, None, None], z0=50.0)
        for element in reversed(candidate.network.elements):
            network = scattering(element, sweep) ** network
        assert network.s_vswr[:, 0, 0] == pytest.approx(candidate.swr, rel=1e-6)


def test_losses_in_scikit_rf():
    """Power into the load over power into the network, from scikit-rf's S-parameters."""
    sweep = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    seen = (LOAD - 50) / (LOAD + 50)
    for candidate in CANDIDATES:
        elements = candidate.network.elements
        network = scattering(elements[0], sweep)
        for element in elements[1:]:
            network = network ** scattering(element, sweep)
        s11, s12, s21, s22 = (network.s[:, i, j] for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)))
        at_input = s11 + s12 * s21 * seen / (1 - s22 * seen)
        share = np.abs(s21) ** 2 * (1 - np.abs(seen) ** 2)
        share /= np.abs(1 - s22 * seen) ** 2 * (1 - np.abs(at_input) ** 2)
        ours = candidate.network.losses_db(FREQUENCY, LOAD).sum(axis=0)
        assert ours == pytest.approx(-10 * np.log10(share), rel=1e-6, abs=1e-9)


def netlist(network, tag: str, frequency: float) -> str:
    """The network with its load, driven by one ampere; parts of constant Q at one frequency."""
    omega, rows, near = (
        2 * np.pi * frequency,
        [f"I{tag} 0 {tag}n0 AC 1", f"Ri{tag} {tag}n0 0 1e10"],
        f"{tag}n0",
    )
    for k, element in enumerate(network.elements):
        name, part = f"{tag}e{k}", element.part
        far = f"{tag}n{k + 1}" if element.place != "shunt" else near
        a, b = near, far if element.place != "shunt" else "0"
        if isinstance(part, Inductor):
            rows += [f"L{name} {a} {name}m {element.value:.17g}"]
            rows += [f"R{name} {name}m {b} {omega * element.value / part.q:.17g}"]
            rows += [f"C{name} {a} {b} {part.parallel_f:.17g}"]
        elif isinstance(part, Capacitor):
            rows += [f"C{name} {a} {name}m {element.value:.17g}"]
            rows += [f"R{name} {name}m {name}k {1 / (omega * element.value * part.q):.17g}"]
            rows += [f"L{name} {name}k {b} {part.series_h:.17g}", f"Rd{name} {name}m {b} 1e10"]
        else:
            line = element.line
            series, shunt = line.per_metre(frequency)
            end = f"{far} 0" if element.place == "section" else f"{name}f 0"
            start = f"{a} 0" if element.place == "section" else f"{a} {b}"
            rows += [f"O{name} {start} {end} {name}model"]
            rows += [
                f".model {name}model LTRA R={series.real:.17g} L={series.imag / omega:.17g} G=0 "
                f"C={shunt.imag / omega:.17g} LEN={float(line.length_m):.17g} REL=1 ABS=1"
            ]
            if isinstance(part, Stub):
                rows += [f"R{name}f {name}f 0 {1e-9 if part.end == 'short' else 1e10:g}"]
        rows += [f"Rg{name} {far} 0 1e10"]  # a way for direct current behind a series capacitor
        near = far
    rows += [f"Rl{tag} {near} {tag}p {RESISTANCE}", f"Ll{tag} {tag}p {tag}q {INDUCTANCE:.17g}"]
    rows += [f"Cl{tag} {tag}q 0 {CAPACITANCE:.17g}", f"Rq{tag} {tag}q 0 1e10"]
    return "\n".join(rows)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("point", [10, 30, 45])
def test_ranked_networks_in_ngspice(tmp_path, point):
    frequency = float(FREQUENCY[point])
    circuits = "\n".join(netlist(c.network, f"t{k}", frequency) for k, c in enumerate(CANDIDATES))
    volts = [f"v(t{k}n0)" for k in range(len(CANDIDATES))]
    z = simulate(tmp_path, circuits, volts, (frequency, frequency, 1))[:, 0]
    size = np.abs((z - 50) / (z + 50))
    ours = np.array([c.swr[point] for c in CANDIDATES])
    assert (1 + size) / (1 - size) == pytest.approx(ours, rel=1e-4)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_stress_in_ngspice(tmp_path):
    """Voltage across every coil and capacitor at 100 W, from the nodes of the netlist."""
    point, power = 30, 100.0
    frequency = float(FREQUENCY[point])
    circuits, volts, ours = [], [], []
    for n, candidate in enumerate(CANDIDATES):
        network, tag, near = candidate.network, f"t{n}", f"t{n}n0"
        circuits.append(netlist(network, tag, frequency))
        volt, _ = network.stress(FREQUENCY, LOAD, power_w=power)
        for k, element in enumerate(network.elements):
            far = f"{tag}n{k + 1}" if element.place != "shunt" else near
            if element.line is None:
                volts += [f"v({tag}n0)", f"v({near})", "0" if near == far else f"v({far})"]
                ours.append(volt[k, point])
            near = far
    wanted = sorted(set(volts) - {"0"})
    sweep = (frequency, frequency, 1)
    found = dict(
        zip(wanted, simulate(tmp_path, "\n".join(circuits), wanted, sweep)[:, 0], strict=True)
    )
    found["0"] = 0.0
    assert len(ours) > 25
    for own, feed, near, far in zip(ours, volts[::3], volts[1::3], volts[2::3], strict=True):
        # one ampere of amplitude carries half its real voltage of power
        scale = np.sqrt(power / (found[feed].real / 2))
        assert abs(found[near] - found[far]) * scale == pytest.approx(own, rel=1e-4)
