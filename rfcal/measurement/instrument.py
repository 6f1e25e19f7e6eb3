"""What a reading is worth where nothing is stated, and doubts that belong to no one standard.

Display step, drift, an instrument that corrects itself, and elements known by sweeps or a file.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration
from rfcal.models.line import SKIN_DOUBT, Line
from rfcal.uncertainty.quantity import Effect, Quantity, both_axes

DEFAULT_DRIFT = 0.0005
"""Standard uncertainty of each error term's drift [1] (common practice, no source).

As large as the noise of one reading of a small analyzer: what warms up for half an hour and is
used within the hour is seldom worse; after a day, or out of doors, ten times as much is.
"""

ANALYZER_DEFAULTS: Mapping[str, float] = {
    "noise": 0.0005,
    "connection": 0.001,
    "resolution_ohm": 0.1,
    "drift": DEFAULT_DRIFT,
}
"""What one raw reading is worth where nothing is stated (common practice, no source)."""

DEFAULT_RESIDUAL: Mapping[str, float] = {
    "directivity": 0.01,
    "source_match": 0.02,
    "tracking": 0.01,
}
"""Residual errors [1] of an instrument that says nothing of its own (common practice, no source).

40 dB of residual directivity is what a plain load standard leaves, source match is usually some
6 dB worse, and 0.01 of tracking is 0.09 dB.
"""

DEFAULT_DOUBT: Mapping[str, float] = {
    "length": 0.01,
    "velocity factor": 0.01,
    "impedance": 0.02,
    "loss": 0.1,
    "skin effect": SKIN_DOUBT,
    "far end": 0.002,
    "adapter": 0.003,
}
"""Standard uncertainties of a path where none is stated (common practice, no source).

Length [m] as a tape measure gives it; velocity factor [1] and impedance [1, relative] as cables of
one type differ; loss [1, relative] as tables of one type differ, where the type does not
bring its own; reactance inside the conductors [1, relative]; reflection [1] of a soldered short and
of an open at a line's far end; scattering parameters [1] of an adapter from a file.
"""


def usual_doubt(line: Line) -> dict[str, float]:
    """What is taken of a path's element where nothing is stated, in the units of its inputs.

    Parameters
    ----------
    line : Line
        The element, or what comes nearest to it.

    Returns
    -------
    dict of str to float
        As `DEFAULT_DOUBT`, the impedance in ohm.
    """
    return {**DEFAULT_DOUBT, "impedance": DEFAULT_DOUBT["impedance"] * line.z0}


def display_effects(
    label: str, step_ohm: float, reading: Complex, z_ref: float
) -> tuple[Effect, ...]:
    """What the display's step makes uncertain of an impedance that was typed off it.

    A display shows the nearest step: an even spread of one step, so step / sqrt(12).

    Parameters
    ----------
    label : str
        What the reading is of, for the budget.
    step_ohm : float
        Step of the display [ohm], for R and X alike.
    reading : ndarray, shape (F,)
        Raw reading [1].
    z_ref : float
        Its reference impedance [ohm].

    Returns
    -------
    tuple of two Effect
        Along R and along X.
    """
    return both_axes(
        f"{label}: display step",
        step_ohm / np.sqrt(12),
        slope=(1 - reading) ** 2 / (2 * z_ref),
        per_point=True,
        rectangular=True,
    )


def polar_effects(
    label: str, steps: tuple[float, float], reading: Complex, direction: Complex | None = None
) -> tuple[Effect, ...]:
    """What the display's steps make uncertain of a magnitude and an angle typed off it.

    Parameters
    ----------
    label : str
        What the reading is of, for the budget.
    steps : tuple of float
        Steps of the magnitude [1] and of the angle [degree].
    reading : ndarray, shape (F,)
        Raw reading [1].
    direction : ndarray, shape (F,), optional
        Its direction [1], where the reading may be zero.

    Returns
    -------
    tuple of two Effect
        Along the magnitude and along the angle.
    """
    if direction is None:
        direction = np.exp(1j * np.angle(reading))
    name, (size, turn) = f"{label}: display step", np.array(steps) / np.sqrt(12)
    return (
        Effect(name, size * direction, per_point=True, rectangular=True),
        Effect(name, np.radians(turn) * 1j * reading, per_point=True, rectangular=True),
    )


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
        Quantity(row, both_axes(f"{name}: definition", size))
        for row, size in zip(rows, sizes, strict=True)
    )


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
