"""Parts between two ports against scikit-rf's own networks, and derived values against GTC."""

import GTC
import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0

from rfcal.components.throughs import Ports, doubt_of, reflection_of
from rfcal.maths.reflection import to_impedance
from rfcal.measurement.bench import Analyzer
from rfcal.measurement.propagate import impedance
from rfcal.readings.sweep import TwoPortSweep

FREQUENCY = skrf.Frequency(1, 100, 34, unit="MHz")
MEDIA = DefinedGammaZ0(FREQUENCY, z0=50)
OMEGA = 2 * np.pi * FREQUENCY.f
EXACT = Ports(Analyzer(noise=1e-9, connection=0.0, drift=0.0), match=0.0, isolation=0.0)


def swept(network, label):
    return TwoPortSweep(FREQUENCY.f, network.s, 50.0, label)


@pytest.mark.parametrize("z_ref", [50.0, 75.0])
@pytest.mark.parametrize(
    ("method", "part", "true"),
    [
        ("series-through", MEDIA.inductor(10e-6), 1j * OMEGA * 10e-6),
        ("series-through", MEDIA.capacitor(2e-12), 1 / (1j * OMEGA * 2e-12)),
        ("shunt-through", MEDIA.shunt_capacitor(10e-9), 1 / (1j * OMEGA * 10e-9)),
        ("shunt-through", MEDIA.shunt_inductor(20e-9), 1j * OMEGA * 20e-9),
    ],
)
def test_scikit_rf_gives_the_part_back_through_lines_and_pads(method, part, true, z_ref):
    # what lies on both sides is matched, and the through has it too
    way = MEDIA.line(0.7, "rad") ** skrf.Network(frequency=FREQUENCY, s=_pad(), z0=50)
    seen, empty = way**part**way, way**way
    found = reflection_of(swept(seen, "part"), swept(empty, "through"), EXACT, method, z_ref)
    np.testing.assert_allclose(to_impedance(found.value, z_ref), true, rtol=1e-9)


def _pad():
    """An attenuator of 6 dB without reflection."""
    return np.tile([[0, 0.5], [0.5, 0]], (FREQUENCY.npoints, 1, 1)).astype(complex)


def test_a_mismatch_is_an_error_in_parts_of_the_value():
    # ports of 50 (1 + r) / (1 - r) on both sides, which neither reading tells
    r = 0.03 + 0.02j
    port = 50 * (1 + r) / (1 - r)
    true = 1j * OMEGA * 10e-6
    seen = np.zeros((FREQUENCY.npoints, 2, 2), complex)
    seen[:, 1, 0] = 2 * port / (2 * port + true)
    read = TwoPortSweep(FREQUENCY.f, seen, 50.0, "part")
    through = TwoPortSweep(FREQUENCY.f, np.ones_like(seen), 50.0, "through")
    ports = Ports(EXACT.analyzer, match=0.03, isolation=0.0)
    z = impedance(reflection_of(read, through, ports, "series-through", 50.0), 50.0)
    off = np.abs(z.value - true) / np.abs(true)
    np.testing.assert_allclose(off, abs(1 / (1 + 2 * r) - 1), rtol=0.1)
    stated = np.sqrt(2 * z.variance()) / np.abs(z.value)
    np.testing.assert_allclose(stated, 0.03 * 2, rtol=0.1)


def test_gtc_gives_the_same_uncertainty():
    s, t = 0.03 - 0.08j, 0.97 + 0.05j
    worth = Ports(Analyzer(noise=0.001, connection=0.0, drift=0.0), match=0.02, isolation=0.0)
    sweeps = [
        TwoPortSweep(np.array([1e7]), np.array([[[0, 0], [value, 0]]], complex), 50.0, name)
        for value, name in ((s, "part"), (t, "through"))
    ]
    own = impedance(reflection_of(*sweeps, worth, "series-through", 50.0), 50.0)
    part, through = GTC.ucomplex(s, 0.001), GTC.ucomplex(t, 0.001)
    one, two = GTC.ucomplex(0, 0.02), GTC.ucomplex(0, 0.02)
    z = 100 * (1 + one + two) * (through / part - 1)
    assert own.value[0] == pytest.approx(z.x, rel=1e-12)
    np.testing.assert_allclose(own.covariance()[0].ravel(), np.array(z.v).ravel(), rtol=1e-9)


def test_each_method_wins_where_its_fixture_is_made_for():
    ports, ohm = Ports(Analyzer()), [1.0, 50.0, 5000.0]
    methods = ("shunt-through", "reflection", "series-through")
    doubt = np.array([doubt_of(ohm, method, ports, 50.0) for method in methods])
    assert list(np.argmin(doubt, axis=0)) == [0, 1, 2]
