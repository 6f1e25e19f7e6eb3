"""Parts that match: real inductors, capacitors and stubs, and the values that are sold.

Losses are given as a Q that is the same at every frequency (common practice, no source); a coil's
own capacitance is in parallel with it and the inductance of a capacitor's leads in series.
Preferred values: IEC 60063 (E6 to E24 from its table, E48 and finer by its rule).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.arguments import choice, drawn
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import Line


def _omega(frequency: ArrayLike) -> Real:
    return 2 * np.pi * np.asarray(frequency, float)


def _require(part: object, value: str, stray: str) -> None:
    """Refuse a part without a value or a Q, and a stray below zero."""
    for name, above in ((value, True), ("q", True), (stray, False)):
        what = f"{type(part).__name__}: {name}"
        given = drawn(getattr(part, name), what, low=0, above=above, infinite=name == "q")
        object.__setattr__(part, name, given)


@dataclass(frozen=True, eq=False)
class Inductor:
    """A coil; every number may be an array, shape (N, 1), of draws."""

    inductance_h: ArrayLike
    q: float = np.inf  # of the coil without its own capacitance; infinite without loss
    parallel_f: float = 0.0  # the coil's own capacitance

    def __post_init__(self) -> None:
        _require(self, "inductance_h", "parallel_f")

    def impedance(self, frequency: ArrayLike) -> Complex:
        """Impedance between the terminals [ohm]."""
        # Z = j w L + w L / Q
        coil: Complex = _omega(frequency) * (np.asarray(self.inductance_h) * (1j + 1 / self.q))
        if not np.any(self.parallel_f):
            return coil
        # 1/Z = 1/Z_coil + j w C
        return coil / (1 + 1j * _omega(frequency) * self.parallel_f * coil)


@dataclass(frozen=True, eq=False)
class Capacitor:
    """A capacitor; every number may be an array, shape (N, 1), of draws."""

    capacitance_f: ArrayLike
    q: float = np.inf  # without the leads; infinite without loss
    series_h: float = 0.0  # inductance of the leads

    def __post_init__(self) -> None:
        _require(self, "capacitance_f", "series_h")

    def impedance(self, frequency: ArrayLike) -> Complex:
        """Impedance between the terminals [ohm]."""
        omega = _omega(frequency)
        # Z = 1/(j w C) + 1/(w C Q)
        plates: Complex = (1 / self.q - 1j) / (omega * np.asarray(self.capacitance_f))
        return plates + 1j * omega * self.series_h


@dataclass(frozen=True, eq=False)
class Stub:
    """A piece of line with its far end open or short."""

    line: Line  # of the stub's length
    end: str  # "open" or "short"

    def __post_init__(self) -> None:
        choice(self.end, "the far end of a stub", ("open", "short"))
        if not isinstance(self.line, Line):
            raise ArgumentError(f"a stub is a piece of Line, found {type(self.line).__name__}")

    def impedance(self, frequency: ArrayLike) -> Complex:
        """Impedance between the terminals [ohm]."""
        zc, propagation = self.line.constants(frequency)
        trip = np.exp(-2 * propagation * self.line.length_m)
        # Z = Zc tanh(gamma l) short, Zc coth(gamma l) open
        return zc * (1 - trip) / (1 + trip) if self.end == "short" else zc * (1 + trip) / (1 - trip)


_E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"


def _decade(series: str) -> Real:
    count = int(series[1:])
    if count <= 24:  # E12 and E6 are every second and every fourth of E24
        return np.array(_E24.split()[:: 24 // count], float) / 10
    values = np.round(100 * 10 ** (np.arange(count) / count)) / 100
    if series == "E192":
        values[185] = 9.2  # the standard's one departure from its own rule
    return values


E_SERIES = {name: _decade(name) for name in ("E6", "E12", "E24", "E48", "E96", "E192")}
"""The preferred numbers of one decade, from 1 up [1]."""


def preferred(index: ArrayLike, series: str = defaults.PREFERRED) -> Real:
    """Preferred values counted through all decades; number 0 is 1."""
    decade = E_SERIES[series]
    power, place = np.divmod(np.asarray(index), decade.size)
    return decade[place] * 10.0**power


def preferred_below(value: ArrayLike, series: str = defaults.PREFERRED) -> np.ndarray:
    """Index of the largest preferred value that is not above a value."""
    decade = E_SERIES[series]
    value = np.asarray(value, float) * (1 + 1e-9)
    power = np.floor(np.log10(value)).astype(int)
    place = np.searchsorted(decade, value / 10.0**power, side="right") - 1
    return power * decade.size + place
