"""Intervals that cover as often as they say, beside an open and at a perfect match too.

A corrected reflection lies in a region about its estimate: an ellipse of its covariance, or one
bent round the middle of the chart where a line of doubtful length turns it, and wide enough for
what this turn makes of all other doubts. The interval of a figure read off it (R, X, G, B, |Z|,
SWR, X/R) goes from the least to the greatest value that the figure takes in this region, as far as
a passive device can be there. Every such figure is constant along circles: where these run straight
through the region it reaches 1.96 standard deviations (or Student's t), the 95 % of one direction,
and up to 2.45, the 95 % of two, where they bend in it or it holds 0, +1 or -1, at which a figure
has an end or none. So the interval covers 95 %, up to 97.5 % beside those three places, and up to
all behind a line whose length is doubtful by much of a wave.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.circles import SQUARED_REFLECTION, Level, circle_of, direction, distance_from
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.coverage import K_AXIS, K_ELLIPSE, factor_along
from rfcal.uncertainty.curved_regions import Region, region_of
from rfcal.uncertainty.quantity import Quantity

EDGE = np.exp(2j * np.pi * np.arange(16) / 16)
"""White directions of the places on the edge of a region at which a figure is looked at first."""
CLOSER = [np.exp(2j * np.pi / part * np.linspace(-1, 1, 9)) for part in (16, 64)]
"""By how much to turn the best of them, to look again between its neighbours, and once more."""
ALONG = np.asarray(K_ELLIPSE * np.linspace(-1j, 1j, 9), complex)
"""White steps along the longer axis of a region."""
BLOCK = 512
"""Frequencies at a time, so that what is looked at fits the processor's cache."""
JOINT = K_ELLIPSE / K_AXIS
"""The factor of two directions over that of one [1]."""


def interval(
    level: Level,
    reflection: Quantity,
    *,
    region: Region | None = None,
    passive: bool | NDArray[np.bool_] = True,
) -> tuple[Real, Real]:
    """The 95 % interval of a figure of the reflection.

    Parameters
    ----------
    level : Level
        The figure.
    reflection : Quantity
        Corrected reflection [1].
    region : Region, optional
        Where it is; as from `region_of` without doubtful turns where None.
    passive : bool or ndarray of bool, shape (F,)
        Whether the device is known to be passive, so that the figure's bounds hold.

    Returns
    -------
    low, high : ndarray, shape (F,)
        The interval [unit of the figure]; infinite where nothing bounds it. Where the reading
        contradicts the bound, what is left is the bound itself and a little more.
    """
    region = region or region_of(reflection)
    passive = np.broadcast_to(passive, region.centre.shape)
    region = replace(region, centre=_possible(region, passive))
    way = distance_from(circle_of(level, level.value(region.centre)), region.centre)[1]
    times = factor_along(reflection, way)
    parts = []
    for start in range(0, way.size, BLOCK):
        some = slice(start, start + BLOCK)
        figure = _Figure(level, region.at(some), passive[some])
        parts.append(figure.interval(way[some], times[some]))
    low, high = (np.concatenate(ends) for ends in zip(*parts, strict=True))
    return low, high


def _possible(region: Region, passive: NDArray[np.bool_]) -> Complex:
    """The reflection, one of a passive device no further beyond 1 than one standard deviation."""
    outward = direction(region.centre)
    most = np.where(passive, 1 + region.spread.along(outward), np.inf)
    return outward * np.minimum(np.abs(region.centre), most)


