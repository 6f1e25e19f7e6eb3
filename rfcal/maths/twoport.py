"""Two-ports as chain (ABCD) matrices: what reflection alone cannot say, such as power.

``[V1, I1] = [[a, b], [c, d]] [V2, I2]`` with ``I2`` flowing into the load. Source: the usual
definition, for example D. M. Pozar, Microwave Engineering, section 4.4 and table 4.1.
"""

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.maths.arguments import drawn, numbers
from rfcal.maths.bilinear import Bilinear, Matrix
from rfcal.maths.reflection import Complex, Real


class TwoPort(Matrix):
    """A linear two-port, one chain matrix per frequency (and per draw).

    Ratio of voltages a [1], transfer impedance b [ohm], transfer admittance c [S] and ratio of
    currents d [1]; ``near @ beyond`` has `beyond` between it and the load.
    """

    @classmethod
    def series(cls, impedance: ArrayLike) -> "TwoPort":
        """One impedance [ohm] in the way."""
        z = numbers(impedance, "the impedance") + 0j
        return cls(np.ones_like(z), z, np.zeros_like(z), np.ones_like(z))

    @classmethod
    def shunt(cls, admittance: ArrayLike) -> "TwoPort":
        """One admittance [S] across the way."""
        y = numbers(admittance, "the admittance") + 0j
        return cls(np.ones_like(y), np.zeros_like(y), y, np.ones_like(y))

    @classmethod
    def line(cls, z0: ArrayLike, propagation_length: ArrayLike) -> "TwoPort":
        """A uniform line of impedance z0 [ohm] and propagation times length [Np + j rad]."""
        z0 = numbers(z0, "the line's impedance") + 0j
        turn = numbers(propagation_length, "propagation times length") + 0j
        cosh, sinh = np.cosh(turn), np.sinh(turn)
        return cls(cosh, z0 * sinh, sinh / z0, cosh)

    def input_impedance(self, load: ArrayLike) -> Complex:
        """Impedance [ohm] at the input with a load [ohm] at the output."""
        load = numbers(load, "the load")
        return (self.a * load + self.b) / (self.c * load + self.d)

    def bilinear(self, z_ref: float = defaults.REFERENCE_OHM) -> Bilinear:
        """The map from the load's reflection to the one seen at the input, both in z_ref [ohm].

        It is ``(S11 - det(S) x) / (1 - S22 x)``, without the division.
        """
        drawn(z_ref, "the reference impedance [ohm]", low=0, above=True)
        a, b, c, d = self.a, self.b / z_ref, self.c * z_ref, self.d
        return Bilinear._of(a - b - c + d, a + b - c - d, a - b + c - d, a + b + c + d)

    def power_gain(self, load: ArrayLike) -> Real:
        """Power into the load over power into the input (the operating power gain).

        The load [ohm] is finite, with a resistance above zero.
        """
        load = numbers(load, "the load")
        # with I2 = 1: V1 = a Z + b, I1 = c Z + d, P1 = Re(V1 conj(I1)), P2 = Re(Z)
        into = ((self.a * load + self.b) * np.conj(self.c * load + self.d)).real
        return load.real / into
