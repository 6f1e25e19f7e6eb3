"""Distance to fault on simulated lines with noise: 200 random cases, and what is refused."""

import numpy as np
import pytest

from rfcal.errors import CalibrationError
from rfcal.models.line import Line
from rfcal.tasks.reflectometry import find_events

WIDE = np.linspace(1e6, 160e6, 401)
BAND = np.linspace(50e6, 150e6, 201)


def line_with_fault(rng, frequency):
    """Reflection of a line with a shunt or series fault on the way, and what is known of it."""
    length, velocity = rng.uniform(8, 80), rng.uniform(0.66, 0.9)
    loss = rng.uniform(0.1, 1.0)  # up to 10 dB per 100 m at 100 MHz
    place = rng.uniform(0.15, 0.85) * length
    end = rng.choice([0.0, np.inf, 50.0])
    line = Line(length, velocity, rng.uniform(48, 52), loss)
    z = line.two_port(frequency, length - place).bilinear(50.0).apply(
        np.full(frequency.size, 1.0 if np.isinf(end) else (end - 50) / (end + 50), complex)
    )  # fmt: skip
    z = 50 * (1 + z) / (1 - z)
    z = 1 / (1 / z + 1 / rng.uniform(20, 120)) if rng.random() < 0.5 else z + rng.uniform(20, 120)
    seen = line.two_port(frequency, place).bilinear(50.0).apply((z - 50) / (z + 50))
    noise = rng.standard_normal((2, frequency.size))
    return seen + 0.001 * (noise[0] + 1j * noise[1]), line, place


@pytest.mark.parametrize(("name", "frequency"), [("wide", WIDE), ("band", BAND)])
def test_fault_is_found_within_a_third_of_a_metre(name, frequency):
    """200 random lines: the larger of 0.3 m and a tenth of the resolution."""
    rng = np.random.default_rng(len(name))
    worst = 0.0
    for _ in range(100):
        reflection, line, place = line_with_fault(rng, frequency)
        found = find_events(
            frequency,
            reflection,
            velocity_factor=line.velocity_factor,
            loss_db_per_100m=line.loss_db_per_100m(frequency),
            noise=0.001,
        )
        off = min(abs(event.distance_m - place) for event in found.events)
        worst = max(worst, off)
        assert len(found.events) <= 6
    assert worst < 0.3


def test_kinds_and_loss_compensation():
    line = Line(40.0, 0.85, 50.0, 0.8)
    for end, kind in ((1.0, "open"), (-1.0, "short"), (0.3, "higher impedance")):
        seen = line.two_port(WIDE).bilinear(50.0).apply(np.full(401, end, complex))
        (event,) = find_events(
            WIDE, seen, velocity_factor=0.85, loss_db_per_100m=line.loss_db_per_100m(WIDE)
        ).events
        assert event.kind == kind
        assert event.distance_m == pytest.approx(40.0, abs=0.05)
        assert abs(event.reflection) == pytest.approx(abs(end), rel=0.05)
        assert abs(seen[-1]) < 0.7 * abs(end) or abs(end) < 0.5


def test_a_perfect_line_has_no_events():
    rng = np.random.default_rng(2)
    noise = 0.0005 * (rng.standard_normal(401) + 1j * rng.standard_normal(401))
    assert find_events(WIDE, noise, velocity_factor=0.7).events == ()


def test_resolution_and_range_are_stated():
    """160 MHz wide in steps of 0.25 MHz at velocity factor 0.66: 0.618 m and 395.7 m.

    Computed from c v / (2 B) and c v / (2 df); common practice, no source.
    """
    frequency = np.arange(1e6, 161e6 + 1, 0.25e6)
    found = find_events(frequency, np.full(641, 0.1 + 0j), velocity_factor=0.66)
    assert found.resolution_m == pytest.approx(0.618, abs=0.001)
    assert found.range_m == pytest.approx(395.7, abs=0.1)


def test_uneven_or_short_sweeps_are_refused():
    with pytest.raises(CalibrationError, match="equal steps"):
        find_events(np.geomspace(1e6, 1e8, 50), np.zeros(50, complex), velocity_factor=0.7)
    with pytest.raises(CalibrationError, match="16 or more"):
        find_events(np.linspace(1e6, 1e8, 5), np.zeros(5, complex), velocity_factor=0.7)
