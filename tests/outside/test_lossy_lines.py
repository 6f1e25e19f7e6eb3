"""Lossy lines, and places along them, against ngspice and scikit-rf."""

import shutil

import numpy as np
import pytest
import skrf
from scipy.special import ive

from rfcal.feedline.faults.events import find_events
from rfcal.feedline.power import along, loss_db
from rfcal.maths.reflection import from_impedance
from rfcal.models.line import SPEED_OF_LIGHT, Line, loss_law
from tests.outside.test_ngspice import simulate

RANDOM = np.random.default_rng(17)
CASES = [
    (
        Line(length, velocity, z0, loss),
        float(megahertz) * 1e6,
        complex(resistance, reactance),
    )
    for length, velocity, z0, loss, megahertz, resistance, reactance in zip(
        RANDOM.uniform(0.5, 60, 12),
        RANDOM.uniform(0.6, 0.95, 12),
        RANDOM.choice([50.0, 75.0, 450.0], 12),
        RANDOM.uniform(0.1, 3.0, 12),
        RANDOM.uniform(1.8, 150, 12),
        RANDOM.uniform(2, 400, 12),
        RANDOM.uniform(-300, 300, 12),
        strict=True,
    )
]


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("case", range(len(CASES)))
def test_random_loads_through_a_lossy_line(tmp_path, case):
    """Source: ngspice's LTRA line, whose R, L and C per metre are ours at one frequency."""
    line, hertz, load = CASES[case]
    w = 2 * np.pi * hertz
    series, shunt = line.per_metre(np.array([hertz]))
    part = f"L1 x 0 {load.imag / w}" if load.imag > 0 else f"C1 x 0 {-1 / (w * load.imag)}"
    netlist = (
        "Vs near 0 AC 1\nO1 near 0 far 0 cable\n"
        f".model cable LTRA R={series[0].real:.17g} L={series[0].imag / w:.17g} G=0 "
        f"C={shunt[0].imag / w:.17g} LEN={line.length_m:.17g} REL=1 ABS=1\n"
        f"R1 far x {load.real:.17g}\n{part}"
    )
    far, into = simulate(tmp_path, netlist, ["v(far)", "i(vs)"], (hertz, hertz, 1))[:, 0]
    z = line.two_port(np.array([hertz])).input_impedance(load)[0]
    assert z == pytest.approx(-1 / into, rel=1e-6)
    power_in, power_out = (-into).real, abs(far / load) ** 2 * load.real
    assert loss_db(line, [hertz], load)[0] == pytest.approx(
        10 * np.log10(power_in / power_out), abs=1e-5
    )
    found = along(line, hertz, load, power_w=power_in)
    assert found.volts[[0, -1]] == pytest.approx([abs(far), 1.0], rel=1e-6)
    assert found.amps[-1] == pytest.approx(abs(into), rel=1e-6)
    assert found.watts[[0, -1]] == pytest.approx([power_out, power_in], rel=1e-6)
    assert np.all(np.diff(found.watts) > 0)


def test_line_against_distributed_circuit():
    """Source: scikit-rf's media.DistributedCircuit with the same R, L, G, C per metre."""
    frequency = np.linspace(1e6, 160e6, 101)
    line = Line(23.0, 0.81, 51.0, 0.9, 0.02)
    series, shunt = line.per_metre(frequency)
    w = 2 * np.pi * frequency
    media = skrf.media.DistributedCircuit(
        frequency=skrf.Frequency.from_f(frequency, unit="hz"),
        z0_port=50,
        C=shunt.imag / w,
        L=series.imag / w,
        R=series.real,
        G=shunt.real,
    )
    theirs = media.line(line.length_m, "m").a
    ours, in_50_ohm = line.two_port(frequency), np.array([[1, 50], [1 / 50, 1]])
    chain = np.array([[ours.a, ours.b], [ours.c, ours.d]]).transpose(2, 0, 1)
    assert chain / in_50_ohm == pytest.approx(theirs / in_50_ohm, abs=1e-9)


@pytest.mark.parametrize("first", [1e6, 50e6])
def test_distance_against_a_time_transform(first):
    """Source: scikit-rf's windowed, zero-padded transform (Network.impulse_response)."""
    frequency = np.linspace(first, 160e6, 401)
    line = Line(33.3, 0.83, 50.0, 0.5)
    seen = line.two_port(frequency).bilinear().apply(np.full(401, from_impedance(500.0)))
    network = skrf.Network(frequency=skrf.Frequency.from_f(frequency, unit="hz"), s=seen, z0=50)
    time, trace = network.impulse_response(window=("kaiser", 6), pad=20_000, bandpass=True)
    theirs = time[np.argmax(np.abs(trace))] * line.velocity_factor * SPEED_OF_LIGHT / 2
    found = find_events(frequency, seen, line)
    ours = found.distance_m[np.argmax(np.abs(found.reflection))]
    assert ours == pytest.approx(33.3, abs=0.005)
    # a peak alone is pulled by the loss that grows with frequency, the fit is not
    assert ours == pytest.approx(theirs, abs=found.band.resolution / 10)


def test_a_coaxial_line_from_its_conductors():
    """A copper wire of 1 mm in a copper tube 3.6 mm wide, filled with a dielectric without loss.

    Source: the round wire by Bessel functions (S. Ramo, J. R. Whinnery, T. Van Duzer, Fields and
    Waves in Communication Electronics, chapter 4; value from memory), scipy's functions.
    """
    frequency = np.geomspace(1e6, 160e6, 40)
    w, mu, conductivity = 2 * np.pi * frequency, 4e-7 * np.pi, 5.8e7
    inner, outer, velocity = 0.5e-3, 1.8e-3, 0.66
    k = np.sqrt(1j * w * mu * conductivity)
    # scaled by exp(-Re k a), which the quotient does not feel
    wire = k * ive(0, k * inner) / ive(1, k * inner) / (2 * np.pi * inner * conductivity)
    tube = k / (2 * np.pi * outer * conductivity)
    inductance = mu / (2 * np.pi) * np.log(outer / inner)
    capacitance = 1 / (inductance * (velocity * SPEED_OF_LIGHT) ** 2)
    gamma = np.sqrt((wire + tube + 1j * w * inductance) * 1j * w * capacitance)
    in_db = gamma.real * 2000 / np.log(10)
    law = loss_law(list(zip(frequency / 1e6, in_db, strict=True)))
    line = Line(1.0, velocity, float(np.sqrt(inductance / capacitance)), *law)
    ours = line.propagation(frequency)
    assert ours.imag == pytest.approx(gamma.imag, rel=2e-3)
    assert ours.real == pytest.approx(gamma.real, rel=0.05)
    # what is inside the conductors matters: two percent of the phase at the lowest frequency
    plain = w / (velocity * SPEED_OF_LIGHT)
    assert gamma.imag[0] / plain[0] > 1.02
