"""What a reading is worth where nothing is stated, and doubts that belong to no one standard.

Display step, drift, an instrument that corrects itself, and elements known by sweeps or a file.
"""

from collections.abc import Sequence

import numpy as np

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration
from rfcal.models.line import Line
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes


def usual_doubt(line: Line) -> dict[str, float]:
    """What is taken of a path's element where nothing is stated, in the units of its inputs.

    Parameters
    ----------
    line : Line
        The element, or what comes nearest to it.

    Returns
    -------
    dict of str to float
        As `defaults.PATH`, the impedance in ohm.
    """
    return {**defaults.PATH, "impedance": defaults.PATH["impedance"] * line.z0}


def end_effects(
    label: str, through: Bilinear, end: float, connection: float, far_end: float
) -> tuple[Effect, ...]:
    """What an element's sweep with its far end open or short is off, seen at the near side.

    Parameters
    ----------
    label : str
        What the sweep is of, for the budget.
    through : Bilinear
        The element, shape (F,).
    end : float
        Reflection meant to be at the far end [1].
    connection : float
        Standard deviation of each axis of connecting the near end [1].
    far_end : float
        Standard uncertainty of each axis of what the far end reflects [1].

    Returns
    -------
    tuple of four Effect
        To add to a zero quantity.
    """
    # what the far end's open or short is off from 1 or -1, as it is seen at the near side
    slope = through.derivative(np.full(np.shape(through.a), end, complex))
    return (
        *both_axes(f"{label}: connection", connection),
        *both_axes(f"{label}: far end", far_end, slope=slope),
    )


def adapter_parameters(
    name: str,
    rows: Sequence[Complex] | Complex,
    deviation: float,
    passing: Real,
    doubt: Real | float = 0.0,
) -> tuple[Quantity, ...]:
    """S11, S12 S21 and S22 of a two-port with what makes them uncertain.

    Parameters
    ----------
    name : str
        Name of the two-port, for the budget.
    rows : sequence of three ndarray, shape (F,), or ndarray, shape (3, F)
        The parameters [1].
    deviation : float
        Standard uncertainty of each axis of one scattering parameter [1].
    passing : ndarray, shape (F,)
        Size of the derivative of S12 S21 by what is uncertain of the passage [1].
    doubt : ndarray, shape (3, F), or float
        Standard uncertainty that interpolation adds to each [1].

    Returns
    -------
    tuple of three Quantity
        Inputs of `path.Adapter`.
    """
    one = np.ones_like(passing)
    sizes = np.hypot(np.array([one, passing, one]) * deviation, doubt)
    return tuple(
        Quantity(row, both_axes(f"{name}: definition", size, influence=(name, what)))
        for what, row, size in zip(("S11", "S12 S21", "S22"), rows, sizes, strict=True)
    )


def drift_effects(
    label: str, calibration: Calibration, reading: Complex, deviation: float
) -> tuple[Effect, ...]:
    """What the analyzer's change between calibration and measurement adds to a raw reading.

    Directivity, source match and (relative) tracking each drift by the same standard uncertainty
    in both axes, independently, and alike at all frequencies.

    Parameters
    ----------
    label : str
        What was read: each reading has its own time, and so a drift of its own.
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
    pairs = (
        both_axes(f"drift: {n}", deviation, slope=s, influence=(label, "drift", n))
        for n, s in slopes.items()
    )
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
