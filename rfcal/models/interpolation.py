"""Values between the points of a sweep: interpolated, never extrapolated, and with a limit."""

import numpy as np
from numpy.typing import ArrayLike

from rfcal.errors import CalibrationError
from rfcal.maths.reflection import Complex, Real

SMALL = 0.02
"""Size [1] below which a value's turn counts only in part: noise turns small values too."""
KNOTS = 3
"""Points below which nothing is interpolated: two say nothing of how values bend between them."""
SAME = 1e-6
"""Frequencies closer than this, in parts of themselves, are one: files round them."""
TURN_LIMIT = np.radians(30.0)
"""Largest turn between neighbours across which values are interpolated [rad]."""


def same_grid(one: ArrayLike, other: ArrayLike) -> bool:
    """Whether two frequency grids are the same to within a part in a million."""
    return np.shape(one) == np.shape(other) and bool(np.allclose(one, other, rtol=SAME, atol=0))


def reaches(grid: Real, frequency: float) -> bool:
    """Whether a frequency [Hz] lies within a sweep's; files round both."""
    return bool(grid[0] * (1 - SAME) <= frequency <= grid[-1] * (1 + SAME))


def points_of(frequency: ArrayLike, grid: ArrayLike) -> np.ndarray | None:
    """Which points of a grid frequencies are; None unless every one of them is one."""
    frequency, grid = np.asarray(frequency, float), np.asarray(grid, float)
    above = np.clip(np.searchsorted(grid, frequency), 0, grid.size - 1)
    below = np.maximum(above - 1, 0)
    nearest = np.where(grid[above] - frequency < frequency - grid[below], above, below)
    same = np.abs(grid[nearest] - frequency) <= SAME * frequency
    return nearest if np.all(same) else None


def between_points(
    frequency: ArrayLike,
    grid: ArrayLike,
    values: ArrayLike,
    *,
    what: str,
    cure: str = "give the file they come from at enough frequencies: in finer steps, or at the "
    "device's own",
) -> tuple[Complex, Real]:
    """Complex values at frequencies between those of a sweep, by a cubic spline, and their doubt.

    `values`, shape (..., G), may hold several rows; their doubt, shape (..., F), is the distance
    between the spline and straight lines between the points: an upper estimate of interpolation's
    own standard uncertainty.
    """
    from scipy.interpolate import CubicSpline

    frequency, grid = np.asarray(frequency, float), np.asarray(grid, float)
    values = np.asarray(values, complex)
    slack = SAME * frequency
    if frequency[0] < grid[0] - slack[0] or frequency[-1] > grid[-1] + slack[-1]:
        raise CalibrationError(
            f"{what} reach from {grid[0] / 1e6:.10g} to {grid[-1] / 1e6:.10g} MHz, but are asked "
            f"for from {frequency[0] / 1e6:.10g} to {frequency[-1] / 1e6:.10g} MHz; "
            "nothing is extrapolated: measure both at the same frequencies"
        )
    nearest = points_of(frequency, grid)
    if nearest is not None:
        return values[..., nearest], np.zeros((*values.shape[:-1], frequency.size))
    _require_followed(grid, values, what, cure)
    cubic = CubicSpline(grid, values, axis=-1)(frequency)
    index = np.clip(np.searchsorted(grid, frequency) - 1, 0, grid.size - 2)
    share = (frequency - grid[index]) / (grid[index + 1] - grid[index])
    straight = values[..., index] * (1 - share) + values[..., index + 1] * share
    return cubic, np.abs(cubic - straight)


def _require_followed(grid: Real, values: Complex, what: str, cure: str) -> None:
    """Refuse values that may turn by more than is seen from point to point.

    Small values turn freely without moving far: only the part of the row's full size counts.
    """
    if grid.size < KNOTS:
        raise CalibrationError(
            f"{what} have {grid.size} points, and {KNOTS} or more are needed to take values "
            "between them: give them at more frequencies, or at the device's own"
        )
    size = np.abs(values)
    full = np.maximum(size.max(axis=-1, keepdims=True), SMALL)
    turn = np.abs(np.angle(values[..., 1:] * np.conj(values[..., :-1])))
    turn = turn * np.minimum(size[..., 1:], size[..., :-1]) / full
    if (most := np.max(turn)) > TURN_LIMIT:
        at = np.unravel_index(np.argmax(turn), turn.shape)[-1]
        raise CalibrationError(
            f"{what} turn by {np.degrees(most):.3g} degrees between {grid[at] / 1e6:.10g} and "
            f"{grid[at + 1] / 1e6:.10g} MHz, and no more than {np.degrees(TURN_LIMIT):.3g} can be "
            f"interpolated: {cure}"
        )
