"""Monte Carlo through the model function: moments, quantiles, and when to stop drawing.

Sources: JCGM 101:2008 (7.7 intervals, 7.9 adaptive procedure) and JCGM 102:2011
(7.6 covariance, 7.7.2 elliptical region) for complex outputs.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.model import Inputs
from rfcal.uncertainty.coverage import COVERAGE, K_AXIS, standard_uncertainty

BATCH = 10_000
"""Draws between two looks at whether to stop: the M of JCGM 101, 7.9.4, for 95 %."""
TAIL = (1 - COVERAGE) / 2

Progress = Callable[[int, int], None]
Enough = Callable[[NDArray[np.intp], Real, Real, Real], NDArray[np.bool_]]


@dataclass(frozen=True, eq=False)
class Moments:
    """Mean and covariance of complex draws.

    Parameters
    ----------
    mean : ndarray, shape (F,)
        Mean, in the unit of the draws.
    covariance : ndarray, shape (F, 2, 2)
        Covariance of the real and the imaginary part, in that unit squared.
    draws : int
        Number of draws.
    """

    mean: Complex
    covariance: Real
    draws: int


@dataclass(frozen=True, eq=False)
class Simulated(Moments):
    """What Monte Carlo says about an impedance.

    Parameters
    ----------
    mean : ndarray, shape (F,)
        Mean impedance [ohm].
    covariance : ndarray, shape (F, 2, 2)
        Covariance of R and X [ohm^2].
    draws : int
        Number of draws.
    interval : ndarray, shape (F, 2, 2)
        Equal-tailed 95 % intervals: last axis low and high, the one before it R and X [ohm].
    """

    interval: Real


@dataclass(frozen=True, eq=False)
class Adapted:
    """What Monte Carlo says when it has drawn until its own figures stand still.

    Parameters
    ----------
    mean : ndarray, shape (F,)
        Mean of the corrected reflection [1].
    radius : ndarray, shape (F,)
        Radius of the reflection's 95 % region, in the measure of its covariance: 2.45 where the
        draws are normal (JCGM 102, 7.7.2).
    interval : ndarray, shape (F, 2, 2)
        Equal-tailed 95 % intervals: last axis low and high, the one before it R and X [ohm].
    tolerance : ndarray, shape (F, 2)
        Numerical tolerance asked of R and X [ohm].
    draws : ndarray of int, shape (F,)
        Draws at each frequency.
    settled : ndarray of bool, shape (F,)
        Where every figure met its tolerance.
    sample : ndarray, shape (F, n)
        Some of the drawn reflections less the value of the estimate [1].
    """

    mean: Complex
    radius: Real
    interval: Real
    tolerance: Real
    draws: NDArray[np.int64]
    settled: NDArray[np.bool_]
    sample: Complex


class _Sums:
    """Running sums about a fixed origin: memory does not grow with the draws."""

    def __init__(self, origin: Complex):
        self.origin, self.draws = origin, 0
        self.first = np.zeros((origin.size, 2))
        self.second = np.zeros((origin.size, 2, 2))

    def add(self, values: Complex) -> None:
        off = np.ascontiguousarray(values - self.origin)
        axes = off.view(float).reshape(*off.shape, 2)
        self.first += axes.sum(axis=0)
        squares = np.einsum("nfi,nfi->fi", axes, axes)
        self.second[:, [0, 1], [0, 1]] += squares
        self.second[:, 0, 1] += np.einsum("nf,nf->f", axes[..., 0], axes[..., 1])
        self.draws += len(values)

    def result(self) -> Moments:
        mean = self.first / self.draws
        second = self.second.copy()
        second[:, 1, 0] = second[:, 0, 1]
        covariance = second - self.draws * mean[:, :, None] * mean[:, None, :]
        offset = mean[:, 0] + 1j * mean[:, 1]
        return Moments(self.origin + offset, covariance / (self.draws - 1), self.draws)


def in_chunks(inputs: Inputs, rng: np.random.Generator, draws: int) -> Iterator[Complex]:
    """Draws of the corrected reflection in pieces that fit the processor's cache.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    rng : numpy.random.Generator
        Where the randomness comes from.
    draws : int
        Total number of draws.

    Yields
    ------
    ndarray, shape (n, F)
        Corrected reflection coefficient [1].
    """
    size = max(1, 8192 // inputs.reading.value.size)
    for start in range(0, draws, size):
        yield inputs.draw(rng, min(size, draws - start))


def moments(
    inputs: Inputs,
    rng: np.random.Generator,
    draws: int,
    *,
    of: Callable[[Complex], Complex] | None = None,
    progress: Progress | None = None,
) -> Moments:
    """Mean and covariance by Monte Carlo, in memory that does not grow with the draws.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    rng : numpy.random.Generator
        Where the randomness comes from.
    draws : int
        Number of draws, two or more.
    of : callable, optional
        Function of the drawn reflections; by default the reflection itself.
    progress : callable of (int, int), optional
        Told after every piece how many draws are done, and of how many.

    Returns
    -------
    Moments
        Of the reflection [1], or of what `of` makes of it.
    """
    sums: _Sums | None = None
    for piece in in_chunks(inputs, rng, draws):
        values = of(piece) if of else piece
        sums = sums or _Sums(values[0].copy())
        sums.add(values)
        if progress:
            progress(sums.draws, draws)
    assert sums is not None
    return sums.result()


def monte_carlo(
    inputs: Inputs, z_ref: float, rng: np.random.Generator, *, draws: int = 20_000
) -> Simulated:
    """Impedance of the device by Monte Carlo, with a fixed number of draws.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.
    draws : int
        Number of draws.

    Returns
    -------
    Simulated
        Mean, covariance and intervals of R and X.
    """
    z = np.concatenate([to_impedance(c, z_ref) for c in in_chunks(inputs, rng, draws)])
    sums = _Sums(z[0].copy())
    sums.add(z)
    found = sums.result()
    return Simulated(found.mean, found.covariance, draws, _ends(z.T))


def adaptive(
    inputs: Inputs,
    z_ref: float,
    rng: np.random.Generator,
    *,
    digits: int = 1,
    share: float = 0.2,
    most: int = 500_000,
    keep: int = 4_000,
    enough: Enough | None = None,
) -> Adapted:
    """Draw in batches until mean, deviations, region and intervals stand still.

    After each batch of `BATCH` the figures' averages over all batches are looked at: twice the
    standard deviation of every average must be within its tolerance (JCGM 101, 7.9.4). Drawing
    goes on at those frequencies where it is not. Memory holds one batch, whatever the number of
    draws; of a long sweep, give some frequencies at a time.

    Parameters
    ----------
    inputs : Inputs
        The reading and all it depends on.
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.
    digits : int
        Significant digits of the standard uncertainty that count: they set the tolerance.
    share : float
        Part of that tolerance that the draws may use up; a fifth where the linear answer is
        to be judged by them (JCGM 101, 8.2).
    most : int
        Draws at one frequency after which to stop in any case.
    keep : int
        Draws of the first batch that are kept as a sample, at most `BATCH`.
    enough : callable, optional
        Of indices of frequencies, shape (n,), the intervals there, twice their standard
        deviations and the tolerances: where nothing more need be known, settled or not.

    Returns
    -------
    Adapted
        Averages over the batches, and where they settled.
    """
    value = inputs.corrected()
    active, few = np.arange(value.size), inputs
    sums, sample = _Batches(value.size), np.empty(0, complex)
    settled, tolerance = np.zeros(value.size, bool), np.zeros((value.size, 2))
    while active.size and sums.count.max() * BATCH < most:
        batch = _batch(few, rng, value[active])
        sums.add(active, _figures(batch, value[active], z_ref))
        if not sample.size:
            sample = batch[:, :keep].astype(complex)
        average, twice = sums.at(active)
        settled[active], tolerance[active] = _settled(average, twice, digits, share)
        done = settled[active]
        if enough:
            ends, doubt = (part[:, 5:].reshape(-1, 2, 2) for part in (average, twice))
            done = done | enough(active, ends, doubt, tolerance[active])
        if np.any(done):
            active = active[~done]
            few = inputs.at(active) if active.size else few
    found, _ = sums.at(np.arange(value.size))
    mean = value + found[:, 0] + 1j * found[:, 1]
    interval = found[:, 5:].reshape(-1, 2, 2)
    return Adapted(mean, found[:, 4], interval, tolerance, sums.count * BATCH, settled, sample)


def _batch(inputs: Inputs, rng: np.random.Generator, value: Complex) -> NDArray[np.complex64]:
    """One batch of reflections less the estimate, frequency first, in single precision."""
    batch = np.empty((value.size, BATCH), np.complex64)
    done = 0
    for piece in in_chunks(inputs, rng, BATCH):
        batch[:, done : done + len(piece)] = (piece - value).T
        done += len(piece)
    return batch


class _Batches:
    """What has to stand still, summed over batches at each frequency.

    Nine figures: mean (2), deviations (2) and radius of the region of the reflection, and both
    ends of the intervals of R and of X (4).
    """

    def __init__(self, points: int):
        self.count = np.zeros(points, int)
        self.origin, self.first, self.second = np.zeros((3, points, 9))

    def add(self, index: NDArray[np.intp], figures: Real) -> None:
        """One more batch at some frequencies; sums are about the first, which saves digits."""
        if not np.any(self.count):
            self.origin = figures
        off = figures - self.origin[index]
        self.count[index] += 1
        self.first[index] += off
        self.second[index] += off**2

    def at(self, index: NDArray[np.intp]) -> tuple[Real, Real]:
        """Averages, and twice their standard deviations; endless after one batch."""
        count = self.count[index, None]
        off = self.first[index] / count
        spread = np.sqrt(np.maximum(self.second[index] / count - off**2, 0))
        twice = np.where(count > 1, 2 * spread / np.sqrt(np.maximum(count - 1, 1)), np.inf)
        return self.origin[index] + off, twice


def _figures(batch: NDArray[np.complex64], value: Complex, z_ref: float) -> Real:
    """The nine figures of one batch, a few frequencies at a time, so that copies stay small."""
    rows = [
        _figures_of_rows(batch[i : i + 16].astype(complex), value[i : i + 16], z_ref)
        for i in range(0, value.size, 16)
    ]
    return np.concatenate(rows)


def _figures_of_rows(off: Complex, value: Complex, z_ref: float) -> Real:
    sums = _Sums(np.zeros_like(value))
    sums.add(off.T)
    found = sums.result()
    mean = np.stack([found.mean.real, found.mean.imag], axis=-1)
    parts = np.stack([off.real, off.imag], axis=-1) - mean[:, None]
    squared = squared_distance(parts, found.covariance)
    radius = np.sqrt(np.quantile(squared, COVERAGE, axis=-1))
    ends = _ends(to_impedance(value[:, None] + off, z_ref)).reshape(-1, 4)
    deviation = standard_uncertainty(found.covariance)
    return np.concatenate([mean, deviation, radius[:, None], ends], axis=-1)


def squared_distance(parts: Real, covariance: Real) -> Real:
    """Squared distance in the measure of a covariance; certain directions do not count.

    Parameters
    ----------
    parts : ndarray, shape (F, N, 2)
        Real and imaginary parts of what is apart.
    covariance : ndarray, shape (F, 2, 2)
        Covariance matrices in the same unit squared.

    Returns
    -------
    ndarray, shape (F, N)
        Squared distances [1].
    """
    inverse = np.linalg.pinv(covariance, rcond=1e-12, hermitian=True)
    return np.einsum("fni,fij,fnj->fn", parts, inverse, parts, optimize=True)


def _ends(z: Complex) -> Real:
    """Equal-tailed intervals of R and X, shape (F, 2, 2), from draws of shape (F, N)."""
    ends = [np.quantile(part, [TAIL, 1 - TAIL], axis=-1).T for part in (z.real, z.imag)]
    return np.stack(ends, axis=-2)


def tolerance_of(deviation: Real, digits: int = 1) -> Real:
    """Numerical tolerance: half a unit of the last significant digit (JCGM 101, 7.9.2).

    Parameters
    ----------
    deviation : ndarray, any shape
        Standard uncertainties.
    digits : int
        How many of their digits count.

    Returns
    -------
    ndarray
        Tolerances in the same unit; zero where nothing is uncertain.
    """
    known = deviation > 0
    # u = c 10^l with c a whole number of that many digits; half of 10^l
    power = np.floor(np.log10(np.where(known, deviation, 1.0))) - (digits - 1)
    return np.where(known, 0.5 * 10.0**power, 0.0)


def _settled(
    average: Real, twice: Real, digits: int, share: float
) -> tuple[NDArray[np.bool_], Real]:
    """Where twice the standard deviation of every average is within tolerance."""
    ends = average[:, 5:].reshape(-1, 2, 2)
    tolerance = tolerance_of((ends[..., 1] - ends[..., 0]) / (2 * K_AXIS), digits)
    allowed = tolerance_of(average[:, 2:4], digits)
    # the region's radius to the same number of digits, of a figure near 2.4
    radius = np.full((len(average), 1), 0.5 * 10.0 ** (1 - digits))
    limits = np.concatenate([allowed, allowed, radius, np.repeat(tolerance, 2, axis=1)], axis=1)
    return np.all(twice <= share * limits, axis=1), tolerance
