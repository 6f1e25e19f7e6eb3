"""Verdicts over many points that chance alone seldom turns."""

import numpy as np

from rfcal.defaults import FALSE_ALARM
from rfcal.maths.circles import Spread, direction
from rfcal.uncertainty.coverage import freedom_along, student
from rfcal.uncertainty.quantity import Quantity

TOGETHER = 10.0
"""Points that share part of their errors, and have part for themselves, are too many up to so many
times as often as one is outside (by simulation of 30,000 sweeps of 100 points, most where six
tenths of the variance are shared)."""
ROUNDING = 1e-9
"""Reflections are above 1 only beyond rounding [1]."""
WITHIN = 2.5
"""So many deviations prove nothing, at whatever chance is asked."""


def shared(tests: int) -> float:
    """The chance of one test's false alarm, of so many that have `FALSE_ALARM` together."""
    return FALSE_ALARM / max(tests, 1)


def far_off(squared: np.ndarray, chance: float) -> bool:
    """Whether points of a sweep lie further off than chance explains, in all at this chance.

    Their squared distances are those of two normal variables. Half of the chance is that of any
    point's being far off by itself, half that of too many at once.
    """
    gross, each = chance / 2 / squared.size, chance / 2 / TOGETHER
    # the squared distance of two normal variables exceeds -2 ln p with probability p
    if np.any(squared > -2 * np.log(gross)):
        return True
    return too_many(squared > -2 * np.log(each), each)


def too_many(outside: np.ndarray, chance: float) -> bool:
    """Whether more points lie outside a limit than chance explains.

    Points may share their errors (then all are out together, with the chance of one) or be
    independent (then their number is binomial); both must be unlikely.
    """
    count, points = int(outside.sum()), outside.size
    if count <= 10 * chance * points:
        return False
    from scipy.special import bdtrc

    return bool(bdtrc(count - 1, points, chance) <= 2 * chance)


def active_points(reflection: Quantity, chance: float = FALSE_ALARM) -> np.ndarray:
    """Where a reflection is above 1 beyond what chance leaves of a passive device."""
    size = np.abs(reflection.value)
    outward = direction(reflection.value)
    doubt = np.maximum(Spread(reflection.covariance()).along(outward), 1e-30)
    deviations = (size - 1 - ROUNDING) / doubt
    if not np.any(deviations > WITHIN):  # mostly, and quantiles are slow to load
        return np.zeros(size.shape, bool)
    freedom = freedom_along(reflection, outward)

    def beyond(chance: float) -> np.ndarray:
        return deviations > student(freedom, 1 - chance)

    # half of the chance for any point by itself, half for too many at once
    each = chance / 2 / TOGETHER
    gross, above = beyond(chance / 2 / size.size), beyond(each)
    return np.where(too_many(above, each), above, gross)
