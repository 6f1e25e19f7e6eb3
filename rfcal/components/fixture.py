"""What a fixture adds to a part, taken away by its open, its short and, where read, its load."""

import numpy as np

from rfcal import defaults
from rfcal.maths.reflection import Real
from rfcal.measurement.deembedding import FixtureBySweeps, across
from rfcal.measurement.error_terms import calibrate
from rfcal.measurement.propagate import at_plane
from rfcal.uncertainty.quantity import Quantity, both_axes


def removed(
    frequency: Real, part: Quantity, opened: Quantity, shorted: Quantity, load: Quantity | None
) -> Quantity:
    """The part's reflection [1] without the fixture; the load is the reference impedance.

    With a load the fixture may be any: it is calibrated at its far end. Without one it is a stray
    impedance in series and then a stray admittance across.
    """
    far = defaults.PATH["far end"]
    if load is None:
        return across(part, FixtureBySweeps(), [opened, shorted], embed=False)
    zero = np.zeros(frequency.size, complex)
    known = [
        Quantity(zero + complex(value), both_axes(f"fixture: {name}", far))
        for name, value in (("short", -1.0), ("open", 1.0), ("load", 0.0))
    ]
    own = calibrate(frequency, ("short", "open", "load"), known, (shorted, opened, load))
    return at_plane(own, part, Quantity(zero))


def share(whole: Quantity, part: Quantity) -> Real:
    """How much of a part's impedance [1] a fixture had added to it."""
    before, after = ((1 + q.value) / (1 - q.value) for q in (whole, part))
    return np.abs(before - after) / np.abs(after)
