"""The same artefact read a second time: how far it moved, and the drift that this speaks for."""

from dataclasses import dataclass

import numpy as np

from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration
from rfcal.uncertainty.coverage import as_normal, degrees_of_freedom
from rfcal.uncertainty.curved_regions import region_of
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import far_off

EXPLAINED = 0.05
"""Chance [1] of so large a change from which on it is evidence of more than was stated: what comes
by itself once in twenty times widens nothing, or intervals would cover more than they say."""


@dataclass(frozen=True, eq=False)
class Moved:
    """One artefact, read with the standards or as a check, and once more after the devices."""

    of: str  # its name
    calibration: Calibration  # at its frequencies
    first: Complex  # the first reading, corrected to the standards' plane [1]
    change: Quantity  # by which the second differs there [1], with all that was stated of both
    apart: bool = False  # whether points are sessions of their own, as in an audit, else one sweep

    @property
    def frequency(self) -> Real:
        """Of the second reading [Hz]."""
        return self.calibration.frequency

    def squared(self) -> Real:
        """The square of the change, in the measure of what was stated of both readings [1]."""
        squared = region_of(self.change).squared_distance(Quantity(0 * self.first))
        return as_normal(squared, degrees_of_freedom(self.change))

    def drift(self, frequency: Real) -> Real:
        """What drift of each error term explains the rest, standard deviations [1] at [Hz].

        What noise, connections, the display and the stated drift explain is no evidence of more.
        All error terms are taken to have drifted alike, and each of both axes by as much as the
        whole change: one reading shows one of many ways to move, and by chance a short one.
        """
        squared, change = self.squared(), self.change
        # the squared distance of two normal variables exceeds -2 ln p with probability p
        told = squared > -2 * np.log(EXPLAINED) if self.apart else far_off(squared, EXPLAINED)
        more = np.maximum(np.abs(change.value) ** 2 - 2 * change.variance(), 0) * told
        # the square of what a drift of all terms changes, at the plane
        slopes = list(self.calibration.by_drift(self.first).values())
        at_plane = np.abs(self.calibration.error_box.derivative(self.first)) ** 2
        by_drift = np.sum(np.abs(slopes) ** 2, axis=0) / at_plane
        return np.interp(frequency, self.frequency, np.sqrt(more / by_drift))
