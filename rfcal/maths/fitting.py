"""The map through known points: coefficients, and how much of each misfit goes into an answer.

``(a, b, c, d)`` is the map ``(a x + b) / (c x + d)`` from what points are to what was seen of them.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real

ALIGNED = 1e-14
"""Part of the squares that is left where more than three points say no more than two [1]."""
SAME_POINTS = (
    "two of the points are the same, in what they are or in what was seen of them: three that "
    "differ at every frequency fix a map"
)


def solved(count: int, rows: Sequence[NDArray[Any]]) -> tuple[Complex, Complex, Complex, Complex]:
    """The coefficients by so many points, as many readings, and weights or none, of one shape."""
    if count == 3:
        return through_three(*rows[:6])
    return through_many(rows[:count], rows[count : 2 * count], rows[2 * count :])


def through_three(
    g1: Complex, g2: Complex, g3: Complex, m1: Complex, m2: Complex, m3: Complex
) -> tuple[Complex, Complex, Complex, Complex]:
    """Closed form, by what a bilinear map leaves as it is.

    The cross-ratio of four points (L. V. Ahlfors, Complex Analysis, section 3.3.1):
    ``(x - g1) (g2 - g3) / ((x - g2) (g1 - g3))`` is the same of ``y, m1, m2, m3``. Reckoned in
    place: that is faster by a quarter.
    """
    u, v = m1 - m3, m2 - m3
    u *= g2 - g3
    v *= g1 - g3
    c = v - u
    # with the second pair as origin: n' = v h' / (c h' + u)
    v *= m1 - m2
    u *= g1 - g2
    determinant = v * u  # zero where any two of the three are the same
    # counting in one part is several times faster, and one part of what is not zero may be
    if np.count_nonzero(determinant.real) < determinant.size and not determinant.all():
        raise CalibrationError(SAME_POINTS)
    # both origins moved back
    v += m2 * c
    b = m2 * u
    b -= g2 * v
    u -= g2 * c
    return v, b, c, u


def through_many(
    known: Sequence[Complex], seen: Sequence[Complex], weight: Sequence[Real] | None
) -> tuple[Complex, Complex, Complex, Complex]:
    """Normal equations; the constant term is eliminated by centring, two remain."""
    system = _Centred(known, seen, weight)
    if not (system.determinant > ALIGNED * system.squares).all():
        raise CalibrationError(SAME_POINTS)
    y, y_mean = system.centre(system.m)
    a, minus_c = system.solve((system.wx * y).sum(axis=0), (system.wp * y).sum(axis=0))
    b = y_mean - a * system.g_mean - minus_c * system.p_mean
    return a, b, -minus_c, np.ones_like(a)


def influence(
    known: Sequence[Complex],
    seen: Sequence[Complex],
    reflection: Complex,
    reading: Complex,
    weight: Sequence[Real] | None = None,
) -> Complex:
    """How much of each standard's misfit goes into a corrected reading, shape (S, ..., F).

    Element ``i`` is the change of the fitted plane ``a known + b - c known seen`` at
    (`reflection`, `reading`) for a unit change of standard ``i`` in the same units. With
    three standards these are the Lagrange weights through them, up to the ratio of
    ``c known + 1`` at the two places.
    """
    if len(known) == 3:
        return _shares_of_three(known, seen, reflection, reading)
    system = _Centred(known, seen, weight)
    dx = reflection - system.g_mean
    dp = reflection * reading - system.p_mean
    # row N^-1 A^H w
    first, second = system.solve(system.wx, system.wp)
    return system.weighed(system.scale) + dx * first + dp * second


def _shares_of_three(
    known: Sequence[Complex], seen: Sequence[Complex], reflection: Complex, reading: Complex
) -> Complex:
    """Shares that make 1, known and known * seen of the three into those of the device."""
    g3, p3 = known[2], known[2] * seen[2]
    h1, h2 = known[0] - g3, known[1] - g3
    q1, q2 = known[0] * seen[0] - p3, known[1] * seen[1] - p3
    dx, dp = reflection - g3, reflection * reading - p3
    scale = 1 / (h1 * q2 - h2 * q1)
    first, second = (dx * q2 - dp * h2) * scale, (dp * h1 - dx * q1) * scale
    return np.array([first, second, 1 - first - second])


class _Centred:
    """The columns ``known`` and ``known * seen`` about their weighted means, and their products."""

    def __init__(
        self, known: Sequence[Complex], seen: Sequence[Complex], weight: Sequence[Real] | None
    ):
        g, self.m = np.array(known), np.array(seen)
        self.w = np.array(weight) if weight else None
        self.scale = 1 / len(known) if self.w is None else 1 / self.w.sum(axis=0)
        self.x, self.g_mean = self.centre(g)
        self.p, self.p_mean = self.centre(g * self.m)
        self.wx, self.wp = self.weighed(np.conj(self.x)), self.weighed(np.conj(self.p))
        self.xx = (self.wx * self.x).sum(axis=0).real
        self.pp = (self.wp * self.p).sum(axis=0).real
        self.xp = (self.wx * self.p).sum(axis=0)
        self.squares = self.xx * self.pp
        self.determinant = self.squares - (self.xp * np.conj(self.xp)).real

    def weighed(self, column: Any) -> Any:
        """The column times the weights."""
        return column if self.w is None else column * self.w

    def centre(self, column: Complex) -> tuple[Complex, Complex]:
        """The column about its weighted mean, and the mean."""
        mean = self.weighed(column).sum(axis=0) * self.scale
        return column - mean, mean

    def solve(self, on_x: NDArray[Any], on_p: NDArray[Any]) -> tuple[Complex, Complex]:
        """Cramer's rule for the two remaining unknowns."""
        first = (self.pp * on_x - self.xp * on_p) / self.determinant
        second = (self.xx * on_p - np.conj(self.xp) * on_x) / self.determinant
        return first, second
