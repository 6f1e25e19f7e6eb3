"""Verdicts over many points that chance alone seldom turns."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rfcal.defaults import FALSE_ALARM
from rfcal.maths.circles import Spread, direction
from rfcal.maths.reflection import Real
from rfcal.uncertainty.coverage import factor_along
from rfcal.uncertainty.quantity import Quantity

SOME, TOGETHER = 0.05, 5.0
"""Points that share part of their errors, and have part for themselves, are outside in a larger
part of a sweep than the first up to so many times as often as one is (by simulation of 1 to 400
points at chances of 0.002 to 0.00006, most where seven tenths of the variance are shared)."""
ROUNDING = 1e-9
"""Reflections are above 1 only beyond rounding [1]."""
POINTS, LEAST = 48, 1e-4
"""Points at most that are asked together, and the doubt of each [1] that no model is without."""
WITHIN = 2.5
"""So many deviations prove nothing, at whatever chance is asked."""


def far_off(squared: np.ndarray, chance: float) -> bool:
    """Whether points of a sweep lie further off than chance explains, in all at this chance.

    Their squared distances are those of two normal variables.
    """
    # which exceeds -2 ln p with probability p
    return bool(np.any(unlikely(lambda each: squared > -2 * np.log(each), chance)))


def unlikely(beyond: Callable[[float], np.ndarray], chance: float) -> np.ndarray:
    """The points of a sweep that are beyond what has a chance each, by more than chance in all.

    Half of the chance is that of too many at once, half that of any by itself.
    """
    together = beyond(chance / 2 / TOGETHER)
    return together if too_many(together) else beyond(chance / 2 / together.size)


def too_many(outside: np.ndarray) -> bool:
    """Whether more points lie outside than chance explains, of one by itself `TOGETHER` times.

    Points may share their errors, then all are out together, or be independent: then no two are.
    """
    count, points = int(outside.sum()), outside.size
    return count > SOME * points and count >= min(2, points)


def few(swept: Real) -> NDArray[np.intp]:
    """Indices of those points of a sweep that are asked together."""
    return np.unique(np.linspace(0, swept.size - 1, POINTS).round().astype(int))


def leaning(angle: Quantity, way: Real) -> float:
    """How far angles [rad] go together one way, shape (F,), in deviations of its best size [1].

    Effects are those on the logarithm of what has the angles. Source: A. C. Aitken, Proceedings of
    the Royal Society of Edinburgh 55 (1935) 42, generalized least squares (value from memory).
    """
    index = few(way)
    angle, way = angle.at_points(index), way[index]
    # repeats tell no shape over a band: they weigh as noise, and count as what they are
    weighing = [replace(e, per_point=e.per_point or np.isfinite(e.freedom)) for e in angle.effects]
    weight = np.linalg.solve(_covariance(replace(angle, effects=tuple(weighing))), way)
    return float(weight @ angle.value.real / np.sqrt(weight @ _covariance(angle) @ weight))


def _covariance(angle: Quantity) -> Real:
    """Of angles at all points with each other, shape (F, F)."""
    noise = angle.own.covariance()[:, 1, 1] + LEAST**2
    common = angle.common_changes().imag
    return np.asarray(np.diag(noise) + common.T @ common)


def active_points(reflection: Quantity, chance: float = FALSE_ALARM) -> np.ndarray:
    """Where a reflection is above 1 beyond what chance leaves of a passive device."""
    size = np.abs(reflection.value)
    outward = direction(reflection.value)
    doubt = np.maximum(Spread(reflection.covariance()).along(outward), 1e-30)
    deviations = (size - 1 - ROUNDING) / doubt
    if not np.any(deviations > WITHIN):  # mostly, and quantiles are slow to load
        return np.zeros(size.shape, bool)
    return unlikely(lambda each: deviations > factor_along(reflection, outward, 1 - each), chance)
