"""The region of the plane where a reflection truly is: an ellipse, or one bent round the middle.

A line whose length or velocity factor is doubtful turns the reflection about the middle of the
chart. An ellipse on the tangent is no region of such a doubt; one in the logarithm of the
reflection is, because there the turn is a straight shift.

Near the middle a turn moves little, and what it does to other doubts is most. Whoever reads cannot
know that the device is matched, so intervals there cover more than 95 %: R of 50 ohm behind 10 and
20 m of cable by type 99.7 and 100 %, where random draws of all inputs (JCGM 101) give 98.6 and
100 %, and 87 % of the SWR of 51 ohm, which is too few. To keep each R that any device would have
that reads so in 95 of 100 sessions covers 100 % too, and is wider. Taken to second order as moments
have it (a sixth of what each end adds), regions leave R at 98 and 100 %, and SWR at 92 %. The root
of the sum of squares of what each influence alone moves, up and down apart, covers 32 to 54 % of
the SWR of 50 ohm and 27 to 43 % of R of 200 ohm there; the range over the sphere of all influences
(a turn moved, the others an ellipse of what it leaves of the radius) covers 95 to 98 % of most, but
R of 50 ohm 98.5 and 100 %, at nine times the evaluations and beside what judges checks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rfcal.maths.arguments import frozen
from rfcal.maths.circles import Spread, direction
from rfcal.maths.reflection import Complex, Real
from rfcal.uncertainty.coverage import squared_distance
from rfcal.uncertainty.quantity import Quantity

ROUND = 0.1
"""A turn counts as bent from this part of the standard deviation across it that it strays [1]."""
BAND = 0.16
"""Standard deviation of the size, in parts of it, up to which a doubt is a band round the middle
of the chart, or turns with it, and is no patch over it [1]."""
NODE = 3.0**0.5
"""Standard deviations from the middle of the outer two of three nodes that have a normal variable's
moments (Gauss and Hermite); each of them weighs one sixth."""

LEAST = 1e-9
"""Size that a reflection of nothing is given where its angle is asked [1]."""


@dataclass(frozen=True, eq=False)
class Region:
    """Where a reflection is; both parts of a `white` step have unit standard deviations [1]."""

    centre: Complex  # corrected reflection [1], shape (F,)
    covariance: Real  # of the step from there, or of its logarithm where bent [1], (F, 2, 2)
    bent: NDArray[np.bool_]  # whether the step is one of the logarithm, shape (F,)

    def at(self, index: slice | NDArray[np.intp]) -> "Region":
        """The same at some of the frequencies."""
        return Region(self.centre[index], self.covariance[index], self.bent[index])

    @cached_property
    def axes(self) -> Real:
        """What turns whitened steps into steps, shape (F, 2, 2); the second is the longer one."""
        values, axes = np.linalg.eigh(self.covariance)
        return frozen(axes * np.sqrt(np.maximum(values, 0))[:, None], "", copy=False)

    @cached_property
    def spread(self) -> Spread:
        """Standard deviations along any direction of the plane [1], about the centre."""
        flat = np.where(self.bent, self.centre, 1.0 + 0j)
        return Spread(_scaled(self.covariance, flat))

    def across(self, way: Complex) -> Complex:
        """The white direction in which a figure grows fastest that grows one way in the plane."""
        way = np.where(self.bent, way * np.conj(self.centre), way)
        first, second = (self.axes[:, 0] + 1j * self.axes[:, 1]).T
        return direction((np.conj(way) * first).real + 1j * (np.conj(way) * second).real)

    def places(self, white: Complex) -> Complex:
        """Reflections at white steps from the centre, both of shape (F, N)."""
        axes = self.axes[:, 0] + 1j * self.axes[:, 1]
        step = axes[:, :1] * white.real + axes[:, 1:] * white.imag
        centre, bent = self.centre[:, None], self.bent
        found = centre + step
        if np.any(bent):
            found[bent] = centre[bent] * np.exp(step[bent])
        return found

    def step_to(self, place: float | complex) -> Complex:
        """The step to a place of the plane, the shorter way round where the region is bent."""
        ratio = np.where(self.bent, (place or 1e-300) / np.where(self.bent, self.centre, 1), 1)
        return np.where(self.bent, np.log(ratio), place - self.centre)

    def holds(self, place: float | complex, radius: float | Real) -> NDArray[np.bool_]:
        """Whether a place lies within so many standard deviations."""
        return squared_distance(self.step_to(place), self.covariance) <= radius**2

    def squared_distance_to(self, other: Quantity) -> Real:
        """Of another reflection, independent of this one, in the measure of both doubts [1]."""
        centre: Complex = np.where(self.bent, self.centre, 1).astype(complex)
        place = np.where(np.abs(other.value) > LEAST, other.value, LEAST)
        ratio = np.where(self.bent, place / centre, 1)
        way = np.where(self.bent, np.log(ratio), other.value - self.centre)
        own = _scaled(other.covariance(), (1 / centre).astype(complex))
        return squared_distance(way, self.covariance + own)

    def level_with(self, place: float, radius: Real) -> list[Complex]:
        """White directions to the two places on the edge that are as far up as a place is."""
        up = self.axes[:, 1, 0] + 1j * self.axes[:, 1, 1]
        part = np.clip(self.step_to(place).imag / np.maximum(radius * np.abs(up), 1e-300), -1, 1)
        return [direction(up) * (part + side * np.sqrt(1 - part**2)) for side in (1j, -1j)]


Triple = tuple[Quantity, Quantity, Quantity]
"""A reflection with one influence `NODE` standard deviations below its estimate, at it, and above
it, and certain in all three."""


def region_of(
    reflection: Quantity, turned: Sequence[Triple] = (), strays: Sequence[Triple] = ()
) -> Region:
    """The region of a corrected reflection.

    A doubtful turn also changes what all other doubts do (a line's impedance at its far end, say),
    which linear propagation leaves out (JCGM 100, 5.1.2, note): what it adds at either end counts
    by half.

    Parameters
    ----------
    reflection : Quantity
        Corrected reflection [1].
    turned : sequence of Triple
        For each influence that turns it.
    strays : sequence of Triple
        For each influence else for which first order is not enough.
    """
    size, linear = np.abs(reflection.value), reflection.covariance()
    place = np.where(size > LEAST, reflection.value, LEAST)
    rests = [known.covariance() for _, known, _ in turned]
    turns = (_scaled(linear - rest, 1 / place)[:, 1, 1] for rest in rests)
    turn = sum(turns, np.zeros(size.shape))
    across = np.sqrt(_scaled(linear, 1 / place)[:, 0, 0])
    bent = (turn > 2 * ROUND * across) & (across < BAND)
    back = 1 / np.where(bent, place, 1)
    covariance = _scaled(linear, back)
    for (low, _, high), rest in zip(turned, rests, strict=True):
        covariance = covariance - _scaled(linear - rest, back)
        for end in (low, high):
            moved = np.where(np.abs(end.value) > 1e-3 * size, end.value, place)
            ratio = np.asarray(moved / place, complex)
            step = np.where(bent, np.log(ratio), end.value - reflection.value)
            # all other doubts turn with what is not over the middle of the chart
            patch = np.where(across < BAND, direction(ratio), 1)
            there = 1 / np.where(bent, moved, patch)
            more = _scaled(end.covariance(), there) - _scaled(rest, back)
            # a sixth of the squared way there, and half of what else grows on it
            covariance = covariance + _square(step) / (2 * NODE**2) + _positive(more) / 2
    covariance, centre = _positive(covariance), reflection.value
    if strays:
        shift, more = _second_order(reflection, strays)
        centre = centre + shift
        covariance = covariance + _positive(_scaled(more, back))
    return Region(centre, covariance, bent)


def _second_order(reflection: Quantity, strays: Sequence[Triple]) -> tuple[Complex, Real]:
    """What second order adds to a reflection and its covariance (JCGM 100, 5.1.2, note).

    Moments of three nodes (Gauss and Hermite), which have the exact ones of what is quadratic.
    """
    linear = reflection.covariance()
    shift, more = np.zeros_like(reflection.value), np.zeros_like(linear)
    for low, known, high in strays:
        rest = known.covariance()
        steps = [end.value - reflection.value for end in (low, high)]
        mean = (steps[0] + steps[1]) / (2 * NODE**2)
        shift = shift + mean
        own = (_square(steps[0]) + _square(steps[1])) / (2 * NODE**2) - _square(mean)
        # of two influences here each tells of their product
        others = (low.covariance() + high.covariance() - 2 * rest) / (4 * NODE**2)
        more = more + own - (linear - rest) + others
    return shift, more


def _scaled(covariance: Real, by: NDArray[Any]) -> Real:
    """The covariance of a complex number multiplied by another."""
    turn = np.stack([by.real, -by.imag, by.imag, by.real], axis=-1).reshape(-1, 2, 2)
    return turn @ covariance @ np.swapaxes(turn, -1, -2)


def _square(step: Complex) -> Real:
    axes = np.stack([step.real, step.imag], axis=-1)
    return axes[..., :, None] * axes[..., None, :]


def _positive(matrix: Real) -> Real:
    """What of a symmetric matrix makes a covariance larger."""
    values, axes = np.linalg.eigh(matrix)
    return (axes * np.maximum(values, 0)[:, None]) @ np.swapaxes(axes, -1, -2)
