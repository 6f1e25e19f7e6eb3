"""Points of a sweep that do not go on as their neighbours do, and steps between them."""

import numpy as np

from rfcal.maths.reflection import Complex

PATTERN = np.array([1.0, -4.0, 6.0, -4.0, 1.0])
"""Fourth differences: what varies smoothly leaves next to nothing of itself in them."""
QUARTER = np.sqrt(-2 * np.log(0.75))
"""Size that a quarter of complex normal numbers stay below, in deviations of one axis."""
NEAR = 12
"""Points on both sides by which the usual size of differences is judged."""
FAR = 11.0
"""In deviations: a fourth difference so far off is no noise: of 2,000,000 of noise alone the
farthest was at 5.4, so this takes no part of the chance of a false alarm."""
FEWEST = 21
"""Points below which a sweep has no usual size of differences."""
MOST, MOST_NEXT, REACH = 8, 5, 4
"""Points of one sweep that may stick out, and of these next to each other; more are how it goes.
They are looked for this far on both sides of a fourth difference that is odd."""
ROUGH = 0.9
"""What sticks out, a block shifted alike too, begins and ends by so much of its size at once; a
resonance bulges."""


def sticking_out(values: Complex, noise: float) -> list[int]:
    """Indices of the few points [1] without which a sweep is smooth; none where there are none.

    The noise [1] is the deviation of each axis. Points are taken away one by one, each replaced by
    what its neighbours make of it, until nothing is left that neighbours do not explain.
    """
    if values.size < FEWEST:
        return []
    odd, left = _taken_away(values, noise)
    off, good = values - left, np.setdiff1d(np.arange(values.size), odd)
    rough = np.abs(np.diff(np.pad(off, 1), 2)).max() > ROUGH * np.abs(off).max()
    # at an end nothing beyond it tells how the sweep goes on
    if odd and good[1] < min(odd) and max(odd) < good[-2] and rough:
        return sorted(k for k in odd if abs(off[k]) > FAR / 2 * noise)
    return []


def _taken_away(values: Complex, noise: float) -> tuple[list[int], Complex]:
    """Points taken away until all is smooth, and what is then left; no points where it never is."""
    odd: list[int] = []
    left = values
    at, times = _oddest(left, noise)
    while times > FAR:
        taken = _smoothest(values, odd, at, noise)
        if not taken or len(odd) >= min(MOST, values.size // 10):
            return [], values
        odd += taken
        left = smooth(values, odd)
        at, times = _oddest(left, noise)
    return odd, left


def _smoothest(values: Complex, odd: list[int], at: int, noise: float) -> list[int]:
    """The fewest next to each other without which all about them is noise, or the best single."""
    about = range(max(at - REACH, 0), min(at + PATTERN.size + REACH, values.size))

    def roughness(block: list[int]) -> float:
        left = smooth(values, [*odd, *block])[about.start : about.stop]
        return float(np.linalg.norm(np.convolve(left, PATTERN, "valid")))

    tried = [k for k in about if k not in odd]
    for count in range(1, min(MOST_NEXT, len(tried)) + 1):
        best = min((tried[k : k + count] for k in range(len(tried) - count + 1)), key=roughness)
        if roughness(best) < FAR * np.linalg.norm(PATTERN) * noise:
            return best
    singles = [[k] for k in tried if at <= k < at + PATTERN.size]
    return min(singles, key=roughness, default=[])


def step_at(values: Complex, noise: float) -> int | None:
    """Index of the point from which on a sweep [1] is another one; None where it is all one."""
    if values.size < FEWEST:
        return None
    at, times = _oddest(values, noise)
    if times <= FAR:
        return None
    for k in range(max(at + 1, 4), min(at + 5, values.size - 3)):
        before = _onward(values[k - 4 : k])
        after = _onward(values[k : k + 4][::-1])
        jump = (values[k] - before + after - values[k - 1]) / 2
        left = np.concatenate([values[:k], values[k:] - jump])
        if abs(jump) > FAR * noise and _oddest(left, noise)[1] <= FAR / 2:
            return k
    return None


def _onward(four: Complex) -> Complex:
    """What a parabola through the last three of four points makes of the next."""
    return 3 * four[3] - 3 * four[2] + four[1]


def _oddest(values: Complex, noise: float) -> tuple[int, float]:
    """The fourth difference that is most beyond what those around it explain, and how far."""
    size = np.abs(np.convolve(values, PATTERN, "valid"))
    least = np.sqrt(np.sum(PATTERN**2)) * noise
    large = np.flatnonzero(size > FAR / 2 * least)  # the others are noise, whatever is around them
    if not large.size:
        return 0, 0.0
    around = np.pad(size, NEAR, mode="reflect")[large[:, None] + np.arange(2 * NEAR + 1)]
    usual = np.quantile(around, 0.25, axis=1) / QUARTER
    times = size[large] / np.maximum(usual, least)
    return int(large[np.argmax(times)]), float(np.max(times))


def smooth(values: Complex, odd: list[int]) -> Complex:
    """The values with some replaced by cubics through the four that are nearest to each."""
    left = values.copy()
    good = np.setdiff1d(np.arange(values.size), odd)
    for k in odd:
        near = np.sort(good[np.argsort(np.abs(good - k), kind="stable")[:4]])
        left[k] = np.linalg.solve(np.vander(near - k, 4), values[near])[-1]
    return left