@dataclass(frozen=True, eq=False)
class _Figure:
    """A figure over a region."""

    level: Level
    region: Region
    passive: NDArray[np.bool_]  # shape (F,)

    def interval(self, way: Complex, times: Real) -> tuple[Real, Real]:
        """Its range, if it grows that way and one direction asks for so many deviations."""
        white, seen = self._edge(times)
        ends = (white[range(times.size), np.argmax(side * seen, axis=-1)] for side in (-1, 1))
        bends = [self._bend(0 * way, self.region.across(way))]
        bends += [self._bend(times * end, end) for end in ends]
        factor = np.where(self._turns(), JOINT, _factor(np.max(bends, axis=0)))
        radius = times * factor
        white, seen = self._edge(radius)
        low, high = (self._extreme(side, radius, white, seen) for side in (-1, 1))
        return self._bounded(low, high, radius)

    def _value(self, x: Complex) -> Real:
        """The figure at places, shape (F, N); of what no passive device can have, on the circle."""
        size = np.abs(x)
        beyond = self.passive[:, None] & (size >= 1)
        value = self.level.value(np.where(beyond, x / np.where(beyond, size, 1), x))
        return np.where(beyond, self.level.at_edge(x), value) if any(self.level.edges) else value

    def _edge(self, radius: Real) -> tuple[Complex, Real]:
        """White directions to places on the edge, shape (F, N), and the figure there."""
        # beside an open or a short a figure is so steep that the places between may miss it
        beside = [way for place in (1.0, -1.0) for way in self.region.level_with(place, radius)]
        places = [np.broadcast_to(way, radius.shape) for way in (*EDGE, *beside)]
        white: Complex = np.stack(places, axis=-1)
        return white, self._value(self.region.places(radius[:, None] * white))

    def _extreme(self, side: int, radius: Real, white: Complex, seen: Real) -> Real:
        """The value furthest to one side, looked for ever closer about the best place so far."""
        for closer in CLOSER:
            best = np.argmax(side * seen, axis=-1)
            white = white[range(radius.size), best][:, None] * closer
            seen = self._value(self.region.places(radius[:, None] * white))
        return side * np.max(side * seen, axis=-1)

    def _bend(self, white: Complex, across: Complex) -> Real:
        """How far the figure's circle through a place leaves a straight line in the region.

        In deviations across the line, at one deviation along it; no passive device is beyond 1.
        """
        steps = white[:, None] + 1j * across[:, None] * K_ELLIPSE * np.array([-1, 0, 1])
        places = self.region.places(steps)
        p, q, r = circle_of(self.level, self.level.value(places[:, 1]))
        off, outward = distance_from((p[:, None], q[:, None], r[:, None]), places)
        deviation = np.maximum(self.region.spread.along(outward[:, 1]), 1e-100)
        bend = np.max(np.abs(off - off[:, 1:2]), axis=-1) / (K_ELLIPSE**2 * deviation)
        return np.where(self.passive & (np.abs(places[:, 1]) >= 1), 0, bend)

    def _turns(self) -> NDArray[np.bool_]:
        """Where the figure has an end, or none, or turns round along a bent region."""
        region, level = self.region, self.level
        if level is SQUARED_REFLECTION:
            return ~region.bent & region.holds(0.0, K_ELLIPSE)
        seen = level.value(region.places(ALONG[None]))
        rises = seen[..., 1:] > seen[..., :-1]
        turns = region.bent & np.any(rises, axis=-1) & ~np.all(rises, axis=-1)
        return turns | region.holds(1.0, K_ELLIPSE) | region.holds(-1.0, K_ELLIPSE)

    def _bounded(self, low: Real, high: Real, radius: Real) -> tuple[Real, Real]:
        """With what the figure is at 0, +1 and -1, within its bounds, and nothing if all is."""
        level, region, passive = self.level, self.region, self.passive
        for place in (1.0, -1.0, 0.0):
            within, at = region.holds(place, radius), level.value(np.array(place + 0j))
            least = -at if level.wraps and np.isinf(at) else at
            low = np.where(within, np.minimum(low, least), low)
            high = np.where(within, np.maximum(high, at), high)
        if level.wraps:
            endless = np.isinf(low) | np.isinf(high)
            low, high = np.where(endless, -np.inf, low), np.where(endless, np.inf, high)
        bounds = np.where(passive, level.low, -np.inf), np.where(passive, level.high, np.inf)
        # a region wider than the chart says nothing
        longest = np.sqrt(np.linalg.eigvalsh(region.covariance)[:, -1])
        lost = ~region.bent & (K_ELLIPSE * longest > 1 + np.abs(region.centre))
        low, high = np.maximum(low, bounds[0]), np.minimum(high, bounds[1])
        return np.where(lost, bounds[0], low), np.where(lost, bounds[1], high)


def _factor(bend: Real) -> Real:
    """From 1 for a straight line through a region to that of two directions for a mere point.

    Of two normal variables, 95.0 to 96.8 % lie so near to a circle of any radius.
    """
    return 1 + (JOINT - 1) * bend**2 / (1 + bend**2)
