"""What no passive thing does over a band: R and X that do not belong together, a turn too far."""

from math import hypot, log

import numpy as np

from rfcal.maths.bounded import nonnegative
from rfcal.maths.causality import phase_of_loss
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.quantity import Quantity

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
    common = [mean(e.change) for e in reflection.effects if not e.per_point]
    doubt = np.reshape(common, (-1, f.size))
    # with what is of second order in what is common and large
    variance = np.maximum(noise, rough**2) / counts + np.sum(np.abs(doubt) ** 2 / 2, axis=0) ** 2
    steps = np.abs(np.diff(reflection.value, append=reflection.value[-1]))
    travelled = np.add.reduceat(steps, first)  # where it goes round, a mean tells nothing
    variance += np.where(travelled > STEP_RAD, travelled, 0) ** 2
    weight = _weight(np.diff(z, 2) * slope[1:-1], variance)

    def rows(values: np.ndarray) -> Real:
        weighted = (weight * values).T
        return np.concatenate([weighted.real, weighted.imag])

    parts = rows(slope * _passive_parts(f, z.real))
    parts /= np.linalg.norm(parts, axis=0)
    doubts = rows(doubt)
    ones, none = np.eye(len(common)), np.zeros((len(common), parts.shape[1]))
    # deviations are of either sign, and each counts as one equation more
    system = np.block([[parts, doubts, -doubts], [none, ones, -ones]])
    wanted = np.append(rows(slope * z), np.zeros(len(common)))
    found, _ = nonnegative(system, wanted)
    misfit, deviations = np.split((wanted - system @ found) ** 2, [2 * f.size])
    if np.sum(deviations) + max(np.sum(misfit) - misfit.size, 0) < SURE**2:
        return 0.0
    off = rows(slope * z) - parts @ found[: parts.shape[1]]
    return float(np.max(np.hypot(*off.reshape(2, -1)) / weight))


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


def turns_as_stated(frequency: Real, measured: Quantity, expected: Quantity, chance: float) -> bool:
    """Whether a check turns over its band as it should, as far as its doubts are common to all.

    A length or velocity that is doubtful turns each point far, but all by its own law: what other
    lines make of them agrees at each frequency by itself, and not over the band.
    """
    from scipy.special import ndtri

    ratio = np.diff(np.unwrap(np.angle(measured.value / expected.value)), prepend=0)
    sizes = np.abs([measured.value, expected.value])
    if ratio.size < RUN or np.min(sizes) < SEEN or np.max(np.abs(ratio[1:])) > STEP_RAD:
        return True
    # weights of a straight line's rise over the band
    along = frequency - np.mean(frequency)
    weights = along / np.sum(along**2) * np.ptp(frequency)
    doubt = hypot(*(_turn_doubt(quantity, weights) for quantity in (measured, expected)))
    turned = abs(float(weights @ np.cumsum(ratio)))
    return bool(turned < TOLD_RAD - ndtri(chance / 2) * doubt)


def _turn_doubt(quantity: Quantity, weights: Real) -> float:
    """Standard deviation of the weighted sum of a reflection's angles [rad]."""
    parts = [weights * np.imag(e.change / quantity.value) for e in quantity.effects]
    each = (
        np.sum(part**2) if e.per_point else np.sum(part) ** 2
        for e, part in zip(quantity.effects, parts, strict=True)
    )
    return float(np.sqrt(sum(each)))
