"""Two-ports as chain (ABCD) matrices: what reflection alone cannot say, such as power.

``[V1, I1] = [[a, b], [c, d]] [V2, I2]`` with ``I2`` flowing into the load. Source: the usual
definition, for example D. M. Pozar, Microwave Engineering, section 4.4 and table 4.1.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real


@dataclass(frozen=True, eq=False, slots=True)
class TwoPort:
    """A linear two-port, one chain matrix per frequency (and per draw).

    Parameters
    ----------
    a, d : array_like, shape (..., F)
        Voltage and current ratios [1].
    b : array_like, shape (..., F)
        Transfer impedance [ohm].
    c : array_like, shape (..., F)
        Transfer admittance [S].
    """

    a: Complex
    b: Complex
    c: Complex
    d: Complex

    @classmethod
    def series(cls, impedance: ArrayLike) -> "TwoPort":
        """One impedance in the way.

        Parameters
        ----------
        impedance : array_like, shape (..., F)
            Impedance [ohm].

        Returns
        -------
        TwoPort
            The chain matrix.
        """
        z = np.asarray(impedance, complex)
        return cls(np.ones_like(z), z, np.zeros_like(z), np.ones_like(z))

    @classmethod
    def shunt(cls, admittance: ArrayLike) -> "TwoPort":
        """One admittance across the way.

        Parameters
        ----------
        admittance : array_like, shape (..., F)
            Admittance [S].

        Returns
        -------
        TwoPort
            The chain matrix.
        """
        y = np.asarray(admittance, complex)
        return cls(np.ones_like(y), np.zeros_like(y), y, np.ones_like(y))

    @classmethod
    def line(cls, z0: ArrayLike, propagation_length: ArrayLike) -> "TwoPort":
        """A uniform transmission line.

        Parameters
        ----------
        z0 : array_like, shape (..., F)
            Characteristic impedance [ohm], complex where the line has loss.
        propagation_length : array_like, shape (..., F)
            Propagation constant times length [Np + j rad].

        Returns
        -------
        TwoPort
            The chain matrix.
        """
        z0, turn = np.asarray(z0, complex), np.asarray(propagation_length, complex)
        cosh, sinh = np.cosh(turn), np.sinh(turn)
        return cls(cosh, z0 * sinh, sinh / z0, cosh)

    @classmethod
    def from_s(cls, s: ArrayLike, z_ref: float = 50.0) -> "TwoPort":
        """The chain matrix of a two-port given by scattering parameters.

        Parameters
        ----------
        s : array_like, shape (..., F, 2, 2)
            Scattering parameters [1], the same reference impedance on both ports.
        z_ref : float
            Their reference impedance [ohm].

        Returns
        -------
        TwoPort
            The chain matrix, from port 1 to port 2.
        """
        s = np.asarray(s, complex)
        s11, s12, s21, s22 = s[..., 0, 0], s[..., 0, 1], s[..., 1, 0], s[..., 1, 1]
        through = s12 * s21
        return cls(
            ((1 + s11) * (1 - s22) + through) / (2 * s21),
            z_ref * ((1 + s11) * (1 + s22) - through) / (2 * s21),
            ((1 - s11) * (1 - s22) - through) / (2 * s21 * z_ref),
            ((1 - s11) * (1 + s22) + through) / (2 * s21),
        )

    def to_s(self, z_ref: float = 50.0) -> Complex:
        """Scattering parameters, the same reference impedance on both ports.

        Parameters
        ----------
        z_ref : float
            Reference impedance [ohm].

        Returns
        -------
        ndarray, shape (..., F, 2, 2)
            Scattering parameters [1].
        """
        a, b, c, d = self.a, self.b / z_ref, self.c * z_ref, self.d
        total = a + b + c + d
        top = np.stack([a + b - c - d, 2 * (a * d - b * c)], axis=-1)
        bottom = np.stack([2 * np.ones_like(total), -a + b - c + d], axis=-1)
        return np.stack([top, bottom], axis=-2) / total[..., None, None]

    def __matmul__(self, beyond: "TwoPort") -> "TwoPort":
        """Cascade: this two-port first, `beyond` between it and the load."""
        return TwoPort(
            self.a * beyond.a + self.b * beyond.c,
            self.a * beyond.b + self.b * beyond.d,
            self.c * beyond.a + self.d * beyond.c,
            self.c * beyond.b + self.d * beyond.d,
        )

    def input_impedance(self, load: ArrayLike) -> Complex:
        """Impedance at the input with a load at the output.

        Parameters
        ----------
        load : array_like, shape (..., F)
            Load impedance [ohm], finite.

        Returns
        -------
        ndarray
            Input impedance [ohm].
        """
        load = np.asarray(load, complex)
        return (self.a * load + self.b) / (self.c * load + self.d)

    def bilinear(self, z_ref: float = 50.0) -> Bilinear:
        """The map from the load's reflection to the one seen at the input.

        Parameters
        ----------
        z_ref : float
            Reference impedance of both reflections [ohm].

        Returns
        -------
        Bilinear
            ``seen = (S11 - det(S) x) / (1 - S22 x)``, without the division.
        """
        a, b, c, d = self.a, self.b / z_ref, self.c * z_ref, self.d
        return Bilinear(a - b - c + d, a + b - c - d, a - b + c - d, a + b + c + d)

    def power_gain(self, load: ArrayLike) -> Real:
        """Power into the load over power into the input (the operating power gain).

        Parameters
        ----------
        load : array_like, shape (..., F)
            Load impedance [ohm], finite, with a resistance above zero.

        Returns
        -------
        ndarray
            Power ratio [1], 1 for a lossless two-port.
        """
        load = np.asarray(load, complex)
        # with I2 = 1: V1 = a Z + b, I1 = c Z + d, P1 = Re(V1 conj(I1)), P2 = Re(Z)
        into = ((self.a * load + self.b) * np.conj(self.c * load + self.d)).real
        return load.real / into
