"""Intervals that cover as often as they say, beside an open and at a perfect match too.

Every figure read off a reflection (R, X, G, B, |Z|, SWR, X/R) is constant along a circle of the
reflection plane. How far the corrected reflection lies from such a circle has a distribution
that Monte Carlo gives; all values whose circle is not too far off make the interval. This is
Neyman's construction of a confidence interval: it needs no straight line between reflection and
figure, and where a figure has a bound (R >= 0 and SWR >= 1 of a passive device) all that may be
missed is moved to the other side, so that the interval is one-sided there and reaches the bound.

Quantiles of the drawn figure itself (JCGM 101, 7.7) are not used for this: beside an open they
covered 87 % where 95 % was said, and never a perfect match.
"""

from collections.abc import Callable, Hashable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.circles import Circle, Level, Spread, circle_of, distance_from, radius_of
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty import curved_regions as bent
from rfcal.uncertainty.coverage import COVERAGE, K_ELLIPSE, freedom_along, student
from rfcal.uncertainty.quantity import Quantity

FAR = 3.0
"""The search for an interval's end begins at this distance [standard deviations]."""

SAME_TURN = 1e-12
"""Angles closer than this are one [rad]."""

STRAIGHT = 0.1
"""A circle counts as a straight line where its bend, and that of the doubt, shift the distance
from it by less than this many standard deviations: it costs 0.1 % of coverage."""

TURN = 2.0
"""Bend of the doubt itself [1 / unit of reflection]: a doubtful length turns the reflection about
the middle of the chart, a doubtful source match about a point half a radius from it."""

APART = 30.0
"""No truth is accepted whose draws lie so far from the reading, squared standard deviations in
two dimensions: a normal variable does in one of three million cases."""

POINT = 1e-6
"""A circle of a smaller radius is a point [1]."""

K_ONE_SIDED = 1.6448536269514722
"""Standard deviations that a normal variable exceeds in one of twenty cases."""

BLOCK = 512
"""Frequencies for which draws are kept at a time, so that a long sweep does not fill the memory."""

DRAWS, NORMAL_DRAWS = 500, 2_000
"""Draws of the model at each frequency, and normal ones that stand in where there is no model."""


class Readings:
    """What would be read of a truth, drawn for blocks of frequencies as they are asked for.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    seed : int
        For the draws.
    by_name : bool
        True to draw the same numbers for a source of the same name, whatever else there is: two
        set-ups can then be compared without the chance of their draws.
    """

    def __init__(self, inputs: Any, seed: int = 1, *, by_name: bool = False):
        self.inputs, self.seed, self.by_name = inputs, seed, by_name
        self.block = lru_cache(maxsize=4)(self._block)

    def _block(self, start: int) -> Bilinear:
        points = self.inputs.reading.value.size
        index = np.arange(start, min(start + BLOCK, points))
        few = self.inputs if index.size == points else self.inputs.at(index)
        seed = [self.seed, start]
        known = _numbers_by_name(few, seed) if self.by_name else None
        drawn = few.readings(np.random.default_rng(seed), DRAWS, known)
        parts = (drawn.a, drawn.b, drawn.c, drawn.d)
        return Bilinear(*(np.ascontiguousarray(_full(v, index.size).T) for v in parts))

    def at(self, index: NDArray[np.intp]) -> Bilinear:
        """Maps from a true reflection to a reading.

        Parameters
        ----------
        index : ndarray of int, shape (n,)
            Frequencies, all of one block.

        Returns
        -------
        Bilinear
            Shape (n, N).
        """
        start = int(index[0]) // BLOCK * BLOCK
        whole, here = self.block(start), index - start
        return Bilinear(whole.a[here], whole.b[here], whole.c[here], whole.d[here])


def _numbers_by_name(inputs: Any, seed: list[int]) -> dict[Hashable, Real]:
    """Random numbers of every influence, by its source and its place among those of that source."""
    drawn: dict[Hashable, Real] = {}
    places: dict[str, int] = {}
    readings = ((inputs.reading, inputs.connection), *(p for s in inputs.path for p in s.readings))
    calibration = (*inputs.calibration.known, *inputs.calibration.seen)
    parameters = (p for s in inputs.path for p in s.parameters)
    quantities = (*calibration, *(q for pair in readings for q in pair), *parameters)
    for effect in (e for quantity in quantities for e in quantity.effects):
        if effect.influence not in drawn:
            place = places[effect.source] = places.get(effect.source, -1) + 1
            rng = np.random.default_rng([*seed, place, *effect.source.encode()])
            drawn[effect.influence] = effect.numbers(rng, DRAWS, inputs.reading.value.size)
    return drawn


