"""One part of a network and how it is connected."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line

SERIES, SHUNT, SECTION = "series", "shunt", "section"
AnyPart = Inductor | Capacitor | Stub | Line


@dataclass(frozen=True, eq=False)
class Element:
    """One part and how it is connected.

    Parameters
    ----------
    name : str
        Such as ``"C1"``.
    place : str
        ``"series"``, ``"shunt"`` or, for a line in the way, ``"section"``.
    part : Inductor, Capacitor, Stub or Line
        The part.
    fixed : bool
        True for what is there already and is not chosen, such as the feed line.
    """

    name: str
    place: str
    part: AnyPart
    fixed: bool = False

    @property
    def value(self) -> Any:
        """Inductance [H], capacitance [F] or length [m]."""
        return self.part.length_m if isinstance(self.part, Line) else self.part.value

    @property
    def line(self) -> Line | None:
        """The line that it is made of, if it is."""
        part = self.part
        return part if isinstance(part, Line) else part.line if isinstance(part, Stub) else None

    @property
    def unit(self) -> str:
        """Unit of `value`: ``"H"``, ``"F"`` or ``"m"``."""
        if self.line is not None:
            return "m"
        return "H" if isinstance(self.part, Inductor) else "F"

    def in_words(self) -> str:
        """The value as it is written on a part.

        Returns
        -------
        str
            Such as ``"330 pF"`` or ``"0.965 m of 50 ohm"``.
        """
        if self.line is not None:
            return f"{self.value:.4g} m of {self.line.z0:.3g} ohm"
        power = int(np.clip(np.floor(np.log10(self.value) / 3 + 1e-9), -5, 0))
        return f"{self.value / 1000.0**power:.4g} {' mµnpf'[-power].strip()}{self.unit}"

    def with_value(self, value: Any) -> "Element":
        """The same element with another value.

        Parameters
        ----------
        value : array_like, shape () or (..., 1)
            Inductance [H], capacitance [F] or length [m].

        Returns
        -------
        Element
            Of the same name and place.
        """
        part = self.part
        if isinstance(part, Line):
            return replace(self, part=replace(part, length_m=value))
        return replace(self, part=part.with_value(value))

    def two_port(self, frequency: ArrayLike) -> TwoPort:
        """The element as a two-port.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        TwoPort
            From its source side to its load side.
        """
        if isinstance(self.part, Line):
            return self.part.two_port(frequency)
        z = self.part.impedance(frequency)
        return TwoPort.series(z) if self.place == SERIES else TwoPort.shunt(1 / z)

    def before(
        self, frequency: ArrayLike, volt: Complex, ampere: Complex
    ) -> tuple[Complex, Complex]:
        """Voltage and current at the source side from those at the load side.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        volt, ampere : ndarray, shape (..., F)
            At the load side [V, A].

        Returns
        -------
        volt, ampere : ndarray, shape (..., F)
            At the source side [V, A].
        """
        if isinstance(self.part, Line):
            zc, propagation = self.part.constants(frequency)
            grow = np.exp(propagation * self.part.length_m)
            ahead, back = (volt + zc * ampere) * grow / 2, (volt - zc * ampere) / grow / 2
            return ahead + back, (ahead - back) / zc
        z = self.part.impedance(frequency)
        if self.place == SERIES:
            return volt + z * ampere, ampere
        return volt, ampere + volt / z

    def _through(self, near: tuple[Complex, Complex], far: tuple[Complex, Complex]) -> Complex:
        """Current through the part; a section's is the one at its source side."""
        return near[1] - far[1] if self.place == SHUNT else near[1]

    def slope(
        self, frequency: ArrayLike, near: tuple[Complex, Complex], far: tuple[Complex, Complex]
    ) -> Complex:
        """Derivative of the network's input impedance by the logarithm of the value.

        By reciprocity a change dZ of a part whose current is I changes the input impedance by
        ``(I / I_in)^2 dZ`` (Tellegen's theorem); here without the division.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        near, far : tuple of ndarray, shape (..., F)
            Voltage and current at its source side and load side.

        Returns
        -------
        ndarray, shape (..., F)
            Derivative times the square of the input current [ohm A^2].
        """
        current = self._through(near, far)
        if not isinstance(self.part, Line):
            return current**2 * self.part.slope(frequency)
        zc, propagation = self.part.constants(frequency)
        return propagation * self.part.length_m * (zc * near[1] ** 2 - near[0] ** 2 / zc)

    def peaks(
        self, frequency: ArrayLike, near: tuple[Complex, Complex], far: tuple[Complex, Complex]
    ) -> tuple[Real, Real]:
        """Largest voltage across the part and current through it, along it for a line.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        near, far : tuple of ndarray, shape (..., F)
            Voltage and current at its source side and load side.

        Returns
        -------
        volt, ampere : ndarray, shape (..., F)
            Magnitudes, in the unit of `near`.
        """
        current = self._through(near, far)
        volt = near[0] - far[0] if self.place == SERIES else near[0]
        if self.line is None:
            return np.abs(volt), np.abs(current)
        line = self.line
        zc, propagation = line.constants(frequency)
        waves = np.max(line.length_m / line.wavelength_m(frequency))
        share = np.linspace(0, 1, 2 + min(int(128 * waves), 2000))
        share = share.reshape(-1, *(1,) * max(volt.ndim, 1))
        grow = np.exp(propagation * line.length_m * share)
        ahead, back = (volt + zc * current) / 2 / grow, (volt - zc * current) / 2 * grow
        return np.abs(ahead + back).max(axis=0), np.abs((ahead - back) / zc).max(axis=0)
