"""A part between two ports, in series or across, by a through; and what a fixture adds to a part.

A series impedance Z between ports of Z1 and Z2 passes ``(Z1 + Z2) / (Z1 + Z2 + Z)`` of what a
through passes, an admittance Y across ports of Y1 and Y2 ``(Y1 + Y2) / (Y1 + Y2 + Y)`` (from the
chain matrices of D. M. Pozar, Microwave Engineering, table 4.1). So the ratio of both readings
gives Z in parts of Z1 + Z2, however the ports are matched, and a poor match is an error in parts
of it.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Analyzer
from rfcal.measurement.deembedding import FixtureBySweeps, across
from rfcal.measurement.error_terms import solve
from rfcal.measurement.propagate import at_plane
from rfcal.readings.sweep import TwoPortSweep
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes, combine

METHODS = ("reflection", "series-through", "shunt-through")


@dataclass(frozen=True)
class Ports:
    """What a transmission between two ports is worth, as standard uncertainties of each axis."""

    analyzer: Analyzer
    match: float = defaults.PORT_MATCH  # reflection of each port [1]
    isolation: float = defaults.ISOLATION  # what passes beside the part [1]

    def transmission(self, value: Complex, name: str) -> Quantity:
        """A reading of S21 [1]: noise, what leaks, and in parts of it drift and connections."""
        worth, path = self.analyzer, np.abs(value)
        effects = (
            *both_axes(f"{name}: noise", worth.noise, per_point=True),
            *both_axes("leakage between the ports", self.isolation),
            *both_axes(f"{name}: drift", worth.drift, slope=path),
            *both_axes(f"{name}: connection", np.sqrt(2) * worth.connection, slope=path),
        )
        return Quantity(value, effects)

    def mismatch(self, ratio: Complex) -> tuple[Effect, ...]:
        """What the match of both ports does to a part in parts of their impedances."""
        # Z1 + Z2 = 2 z0 (1 + reflection 1 + reflection 2), to first order
        pairs = (both_axes(f"match of port {i}", self.match, slope=ratio) for i in (1, 2))
        return tuple(effect for pair in pairs for effect in pair)


def reflection_through(
    part: Quantity, through: Quantity, ports: Ports, method: str, *, z_own: float, z_ref: float
) -> Quantity:
    """The reflection [1] that a part would have in `z_ref` [ohm], by its S21 and the through's."""
    s, t = part.value, part.value * 0 + through.value
    with np.errstate(divide="ignore", invalid="ignore"):
        # series: Z = 2 z0 (T / S - 1); across: Y = (2 / z0) (T / S - 1)
        ratio = t / s - 1
        scale = 2 * (z_own / z_ref if method == "series-through" else z_ref / z_own)
        sign = 1.0 if method == "series-through" else -1.0
        found = combine(ratio, (part, -t / s**2), (through, 1 / s)).plus(*ports.mismatch(ratio))
        value = scale * ratio
        # reflection = (z - 1) / (z + 1), or (1 - y) / (1 + y)
        return found.through(sign * (value - 1) / (value + 1), sign * 2 * scale / (value + 1) ** 2)


def reflection_of(
    sweep: TwoPortSweep, through: TwoPortSweep, ports: Ports, method: str, z_ref: float
) -> Quantity:
    """The same from two-port sweeps at the same frequencies, named by their labels."""
    part, empty = (ports.transmission(s.s[:, 1, 0], s.label) for s in (sweep, through))
    return reflection_through(part, empty, ports, method, z_own=sweep.z_ref, z_ref=z_ref)


def doubt_of(impedance: Any, method: str, ports: Ports, z_ref: float) -> np.ndarray:
    """Standard uncertainty of resistances [ohm] in parts of themselves, as a method sees them."""
    z = np.asarray(impedance, float) + 0j
    slope = 2 * z_ref / (z + z_ref) ** 2  # of reflection by impedance
    worth = ports.analyzer
    if method == "reflection":
        left = {**defaults.RESIDUAL, **(worth.residual or {})}
        x = (z - z_ref) / (z + z_ref)
        sizes = left["directivity"], left["tracking"] * x, left["source_match"] * x**2
        # each size of any phase, so half of its square in either axis
        variance = worth.noise**2 + worth.connection**2 + sum(np.abs(s) ** 2 for s in sizes) / 2
    else:
        s = 1 / (1 + (z / (2 * z_ref) if method == "series-through" else z_ref / (2 * z)))
        part, empty = ports.transmission(s, "part"), ports.transmission(np.ones_like(s), "through")
        through = reflection_through(part, empty, ports, method, z_own=z_ref, z_ref=z_ref)
        variance = through.variance()
    return np.asarray(np.sqrt(variance) / np.abs(slope * z))


def removed(
    frequency: Real, part: Quantity, opened: Quantity, shorted: Quantity, load: Quantity | None
) -> Quantity:
    """The part's reflection [1] without the fixture; the load is the reference impedance.

    With a load the fixture may be any: it is calibrated at its far end. Without one it is a stray
    impedance in series and then a stray admittance across.
    """
    far = defaults.PATH["far end"]
    if load is None:
        return across(part, FixtureBySweeps(), [opened, shorted], embed=False)
    zero = np.zeros(frequency.size, complex)
    known = [
        Quantity(zero + complex(value), both_axes(f"fixture: {name}", far))
        for name, value in (("short", -1.0), ("open", 1.0), ("load", 0.0))
    ]
    own = solve(frequency, ("short", "open", "load"), known, (shorted, opened, load))
    return at_plane(own, part, Quantity(zero))


def fixture_share(whole: Quantity, part: Quantity) -> Real:
    """How much of a part's impedance [1] a fixture had added to it."""
    before, after = ((1 + q.value) / (1 - q.value) for q in (whole, part))
    return np.abs(before - after) / np.abs(after)
