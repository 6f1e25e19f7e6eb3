"""What is simulated, by textbook formulas of its own: two-ports, lines, terminations, devices.

Everything is a function of frequency [Hz] that gives reflections [1] in 50 ohm.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

LIGHT = 299_792_458.0
NEPER = np.log(10) / 20
Curve = Callable[[np.ndarray], np.ndarray]


def reflected(z):
    """Reflection in 50 ohm of an impedance [ohm]."""
    return (z - 50) / (z + 50)


def impedance(x):
    """Impedance [ohm] of a reflection in 50 ohm."""
    return 50 * (1 + x) / (1 - x)


@dataclass(frozen=True)
class Box:
    """A two-port by S11, S12 S21 and S22, as it is passed through by a reflection behind it."""

    s11: np.ndarray
    s21s12: np.ndarray
    s22: np.ndarray

    def seen(self, x):
        # G1 = S11 + S21 S12 G / (1 - S22 G)
        return self.s11 + self.s21s12 * x / (1 - self.s22 * x)

    def then(self, other: "Box") -> "Box":
        # cascade by its signal flow graph
        loop = 1 - self.s22 * other.s11
        return Box(
            self.s11 + self.s21s12 * other.s11 / loop,
            self.s21s12 * other.s21s12 / loop**2,
            other.s22 + other.s21s12 * self.s22 / loop,
        )


Boxes = Callable[[np.ndarray], Box]


@dataclass(frozen=True)
class Coax:
    """A line with skin effect and dielectric loss; losses in dB per 100 m at 1 MHz."""

    length: float
    velocity: float
    z0: float
    conductor: float
    dielectric: float
    skin: float = 1.0  # reactance inside the conductors over their resistance

    def __call__(self, f) -> Box:
        # telegrapher's equations: gamma^2 = (R + jwL)(G + jwC), zc^2 = (R + jwL) / (G + jwC)
        mhz, w = f / 1e6, 2 * np.pi * f
        slow = 1 / (self.velocity * LIGHT)
        r = 2 * self.z0 * self.conductor * np.sqrt(mhz) * NEPER / 100
        g = 2 / self.z0 * self.dielectric * mhz * NEPER / 100
        series, shunt = (
            r * (1 + 1j * self.skin) + 1j * w * self.z0 * slow,
            g + 1j * w * slow / self.z0,
        )
        mismatch = reflected(np.sqrt(series / shunt))
        trip = np.exp(-2 * np.sqrt(series * shunt) * self.length)
        below = 1 - mismatch**2 * trip
        end = mismatch * (1 - trip) / below
        return Box(end, trip * (1 - mismatch**2) ** 2 / below**2, end)

    def loss(self, mhz):
        """Matched loss [dB per 100 m]."""
        return self.conductor * np.sqrt(mhz) + self.dielectric * mhz


def law(rows) -> tuple[float, float]:
    """Conductor and dielectric loss at 1 MHz of rows of MHz and dB per 100 m, by least squares."""
    mhz, db = np.array(rows).T
    columns = np.stack([np.sqrt(mhz), mhz], 1) / db[:, None]
    found = np.linalg.lstsq(columns, np.ones(len(mhz)), rcond=None)[0]
    return float(found[0]), float(max(found[1], 0.0))


def termination(kind, *, r=50.0, h=0.0, c=0.0, delay=0.0, residual=0j) -> Curve:
    """A short, open or load with strays behind a line of 50 ohm, off by a residual."""

    def curve(f):
        w = 2 * np.pi * f
        admittance = 1j * w * c
        if kind != "open":
            branch = 1j * w * h + (r if kind == "load" else 0.0)
            admittance = admittance + 1 / (branch + 1e-12)
        # G = (Y0 - Y) / (Y0 + Y), turned by the round trip
        end = (1 - 50 * admittance) / (1 + 50 * admittance)
        return end * np.exp(-2j * w * delay) + residual

    return curve


def antenna(f0, r, q, drop) -> Curve:
    """A series resonance whose resistance rises as some power of frequency, a little C across it.

    It rises as a small antenna's does, by a coil across it, and so is causal as all that there is.
    """
    corner = np.sqrt(2 / drop - 1)  # where d ln R / d ln f is that power

    def curve(f):
        turn = f / f0
        radiated = r * (1 + corner**-2) / (1 + 1 / (1j * corner * turn))
        z = radiated + 1j * r * (q * (turn - 1 / turn) - 1 / corner / turn)
        return reflected(z / (1 + z * 2j * np.pi * f * 1e-12))

    return curve


def part(f0, r, x, q, stray) -> Curve:
    """A resistor, coil or capacitor of R and X [ohm] at one frequency, with its strays."""

    def curve(f):
        turn = f / f0
        reactance = x * turn if x > 0 else x / turn
        # the skin effect leaves as much reactance inside a conductor as resistance
        z = r + abs(x) / q * np.sqrt(turn) * (1 + 1j) + 1j * reactance
        if x > 0:  # a coil resonates with what lies across it, at `stray` times the frequency
            return reflected(1 / (1 / z + 1j * turn / (x * stray**2)))
        return reflected(z + 2j * np.pi * f * 1e-9)

    return curve


def analyzer(rng) -> Boxes:
    """A raw instrument of modest quality; its error terms turn and swell smoothly."""
    sizes = rng.uniform([0.02, 0.02, 0.8], [0.15, 0.2, 1.0])
    phase, swell = rng.uniform(0, 2 * np.pi, 3), rng.uniform(-0.05, 0.05, 3)
    delay = rng.uniform(0.05e-9, 0.6e-9, 3)
    phase[2] = rng.normal(0, 0.1)

    def box(f):
        turn = [np.exp(1j * (p - 2 * np.pi * f * d)) for p, d in zip(phase, delay, strict=True)]
        size = [s * (1 + k * np.sin(f / 150e6)) for s, k in zip(sizes, swell, strict=True)]
        return Box(size[0] * turn[0], size[2] * turn[2], size[1] * turn[1])

    return box
