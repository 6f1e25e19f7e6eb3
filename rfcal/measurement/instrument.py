"""Doubts that belong to no one standard: drift, and what an instrument's own correction leaves."""

import numpy as np

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration
from rfcal.models.line import Line
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes


def usual_doubt(line: Line) -> dict[str, float]:
    """What is uncertain of a line, in the units of its inputs: as it says, else as `defaults.PATH`.

    The impedance's is in ohm.
    """
    usual = {**defaults.PATH, "impedance": defaults.PATH["impedance"] * line.z0}
    return {**usual, **line.uncertainty}


def drift_effects(
    label: str, calibration: Calibration, reading: Complex, deviation: float
) -> tuple[Effect, ...]:
    """What the analyzer's change between calibration and measurement adds to a raw reading [1].

    Directivity, source match and (relative) tracking each drift by the same standard uncertainty
    [1] in both axes, independently, and alike at all frequencies. Each labelled reading has its own
    time, and so a drift of its own.
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
    pairs = (
        both_axes(f"drift: {n}", deviation, slope=s, influence=(label, "drift", n))
        for n, s in slopes.items()
    )
    return tuple(effect for pair in pairs for effect in pair)


def self_correcting(
    frequency: Real, *, directivity: float, source_match: float, tracking: float
) -> Calibration:
    """A calibration that changes nothing, uncertain by what the instrument's own leaves.

    A residual is a size [1] whose phase is not known; the standard uncertainty of each axis is the
    size over the root of two, the root mean square over all phases. All three are common to all
    that is read through the calibration, as readings of exact standards that are off by them.
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
