"""Monte Carlo beside the linear answer: which of them to believe, asked at some frequencies.

Sources: JCGM 101:2008 (7.7 intervals, 7.9 adaptive procedure, 8 comparison with the linear answer)
and JCGM 102:2011 (7.6 covariance, 7.7.2 elliptical region) for complex outputs.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.propagate import Inputs, impedance, propagate
from rfcal.readings.rows import Say, silent
from rfcal.uncertainty.coverage import (
    COVERAGE,
    K_AXIS,
    K_ELLIPSE,
    degrees_of_freedom,
    expanded,
    region_factor,
    squared_distance,
    standard_uncertainty,
)
from rfcal.uncertainty.quantity import Quantity

BATCH = 10_000
"""Draws between two looks at whether to stop: the M of JCGM 101, 7.9.4, for 95 %."""
MOST = 300_000
"""Draws at one frequency after which to stop in any case."""
ASKED = 16
"""Frequencies of a sweep, however long, at which Monte Carlo is asked."""
SHARE = 0.2
"""Part of a numerical tolerance that the draws may use up: a fifth where the linear answer is to be
judged by them (JCGM 101, 8.2)."""
KEPT = 4_000
"""Draws of the first batch that are kept as a sample."""
WIDER = 0.05
"""By how much a region may differ from a normal one, in parts of its radius."""
TAIL = (1 - COVERAGE) / 2


@dataclass(frozen=True, eq=False)
class Ellipse:
    """A 95 % region of the reflection plane at each frequency."""

    centre: Complex  # reflection coefficient [1], shape (F,)
    covariance: Real  # shape of the ellipse [1], (F, 2, 2)
    radius: Real  # its size in the measure of the covariance [1], shape (F,)


@dataclass(frozen=True, eq=False)
class Assessment:
    """One device by linear propagation and by Monte Carlo, and which of them to believe."""

    index: NDArray[np.intp]  # frequencies at which Monte Carlo was asked, shape (n,)
    linear: NDArray[np.bool_]  # where the linear intervals of R and of X may be used, (n, 2)
    tolerance: Real  # numerical tolerance of R and X [ohm] that the two were compared with, (n, 2)
    draws: NDArray[np.int64]  # shape (n,)
    # where the verdict is sure: Monte Carlo's figures had come to rest, or agree with the linear
    # ones, or not, whatever more draws would have moved; shape (n,)
    settled: NDArray[np.bool_]
    # region of the reflection at all frequencies, shape (F,): Monte Carlo's where it was asked and
    # the linear one may not be used
    region: Ellipse


def assess(
    inputs: Inputs,
    interval: Real,
    z_ref: float,
    rng: "np.random.Generator",
    *,
    answer: int = 0,
    say: Say = silent,
) -> Assessment:
    """Both answers at some frequencies: that of the answer, and those where most is bent.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    interval : ndarray, shape (F, 2, 2)
        95 % intervals of R and of X [ohm], last axis low and high: what they differ from the
        linear ones by tells where most is bent.
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.
    answer : int
        Index of a frequency at which Monte Carlo is asked in any case.
    say : callable
        Called with a few words before more draws.

    Returns
    -------
    Assessment
        The comparison; its cost does not grow with the sweep.
    """
    whole = propagate(inputs)
    index = _asked(impedance(whole, z_ref), interval, answer)
    few = inputs.at(index)
    reflection = propagate(few)
    linear = impedance(reflection, z_ref)
    ends, sure = _linear_ends(linear), np.zeros(index.size, bool)
    batches = np.full((MOST // BATCH, index.size, 9), np.nan)
    for count, batch in enumerate(batches, start=1):
        active = np.flatnonzero(~sure)
        if not active.size:
            break
        say(f"{count * BATCH:,} draws")
        drawn = _batch(few.at(active), rng)
        off = drawn - reflection.value[active, None]
        batch[active] = _figures(off, to_impedance(drawn, z_ref))
        if count == 1:
            sample = off[:, :KEPT]
        seen = batches[:count, active]
        average, tolerance = seen.mean(axis=0), _tolerance(seen.mean(axis=0))
        # twice the standard deviation of the average; endless after one batch
        twice = 2 * seen.std(axis=0) / np.sqrt(count - 1) if count > 1 else average + np.inf
        off, limit = np.abs(ends[active] - _intervals(average)), tolerance[..., None]
        room = _intervals(twice)
        # the verdict cannot change: all ends agree whatever is drawn, or one does not
        holds = np.all(off + room <= limit, axis=-1)
        told = np.all(holds | np.any(off > limit + room, axis=-1), axis=-1)
        sure[active] = told | _settled(average, twice)
    average = np.nanmean(batches, axis=0)
    draws = BATCH * np.count_nonzero(~np.isnan(batches[..., 0]), axis=0)
    region = linear_region(whole)
    there = ellipse_of(reflection, sample)
    region.centre[index], region.radius[index] = there.centre, there.radius
    region.covariance[index] = there.covariance
    holds = _linear_holds(reflection, linear, average)
    return Assessment(index, holds, _tolerance(average), draws, sure, region)


def _asked(linear: Quantity, interval: Real, answer: int) -> NDArray[np.intp]:
    """The answer's frequency and those where the intervals are furthest from the linear ones."""
    ends = _linear_ends(linear)
    known = np.maximum(tolerance_of(standard_uncertainty(linear.covariance())), 1e-300)
    with np.errstate(invalid="ignore", over="ignore"):
        off = np.nan_to_num(np.abs(interval - ends).max(axis=-1) / known, nan=np.inf)
    bend = off.max(axis=-1)
    first = np.argsort(-bend, kind="stable")
    first = np.concatenate([[answer], first[first != answer]])
    return np.sort(first[:ASKED])


