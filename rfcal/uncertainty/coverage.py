"""The scatter of repeated sweeps, its degrees of freedom, and what these do to coverage."""

from typing import Any

import numpy as np

from rfcal.maths.circles import Spread
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.quantity import Effect, Quantity

COVERAGE = 0.95
K_AXIS = 1.959963984540054
"""Half-width of a normal variable's 95 % interval, in standard deviations."""
K_ELLIPSE = 2.447746830680816
"""Radius of the 95 % region of two normal variables: the root of -2 ln 0.05 (JCGM 102)."""
EXACT = 1e-24
"""Variance that what is without any doubt is given, so that it holds its own place [1]."""
SHAPED = 4
"""From so many sweeps on, the shape of their scatter is estimated, and not only its size."""


def from_repeats(sweeps: Complex, source: str) -> Quantity:
    """Mean of repeated sweeps, with the scatter of the mean (a Type A evaluation).

    Each sweep's difference from the mean over ``sqrt(n (n - 1))`` is one effect; their squares
    add up to the covariance of the mean, and what moves a whole sweep (a connection made anew)
    stays one influence common to all frequencies. Source: JCGM 100:2008, 4.2 and H.2.

    Two or three sweeps show hardly anything of the scatter's shape, so it is taken to be round:
    both axes together estimate one variance, with twice the degrees of freedom.
    """
    count = len(sweeps)
    if count < 2:
        raise ValueError(f"scatter needs two sweeps or more, got {count}")
    mean = sweeps.mean(axis=0)
    changes = list((sweeps - mean) / np.sqrt(count * (count - 1)))
    freedom = count - 1.0
    if count < SHAPED:
        changes = [turn * c / np.sqrt(2) for c in changes for turn in (1, 1j)]
        freedom *= 2
    own: Any = {"source": source, "freedom": freedom}
    each = (Effect(change=c, influence=(source, i), **own) for i, c in enumerate(changes))
    return Quantity(mean, tuple(each))


def degrees_of_freedom(quantity: Quantity) -> Real:
    """Effective degrees of freedom of a complex quantity's covariance, shape (F,).

    Infinite where no source rests on repeats. Source: R. Willink and B. D. Hall, Metrologia 39
    (2002) 361, the two-dimensional form of Welch-Satterthwaite (value from memory; checked against
    GTC).
    """
    freedom = {e.source: e.freedom for e in quantity.effects}
    shape = np.shape(quantity.value)
    total, doubtful = quantity.covariance(), np.zeros(shape)
    for source, part in quantity.by_source().items():
        if np.isfinite(freedom[source]):
            doubtful = doubtful + _squared(part) / freedom[source]
    return np.where(doubtful > 0, _squared(total) / np.where(doubtful > 0, doubtful, 1), np.inf)


def factor_along(quantity: Quantity, way: Complex, share: float = (1 + COVERAGE) / 2) -> Real:
    """Deviations of a complex quantity along one direction below which a share of its values lies.

    Sources that rest on repeats are put together by Welch and Satterthwaite (JCGM 100:2008,
    G.4.1), and their expanded uncertainty is added in quadrature to that of all others. The
    formula over all sources would cover less than it says: a scatter that is small by chance
    then passes for one well known (two readings beside a known part half as large: 92.5 %).
    Directions are of magnitude 1, shape (F,).
    """
    freedom = {e.source: e.freedom for e in quantity.effects}
    total, repeated, doubtful = np.zeros((3, *np.shape(quantity.value)))
    if np.any(np.isfinite(list(freedom.values()))):
        for source, part in quantity.by_source().items():
            along = Spread(part).along(way) ** 2
            total += along
            if np.isfinite(freedom[source]):
                repeated += along
                doubtful += along**2 / freedom[source]
    some = doubtful > 0
    own = student(np.where(some, repeated**2 / np.where(some, doubtful, 1), np.inf), share)
    part = np.where(some, repeated / np.where(some, total, 1), 0)
    return np.sqrt(part * own**2 + (1 - part) * student(np.inf, share) ** 2)


