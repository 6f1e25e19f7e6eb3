"""Whether two instruments, or one on two days, agree about one device."""

from collections.abc import Hashable, Set
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rfcal.defaults import FALSE_ALARM
from rfcal.maths.reflection import Real
from rfcal.measurement.propagate import impedance
from rfcal.uncertainty.coverage import expanded, squared_distance
from rfcal.uncertainty.quantity import Effect, Quantity, combine
from rfcal.uncertainty.significance import far_off


@dataclass(frozen=True, eq=False)
class Agreement:
    """Two answers about one device at the frequencies that they have in common."""

    frequency: Real  # [Hz], shape (F,)
    first: Quantity  # impedance [ohm]
    second: Quantity
    difference: Quantity  # second less first [ohm]; what both share has no part in it
    apart: Quantity  # the same of reflection [1]

    @cached_property
    def normalised_error(self) -> Real:
        """En of R and of X [1], shape (F, 2); up to 1 in size they agree.

        The difference over the expanded uncertainty of the difference, which of independent
        answers is ``sqrt(U1^2 + U2^2)`` (ISO/IEC 17043:2010, annex B.3.1.3).
        """
        half = expanded(self.difference)
        value = self.difference.value
        off = np.stack([value.real, value.imag], axis=-1)
        return np.where(half > 0, off / np.where(half > 0, half, 1), np.where(off == 0, 0, np.inf))

    @cached_property
    def agree(self) -> bool:
        """Whether chance and both uncertainties explain all differences of reflection together."""
        apart = squared_distance(self.apart.value, self.apart.covariance())
        return not far_off(apart, FALSE_ALARM)


def agreement(
    frequency: Real,
    first: Quantity,
    second: Quantity,
    *,
    z_ref: float,
    shared: Set[Hashable] = frozenset(),
) -> Agreement:
    """Hold two corrected reflections against each other.

    Influences of one name are two, one of each answer, but for those that are shared.
    """

    def own(e: Effect) -> Effect:
        return replace(e, source=f"{e.source}, second", influence=("second", e.influence))

    effects = (e if e.influence in shared else own(e) for e in second.effects)
    other = Quantity(second.value, tuple(effects))
    z_first, z_second = impedance(first, z_ref), impedance(other, z_ref)
    return Agreement(
        frequency,
        z_first,
        z_second,
        combine(z_second.value - z_first.value, (z_second, 1.0), (z_first, -1.0)),
        combine(other.value - first.value, (other, 1.0), (first, -1.0)),
    )
