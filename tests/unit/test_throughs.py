"""Parts between two ports: intervals hold in simulated sessions, a fixture is all taken away."""

import numpy as np
import pytest

from rfcal.components.throughs import Ports, fixture_share, reflection_through, removed
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.bench import Analyzer
from rfcal.measurement.propagate import impedance
from rfcal.record.findings.components import widest
from rfcal.uncertainty.coverage import K_AXIS, standard_uncertainty
from rfcal.uncertainty.quantity import Quantity

PORTS = Ports(Analyzer(noise=0.0005, connection=0.001, drift=0.0005), match=0.03, isolation=1e-4)


@pytest.mark.parametrize(
    ("method", "true"),
    [
        ("series-through", np.array([300 + 900j, 2500 - 400j, 40 + 60j])),
        ("shunt-through", np.array([0.5 + 2j, 4 - 9j, 30 + 20j])),
    ],
)
def test_intervals_between_two_ports_cover_what_they_say(method, true):
    """1,000 sessions: ports of any match, leakage, drift and connections by each reading."""
    rng, sessions = np.random.default_rng(7), 1000
    inside = np.zeros((true.size, 2))

    def off(deviation, points=1):
        return deviation * (rng.standard_normal(points) + 1j * rng.standard_normal(points))

    worth = PORTS.analyzer
    for _ in range(sessions):
        r1, r2 = off(PORTS.match), off(PORTS.match)
        z1, z2 = (50 * (1 + r) / (1 - r) for r in (r1, r2))
        across = 1 / true / (1 / z1 + 1 / z2)
        passes = 1 / (1 + (true / (z1 + z2) if method == "series-through" else across))
        leak = off(PORTS.isolation)
        readings = []
        for exact in (passes, np.ones_like(true)):
            own = 1 + off(worth.drift) + off(np.sqrt(2) * worth.connection)
            readings.append(exact * own + leak + off(worth.noise, true.size))
        part, through = (
            PORTS.transmission(value, name)
            for value, name in zip(readings, ("part", "through"), strict=True)
        )
        found = reflection_through(part, through, PORTS, method, z_own=50.0, z_ref=50.0)
        z = impedance(found, 50.0)
        half = K_AXIS * standard_uncertainty(z.covariance())
        error = np.stack([(z.value - true).real, (z.value - true).imag], axis=-1)
        inside += np.abs(error) <= half
    assert np.all((inside / sessions >= 0.927) & (inside / sessions <= 0.975)), inside / sessions


@pytest.mark.parametrize("loaded", [False, True])
def test_a_fixture_is_taken_away_exactly(loaded):
    frequency = np.array([1e6, 2e6, 3e6])
    w = 2 * np.pi * frequency
    part, wire, stray = 20 + 1j * w * 1e-6, 0.1 + 1j * w * 30e-9, 1j * w * 5e-12

    def seen(admittance):
        return Quantity(from_impedance(wire + 1 / (stray + admittance), 50.0))

    shorted, load = Quantity(from_impedance(wire, 50.0)), seen(1 / 50) if loaded else None
    whole = seen(1 / part)
    own = removed(frequency, whole, seen(0.0), shorted, load)
    np.testing.assert_allclose(own.value, from_impedance(part, 50.0), rtol=1e-9)
    added = np.abs(wire + 1 / (stray + 1 / part) - part) / np.abs(part)
    np.testing.assert_allclose(fixture_share(whole, own), added, rtol=1e-6)


def test_a_chokes_band_is_the_widest_without_a_gap():
    frequency = np.array([1.0, 2.0, 3.0, 8.0, 9.0, 30.0]) * 1e6
    low = np.array([1200, 1100, 900, 1500, 1500, 1500.0])
    assert widest(frequency, low >= 1000.0) == (8e6, 30e6)
    assert widest(frequency, low >= 5000.0) is None
