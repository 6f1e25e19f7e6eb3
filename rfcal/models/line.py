"""A uniform cable: what it does to a reflection at its far end."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort

SPEED_OF_LIGHT = 299_792_458.0
"""In vacuum [m/s], exact by definition of the metre."""

NEPER_PER_DB = np.log(10) / 20


@dataclass(frozen=True)
class Line:
    """A cable of one kind.

    Parameters
    ----------
    length_m : float
        Physical length [m].
    velocity_factor : float
        Speed on the cable over the speed of light [1].
    z0 : float
        Characteristic impedance [ohm], taken as real.
    loss_db_per_100m : float
        Matched loss [dB per 100 m] at the frequencies in question.
    """

    length_m: float
    velocity_factor: float = 0.66
    z0: float = 50.0
    loss_db_per_100m: float = 0.0

    def wavelength_m(self, frequency: ArrayLike) -> Real:
        """Length of one wave on the cable.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        ndarray, shape (F,)
            Wavelength [m].
        """
        return self.velocity_factor * SPEED_OF_LIGHT / np.asarray(frequency, float)

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
        attenuation = self.loss_db_per_100m / 100 * NEPER_PER_DB
        return attenuation + 2j * np.pi / self.wavelength_m(frequency)

    def two_port(self, frequency: ArrayLike, length_m: ArrayLike | None = None) -> TwoPort:
        """The cable, or a piece of it, as a two-port.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        length_m : array_like, shape (F,), optional
            Length of the piece [m]; the whole cable by default.

        Returns
        -------
        TwoPort
            From the near end to the far end.
        """
        length = self.length_m if length_m is None else np.asarray(length_m, float)
        return TwoPort.line(self.z0, self.propagation(frequency) * length)
