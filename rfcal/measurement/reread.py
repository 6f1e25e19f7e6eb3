"""The same artefact read a second time: how far it moved, and the drift that this speaks for."""

from dataclasses import dataclass

import numpy as np

from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration
from rfcal.uncertainty.curved_regions import region_of
from rfcal.uncertainty.quantity import Quantity

EXPLAINED = -np.log(0.05)
"""Squared change over its expected square up to which what was stated explains it: so much or more
happens by chance once in twenty, as the square of two normal variables has it."""


@dataclass(frozen=True, eq=False)
class Moved:
    """One artefact, read with the standards or as a check, and once more after the devices."""

    of: str  # its name
    calibration: Calibration  # at its frequencies
    first: Complex  # the first reading, corrected to the standards' plane [1]
    change: Quantity  # by which the second differs there [1], with all that was stated of both

    @property
    def frequency(self) -> Real:
        """Of the second reading [Hz]."""
        return self.calibration.frequency

    def squared(self) -> Real:
        """The square of the change, in the measure of what was stated of both readings [1]."""
        return region_of(self.change).squared_distance(Quantity(0 * self.first))

    def drift(self, frequency: Real) -> Real:
        """What drift of each error term explains the rest, standard deviations [1] at [Hz].

        What noise, connections, the display and the stated drift explain is no evidence of more.
        All error terms are taken to have drifted alike, and each of both axes by as much as the
        whole change: one reading shows one of many ways to move, and by chance a short one.
        """
        slopes = list(self.calibration.by_drift(self.first).values())
        # the square of what a drift of all terms changes, at the plane
        at_plane = np.abs(self.calibration.error_box.derivative(self.first)) ** 2
        by_drift = np.sum(np.abs(slopes) ** 2, axis=0) / at_plane
        explained = EXPLAINED * 2 * self.change.variance()
        more = np.maximum(np.abs(self.change.value) ** 2 - explained, 0.0)
        return np.interp(frequency, self.frequency, np.sqrt(more / by_drift))