def _full(values: Complex, points: int) -> Complex:
    return np.broadcast_to(values, (DRAWS, points))


def interval(
    level: Level,
    reflection: Quantity,
    *,
    readings: Readings | None = None,
    passive: bool | NDArray[np.bool_] = True,
) -> tuple[Real, Real]:
    """The 95 % interval of a figure of the reflection.

    Parameters
    ----------
    level : Level
        The figure.
    reflection : Quantity
        Corrected reflection [1].
    readings : Readings, optional
        The model, whose draws are used where something bends. Without it normal draws of the
        same covariance stand in, which a doubtful length of line is not.
    passive : bool or ndarray of bool, shape (F,)
        Whether the device is known to be passive, so that the figure's bounds hold.

    Returns
    -------
    low, high : ndarray, shape (F,)
        The interval [unit of the figure]; infinite where nothing bounds it. Where the reading
        contradicts the bound, what is left is the bound itself and a little more.
    """
    value, covariance = reflection.value, reflection.covariance()
    passive = np.broadcast_to(passive, value.shape)
    way = distance_from(circle_of(level, level.value(value)), value)[1]
    freedom = np.maximum(freedom_along(reflection, way), 1.0)
    low, high = _interval(level, value, covariance, freedom, passive)
    # the circle may bend at an end where it hardly does in the middle
    bends = [_bends(level, figure, way, covariance) for figure in (level.value(value), low, high)]
    round_about = bent.round_about(value, way, covariance)
    (turned,) = np.nonzero(round_about > bent.ROUND)
    low[turned], high[turned] = bent.over_region(
        level,
        value[turned],
        covariance[turned],
        freedom[turned],
        passive[turned],
        round_about[turned] > 1,
    )
    # a region wider than the chart says nothing
    reach = K_ELLIPSE * np.sqrt(np.linalg.eigvalsh(covariance)[:, -1])
    lost = (round_about <= bent.ROUND) & (reach > 1 + np.abs(value))
    low = np.where(lost, np.where(passive, level.low, -np.inf), low)
    high = np.where(lost, np.where(passive, level.high, np.inf), high)
    (curved,) = np.nonzero(np.any(bends, axis=0) & (round_about <= bent.ROUND) & ~lost)
    for block in np.split(curved, np.flatnonzero(np.diff(curved // BLOCK)) + 1):
        if block.size:
            maps = readings.at(block) if readings else _normal(covariance[block], freedom[block])
            low[block], high[block] = _interval(
                level, value[block], covariance[block], maps, passive[block]
            )
    return low, high


def _bends(level: Level, figure: Real, way: Complex, covariance: Real) -> NDArray[np.bool_]:
    """Where a circle, or the doubt itself, bends by a part of the doubt across the circle."""
    longest = np.linalg.eigvalsh(covariance)[:, -1]
    bend = 1 / np.maximum(radius_of(circle_of(level, figure)), 1e-12) + TURN
    return longest * bend / 2 > STRAIGHT * Spread(covariance).along(way)


def _normal(covariance: Real, freedom: Real) -> Bilinear:
    """Normal draws, or a joint t's where the covariance rests on repeats, as shifts."""
    values, axes = np.linalg.eigh(covariance)
    shape = (len(covariance), 2, NORMAL_DRAWS)
    rng = np.random.default_rng(1)
    numbers = rng.standard_normal(shape)
    if np.any(np.isfinite(freedom)):
        few = np.where(np.isfinite(freedom), freedom, 1e9)[:, None, None]
        numbers /= np.sqrt(rng.chisquare(few, (shape[0], 1, shape[2])) / few)
    real, imag = np.moveaxis((axes * np.sqrt(np.maximum(values, 0))[:, None]) @ numbers, 1, 0)
    one = np.ones(real.shape, complex)
    return Bilinear(one, real + 1j * imag, 0 * one, one)


def _interval(
    level: Level,
    value: Complex,
    covariance: Real,
    errors: Bilinear | Real,
    passive: NDArray[np.bool_],
) -> tuple[Real, Real]:
    middle = level.value(value)
    if all(level.edges):
        # beyond the unit circle the sign is turned over, and a passive device is on this side
        middle = np.where(passive & (np.abs(value) >= 1), level.at_edge(value), middle)
    scale = np.maximum(np.where(np.isfinite(middle), np.abs(middle), 1.0), 1e-6)
    search = _Search(level, scale, value, Spread(covariance), errors, passive)
    begin = np.arctan(np.clip(middle / scale, -1e12, 1e12))
    turns = [search.end(np.clip(begin, *search.limits), side) for side in (-1, 1)]
    low, high = (
        np.where(turn == limit, end, scale * np.tan(turn))
        for turn, limit, end in zip(turns, search.limits, search.ends, strict=True)
    )
    if level.wraps:
        endless = np.isinf(low) | np.isinf(high)
        low, high = np.where(endless, -np.inf, low), np.where(endless, np.inf, high)
    return low, high


class _Search:
    """One figure of one device, at all frequencies; values are angles, see `Level.circle`.

    The errors are maps from a truth to a reading, shape (F, N), or the degrees of freedom of a
    t, shape (F,).
    """

    def __init__(
        self,
        level: Level,
        scale: Real,
        reflection: Complex,
        spread: Spread,
        errors: Bilinear | Real,
        passive: NDArray[np.bool_],
    ):
        self.level, self.scale = level, scale
        self.reflection, self.errors, self.spread = reflection, errors, spread
        size = np.abs(reflection)
        self.outward = np.where(size > 0, reflection / np.where(size > 0, size, 1), 1)
        self.passive = passive
        self.ends = (np.where(passive, level.low, -np.inf), np.where(passive, level.high, np.inf))
        self.limits = tuple(np.arctan(e / scale) for e in self.ends)
        self.edges = tuple(edge & passive for edge in level.edges)

    def end(self, begin: Real, side: int) -> Real:
        """The circle so far off on that side that it would be missed as often as allowed."""
        limit = np.broadcast_to(self.limits[(side + 1) // 2], begin.shape)

        def accepted(turn: Real) -> Real:
            return self._excess(turn, self._allowed(turn, side), side)

        if all(self.level.edges):
            # outside the chart a circle goes on through the other sign: a passive device may have
            # that sign only where it may have zero
            sure = self.passive & (side * begin < 0) & (accepted(np.zeros(begin.shape)) < 0)
            limit = np.where(sure, 0.0, limit)
        # from outside, so that nothing that is accepted is left beyond
        far = np.full(begin.shape, FAR)
        outer = _crossing(lambda turn: self._excess(turn, -side * far, side), begin, limit, 1e-3)
        more = accepted(outer) > 0
        inner, outer = np.where(more, outer, begin), np.where(more, limit, outer)
        reaches = self._of_point(limit, side, accepted(limit) >= 0)
        return np.where(reaches, limit, _crossing(accepted, inner, outer, 1e-4))

    def _of_point(self, turn: Real, side: int, else_: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Whether the truth may be on a circle that is a point of the chart, as a perfect match is.

        Draws of one truth are a cloud whose own spread judges the reading, however it is bent.
        """
        circle = self.level.circle(turn, self.scale)
        near = self.spread.nearest(circle, self.reflection)
        point = (radius_of(circle) < POINT) & (np.abs(near) < 1 - POINT)
        if not isinstance(self.errors, Bilinear) or not np.any(point):
            return else_
        drawn = self.errors.apply(near[:, None])
        least = _low_quantile(-_far_off(drawn, drawn), self._miss(turn, circle, near, side))
        return np.where(point, -_far_off(drawn, self.reflection[:, None])[:, 0] >= least, else_)

    def _excess(self, turn: Real, wanted: Real, side: int) -> Real:
        """By how much the reflection is nearer to that circle than wanted; it falls outward."""
        off = self.spread.distance(self.level.circle(turn, self.scale), self.reflection)
        return side * (off - wanted)

    def _allowed(self, turn: Real, side: int) -> Real:
        """How far the reflection may lie from that circle, if the truth lies on it."""
        p, q, r = circle = self.level.circle(turn, self.scale)
        near = self.spread.nearest(circle, self.reflection)
        miss = self._miss(turn, circle, near, side)
        if not isinstance(self.errors, Bilinear):
            return side * student(self.errors, miss)
        column = (p[:, None], q[:, None], r[:, None])
        drawn = self.errors.apply(near[:, None])
        distances = side * self.spread.distance(column, drawn)
        # a distance in the spread about the reading says little of a truth far from it
        apart = _far_off(drawn, self.reflection[:, None])[:, 0] > APART
        return side * np.where(apart, np.inf, _low_quantile(distances, miss))

    def _miss(self, turn: Real, circle: Circle, near: Complex, side: int) -> Real:
        """How often the truth may lie beyond this end: half of all that may, except near bounds.

        Within a circle smaller than the doubt, and beside the unit circle, one side of the
        value's circle is no evidence against it: all that may be missed is on the other.
        """
        # one spread for all directions: the split must not depend on where the reading fell
        spread = np.sqrt(self.spread.mean)
        small = 1 - np.clip(radius_of(circle) / (K_ELLIPSE * spread) - 1, 0, 1)
        # inside is where the figure is larger if p < 0
        lean = -np.sign(circle[0]) * small
        across = self.spread.along(self.outward)
        beside = 1 - np.clip(np.abs(1 - np.abs(near)) / (K_ONE_SIDED * across) - 1, 0, 1)
        # a figure with both ends at the unit circle has each of them on its own side
        apart = self.edges[0] & self.edges[1]
        lean = lean + np.where(self.edges[1] & ((turn > 0) | ~apart), beside, 0)
        lean = lean - np.where(self.edges[0] & ((turn < 0) | ~apart), beside, 0)
        return (1 - COVERAGE) / 2 * (1 + side * np.clip(lean, -1, 1))


def _crossing(function: Callable[[Real], Real], inner: Real, outer: Real, tolerance: float) -> Real:
    """Where a falling function passes zero between two places; the outer one where it does not.

    False position with Illinois' halving, and a bisection at every fourth step, so that it
    always ends.
    """
    above, below = function(inner), function(outer)
    beyond, last = below > 0, outer
    middle, went = (inner + outer) / 2, np.full(inner.shape, 2)
    for step in range(150):
        ends = np.isfinite(above) & np.isfinite(below)  # a distance may be endless
        slope = np.where(ends, below, 0) - np.where(ends, above, 0)
        fair = (slope != 0) & (step % 4 != 3)
        share = np.where(fair, np.where(fair, -above, 0) / np.where(fair, slope, 1), 0.5)
        share = np.where((share > 0) & (share < 1), share, 0.5)
        middle = inner + share * (outer - inner)
        found = function(middle)
        if np.all((np.abs(found) < tolerance) | (np.abs(outer - inner) < SAME_TURN) | beyond):
            break
        go = found > 0
        # an end that stays twice is taken half as seriously, so that it moves next time
        stays = np.where(go == went, 0.5, 1.0)
        above = np.where(go, found, above * stays)
        below, went = np.where(go, below * stays, found), go
        inner, outer = np.where(go, middle, inner), np.where(go, outer, middle)
    return np.where(beyond, last, middle)


def _far_off(drawn: Complex, place: Complex) -> Real:
    """Squared distances of places, shape (F, M), from each row of draws, in their own spread."""
    middle = np.mean(drawn, axis=-1, keepdims=True)
    x, y = (drawn - middle).real, (drawn - middle).imag
    xx, xy, yy = (np.mean(a * b, axis=-1, keepdims=True) for a, b in ((x, x), (x, y), (y, y)))
    dx, dy = (place - middle).real, (place - middle).imag
    return (yy * dx**2 - 2 * xy * dx * dy + xx * dy**2) / np.maximum(xx * yy - xy**2, 1e-300)


def _low_quantile(rows: Real, share: Real) -> Real:
    """A quantile below one in ten of each row; endless where no draw is as rare."""
    count = rows.shape[-1]
    tail = min(count - 1, count // 8 + 2)
    low = np.sort(np.partition(rows, tail, axis=-1)[..., : tail + 1], axis=-1)
    place = np.clip(share * count - 0.5, 0, tail - 1)
    below = place.astype(int)[..., None]
    first, second = (np.take_along_axis(low, below + i, axis=-1)[..., 0] for i in (0, 1))
    found = first + (place - below[..., 0]) * (second - first)
    return np.where(share * count < 0.5, -np.inf, found)


def shortest(draws: Real, *, bound: tuple[float, float] = (-np.inf, np.inf)) -> Real:
    """Shortest 95 % interval of draws (JCGM 101, 7.7 and 5.3.4).

    Parameters
    ----------
    draws : ndarray, shape (..., N)
        Draws of a real quantity.
    bound : tuple of two float
        Least and largest value the quantity can have. Where the shortest interval starts at
        the outermost draw, it is taken to reach to the bound, which no draw ever meets.

    Returns
    -------
    ndarray, shape (..., 2)
        Low and high.
    """
    ordered = np.sort(np.clip(draws, *bound), axis=-1)
    count = ordered.shape[-1]
    inside = round(COVERAGE * count)
    starts = ordered[..., : count - inside]
    at = np.argmin(ordered[..., inside:] - starts, axis=-1)[..., None]
    low = np.take_along_axis(ordered, at, axis=-1)
    high = np.take_along_axis(ordered, at + inside, axis=-1)
    few = max(1, count // 500)
    low = np.where((at < few) & np.isfinite(bound[0]), bound[0], low)
    last = at >= count - inside - few
    high = np.where(last & np.isfinite(bound[1]), bound[1], high)
    return np.concatenate([low, high], axis=-1)
