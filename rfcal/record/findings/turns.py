"""Turns of a reflection over frequency that nothing passive makes: by its reactance, by its loss.

Both hold for all passive things alike, and for each at any plane before it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from math import hypot

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rfcal.maths.causality import phase_of_loss
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.undecided import LOSSY
from rfcal.uncertainty.quantity import Quantity

LOSSLESS = 0.95
"""Reflection [1] from which a device has next to no loss."""
ASIDE = 0.1
"""Mean sine of a lossless reflection's angle [1] below which it is so near a short or an open that
a wrong stray of these standards turns it as much."""
RUN = 8
"""Neighbouring points from which a turn is judged."""
NODES = 100
"""Points at most by which it is; more are taken together."""
STEP, STEP_RAD = 0.2, 0.5
"""From point to point the size changes by a smaller part [1], and the angle by less [rad], or the
curve is not told between them."""
SURE = 6.0
"""A turn that is so many standard deviations too far is none by chance: once in 10^9 for a pair of
points, in 10^5 for all pairs of a sweep (the farthest of 223 honest ones was at 3.4), and so it
takes no part of the chance of a false alarm."""
SEEN = 0.05
"""Size of a reflection [1] from which its angle is one."""
TOLD_RAD = np.radians(3.0)
"""What points leave open of the loss between them, and so of the phase that follows from it."""


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
    whole, weights = slice(0, ratio.size), rise(frequency)
    doubts = [Curve(frequency, q).doubt(-1j * weights, whole) for q in (measured, expected)]
    turned = abs(float(weights @ np.cumsum(ratio)))
    return bool(turned < TOLD_RAD - ndtri(chance / 2) * hypot(*doubts))


def rise(frequency: Real) -> Real:
    """Weights of a straight line's rise over a band."""
    along = frequency - np.mean(frequency)
    return np.asarray(along / np.sum(along**2) * np.ptp(frequency))


@dataclass(frozen=True, eq=False)
class Turn:
    """How a reflection turns over some of its points, and how it might at the most."""

    points: slice
    turned: float  # anticlockwise [rad]
    most: float  # [rad]


@dataclass(frozen=True, eq=False)
class Curve:
    """A reflection over frequency."""

    frequency: Real  # [Hz]
    reflection: Quantity

    @cached_property
    def log(self) -> Complex:
        """Its logarithm [1]; the phase is continuous within a run."""
        x = self.reflection.value
        with np.errstate(divide="ignore"):
            return np.log(np.abs(x)) + 1j * np.unwrap(np.angle(x))

    def impossible(self) -> Turn | None:
        """A turn that nothing passive makes; None where there is none."""
        return next(chain(self._by_reactance(), self._by_loss()), None)

    def _by_reactance(self) -> Iterator[Turn]:
        """Where next to nothing is lost, reactance rises as that of one coil or capacitor, or more.

        So the angle goes back by its sine, times d ln f (source: R. M. Foster, A reactance theorem,
        Bell System Technical Journal 3, 1924). All of that is left for small losses.
        """
        x, size = self.reflection.value, np.abs(self.reflection.value)
        reactive = np.abs(2 * x.imag) > LOSSY * np.abs(1 - size**2)  # |X| > R times as much
        for run in self._runs((size < 2 - LOSSLESS) & (reactive | (size > LOSSLESS)))[:1]:
            f, phase = self.frequency[run], self.log.imag[run]
            weights = rise(f)
            aside = float(np.mean(np.abs(np.sin(phase))))
            most = -aside * float(np.log(f[-1] / f[0]))
            turned = float(weights @ phase)
            if aside > ASIDE and turned > SURE * self.doubt(-1j * weights, run):
                yield Turn(run, turned, most)

    def _by_loss(self) -> Iterator[Turn]:
        """Only loss turns anticlockwise, and by no more than causality makes of it."""
        clear = np.abs(self.reflection.value) > SURE * np.sqrt(self.reflection.variance())
        for run in self._runs(clear):
            count = run.stop - run.start
            first = np.unique(np.linspace(0, count, min(count, NODES), endpoint=False).astype(int))
            counts = np.diff(np.append(first, count))
            f, log = (np.add.reduceat(v[run], first) / counts for v in (self.frequency, self.log))
            phases = phase_of_loss(f)
            beyond = (log.imag - phases @ log.real)[1:-1]  # the ends are not defined
            b = int(np.argmax(beyond - np.minimum.accumulate(beyond))) + 1
            a = int(np.argmin(beyond[:b])) + 1
            turned, most = log.imag[b] - log.imag[a], (phases[b] - phases[a]) @ log.real
            weights = phases[a] - phases[b] + 1j * (np.eye(f.size)[a] - np.eye(f.size)[b])
            doubt = self.doubt(np.repeat(weights / counts, counts), run)
            between = np.abs(weights.real[1:-1]) @ np.abs(np.diff(log.real, 2)) / 6
            if turned - most > max(TOLD_RAD + between, SURE * doubt):
                points = slice(run.start + first[a], run.start + first[b] + counts[b])
                yield Turn(points, turned, most)

    def _runs(self, where: NDArray[np.bool_]) -> list[slice]:
        """Where it is told from point to point, the longest run first."""
        steps = np.diff(np.nan_to_num(self.log))
        near = (np.abs(steps.real) < STEP) & (np.abs(steps.imag) < STEP_RAD)
        edges = np.flatnonzero(np.diff(np.pad(where[1:] & where[:-1] & near, 1)))
        runs = [slice(first, end + 1) for first, end in edges.reshape(-1, 2)]
        return sorted(
            (run for run in runs if run.stop - run.start >= RUN), key=lambda r: r.start - r.stop
        )

    def doubt(self, weights: ArrayLike, run: slice) -> float:
        """Standard deviation of the real part of the logarithm's weighted sum over a run [1]."""
        variance, x = 0.0, self.reflection.value
        for effect in self.reflection.effects:
            change = np.broadcast_to(effect.change, x.shape)[run]
            parts = np.real(np.asarray(weights) * change / x[run])
            variance += np.sum(parts**2) if effect.per_point else np.sum(parts) ** 2
        return float(np.sqrt(variance))
