"""Coils that are wound: turns, diameter, length and wire of a single layer in air.

Inductance: H. A. Wheeler, Simple inductance formulas for radio coils, Proc. IRE 16 (1928), page
1398, within 1 % where the coil is longer than 0.4 of its diameter. Its own capacitance: R. G.
Medhurst, H.F. resistance and self-capacitance of single-layer solenoids, Wireless Engineer 24
(1947), by the usual fit to his table (value from memory).
"""

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np

from rfcal.defaults import FORMERS_M, PITCH, WIRES

MU_0 = 4e-7 * np.pi
SHAPE = (0.4, 2.5)
"""Least and largest length of a coil, in its diameters: by the formula, and by what stands."""


@dataclass(frozen=True)
class Winding:
    """A single layer of round wire in air."""

    turns: int
    inside_m: float  # diameter of what it is wound on
    length_m: float  # turns times pitch: from middle to middle of the wire at its two ends
    wire_m: float  # diameter

    @property
    def diameter_m(self) -> float:
        """From middle to middle of the wire [m]."""
        return self.inside_m + self.wire_m

    @property
    def capacitance_f(self) -> float:
        """Its own, by Medhurst [F]."""
        # C / pF = D / cm (0.1126 l/D + 0.08 + 0.27 / sqrt(l/D))
        slim = self.length_m / self.diameter_m
        return 1e-10 * self.diameter_m * (0.1126 * slim + 0.08 + 0.27 / np.sqrt(slim))

    @property
    def ruler_mm(self) -> float:
        """Its length as a ruler shows it [mm]."""
        length = 1e3 * self.length_m
        return round(length, 1) if length < 10 else round(2 * length) / 2

    def length_at(self, times: float, turns: int) -> float:
        """Its length [m] with some turns where it has one over so many times its inductance."""
        # L goes as n^2 / (l + 0.9 r)
        end = 0.45 * self.diameter_m
        return float(times * (turns / self.turns) ** 2 * (self.length_m + end) - end)

    def back_from(self, times: float) -> "Winding | None":
        """What to make of one of so many times its inductance, with as few turns changed."""
        for turns in sorted(range(1, 3 * self.turns), key=lambda n: abs(n - self.turns)):
            length = self.length_at(times, turns)
            if PITCH[0] <= length / self.wire_m / turns <= PITCH[2]:
                return replace(self, turns=turns, length_m=length)
        return None


def wound(inductance_h: float, ampere: float = 0.0) -> Winding | None:
    """The smallest coil in air of an inductance for a peak current [A]; None where there is none.

    Whole turns, drawn out until the inductance is met.
    """
    wire = next(wire for most, wire in WIRES if ampere <= most)
    for inside in FORMERS_M:
        r = (inside + wire) / 2
        a, pitch = MU_0 * np.pi * r**2, PITCH[1] * wire
        # a n^2 = L (n pitch + 0.9 r), for n
        half = inductance_h * pitch / (2 * a)
        turns = round(half + np.sqrt(half**2 + 0.9 * r * inductance_h / a))
        length = a * turns**2 / inductance_h - 0.9 * r
        low = max(PITCH[0] * wire * turns, SHAPE[0] * 2 * r)
        high = min(PITCH[2] * wire * turns, SHAPE[1] * 2 * r)
        if turns >= 2 and low <= length <= high:
            return Winding(turns, inside, float(length), wire)
    return None


@cache
def largest_coil(omega: float) -> float:
    """The largest coil [H] whose own capacitance resonates with it above a frequency [rad/s].

    Infinite where coils of every size that can be wound do.
    """
    for smaller, inductance_h in pairwise(np.geomspace(1e-9, 1e-3, 121)):
        coil = wound(inductance_h)
        if coil and omega**2 * inductance_h * coil.capacitance_f > 1:
            return float(smaller)
    return np.inf
