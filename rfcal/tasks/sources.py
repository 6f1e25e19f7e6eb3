"""Drift between calibration and measurement, and an instrument that corrects itself."""

from collections.abc import Mapping

import numpy as np

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.models.quantity import Effect, Quantity, both_axes
from rfcal.tasks.calibration import Calibration

DEFAULT_DRIFT = 0.0005
"""Standard uncertainty of each error term's drift [1] (common practice, no source).

As large as the noise of one reading of a small analyzer: what warms up for half an hour and is
used within the hour is seldom worse; after a day, or out of doors, ten times as much is.
"""

DEFAULT_RESIDUAL: Mapping[str, float] = {
    "directivity": 0.01,
    "source_match": 0.02,
    "tracking": 0.01,
}
"""Residual errors [1] of an instrument that says nothing of its own (common practice, no source).

40 dB of residual directivity is what a plain load standard leaves, source match is usually some
6 dB worse, and 0.01 of tracking is 0.09 dB.
"""


def drift_effects(
    calibration: Calibration, reading: Complex, deviation: float = DEFAULT_DRIFT
) -> tuple[Effect, ...]:
    """What the analyzer's change between calibration and measurement adds to a raw reading.

    Directivity, source match and (relative) tracking each drift by the same standard uncertainty
    in both axes, independently, and alike at all frequencies.

    Parameters
    ----------
    calibration : Calibration
        Error terms as they were.
    reading : ndarray, shape (F,)
        Raw reading [1] taken later.
    deviation : float
        Standard uncertainty of each term's drift [1].

    Returns
    -------
    tuple of six Effect
        To add to the reading's, under the sources ``"drift: directivity"`` and so on.
    """
    box = calibration.error_box
    x = box.correct(reading)
    inside = x / (1 - box.source_match * x)
    tracking = box.reflection_tracking
    # seen = e00 + e01e10 x / (1 - e11 x): its derivatives by the terms, tracking by its logarithm
    slopes = {
        "directivity": np.ones_like(inside),
        "source match": tracking * inside**2,
        "tracking": tracking * inside,
    }
    pairs = (both_axes(f"drift: {n}", deviation, slope=s) for n, s in slopes.items())
    return tuple(effect for pair in pairs for effect in pair)


def self_correcting(
    frequency: Real, *, directivity: float, source_match: float, tracking: float
) -> Calibration:
    """A calibration that changes nothing, uncertain by what the instrument's own leaves.

    A residual is a size whose phase is not known; the standard uncertainty of each axis is the
    size over the root of two, the root mean square over all phases. All three are common to all
    that is read through the calibration, as readings of exact standards that are off by them.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].
    directivity, source_match, tracking : float
        Sizes of the residual errors [1].

    Returns
    -------
    Calibration
        Sources ``"residual directivity"``, ``"residual source match"`` and ``"residual
        tracking"``.
    """
    ones = np.ones(np.shape(frequency), complex)
    sizes = {"directivity": directivity, "tracking": tracking, "source match": source_match}
    axes = [both_axes(f"residual {n}", size / np.sqrt(2)) for n, size in sizes.items()]
    known = tuple(Quantity(x * ones) for x in (-1, 1, 0))
    # to first order a reflection x is seen as x + directivity + tracking x + source_match x^2
    seen = tuple(
        q.plus(*(e.scaled(q.value**k) for k, pair in enumerate(axes) for e in pair)) for q in known
    )
    box = Bilinear.from_error_terms(0 * ones, 0 * ones, ones)
    return Calibration(
        ("short", "open", "load"), frequency, known, seen, None, box, np.ones(ones.shape)
    )


def residual_bound(
    reflection: Complex, *, directivity: float, source_match: float, tracking: float
) -> Real:
    """Largest error of a reflection that residual errors leave, to first order.

    ``directivity + tracking |reflection| + source_match |reflection|^2``: all three at their
    worst phases. Source: EURAMET Calibration Guide 12 (value from memory).

    Parameters
    ----------
    reflection : ndarray, any shape
        Reflection coefficient [1].
    directivity, source_match, tracking : float
        Sizes of the residual errors [1].

    Returns
    -------
    ndarray
        Size of the error [1].
    """
    size = np.abs(reflection)
    return directivity + tracking * size + source_match * size**2
