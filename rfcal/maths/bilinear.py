"""The bilinear map of reflection: the one idea that every task of rfcal uses.

Whatever is linear between two places (an analyzer's bridge, a cable, an adapter, a network)
turns the reflection coefficient beyond it into another by
``seen = (a * reflection + b) / (c * reflection + d)``, one map per frequency.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.maths.reflection import Complex, Real

BLOCK = 4096
"""Frequencies fitted at a time: what stays in the processor's cache goes several times faster."""


@dataclass(frozen=True, eq=False, slots=True)
class Bilinear:
    """A bilinear map of the reflection plane, one per frequency (and per draw).

    Parameters
    ----------
    a, b, c, d : array_like, shape (..., F)
        Coefficients of ``(a x + b) / (c x + d)``; they broadcast, and only their ratios count.
    """

    a: Complex
    b: Complex
    c: Complex
    d: Complex

    def apply(self, reflection: Complex) -> Complex:
        """What is seen through the map.

        Parameters
        ----------
        reflection : array_like, shape (..., F)
            Reflection coefficient [1] on the far side.

        Returns
        -------
        ndarray
            Reflection coefficient [1] on the near side.
        """
        return (self.a * reflection + self.b) / (self.c * reflection + self.d)

    def correct(self, seen: Complex) -> Complex:
        """What is beyond the map, given what is seen through it.

        Parameters
        ----------
        seen : array_like, shape (..., F)
            Reflection coefficient [1] on the near side.

        Returns
        -------
        ndarray
            Reflection coefficient [1] on the far side.
        """
        return (self.d * seen - self.b) / (self.a - self.c * seen)

    def derivative(self, reflection: Complex) -> Complex:
        """Derivative of the map, d(seen)/d(reflection).

        Parameters
        ----------
        reflection : array_like, shape (..., F)
            Reflection coefficient [1] on the far side.

        Returns
        -------
        ndarray
            The complex derivative [1].
        """
        # the map is holomorphic: f' = (a d - b c) / (c x + d)^2
        return (self.a * self.d - self.b * self.c) / (self.c * reflection + self.d) ** 2

    def invert(self) -> Self:
        """The map that undoes this one.

        Returns
        -------
        Bilinear
            ``map.invert().apply(map.apply(x))`` is ``x``.
        """
        return type(self)(self.d, -self.b, -self.c, self.a)

    def __matmul__(self, beyond: "Bilinear") -> "Bilinear":
        """Compose: ``(near @ beyond).apply(x)`` is ``near.apply(beyond.apply(x))``."""
        return Bilinear(
            self.a * beyond.a + self.b * beyond.c,
            self.a * beyond.b + self.b * beyond.d,
            self.c * beyond.a + self.d * beyond.c,
            self.c * beyond.b + self.d * beyond.d,
        )

    @classmethod
    def from_error_terms(
        cls, directivity: ArrayLike, source_match: ArrayLike, reflection_tracking: ArrayLike
    ) -> Self:
        """The map of an analyzer whose three error terms are known.

        Parameters
        ----------
        directivity, source_match, reflection_tracking : array_like, shape (..., F)
            The error terms [1].

        Returns
        -------
        Bilinear
            ``directivity + reflection_tracking x / (1 - source_match x)``.
        """
        e00, e11 = np.asarray(directivity, complex), np.asarray(source_match, complex)
        product = e00 * e11
        return cls(np.asarray(reflection_tracking) - product, e00, -e11, np.ones_like(product))

    @property
    def directivity(self) -> Complex:
        """What is seen of a perfect match [1]."""
        return self.b / self.d

    @property
    def source_match(self) -> Complex:
        """Reflection looking back into the map from the far side [1]."""
        return -self.c / self.d

    @property
    def reflection_tracking(self) -> Complex:
        """Gain of the way there and back [1], the derivative at a perfect match."""
        return (self.a * self.d - self.b * self.c) / self.d**2

    def power_gain(self, reflection: Complex) -> Real:
        """Power beyond the map over power into it, where what it describes is reciprocal.

        Source: the operating power gain in scattering parameters (D. M. Pozar, Microwave
        Engineering, section 12.1), with ``S21^2`` the reflection tracking.

        Parameters
        ----------
        reflection : array_like, shape (..., F)
            Reflection coefficient [1] on the far side, below 1 in magnitude.

        Returns
        -------
        ndarray
            Power ratio [1], 1 where nothing is lost; reference impedances are real.
        """
        into = 1 - np.abs(self.apply(reflection)) ** 2
        through = np.abs(self.reflection_tracking) * (1 - np.abs(reflection) ** 2)
        return through / (into * np.abs(1 - self.source_match * reflection) ** 2)

    @classmethod
    def fit(
        cls,
        known: Sequence[Complex],
        seen: Sequence[Complex],
        weight: Sequence[Real] | None = None,
    ) -> Self:
        """The map that takes known reflections to what was seen of them.

        Three points fix the map exactly. More are fitted by least squares of
        ``seen (c known + 1) - a known - b``, each squared residual times its weight.

        Parameters
        ----------
        known : sequence of S array_like, shape (..., F)
            Reflection coefficients [1] at the reference plane, at least three.
        seen : sequence of S array_like, shape (..., F)
            Raw readings [1] of the same.
        weight : sequence of S array_like, shape (..., F), optional
            Real weights; equal by default, and without effect for three points.

        Returns
        -------
        Bilinear
            The fitted map.

        Raises
        ------
        ValueError
            Fewer than three points, or lists of different lengths.
        """
        if len(known) != len(seen) or len(known) < 3:
            raise ValueError(f"three points or more fix a map, got {len(known)} and {len(seen)}")
        if max(np.shape(v)[-1] for v in (*known, *seen)) <= BLOCK:
            return cls._fit_block(known, seen, weight)
        shape = np.broadcast_shapes(*(np.shape(v) for v in (*known, *seen)))
        whole = np.empty((4, *shape), complex)
        for start in range(0, shape[-1], BLOCK):
            here = slice(start, start + BLOCK)
            part = cls._fit_block(
                [_piece(v, here) for v in known],
                [_piece(v, here) for v in seen],
                weight and [_piece(v, here) for v in weight],
            )
            whole[..., here] = part.a, part.b, part.c, part.d
        return cls(*whole)

    @classmethod
    def _fit_block(
        cls, known: Sequence[Complex], seen: Sequence[Complex], weight: Sequence[Real] | None
    ) -> Self:
        if len(known) == 3:
            return cls._through_three(*known, *seen)
        return cls._least_squares(known, seen, weight)

    @classmethod
    def _through_three(
        cls, g1: Complex, g2: Complex, g3: Complex, m1: Complex, m2: Complex, m3: Complex
    ) -> Self:
        """Closed form with the third pair as origin: f(g3) = m3 costs nothing then."""
        h1, h2 = g1 - g3, g2 - g3
        n1, n2 = m1 - m3, m2 - m3
        u, v = n1 * h2, n2 * h1
        product = n1 * n2 * (h1 - h2)
        # n = a' h / (c' h + d')  through (h1, n1) and (h2, n2), then both origins moved back
        c = v - u
        d = g1 * u - g2 * v
        return cls(m3 * c + product, m3 * d - g3 * product, c, d)

    @classmethod
    def _least_squares(
        cls, known: Sequence[Complex], seen: Sequence[Complex], weight: Sequence | None
    ) -> Self:
        """Normal equations; the constant term is eliminated by centring, two remain."""
        system = _Centred(known, seen, weight)
        y, y_mean = system.centre(system.m)
        a, minus_c = system.solve((system.wx * y).sum(axis=0), (system.wp * y).sum(axis=0))
        b = y_mean - a * system.g_mean - minus_c * system.p_mean
        return cls(a, b, -minus_c, np.ones_like(a))

    @staticmethod
    def influence(
        known: Sequence[Complex],
        seen: Sequence[Complex],
        reflection: Complex,
        reading: Complex,
        weight: Sequence[Real] | None = None,
    ) -> Complex:
        """How much of each standard's misfit goes into a corrected reading.

        Element ``i`` is the change of the fitted plane ``a known + b - c known seen`` at
        (`reflection`, `reading`) for a unit change of standard ``i`` in the same units. With
        three standards these are the Lagrange weights through them, up to the ratio of
        ``c known + 1`` at the two places.

        Parameters
        ----------
        known, seen : sequences of S array_like, shape (..., F)
            As for `fit`.
        reflection : array_like, shape (..., F)
            Corrected reflection [1] of the device.
        reading : array_like, shape (..., F)
            Raw reading [1] of the device.
        weight : sequence of S array_like, shape (..., F), optional
            As for `fit`.

        Returns
        -------
        ndarray, shape (S, ..., F)
            Complex influence [1] of each standard.
        """
        if len(known) == 3:
            return _through_three_influence(known, seen, reflection, reading)
        system = _Centred(known, seen, weight)
        dx = reflection - system.g_mean
        dp = reflection * reading - system.p_mean
        # row N^-1 A^H w
        first, second = system.solve(system.wx, system.wp)
        return system.share + dx * first + dp * second


