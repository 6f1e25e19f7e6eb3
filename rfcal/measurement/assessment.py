"""One device by linear propagation and by Monte Carlo, compared: which of them to believe where.

Source: JCGM 101:2008, clause 8; for the region JCGM 102:2011, 7.7.2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.model import Inputs, impedance, propagate
from rfcal.measurement.monte_carlo import Adapted, adaptive, squared_distance
from rfcal.uncertainty.coverage import (
    COVERAGE,
    K_ELLIPSE,
    coverage_factors,
    degrees_of_freedom,
    freedom_along,
    standard_uncertainty,
)
from rfcal.uncertainty.quantity import Quantity

BLOCK = 256
"""Frequencies that are asked at a time, so that a long sweep does not fill the memory."""
_AXES = (np.ones(1, complex), np.full(1, 1j))
"""Directions of R and of X."""


def _linear_ends(linear: Quantity) -> Real:
    """Ends of the linear 95 % intervals of R and of X [ohm], shape (F, 2, 2)."""
    freedom = np.stack([freedom_along(linear, way) for way in _AXES], axis=-1)
    half = coverage_factors(freedom)[0] * standard_uncertainty(linear.covariance())
    middle = np.stack([linear.value.real, linear.value.imag], axis=-1)
    return np.stack([middle - half, middle + half], axis=-1)


def linear_holds(reflection: Quantity, linear: Quantity, drawn: Adapted) -> NDArray[np.bool_]:
    """Where the linear answer may be used, judged by Monte Carlo (JCGM 101, clause 8).

    Both ends of the 95 % intervals of R and of X must agree within the numerical tolerance,
    the linear R must not reach below zero (no passive device does), and the reflection's 95 %
    region must be as wide as a normal one within 5 %.

    Parameters
    ----------
    reflection : Quantity
        Corrected reflection [1] by linear propagation.
    linear : Quantity
        Impedance [ohm] by linear propagation.
    drawn : Adapted
        The same by Monte Carlo, with a `share` of a fifth or less.

    Returns
    -------
    ndarray of bool, shape (F, 2)
        For R and for X.
    """
    ends = _linear_ends(linear)
    agrees = np.all(np.abs(ends - drawn.interval) <= drawn.tolerance[..., None], axis=-1)
    agrees[:, 0] &= ends[:, 0, 0] >= 0
    off = drawn.mean - reflection.value
    shift = np.stack([off.real, off.imag], axis=-1)[:, None]
    moved = squared_distance(shift, reflection.covariance())[:, 0]
    normal = (np.abs(drawn.radius / K_ELLIPSE - 1) < 0.05) & (moved < 0.01 * K_ELLIPSE**2)
    # a joint t is no normal region; its own factor is in the linear answer
    repeated = np.isfinite(degrees_of_freedom(reflection))[:, None]
    return agrees & (normal[:, None] | repeated)


@dataclass(frozen=True, eq=False)
class Region:
    """The 95 % region of the reflection plane: an ellipse at each frequency.

    Parameters
    ----------
    centre : ndarray, shape (F,)
        Reflection coefficient [1].
    covariance : ndarray, shape (F, 2, 2)
        Shape of the ellipse [1].
    radius : ndarray, shape (F,)
        Its size in the measure of the covariance [1].
    """

    centre: Complex
    covariance: Real
    radius: Real


def region_of(reflection: Quantity, sample: Complex) -> Region:
    """The 95 % region of a reflection, held against draws.

    Parameters
    ----------
    reflection : Quantity
        Corrected reflection [1], linear.
    sample : ndarray, shape (F, N)
        Draws of it less its value [1].

    Returns
    -------
    Region
        The linear ellipse where the draws are normal; else their own, or, where they rest on
        repeats and have no covariance to speak of, the linear one as large as they ask.
    """
    parts = np.stack([sample.real, sample.imag], axis=-1)
    repeated = np.isfinite(degrees_of_freedom(reflection))
    known = reflection.covariance()
    shift, own = parts.mean(axis=1), np.array([np.cov(row.T) for row in parts])
    normal = np.abs(_radius(parts - shift[:, None], own) / K_ELLIPSE - 1) < 0.05
    normal &= squared_distance(shift[:, None], known)[:, 0] < 0.01 * K_ELLIPSE**2
    linear = repeated | normal
    centre = np.where(linear, 0, shift[:, 0] + 1j * shift[:, 1])
    covariance = np.where(linear[:, None, None], known, own)
    off = parts - np.stack([centre.real, centre.imag], axis=-1)[:, None]
    radius = np.where(normal & ~repeated, K_ELLIPSE, _radius(off, covariance))
    return Region(reflection.value + centre, covariance, radius)


def _radius(parts: Real, covariance: Real) -> Real:
    """How large an ellipse of that shape must be to hold 95 % of the draws."""
    return np.sqrt(np.quantile(squared_distance(parts, covariance), COVERAGE, axis=-1))


@dataclass(frozen=True, eq=False)
class Assessment:
    """One device by linear propagation and by Monte Carlo, and which of them to believe.

    Parameters
    ----------
    linear : ndarray of bool, shape (F, 2)
        Where the linear intervals of R and of X may be used (JCGM 101, clause 8).
    region : Region
        Of the reflection: the linear one where it may be used, else Monte Carlo's.
    tolerance : ndarray, shape (F, 2)
        Numerical tolerance of R and X [ohm] that the two were compared with.
    draws : ndarray of int, shape (F,)
        Monte Carlo's draws.
    settled : ndarray of bool, shape (F,)
        Where the verdict is sure: Monte Carlo's figures had come to rest, or agree with the
        linear ones, or not, whatever more draws would have moved.
    """

    linear: NDArray[np.bool_]
    region: Region
    tolerance: Real
    draws: NDArray[np.int64]
    settled: NDArray[np.bool_]


def assess(
    inputs: Inputs,
    z_ref: float,
    rng: np.random.Generator,
    *,
    most: int = 300_000,
) -> Assessment:
    """Ask the model both ways, and compare.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.
    most : int
        Draws at one frequency after which to stop in any case.

    Returns
    -------
    Assessment
        Both answers; memory does not grow with draws, and little with frequencies.
    """
    points = inputs.reading.value.size
    blocks = np.array_split(np.arange(points), -(-points // BLOCK))
    parts = [_assessed(inputs.at(block), z_ref, rng, most) for block in blocks]
    regions = [part.region for part in parts]
    region = Region(*(_joined(regions, name) for name in ("centre", "covariance", "radius")))
    names = ("tolerance", "draws", "settled")
    return Assessment(_joined(parts, "linear"), region, *(_joined(parts, name) for name in names))


def _joined(parts: Sequence[Any], name: str) -> Any:
    return np.concatenate([getattr(part, name) for part in parts])


def _assessed(inputs: Inputs, z_ref: float, rng: np.random.Generator, most: int) -> Assessment:
    """At a few frequencies."""
    reflection = propagate(inputs)
    linear = impedance(reflection, z_ref)
    ends, sure = _linear_ends(linear), np.zeros(reflection.value.size, bool)

    def enough(
        index: NDArray[np.intp], interval: Real, twice: Real, tolerance: Real
    ) -> NDArray[np.bool_]:
        off, limit = np.abs(ends[index] - interval), tolerance[..., None]
        holds = np.all(off + twice <= limit, axis=-1)
        sure[index] = np.all(holds | np.any(off > limit + twice, axis=-1), axis=-1)
        return sure[index]

    drawn = adaptive(inputs, z_ref, rng, most=most, enough=enough)
    return Assessment(
        linear_holds(reflection, linear, drawn),
        region_of(reflection, drawn.sample),
        drawn.tolerance,
        drawn.draws,
        drawn.settled | sure,
    )
