"""Least squares between bounds, without what takes long to load."""

from collections.abc import Callable

import numpy as np

from rfcal.maths.reflection import Real

STEPS, ENOUGH, SLOPE, MOST_DAMPED = 100, 1e-9, 1e-7, 1e12
"""Steps at most; less gain of a step than this [relative] ends them; by how much a value is changed
for its slope [1, or relative where it is above 1]; and a step more damped than this is none."""


def nonnegative(columns: Real, seen: Real) -> tuple[Real, float]:
    """Parts of each column, none below zero, that make up what was seen; and what they leave.

    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, chapter 23.
    """
    parts, size = np.zeros(columns.shape[1]), np.linalg.norm(columns, axis=0)
    kept, left = parts > 0, float(np.linalg.norm(seen))
    normal, least = columns.T @ columns, ENOUGH * left * size
    while True:
        slopes = np.where(kept, -np.inf, columns.T @ (seen - columns @ parts) - least)
        if not np.any(slopes > 0):
            return parts, left
        kept[np.argmax(slopes)] = True
        before = parts
        while True:
            tried = np.zeros(parts.size)
            tried[kept] = np.linalg.solve(normal[np.ix_(kept, kept)], (seen @ columns)[kept])
            if not np.any(below := kept & (tried <= 0)):
                break
            # as far as the first that comes to zero, which is left out
            way = np.min(parts[below] / (parts[below] - tried[below]))
            parts = np.where(kept, parts + way * (tried - parts), 0)
            kept &= parts > 1e-12 * np.max(parts)
        parts, rest = tried, float(np.linalg.norm(columns @ tried - seen))
        if not rest < left:
            return before, left
        left = rest


def least_squares(
    misfit: Callable[[Real], Real], start: Real, low: Real, high: Real
) -> tuple[Real, Real, Real]:
    """Values between bounds that leave the least misfit, that (M,), and its slopes (M, N).

    The misfit is asked of values (N,), and of all changes of one of them at once, (N, N).
    D. W. Marquardt, SIAM Journal on Applied Mathematics 11 (1963), 431; what would leave its bounds
    stays there, and where a slope is not finite no way leads on.
    """
    values, damping = np.clip(start, low, high), 1e-3
    left = misfit(values)
    for _ in range(STEPS):
        change = SLOPE * np.maximum(np.abs(values), 1.0)
        slopes = (misfit(values + np.diag(change)) - left).T / change
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
