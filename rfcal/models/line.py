"""A uniform line: impedance, velocity factor and a loss law, with its exact two-port.

Losses are matched losses in dB per 100 m: a conductor term that goes with the square root of
frequency and a dielectric term that goes with frequency. The complex impedance and propagation
follow from R, L, G and C per metre (source: the telegrapher's equations, for example D. M. Pozar,
Microwave Engineering, section 2.1), so impedance and loss are consistent with each other. Current
that is pressed to the surface of a conductor by the skin effect leaves as much reactance inside
it as resistance (the surface impedance of a good conductor, ``(1 + j) Rs``; the same book, section
1.7): at a few megahertz a thin cable is slower by one to three percent than at high frequency.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.errors import ArgumentError
from rfcal.maths.arguments import (
    LEAST_OHM,
    MOST_OHM,
    deviations,
    drawn,
    frequencies,
    numbers,
    shown,
    together,
)
from rfcal.maths.bounded import nonnegative
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort

SPEED_OF_LIGHT = 299_792_458.0
"""In vacuum [m/s], exact by definition of the metre."""

NEPER_PER_DB = float(np.log(10) / 20)


LONGEST_M = 1e5
"""Longer than any line that is measured [m]."""
UNCERTAIN = {
    "length": 1e3,
    "velocity factor": 0.3,
    "impedance": 1e6,
    "loss": 1.0,
    "skin effect": 1.0,
}
"""What may be uncertain of a line, and more than its standard uncertainty is [m, 1, ohm, 1, 1]."""


@dataclass(frozen=True, eq=False)
class Line:
    """A uniform line of one kind.

    Parameters
    ----------
    length_m : float
        Physical length [m]. Like every number here it may be an array of draws, shape (N, 1);
        results then have shape (N, F).
    velocity_factor : float
        Speed on the line over the speed of light [1], where the frequency is high.
    z0 : float
        Characteristic impedance [ohm], where the frequency is high.
    conductor_db : float
        Conductor loss at 1 MHz [dB per 100 m]; goes with the square root of frequency.
    dielectric_db : float
        Dielectric loss at 1 MHz [dB per 100 m]; goes with frequency.
    skin : float
        Reactance inside the conductors over their resistance [1]: 1 for a developed skin effect,
        0 for a resistance that is no conductor's.
    uncertainty : mapping of str to float
        Standard uncertainties where it is removed or added: ``length`` [m], ``velocity factor``
        [1], ``impedance`` [ohm], ``loss`` and ``skin effect`` [1, relative]; for what is not
        stated its usual one is taken.

    Examples
    --------
    >>> line = Line(12.4, velocity_factor=0.66, conductor_db=0.55)
    >>> print(f"{line.wavelength_m(70e6):.3f} m, {line.loss_db_per_100m(70e6):.2f} dB per 100 m")
    2.827 m, 4.60 dB per 100 m
    >>> print(line.impedance(70e6).round(2), line.propagation(70e6).round(4))
    (50.12-0.12j) (0.0053+2.2282j)
    >>> box = line.two_port([70e6]).bilinear(50.0)
    >>> print(f"a short at its end reads {abs(box.apply(-1.0)[0]):.2f}")
    a short at its end reads 0.88
    """

    length_m: float
    velocity_factor: float = defaults.VELOCITY_FACTOR
    z0: float = defaults.REFERENCE_OHM
    conductor_db: float = 0.0
    dielectric_db: float = 0.0
    skin: float = 1.0
    uncertainty: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, what, limits in _LIMITS:
            object.__setattr__(self, name, drawn(getattr(self, name), what, **limits))
        stated = deviations(self.uncertainty, "a line", UNCERTAIN)
        object.__setattr__(self, "uncertainty", stated)

    def wavelength_m(self, frequency: ArrayLike) -> Real:
        """Length of one wave on the line, its losses taken away.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        ndarray, shape (F,)
            Wavelength [m].
        """
        return self.velocity_factor * SPEED_OF_LIGHT / frequencies(frequency)

    def loss_db_per_100m(self, frequency: ArrayLike) -> Real:
        """Matched loss by the loss law.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        ndarray, shape (F,)
            Loss [dB per 100 m].
        """
        megahertz = frequencies(frequency) / 1e6
        return self.conductor_db * np.sqrt(megahertz) + self.dielectric_db * megahertz

    def per_metre(self, frequency: ArrayLike) -> tuple[Complex, Complex]:
        """Series impedance and shunt admittance of a metre of line.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        series : ndarray, shape (F,)
            R + j w L [ohm/m], what is inside the conductors in it.
        shunt : ndarray, shape (F,)
            G + j w C [S/m].
        """
        megahertz = frequencies(frequency) / 1e6
        conductor = self.conductor_db * np.sqrt(megahertz) * (NEPER_PER_DB / 100)
        both = conductor + self.dielectric_db * megahertz * (NEPER_PER_DB / 100)
        phase = 2e6 * np.pi * megahertz / (self.velocity_factor * SPEED_OF_LIGHT)
        # Re(gamma) is the stated loss: first R for the conductor's, then G for the rest of it;
        # with z0 = 1. From gamma^2 = S (G + jB): 4 a^4 - 4 a^2 Re(gamma^2) = Im(gamma^2)^2
        s, a2 = self.skin, both**2
        r = 2 * conductor / phase
        r = r * (conductor * s + np.sqrt(conductor**2 * (1 + s * s) + phase**2))
        x = phase + s * r
        rest = 4 * a2 * a2 + 4 * a2 * x * phase - (r * phase) ** 2
        half = r * (phase * x + 2 * a2)
        # without any loss zero; no conductor's loss with a reactance below zero is this large
        root = np.sqrt(np.maximum(half**2 + x * x * rest, 0.0))
        g = rest / (half + root + 1e-300)
        g = np.where(np.equal(self.dielectric_db, 0), 0.0, g)
        return np.asarray(self.z0 * (r + 1j * x)), np.asarray((g + 1j * phase) / self.z0)

    def propagation(self, frequency: ArrayLike) -> Complex:
        """Propagation constant.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        ndarray, shape (F,)
            Attenuation and phase [Np/m + j rad/m].
        """
        return self.constants(frequency)[1]

    def impedance(self, frequency: ArrayLike) -> Complex:
        """Characteristic impedance, complex as the loss asks.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        ndarray, shape (F,)
            Impedance [ohm].
        """
        return self.constants(frequency)[0]

    def constants(self, frequency: ArrayLike) -> tuple[Complex, Complex]:
        """Characteristic impedance and propagation constant together.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        impedance : ndarray, shape (F,)
            As by `impedance` [ohm].
        propagation : ndarray, shape (F,)
            As by `propagation` [Np/m + j rad/m].
        """
        series, shunt = self.per_metre(frequency)
        propagation = np.sqrt(series * shunt)
        return propagation / shunt, propagation

    def two_port(self, frequency: ArrayLike, length_m: ArrayLike | None = None) -> TwoPort:
        """The line, or a piece of it, as a two-port.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        length_m : array_like, shape (F,), optional
            Length of the piece [m]; the whole line by default.

        Returns
        -------
        TwoPort
            From the near end to the far end.
        """
        what = "the length of a piece of line [m]"
        length = numbers(self.length_m if length_m is None else length_m, what)
        if not (np.isrealobj(length) and np.all((length >= 0) & (length < np.inf))):
            raise ArgumentError(f"{what} is {shown(length_m)}, and zero or more is possible")
        impedance, propagation = self.constants(frequency)
        together([propagation, length], "frequencies and lengths")
        return TwoPort.line(impedance, propagation * length)


_LIMITS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("length_m", "the length of a line [m]", {"low": 0, "high": LONGEST_M}),
    ("velocity_factor", "a velocity factor [1]", {"low": 0, "above": True, "high": 1}),
    ("z0", "the impedance of a line [ohm]", {"low": LEAST_OHM, "high": MOST_OHM}),
    ("conductor_db", "the conductor loss of a line [dB]", {"low": 0}),
    ("dielectric_db", "the dielectric loss of a line [dB]", {"low": 0}),
    ("skin", "the skin effect of a line [1]", {"low": -10, "high": 10}),
)


def loss_law(table: Sequence[tuple[float, ...]]) -> tuple[float, float]:
    """Conductor and dielectric loss at 1 MHz [dB per 100 m] that fit rows of MHz and loss best.

    Each row weighs by its relative error, and both losses are zero or more.
    """
    megahertz, loss = np.array(table, float).T
    columns = np.stack([np.sqrt(megahertz), megahertz], axis=-1) / loss[:, None]
    if len(table) == 1:  # one row cannot tell the two apart: take it as conductor loss
        columns = columns * [1, 0]
    (conductor, dielectric), _ = nonnegative(columns, np.ones(len(table)))
    return float(conductor), float(dielectric)