def _squared(covariance: Real) -> Real:
    xx, yy, xy = covariance[..., 0, 0], covariance[..., 1, 1], covariance[..., 0, 1]
    return 2 * xx**2 + xx * yy + xy**2 + 2 * yy**2


def expanded(quantity: Quantity) -> Real:
    """Expanded uncertainty of the real and of the imaginary part, shape (F, 2): 95 %."""
    factors = [factor_along(quantity, np.array([way])) for way in (1, 1j)]
    return np.stack(factors, axis=-1) * standard_uncertainty(quantity.covariance())


def region_factor(freedom: Real) -> Real:
    """Coverage factor of 95 % for an elliptical region: its radius in the measure of covariance.

    ``k^2 = 2 v / (v - 1) F(0.95; 2, v - 1)`` (Hotelling), infinite for one degree of freedom or
    less.
    """
    known = (freedom > 1) & np.isfinite(freedom)
    few = np.where(known, freedom, 2.0)
    # F(p; 2, m) = m / 2 ((1 - p)^(-2 / m) - 1)
    with np.errstate(over="ignore"):
        squared = few * np.expm1(-2 / (few - 1) * np.log1p(-COVERAGE))
    region = np.where(known, np.sqrt(squared), K_ELLIPSE)
    return np.where(freedom <= 1, np.inf, region)


def squared_distance(step: Complex, covariance: Real) -> Real:
    """Of steps, shape (..., F), in the measure of covariances, shape (F, 2, 2) [1].

    In a direction without any doubt what is not zero is very far.
    """
    (xx, xy), (_, yy) = np.moveaxis(covariance, 0, -1)
    least = EXACT + 1e-12 * (xx + yy)
    xx, yy = xx + least, yy + least
    x, y = step.real, step.imag
    return (yy * x**2 - 2 * xy * x * y + xx * y**2) / (xx * yy - xy**2)


def as_normal(squared: Real, freedom: Real | float) -> Real:
    """Squared distances, those that rest on few repeats as normal ones that are as seldom met.

    Hotelling's squared distance of v degrees of freedom exceeds t with the probability
    ``(1 + t / v)^(-(v - 1) / 2)``, a normal one's with ``exp(-t / 2)``.
    """
    known = np.isfinite(freedom)
    few = np.where(known, np.maximum(freedom, 1), 1)
    return np.where(known, (few - 1) * np.log1p(squared / few), squared)


def student(freedom: Real | float, share: float = (1 + COVERAGE) / 2) -> Real:
    """Quantiles [1] of Student's t below which a share lies; normal where `freedom` is infinite."""
    if share == (1 + COVERAGE) / 2 and np.all(np.isinf(freedom)):
        return np.full(np.shape(freedom), K_AXIS)  # without waiting for scipy
    from scipy.special import ndtri, stdtrit

    known = np.isfinite(freedom)
    return np.where(known, stdtrit(np.where(known, freedom, 1.0), share), ndtri(share))


def standard_uncertainty(covariance: Real) -> Real:
    """Standard uncertainty of the real and of the imaginary part, shape (F, 2)."""
    return np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))


def correlation(covariance: Real) -> Real:
    """Correlation of the real and the imaginary part [1]; zero where one of them is certain."""
    product = np.prod(standard_uncertainty(covariance), axis=-1)
    return np.where(product > 0, covariance[..., 0, 1] / np.where(product > 0, product, 1), 0.0)


def budget(quantity: Quantity) -> dict[str, Real]:
    """Each source's share [1] of the variance of real and imaginary part, shape (F, 2)."""
    parts = {s: np.diagonal(c, axis1=-2, axis2=-1) for s, c in quantity.by_source().items()}
    total = sum(parts.values(), np.zeros((*np.shape(quantity.value), 2)))
    return {s: part / np.where(total > 0, total, 1) for s, part in parts.items()}


def region_radius(quantity: Quantity) -> Real:
    """Radius of the circle that holds the 95 % region of both parts of a complex quantity."""
    return K_ELLIPSE * np.sqrt(np.linalg.eigvalsh(quantity.covariance())[..., -1])