def _batch(inputs: Inputs, rng: "np.random.Generator") -> Complex:
    """Draws of the corrected reflection [1], shape (F, N), so many at once as fit the cache.

    Of hundreds of standards, as fit the memory.
    """
    values = min(8192, 2**21 // len(inputs.calibration.known))
    size = max(1, values // inputs.reading.value.size)
    parts = [inputs.draw(rng, min(size, BATCH - start)) for start in range(0, BATCH, size)]
    return np.concatenate(parts).T


def _figures(off: Complex, z: Complex) -> Real:
    """What has to stand still of draws, shape (F, N), nine figures at each frequency.

    Mean (2), deviations (2) and radius of the region of the reflection less its estimate, and both
    ends of the equal-tailed intervals of R and of X (4).
    """
    mean, covariance = _moments(off)
    radius = _radius(off - mean[:, None], covariance)
    ends = (np.quantile(part, [TAIL, 1 - TAIL], axis=-1) for part in (z.real, z.imag))
    spread = standard_uncertainty(covariance).T
    return np.stack([mean.real, mean.imag, *spread, radius, *np.concatenate([*ends])], axis=-1)


def _parts(values: Complex) -> Real:
    return np.stack([values.real, values.imag], axis=-1)


def _moments(values: Complex) -> tuple[Complex, Real]:
    """Mean, shape (F,), and covariance, (F, 2, 2), of draws, (F, N)."""
    mean = values.mean(axis=-1)
    parts = _parts(values - mean[:, None])
    return mean, np.swapaxes(parts, -1, -2) @ parts / (values.shape[-1] - 1)


def _intervals(figures: Real) -> Real:
    """The intervals of R and X among the nine figures, shape (F, 2, 2)."""
    return figures[:, 5:].reshape(-1, 2, 2)


def _radius(off: Complex, covariance: Real) -> Real:
    """How large an ellipse of that shape must be to hold 95 % of the draws, shape (F, N)."""
    return np.sqrt(np.quantile(squared_distance(off.T, covariance), COVERAGE, axis=0))


def tolerance_of(deviation: Real) -> Real:
    """Numerical tolerance: half a unit of the first significant digit (JCGM 101, 7.9.2).

    It is zero where nothing is uncertain.
    """
    known = deviation > 0
    # u = c 10^l with c a whole number of one digit; half of 10^l
    power = np.floor(np.log10(np.where(known, deviation, 1.0)))
    return np.where(known, 0.5 * 10.0**power, 0.0)


def _tolerance(average: Real) -> Real:
    """Of the ends of the intervals of R and of X [ohm], shape (F, 2)."""
    ends = _intervals(average)
    return tolerance_of((ends[..., 1] - ends[..., 0]) / (2 * K_AXIS))


def _settled(average: Real, twice: Real) -> NDArray[np.bool_]:
    """Where twice the standard deviation of every average is within tolerance (7.9.4)."""
    reflection = tolerance_of(average[:, 2:4])
    # the region's radius to one digit, of a figure near 2.4
    radius = np.full((len(average), 1), 0.5)
    ends = np.repeat(_tolerance(average), 2, axis=1)
    limits = np.concatenate([reflection, reflection, radius, ends], axis=1)
    return np.all(twice <= SHARE * limits, axis=1)


def _linear_ends(linear: Quantity) -> Real:
    """Ends of the linear 95 % intervals of R and of X [ohm], shape (F, 2, 2)."""
    half, middle = expanded(linear), _parts(linear.value)
    return np.stack([middle - half, middle + half], axis=-1)


def _linear_holds(reflection: Quantity, linear: Quantity, drawn: Real) -> NDArray[np.bool_]:
    """Where the linear answer may be used for R and for X, (F, 2), by Monte Carlo's nine figures.

    Both ends of the 95 % intervals of R and of X must agree within the numerical tolerance,
    the linear R must not reach below zero (no passive device does), and the reflection's 95 %
    region must be nearly as wide as a normal one (JCGM 101, clause 8).
    """
    ends = _linear_ends(linear)
    agrees = np.all(np.abs(ends - _intervals(drawn)) <= _tolerance(drawn)[..., None], axis=-1)
    agrees[:, 0] &= ends[:, 0, 0] >= 0
    normal = _normal(reflection, drawn[:, 0] + 1j * drawn[:, 1], drawn[:, 4])
    # a joint t is no normal region; its own factor is in the linear answer
    repeated = np.isfinite(degrees_of_freedom(reflection))
    return agrees & (normal | repeated)[:, None]


def _normal(reflection: Quantity, shift: Complex, radius: Real) -> NDArray[np.bool_]:
    """Whether draws, by their mean's shift and their region's radius, are as the linear answer."""
    moved = squared_distance(shift, reflection.covariance())
    return (np.abs(radius / K_ELLIPSE - 1) < WIDER) & (moved < 0.01 * K_ELLIPSE**2)


def linear_region(reflection: Quantity) -> Ellipse:
    """The 95 % region of a reflection by linear propagation alone."""
    freedom = degrees_of_freedom(reflection)
    return Ellipse(reflection.value.copy(), reflection.covariance(), region_factor(freedom))


def ellipse_of(reflection: Quantity, sample: Complex) -> Ellipse:
    """The 95 % region of a reflection, held against draws of it less its value, shape (F, N).

    It is the linear ellipse where the draws are normal; else their own, or, where they rest on
    repeats and have no covariance to speak of, the linear one as large as they ask.
    """
    repeated = np.isfinite(degrees_of_freedom(reflection))
    mean, own = _moments(sample)
    normal = _normal(reflection, mean, _radius(sample - mean[:, None], own))
    linear = repeated | normal
    centre = np.where(linear, 0, mean)
    covariance = np.where(linear[:, None, None], reflection.covariance(), own)
    radius = _radius(sample - centre[:, None], covariance)
    radius = np.where(normal & ~repeated, K_ELLIPSE, radius)
    return Ellipse(reflection.value + centre, covariance, radius)
