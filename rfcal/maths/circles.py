"""Figures of the reflection that are constant along circles, and distances from these circles."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from rfcal.maths.arguments import frozen
from rfcal.maths.reflection import Complex, Real

HermitianForm = tuple[float, complex, float]
"""Coefficients (p, q, r) of ``p |x|^2 + 2 Re(conj(q) x) + r``."""


@dataclass(frozen=True)
class Level:
    """A figure that is the ratio of two such forms of the reflection, so constant on circles."""

    top: HermitianForm
    bottom: HermitianForm  # not negative for a passive device
    low: float = -np.inf  # least value of a passive device [unit of the figure]
    high: float = np.inf  # its largest
    edges: tuple[bool, bool] = (False, False)  # whether the least, the largest is on the circle
    wraps: bool = False  # whether plus and minus infinity are one place that can be passed

    def value(self, reflection: Complex) -> Real:
        """The figure of a reflection; infinite where its bottom form vanishes."""
        below = form_of(self.bottom, reflection)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(below == 0, np.inf, form_of(self.top, reflection) / below)

    def at_edge(self, reflection: Complex) -> Real:
        """The figure of a reflection on the unit circle, for one whose bound is there.

        Where both bounds are there, it is the one on this side of the real axis.
        """
        least, largest = self.edges
        above = largest and (not least or form_of(self.top, reflection) >= 0)
        return np.where(above, self.high, self.low)


RESISTANCE = Level((-1, 0, 1), (1, -1, 1), low=0.0, edges=(True, False))
REACTANCE = Level((0, 1j, 0), (1, -1, 1), wraps=True)
CONDUCTANCE = Level((-1, 0, 1), (1, 1, 1), low=0.0, edges=(True, False))
SUSCEPTANCE = Level((0, -1j, 0), (1, 1, 1), wraps=True)
SQUARED_IMPEDANCE = Level((1, 1, 1), (1, -1, 1), low=0.0)
SQUARED_REFLECTION = Level((1, 0, 0), (0, 0, 1), low=0.0, high=1.0, edges=(False, True))
REACTANCE_OVER_RESISTANCE = Level((0, 1j, 0), (-1, 0, 1), edges=(True, True))
"""All of them with impedance in units of the reference impedance."""


def form_of(form: tuple, x: Complex) -> Real:
    """The value of a form (p, q, r); all broadcast."""
    p, q, r = form
    return p * np.abs(x) ** 2 + 2 * (np.conj(q) * x).real + r


Circle = tuple[Any, Any, Any]
"""The same, of reflections' shape."""


def distance_from(circle: Circle, x: Complex) -> tuple[Real, Complex]:
    """Signed distance from a circle, and the way it grows; exact for a straight line too.

    It is positive where the form is.
    """
    p, q, r = circle
    outward = p * x + q
    away = np.abs(outward) + np.sqrt(np.maximum(np.abs(q) ** 2 - p * r, 0))
    return form_of(circle, x) / np.where(away > 1e-100, away, 1), direction(outward)


def direction(x: Complex) -> Complex:
    """Direction from the origin, of magnitude 1; that of 1 where there is none."""
    size = np.abs(x)
    some = size > 1e-100
    return np.asarray(np.where(some, x, 1) / np.where(some, size, 1), complex)


class Spread:
    """The doubt about a reflection: its standard deviation along any direction.

    It is made from the covariance of real and imaginary part, shape (F, 2, 2).
    """

    def __init__(self, covariance: Real):
        xx, yy = covariance[:, 0, 0], covariance[:, 1, 1]
        # variance along n: the mean of the axes' and what is not round, turned twice as fast
        self.mean = frozen(np.maximum((xx + yy) / 2, 1e-300), "", copy=False)
        self.out_of_round = frozen((xx - yy) / 2 + 1j * covariance[:, 0, 1], "", copy=False)

    def along(self, way: Complex) -> Real:
        """Standard deviation along directions of magnitude 1, shape (F, ...)."""
        pad = (...,) + (None,) * (way.ndim - 1)
        turned = np.real(way**2 * np.conj(self.out_of_round[pad]))
        return np.sqrt(np.maximum(self.mean[pad] + turned, 1e-6 * self.mean[pad]))


def circle_of(level: Level, figure: Real) -> Circle:
    """The circle of one value of the figure, which may be infinite: the form that vanishes on it.

    It is positive where the figure is above that value.
    """
    scale = np.where(np.isfinite(figure), np.maximum(np.abs(figure), 1e-6), 1.0)
    turn = np.arctan(figure / scale)
    up, down = np.cos(turn), np.sin(turn) * scale
    p, q, r = (up * a - down * b for a, b in zip(level.top, level.bottom, strict=True))
    return p, q, r