def _through_three_influence(
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
        shape = np.broadcast_shapes(*(np.shape(v) for v in (*known, *seen)))
        g, self.m = _stacked(known, shape), _stacked(seen, shape)
        self.w: Real | float = 1.0
        self.share: Real | float = 1 / len(known)
        if weight is not None:
            self.w = _stacked(weight, shape)
            self.share = self.w / self.w.sum(axis=0)
        self.x, self.g_mean = self.centre(g)
        self.p, self.p_mean = self.centre(g * self.m)
        self.wx, self.wp = np.conj(self.x) * self.w, np.conj(self.p) * self.w
        self.xx = (self.wx * self.x).sum(axis=0).real
        self.pp = (self.wp * self.p).sum(axis=0).real
        self.xp = (self.wx * self.p).sum(axis=0)
        self.determinant = self.xx * self.pp - (self.xp * np.conj(self.xp)).real

    def centre(self, column: Complex) -> tuple[Complex, Complex]:
        """The column about its weighted mean, and the mean."""
        mean = (self.share * column).sum(axis=0)
        return column - mean, mean

    def solve(self, on_x: NDArray[Any], on_p: NDArray[Any]) -> tuple[Complex, Complex]:
        """Cramer's rule for the two remaining unknowns."""
        first = (self.pp * on_x - self.xp * on_p) / self.determinant
        second = (self.xx * on_p - np.conj(self.xp) * on_x) / self.determinant
        return first, second


def _stacked(values: Sequence[NDArray[Any]], shape: tuple[int, ...]) -> NDArray[Any]:
    return np.array([np.broadcast_to(v, shape) for v in values])


def _piece(values: NDArray[Any], here: slice) -> NDArray[Any]:
    """A stretch of the last axis; what is the same at all frequencies stays whole."""
    return values[..., here] if values.shape[-1] > 1 else values
