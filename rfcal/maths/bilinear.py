"""The bilinear map of reflection: the one idea that every task of rfcal uses.

Whatever is linear between two places (an analyzer's bridge, a cable, an adapter, a network)
turns the reflection coefficient beyond it into another by
``seen = (a * reflection + b) / (c * reflection + d)``, one map per frequency.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.errors import ArgumentError, CalibrationError
from rfcal.maths.arguments import frozen, numbers, reference, shown, together
from rfcal.maths.fitting import solved
from rfcal.maths.reflection import Complex, Real

BLOCK = 4096
"""Maps fitted at a time: arrays that fit the cache, and that the allocator keeps at hand, go
several times faster (10,001 points in 0.11 ms; in one piece up to 0.5 ms)."""


@dataclass(frozen=True, eq=False)
class Matrix:
    """Two by two numbers per frequency (and per draw), ``[[a, b], [c, d]]``.

    They broadcast, and are kept as read-only views.
    """

    a: Complex
    b: Complex
    c: Complex
    d: Complex

    if TYPE_CHECKING:  # what may be given is more than what is kept

        def __init__(self, a: ArrayLike, b: ArrayLike, c: ArrayLike, d: ArrayLike) -> None: ...

    def __post_init__(self) -> None:
        for name in "abcd":
            values = frozen(getattr(self, name), f"coefficient {name}", copy=False)
            object.__setattr__(self, name, values)
        if not self.a.shape == self.b.shape == self.c.shape == self.d.shape:
            together([self.a, self.b, self.c, self.d], "the coefficients")

    @classmethod
    def _of(cls, a: Complex, b: Complex, c: Complex, d: Complex) -> Self:
        """One of what was reckoned here just now, and needs no check."""
        new = object.__new__(cls)
        for values in (a, b, c, d):
            values.setflags(False)  # type: ignore[call-arg]  # by its name takes twice as long
        new.__dict__.update(a=a, b=b, c=c, d=d)
        return new

    def _beside(self, values: ArrayLike, what: str) -> NDArray[Any]:
        """Numbers that go together with it."""
        array = numbers(values, what)
        if array.shape != self.a.shape and array.shape:
            together([self.a, self.b, self.c, self.d, array], f"the map and {what}")
        return array

    def __matmul__(self, beyond: Self) -> Self:
        """Compose: this one first, and `beyond` behind it."""
        if type(beyond) is not type(self):
            raise ArgumentError(f"@ composes two of one kind, found {shown(beyond)} behind it")
        together(
            [self.a, self.b, self.c, self.d, beyond.a, beyond.b, beyond.c, beyond.d], "two maps"
        )
        return self._of(
            self.a * beyond.a + self.b * beyond.c,
            self.a * beyond.b + self.b * beyond.d,
            self.c * beyond.a + self.d * beyond.c,
            self.c * beyond.b + self.d * beyond.d,
        )


class Bilinear(Matrix):
    """A bilinear map of the reflection plane, one per frequency (and per draw).

    ``(near @ beyond).apply(x)`` is ``near.apply(beyond.apply(x))``.

    Parameters
    ----------
    a, b, c, d : array_like, shape (..., F)
        Coefficients of ``(a x + b) / (c x + d)``; they broadcast, and only their ratios count.
        They are kept as read-only views.

    Examples
    --------
    >>> analyzer = Bilinear.fit(known=[-1, 1, 0], seen=[-0.9, 0.8, 0.02])
    >>> device = analyzer.correct(0.3)
    >>> print(f"{device.real:.3f}")
    0.341
    >>> print(f"{analyzer.apply(device).real:.3f}, {analyzer.directivity.real:.3f}")
    0.300, 0.020
    >>> same = Bilinear.from_error_terms(
    ...     analyzer.directivity, analyzer.source_match, analyzer.reflection_tracking
    ... )
    >>> print(f"{(same.invert() @ analyzer).apply(0.25).real:.3f}, {same.derivative(0).real:.3f}")
    0.250, 0.844
    >>> cable = Bilinear.section(0.0, 0.81).renormalised(50, 75)  # loses 0.9 dB each way
    >>> print(f"{cable.power_gain(-0.2):.2f}")
    0.81
    """

    def __post_init__(self) -> None:
        super().__post_init__()
        size = np.abs(self.a) + np.abs(self.b) + np.abs(self.c) + np.abs(self.d)
        if not np.all((size > 0) & (size < np.inf)):
            raise ArgumentError("coefficients must be finite numbers, and one of them not zero")

    def apply(self, reflection: ArrayLike) -> Complex:
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
        x = self._beside(reflection, "the reflection")
        return (self.a * x + self.b) / (self.c * x + self.d)

    def correct(self, seen: ArrayLike) -> Complex:
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
        y = self._beside(seen, "the reading")
        return (self.d * y - self.b) / (self.a - self.c * y)

    def derivative(self, reflection: ArrayLike) -> Complex:
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
        x = self._beside(reflection, "the reflection")
        # the map is holomorphic: f' = (a d - b c) / (c x + d)^2
        return (self.a * self.d - self.b * self.c) / (self.c * x + self.d) ** 2

    def invert(self) -> Self:
        """The map that undoes this one.

        Returns
        -------
        Bilinear
            ``map.invert().apply(map.apply(x))`` is ``x``.
        """
        return self._of(self.d, -self.b, -self.c, self.a)

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
        e00 = numbers(directivity, "directivity") + 0j
        e11 = numbers(source_match, "source match") + 0j
        e10e01 = numbers(reflection_tracking, "reflection tracking")
        together([e00, e11, e10e01], "the error terms")
        if not np.all(np.isfinite(e00) & np.isfinite(e11) & np.isfinite(e10e01) & (e10e01 != 0)):
            raise ArgumentError("error terms must be finite numbers, and reflection tracking not 0")
        product = e00 * e11
        return cls._of(e10e01 - product, e00, -e11, np.ones_like(product))

    @classmethod
    def section(cls, mismatch: ArrayLike, round_trip: ArrayLike) -> Self:
        """A piece of line as a map: an offset line, or a cable.

        With `mismatch` g the reflection of the line's impedance in the reference, and
        `round_trip` q the factor ``exp(-2 gamma l)``, x beyond the line is seen as
        ``[(q - g^2) x + g (1 - q)] / [1 - q g^2 - g (1 - q) x]`` (the telegrapher's solution).

        Parameters
        ----------
        mismatch, round_trip : array_like, shape (..., F)
            Both [1].

        Returns
        -------
        Bilinear
            From beyond the line to its near end.
        """
        g, q = numbers(mismatch, "the mismatch"), numbers(round_trip, "the round trip")
        together([g, q], "mismatch and round trip")
        return cls._of(q - g**2, g * (1 - q), -g * (1 - q), 1 - q * g**2)

    def renormalised(self, z_from: float, z_to: float) -> Self:
        """The same map between reflections in another reference impedance.

        Parameters
        ----------
        z_from, z_to : float
            Reference impedances [ohm] of this map, and of the one to come.

        Returns
        -------
        Bilinear
            Of the same two places.
        """
        reference(z_from)
        reference(z_to)
        if z_from == z_to:
            return self
        step = np.asarray((z_to - z_from) / (z_to + z_from), complex)
        to_own = type(self)(1, step, step, 1)
        return to_own.invert() @ self @ to_own

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

    def power_gain(self, reflection: ArrayLike) -> Real:
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
        x = self._beside(reflection, "the reflection")
        into = 1 - np.abs(self.apply(x)) ** 2
        through = np.abs(self.reflection_tracking) * (1 - np.abs(x) ** 2)
        return through / (into * np.abs(1 - self.source_match * x) ** 2)

    @classmethod
    def fit(
        cls,
        known: Iterable[ArrayLike],
        seen: Iterable[ArrayLike],
        weight: Iterable[ArrayLike] | None = None,
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
        CalibrationError
            Fewer than three points that differ, in what they are or in what was seen of them.
        """
        known, seen = _columns(known, "known reflections"), _columns(seen, "readings")
        weights = [] if weight is None else _columns(weight, "weights")
        if len(known) != len(seen) or len(known) < 3:
            raise CalibrationError(
                f"three points or more fix a map, and as many readings: got {len(known)} known "
                f"reflections and {len(seen)} readings"
            )
        if weight is not None and len(weights) != len(known):
            raise ArgumentError(
                f"each point has a weight of its own: got {len(known)} points and {len(weights)} "
                "weights"
            )
        if not all(_above_zero(w) for w in weights):
            raise ArgumentError("a weight is a finite number above zero: leave out other points")
        points = [*known, *(v + 0j if v.dtype.kind == "f" else v for v in seen), *weights]
        _require_finite(*[v for v in points if not v.ndim])
        shape, *others = {v.shape for v in points}
        if others:
            shape = together(points, "the points")
            points = [np.broadcast_to(v, shape) for v in points]
        if len(shape) == 1 and shape[0] <= BLOCK:  # mostly: faster by a tenth
            a, b, c, d = solved(len(known), points)
            _require_finite(a)
            return cls._of(a, b, c, d)
        rows = [v.ravel() for v in points]
        found = np.empty((4, rows[0].size), complex)
        for start in range(0, rows[0].size, BLOCK):
            some = slice(start, start + BLOCK)
            for row, values in zip(found, solved(len(known), [v[some] for v in rows]), strict=True):
                row[some] = values
        _require_finite(found[0])
        return cls._of(*found.reshape(4, *shape))


def _require_finite(*values: NDArray[Any]) -> None:
    """Refuse what is endless or no number; in points, it spoils the first coefficient of a map."""
    if not all(np.vdot(v, v).real < np.inf for v in values):
        raise ArgumentError("known reflections and readings must be finite numbers")


def _columns(values: Iterable[ArrayLike], what: str) -> list[NDArray[Any]]:
    """One array a point."""
    try:
        return [
            v if type(v) is np.ndarray and v.dtype.char in "dD" else numbers(v, what)
            for v in values
        ]
    except TypeError:
        raise ArgumentError(
            f"{what} must be given as a sequence, one item for each point"
        ) from None


def _above_zero(weight: NDArray[Any]) -> bool:
    """Whether all are finite weights that count."""
    return not np.iscomplexobj(weight) and bool(((weight > 0) & (weight < np.inf)).all())
