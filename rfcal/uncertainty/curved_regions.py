"""Intervals where a doubtful angle bends: figures over a region curved about the chart's middle.

A line whose length or velocity factor is doubtful turns the reflection about the middle of the
chart. An ellipse on the tangent is no region of such a doubt; one in the logarithm of the
reflection is.
"""

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.circles import Level, Spread
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.coverage import COVERAGE, K_AXIS, K_ELLIPSE, student

ROUND = 0.1
"""Bend of a doubtful angle, in parts of the doubt across a figure's circle, from which the figure's
range over a region bent alike is taken for its interval."""

EDGE = 360
"""Places on the edge of a region at which a figure is looked at."""


def round_about(reflection: Complex, way: Complex, covariance: Real) -> Real:
    """How far a doubtful angle bends away from its tangent, in parts of the doubt across a circle.

    Parameters
    ----------
    reflection : ndarray, shape (F,)
        Corrected reflection [1].
    way : ndarray, shape (F,)
        Direction across the figure's circle, of magnitude 1.
    covariance : ndarray, shape (F, 2, 2)
        Covariance of the reflection [1].

    Returns
    -------
    ndarray, shape (F,)
        The bend [1]. Zero where the doubt is no band about the middle of the chart: about as wide
        as long, or so near the middle that there is no angle.
    """
    spread, size = Spread(covariance), np.abs(reflection)
    outward = np.where(size > 0, reflection / np.where(size > 0, size, 1), 1)
    across, along = spread.along(outward), spread.along(1j * outward)
    bend = along**2 / (2 * np.maximum(size, 1e-300)) / spread.along(way)
    return np.where((along > 2 * across) & (size > 3 * across), bend, 0.0)


def over_region(
    level: Level,
    reflection: Complex,
    covariance: Real,
    freedom: Real,
    passive: NDArray[np.bool_],
    whole: NDArray[np.bool_],
) -> tuple[Real, Real]:
    """Least and largest value of a figure over a region that is bent round the chart's middle.

    The region is an ellipse in ``log(reflection)``, where a doubtful length is a straight shift:
    one whose projection is an interval of 95 %, or the joint region of 95 % where `whole` asks for
    it or the figure turns round on the way along it, as R does where a line is half a wave long.
    All figures are greatest and least on its edge, or where they have no bound or are zero.

    Parameters
    ----------
    level : Level
        The figure.
    reflection : ndarray, shape (F,)
        Corrected reflection [1].
    covariance : ndarray, shape (F, 2, 2)
        Its covariance [1].
    freedom : ndarray, shape (F,)
        Degrees of freedom.
    passive : ndarray of bool, shape (F,)
        Whether the device is known to be passive.
    whole : ndarray of bool, shape (F,)
        Whether to take the joint region in any case.

    Returns
    -------
    low, high : ndarray, shape (F,)
        The range [unit of the figure].
    """
    size, angle = np.abs(reflection), np.angle(reflection)
    turn = np.exp(-1j * angle) / size
    rotate = np.stack([turn.real, -turn.imag, turn.imag, turn.real], -1).reshape(-1, 2, 2)
    inside = rotate @ covariance @ np.swapaxes(rotate, -1, -2)
    values, axes = np.linalg.eigh(inside)
    axes = axes * np.sqrt(np.maximum(values, 0))[:, None]
    way = K_ELLIPSE * np.linspace(-1, 1, 25) * axes[:, :, 1:]
    along = level.value(reflection[:, None] * np.exp(way[:, 0] + 1j * way[:, 1]))
    rises = np.diff(along, axis=-1) > 0
    turns = whole | (np.any(rises, axis=-1) & ~np.all(rises, axis=-1))
    times = student(freedom, np.full(freedom.shape, (1 + COVERAGE) / 2))
    radius = np.where(turns, K_ELLIPSE / K_AXIS, 1.0) * times
    round_ = np.linspace(0, 2 * np.pi, EDGE, endpoint=False)
    unit = np.stack([np.cos(round_), np.sin(round_)])
    step = radius[:, None, None] * axes @ unit
    larger = np.where(passive[:, None], np.minimum(step[:, 0], -np.log(size)[:, None]), step[:, 0])
    places = reflection[:, None] * np.exp(larger + 1j * step[:, 1])
    edge = level.value(places)
    if any(level.edges):
        edge = np.where(larger < step[:, 0], level.at_edge(places), edge)
    low, high = edge.min(axis=-1), edge.max(axis=-1)
    for place in (1.0, -1.0):
        ends = _beside(
            level, place, size, angle, np.asarray(np.linalg.inv(inside), float), radius, passive
        )
        low, high = np.minimum(low, ends[0]), np.maximum(high, ends[1])
    # rounding must not carry an end beyond its bound
    low = np.where(passive, np.maximum(low, level.low), low)
    return low, np.where(passive, np.minimum(high, level.high), high)


def _beside(
    level: Level,
    place: float,
    size: Real,
    angle: Real,
    weight: Real,
    radius: Real,
    passive: NDArray[np.bool_],
) -> tuple[Real, Real]:
    """Least and largest value where a region passes the open (1) or the short (-1).

    A figure is steep there, and the places on the region's edge miss it. Where the region does
    not pass it, the two are infinite and bound nothing.
    """
    off, reach = np.angle(place * np.exp(-1j * angle)), -np.log(size)
    middle = -weight[:, 0, 1] * off / weight[:, 0, 0]
    left = radius**2 - (weight[:, 1, 1] * off + weight[:, 0, 1] * middle) * off
    passes = left >= 0
    half = np.sqrt(np.maximum(left, 0) / weight[:, 0, 0])
    ends = []
    for end in (middle - half, middle + half):
        far = np.where(passive, np.minimum(end, reach), end)
        ends.append(level.value(place * size * np.exp(far) + 0j))
    low = np.where(passes, np.minimum(*ends), np.inf)
    high = np.where(passes, np.maximum(*ends), -np.inf)
    # is the place itself within? for a passive device what is beyond it counts as well
    within = passes & (middle + half >= reach) & (passive | (middle - half <= reach))
    at = float(level.value(np.array([place + 0j]))[0])
    low = np.where(within, np.minimum(low, -at if level.wraps and np.isinf(at) else at), low)
    return low, np.where(within, np.maximum(high, at), high)
