"""What no passive thing does over a band: R and X that do not belong together, a turn too far."""

from math import erfc, log, sqrt

import numpy as np

from rfcal.maths.bounded import nonnegative
from rfcal.maths.causality import phase_of_loss
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import LineByFigures
from rfcal.measurement.propagate import Inputs
from rfcal.uncertainty.coverage import as_normal, degrees_of_freedom
from rfcal.uncertainty.curved_regions import Region
from rfcal.uncertainty.quantity import Effect, Quantity, combine
from rfcal.uncertainty.significance import far_off, leaning

RUN = 8
"""Points from which the course of a sweep is judged."""
NODES = 60
"""Points at most by which it is; more are taken together."""
APART, FAR = 0.22, 8.0
"""Steps between what lies outside a band, in parts of its distance, and the farthest, in ln f."""
FALLS, NEAR, BLOCKS = 2.0, 0.1, 6
"""So many times as fast as in a band resistance may fall beyond its ends, and how far out, in ln f,
this is asked; how fast it is is told by the means of so many parts of it."""
SURE = 4.5
"""In deviations, all in all: so far off is nothing by chance (the farthest of 577 simulated devices
was at 3.8), and so it takes no part of the chance of a false alarm."""
LEAST = 1e-4
"""Doubt of a node [1] that is left of what is without any."""
RAYLEIGH = 1.18 * np.sqrt(70)
"""The median size of fourth differences of noise, in deviations of one axis of it."""
SEEN, STEP_RAD = 0.05, 0.5
"""Size of a reflection [1] from which its angle is one, and the most that it turns in a step."""
TOLD_RAD = np.radians(3.0)
"""What points leave open of the loss between them, and so of the phase that follows from it."""


def beyond_passive(frequency: Real, reflection: Quantity) -> float:
    """How far a reflection [1] is from all that anything passive has; 0 as far as doubts reach.

    The resistance of what is passive is nowhere below zero, and its reactance follows from that at
    all frequencies, but for poles at zero and at infinity (sources: O. Brune, Journal of
    Mathematics and Physics 10, 1931; H. W. Bode, Network Analysis and Feedback Amplifier Design,
    1945, chapter 14). So what fits best is sought among resistances in the band and outside, linear
    in between, and of deviations of what is doubtful. An admittance is the same of -x.
    """
    count = frequency.size
    first = np.unique(np.linspace(0, count, min(count, NODES), endpoint=False).astype(int))
    counts = np.diff(np.append(first, count))

    def mean(values: np.ndarray) -> np.ndarray:
        return np.add.reduceat(np.broadcast_to(values, count), first) / counts

    x = mean(reflection.value)
    x = max((x, -x), key=lambda g: np.min(np.abs(1 - g)))
    if count < RUN or np.any(x == 1):
        return 0.0
    f, z, slope = mean(frequency), (1 + x) / (1 - x), (1 - x) ** 2 / 2  # d x / d z
    rough = np.median(np.abs(np.diff(reflection.value, 4))) / RAYLEIGH
    noise = sum(mean(np.abs(e.change) ** 2) / 2 for e in reflection.effects if e.per_point)
    doubt = np.reshape([mean(c) for c in reflection.common_changes()], (-1, f.size))
    # and what three deviations of what turns far make of second order, the square of it by half
    bent = 3**2 / 2 * np.sum(np.abs(doubt) ** 2, axis=0)
    variance = np.maximum(noise, rough**2) / counts + bent**2
    steps = np.abs(np.diff(reflection.value, append=reflection.value[-1]))
    travelled = np.add.reduceat(steps, first)  # where it goes round, a mean tells nothing
    variance += np.where(travelled > STEP_RAD, travelled, 0) ** 2
    weight = _weight(np.diff(z, 2) * slope[1:-1], variance)

    def rows(values: np.ndarray) -> Real:
        weighted = (weight * values).T
        return np.concatenate([weighted.real, weighted.imag])

    parts = rows(slope * _passive_parts(f, z.real))
    off, squared = _left_by(parts, rows(slope * z), rows(doubt))
    return float(np.max(np.hypot(*off.reshape(2, -1)) / weight)) if squared > SURE**2 else 0.0


