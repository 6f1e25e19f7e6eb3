"""Least squares between bounds, for few unknowns: so little takes no time to load."""

from collections.abc import Callable

import numpy as np

from rfcal.maths.reflection import Real

STEPS, ENOUGH, SLOPE, MOST_DAMPED = 100, 1e-9, 1e-7, 1e12
"""Steps at most; less gain of a step than this [relative] ends them; by how much a value is changed
for its slope [1, or relative where it is above 1]; and a step more damped than this is none."""


def nonnegative(columns: Real, seen: Real) -> tuple[Real, float]:
    """Parts of each column, none below zero, that make up what was seen; and what they leave."""
    found: list[tuple[Real, float]] = []
    for zero in np.ndindex((2,) * columns.shape[1]):
        kept = 1.0 - np.array(zero)
        parts = np.asarray(np.linalg.lstsq(columns * kept, seen)[0] * kept)
        if np.all(parts >= 0):
            found.append((parts, float(np.linalg.norm(columns @ parts - seen))))
    return min(found, key=lambda one: one[1])


def least_squares(
    misfit: Callable[[Real], Real], start: Real, low: Real, high: Real
) -> tuple[Real, Real, Real]:
    """Values between bounds that leave the least misfit, that (M,), and its slopes (M, N).

    D. W. Marquardt, SIAM Journal on Applied Mathematics 11 (1963), 431; what would leave its bounds
    stays there, and where a slope is not finite no way leads on.
    """
    values, damping = np.clip(start, low, high), 1e-3
    left = misfit(values)
    for _ in range(STEPS):
        change = np.diag(SLOPE * np.maximum(np.abs(values), 1.0))
        slopes = np.stack([misfit(values + by) - left for by in change], axis=1) / np.diag(change)
        if not np.all(np.isfinite(slopes)):
            break
        downhill = -slopes.T @ left
        free = np.where(downhill > 0, values < high, values > low)
        size = np.maximum(np.linalg.norm(slopes, axis=0), 1e-12)
        scaled = slopes * free / size
        normal, downhill = scaled.T @ scaled, downhill * free
        gain = 0.0
        while not gain > 0 and damping < MOST_DAMPED:
            step = np.linalg.lstsq(normal + damping * np.eye(size.size), downhill / size)[0] / size
            tried = np.clip(values + step, low, high)
            rest = misfit(tried)
            gain = 1 - float(rest @ rest) / max(float(left @ left), 1e-300)
            damping *= 0.1 if gain > 0 else 10
        if gain > 0:
            values, left = tried, rest
        if not gain > ENOUGH:
            break
    return values, left, slopes