def _left_by(parts: Real, wanted: Real, doubts: Real) -> tuple[Real, float]:
    """What the nearest sum of parts leaves of what is wanted, and its square in deviations.

    With the deviations that explain most of it, each one equation more, a misfit r leaves V^-1 r.
    """
    whole = np.eye(wanted.size) + doubts @ doubts.T
    half = np.linalg.cholesky(whole)
    parts = parts / np.linalg.norm(np.linalg.solve(half, parts), axis=0)
    found, _ = nonnegative(np.linalg.solve(half, parts), np.linalg.solve(half, wanted))
    off = wanted - parts @ found
    misfit = np.linalg.solve(whole, off)
    return off, float(np.sum((misfit @ doubts) ** 2) + max(np.sum(misfit**2) - misfit.size, 0))


def _weight(bends: Complex, variance: Real) -> Real:
    """One over the doubt of each node: of its noise, and of a course that bends in between."""
    # linear between points is off by an eighth of the second difference at the most
    bend = np.pad(np.abs(bends) ** 2 / 64, 2, mode="edge")
    near = np.max([bend[:-2], bend[1:-1], bend[2:]], axis=0)
    return np.asarray(1 / np.sqrt(variance + np.maximum(near - variance / 10, 0) + LEAST**2))


def _passive_parts(f: Real, resistance: Real) -> np.ndarray:
    """Impedances [1] of which all that is passive is a sum, shape (parts, F): by resistances.

    Beyond an end of the band a resistance may rise at once, and falls no faster than inside.
    """
    along = np.log(f)
    below, above = (
        np.geomspace(d, FAR, int(log(FAR / d) / APART)) for d in np.diff(along)[[0, -1]]
    )
    grid = np.concatenate([along[0] - below[::-1], along, along[-1] + above])
    first, last = below.size, below.size + f.size - 1
    impedances = (np.eye(grid.size) + 1j * phase_of_loss(np.exp(grid)))[first : last + 1]
    means = [[np.mean(v) for v in np.array_split(values, BLOCKS)] for values in (resistance, along)]
    steepest = np.max(np.abs(np.divide(*np.diff(means))))
    for end, outside in ((first, slice(0, first)), (last, slice(last + 1, None))):
        if (own := resistance[end - first]) > 0:
            reach = own / max(FALLS * steepest, own / NEAR)
            left = np.maximum(1 - np.abs(grid[outside] - grid[end]) / reach, 0)
            impedances[:, end] += impedances[:, outside] @ left
    return np.vstack([impedances.T, 1j * f / f[0], f[0] / (1j * f)])


def as_expected(
    inputs: Inputs, measured: Quantity, where: Region, expected: Quantity, chance: float
) -> bool:
    """Whether a check is what it should be: at its points, and as it turns over all of them."""
    freedom = degrees_of_freedom(measured.plus(*expected.effects))
    if far_off(as_normal(where.squared_distance_to(expected), freedom), chance):
        return False
    figures = has_line_by_figures(inputs)
    return turns_as_stated(inputs.calibration.frequency, measured, expected, chance, figures)


def has_line_by_figures(inputs: Inputs) -> bool:
    """Whether a line that is known by its figures lies on the path."""
    return any(isinstance(step.element, LineByFigures) for step in inputs.path)


def turns_as_stated(
    frequency: Real, measured: Quantity, expected: Quantity, chance: float, figures: bool = True
) -> bool:
    """Whether a check turns as it should, and not as behind a length that is none of its own.

    What each point by itself leaves open, all of them together may not. The phase of what is
    removed may be that of a line known by its `figures`.
    """
    sizes = np.abs([measured.value, expected.value])
    if frequency.size == 1 or np.min(sizes) < SEEN:
        return True
    turned = np.unwrap(np.angle(measured.value / expected.value))
    if np.max(np.abs(np.diff(turned))) > STEP_RAD:
        return True
    along = frequency / frequency[-1]
    parts = (measured, 1 / measured.value), (expected, -1 / expected.value)
    angle = combine(turned.astype(complex), *parts)
    if figures:
        angle = angle.plus(Effect("phase by loss", TOLD_RAD / 2 * 1j * along))
    return erfc(abs(leaning(angle, along)) / sqrt(2)) > chance  # of a normal variable
