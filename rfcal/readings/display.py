"""Numbers typed off a display: every reading that it leaves possible, its step in its uncertainty.

The sign of X may be missing, a cell may say only that it is beyond the display's range, or nothing
but |Z| or SWR may be shown. What is then possible are `Options`: readings of which at each
frequency one is true, the edges of what is possible among them.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import HIGHEST_HZ, require_ascending, require_plausible
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Effect, both_axes, spread_effects

LARGEST_TYPED = 5.0
"""A typed magnitude beyond this is no reading, but decibels perhaps [1]."""
MOST_RAW = 1.1
"""Size of a raw reflection beyond which none is looked for [1] (common practice, no source)."""
MOST_RAW_SWR = (1 + MOST_RAW) / (1 - MOST_RAW)
"""What that is as an SWR, which is below zero where more comes back than goes."""
ENDLESS = 1e6
"""What stands for endless, in parts of a display's range."""
APART = 0.04
"""How far options may lie apart that stand for all between them [1]: less than analyzers err."""


class Beyond(float):
    """A cell of which a display shows only that it is more than this."""


@dataclass(frozen=True, eq=False)
class Options:
    """Readings of which at each frequency one is true, as far as a display tells."""

    sweeps: tuple[Sweep, ...]
    signs: tuple[int, ...]  # of X in each: 1 or -1; 0 where both signs hang together

    @property
    def frequency(self) -> Real:
        """Of all of them [Hz], shape (F,)."""
        return self.sweeps[0].frequency

    def values(self, z_ref: float) -> Complex:
        """Raw reflections [1] in this reference [ohm], shape (K, F)."""
        return np.array([sweep.quantity(z_ref).value for sweep in self.sweeps])

    def picked(self, index: NDArray[np.intp]) -> Sweep:
        """The sweep that has one of the options at each frequency, shape (F,)."""
        if len(self.sweeps) == 1:
            return self.sweeps[0]
        points = np.arange(index.size)
        effects = []
        for same in zip(*(sweep.effects for sweep in self.sweeps), strict=True):
            changes = np.array([np.broadcast_to(e.change, index.shape) for e in same])
            effects.append(replace(same[0], change=changes[index, points]))
        values = np.array([sweep.reflection for sweep in self.sweeps])
        return replace(
            self.sweeps[0], reflection=values[index, points], effects=tuple(effects), parts=()
        )

    def nearest(self, value: Complex, z_ref: float) -> Sweep:
        """The sweep that has at each frequency what is nearest to a raw reading [1].

        Its uncertainty holds the options around it: all of one sign, or of a circle the next ones.
        """
        if len(self.sweeps) == 1:
            return self.sweeps[0]
        found = self.picked(np.argmin(np.abs(self.values(z_ref) - value), axis=0))
        off = np.array([sweep.reflection for sweep in self.sweeps]) - found.reflection
        signs = np.array(self.signs)[:, None]
        own = np.take_along_axis(signs + 0 * off.real, np.argmin(np.abs(off), axis=0)[None], 0)
        around = np.where(own == 0, np.abs(off) < 2 * APART, signs == own)
        spread = spread_effects(f"{found.label}: display step", found.label, off, around)
        return replace(found, effects=(*found.effects, *spread))


def certain(sweep: Sweep) -> Options:
    """A reading of which nothing is missing."""
    return Options((sweep,), (0,))


@dataclass(frozen=True)
class Display:
    """What shows the two numbers of one reading; rows of such begin with the frequency [MHz]."""

    label: str  # of the reading, for the budget
    z_ref: float  # reference impedance [ohm]
    where: str  # the rows stand in the record, for errors
    steps: tuple[float, float]  # by which its numbers go

    def impedances(self, rows: Sequence[Sequence[float]], *, sign_known: bool = True) -> Options:
        """From R and X [ohm], where X may have no sign and cells may be `Beyond` the display."""
        frequency, numbers = self._columns(rows)
        beyond = np.array([any(isinstance(cell, Beyond) for cell in row) for row in rows])
        found = []
        for sign in (0,) if sign_known else (1, -1):
            x = sign * np.abs(numbers[1]) if sign else numbers[1]
            kept = np.array(from_impedance(numbers[0] + 1j * x, self.z_ref))[None]
            if beyond.any():
                kept = _even(
                    [
                        self._beyond(row, sign) if less else kept[:, at]
                        for at, (row, less) in enumerate(zip(rows, beyond, strict=True))
                    ]
                )
            found.append((sign, kept))
        # all that a cell beyond the display may be is among the options
        step = np.where(beyond, 0.0, self.steps[0])
        return self._options(
            frequency, found, lambda x: display_effects(self.label, step, x, self.z_ref)
        )

    def polar(self, rows: Sequence[Sequence[float]]) -> Options:
        """From the magnitude [1] and the angle [degree] of a reflection."""
        frequency, numbers = self._columns(rows)
        for i, (_, magnitude, degrees) in enumerate(rows, start=1):
            if not 0 <= magnitude <= LARGEST_TYPED or abs(degrees) > 360:
                raise ReadingError(
                    self.where,
                    f"row {i}: {magnitude:g} at {degrees:g} degrees is no reading; give a "
                    f"magnitude from 0 to {LARGEST_TYPED:g} (a return loss of 10 dB is 0.316) and "
                    "an angle within 360 degrees",
                )
        direction = np.exp(1j * np.radians(numbers[1]))
        found = [(0, (numbers[0] * direction)[None])]
        return self._options(
            frequency, found, lambda x: polar_effects(self.label, self.steps, x, direction), True
        )

    def sizes(
        self, z_rows: Sequence[Sequence[float]], swr_rows: Sequence[Sequence[float]]
    ) -> Options:
        """From |Z| [ohm], from SWR, or from both."""
        frequency, _ = self._columns(z_rows or swr_rows)
        if not (z_rows and swr_rows):
            circle = self._circle_of_z if z_rows else self._circle_of_swr
            circles = [circle(i, row[1]) for i, row in enumerate(z_rows or swr_rows, start=1)]
            return self._options(
                frequency,
                [(0, _even(circles))],
                lambda x: _size_effects(self.label, self.steps, bool(z_rows), x, self.z_ref),
                bool(swr_rows),
            )
        if [row[0] for row in z_rows] != [row[0] for row in swr_rows]:
            raise ReadingError(
                self.where,
                "typed_z_ohm and typed_swr are of one reading: give both at the same frequencies, "
                "in the same order",
            )
        both = enumerate(zip(z_rows, swr_rows, strict=True), start=1)
        either = _even([self._both(i, z[1], swr[1]) for i, (z, swr) in both])
        # of two sizes all is among the options
        return self._options(frequency, [(1, either), (-1, np.conj(either))], lambda x: (), True)

    def _columns(self, rows: Sequence[Sequence[float]]) -> tuple[Real, Real]:
        """Frequencies [Hz], and the columns of numbers."""
        table = np.array(rows, float).T
        if table[0, -1] * 1e6 > HIGHEST_HZ:
            why = f"the first column is MHz, and {table[0, -1]:.10g} is too much"
            raise ReadingError(self.where, why)
        require_ascending(table[0] * 1e6, self.where)
        return table[0] * 1e6, table[1:]

    def _options(
        self,
        frequency: Real,
        found: Sequence[tuple[int, Complex]],
        effects: Callable[[Complex], tuple[Effect, ...]],
        bare: bool = False,
    ) -> Options:
        """Options (K, F) of each sign of X, with what the display's step makes uncertain of one."""
        signs = tuple(sign for sign, kept in found for _ in kept)
        sweeps = []
        for x in (x for _, kept in found for x in kept):
            require_plausible(x, self.where)
            sweeps.append(Sweep(frequency, x, self.z_ref, self.label, None, effects(x), bare))
        return Options(tuple(sweeps), signs)

    def _beyond(self, row: Sequence[float], sign: int) -> Complex:
        """Reflections [1] that a row with a cell beyond the display leaves possible."""
        _, r, x = row
        if isinstance(r, Beyond) and isinstance(x, Beyond):
            return beyond_impedance(min(r, x), self.z_ref, sign)
        if isinstance(r, Beyond):
            along = np.array([1.0, 3.0, ENDLESS]) * r
            return from_impedance(along + 1j * (sign * abs(x) if sign else x), self.z_ref)
        along = np.array([1.0, 3.0, ENDLESS]) * abs(x)
        both = np.concatenate([s * along for s in ((sign,) if sign else (1, -1))])
        return from_impedance(r + 1j * both, self.z_ref)

    def _range(self, i: int, shown: float, step: float, least: float, what: str) -> Real:
        """What is shown, and the least and the greatest value that shows like this."""
        if not shown >= least:
            why = f"row {i}: {shown:g} is no {what}, which is {least:g} or more"
            raise ReadingError(self.where, why)
        if isinstance(shown, Beyond):
            raw = [MOST_RAW_SWR] if least else []
            return np.array([shown, ENDLESS * shown, *raw])
        return np.array([shown, max(shown - step / 2, least), shown + step / 2])

    def _both(self, i: int, z_shown: float, swr_shown: float) -> Complex:
        """Reflections [1] with X of zero or more that |Z| and SWR leave possible together."""
        z_ref = self.z_ref
        z = self._range(i, z_shown, self.steps[0], 0.0, "|Z|")[:, None]
        s = self._range(i, swr_shown, self.steps[1], 1.0, "SWR")
        # (1 - |x|^2)/(1 + |x|^2) = 2 s/(s^2 + 1), and |x|^2 by |Z| and R (definition of both)
        r = (z**2 + z_ref**2) / z_ref * s / (s**2 + 1)
        size = z + 0 * r
        if np.all(r > size * (1 + 1e-9)):
            least = max(z_shown / z_ref, z_ref / z_shown) if z_shown else math.inf
            raise ReadingError(
                self.where,
                f"row {i}: |Z| of {z_shown:g} ohm has an SWR of {least:.3g} or more in {z_ref:g} "
                f"ohm, and {swr_shown:g} was typed: look at both, and at reference_ohm",
            )
        x = np.sqrt(np.maximum(size**2 - r**2, 0))
        found = np.asarray(from_impedance(np.minimum(r, size) + 1j * x, z_ref))
        possible = r <= size * (1 + 1e-9)
        # where a corner is impossible, the edge of what is possible lies on X = 0 at this |Z|
        on_axis = np.asarray(from_impedance(z[:, 0] + 0j, z_ref))
        return np.concatenate([found[possible], on_axis[: 0 if possible.all() else None]])

    def _circle_of_z(self, i: int, shown: float) -> Complex:
        """Reflections [1] that |Z| alone leaves possible."""
        self._range(i, shown, 0.0, 0.0, "|Z|")
        if isinstance(shown, Beyond):
            return beyond_impedance(shown, self.z_ref)
        # a half circle in the plane of Z, and a little more for what no analyzer corrected yet
        length = 2 * np.pi * self.z_ref * shown / (self.z_ref**2 + shown**2)
        angles = np.pi * np.linspace(-0.55, 0.55, 9 + 2 * int(length / APART / 2))
        found = from_impedance(shown * np.exp(1j * angles), self.z_ref)
        found = found[np.argsort(np.abs(angles))]  # the usual first
        return found[np.abs(found) <= MOST_RAW]

    def _circle_of_swr(self, i: int, shown: float) -> Complex:
        """Reflections [1] that SWR alone leaves possible."""
        swr = self._range(i, shown, 0.0, 1.0, "SWR")
        sizes = np.unique((swr - 1) / (swr + 1))
        count = 8 * (1 + int(sizes[0] * 2 * np.pi / APART / 8))
        return np.ravel(sizes[:, None] * np.exp(2j * np.pi * np.arange(count) / count))


def beyond_impedance(ohm: float, z_ref: float, sign: int = 0) -> Complex:
    """Raw reflections [1] on the edge of all whose |Z| is above this, X of this sign (0: both).

    Its admittance lies in a disc about zero; no raw reflection is much above 1.
    """
    least, most = {1: (-0.5, 0.0), -1: (0.0, 0.5), 0: (-0.5, 0.5)}[sign]
    angles = np.pi * np.linspace(least, most, 5 if sign else 9)
    size = z_ref / ohm
    rings = np.linspace(0, size, 1 + int(np.ceil(size / APART)))[1:]
    y = np.concatenate([[0.0], np.ravel(rings[:, None] * np.exp(1j * angles))])
    reflection = (1 - y) / (1 + y)
    # beyond the chart, as far as an uncorrected analyzer goes
    rim = reflection[np.abs(reflection) > 1 - 1e-9]
    return np.concatenate([reflection, rim * min(MOST_RAW, 1 + 2 * size)])


def display_effects(
    label: str, step_ohm: float | Real, reading: Complex, z_ref: float
) -> tuple[Effect, ...]:
    """What the display's step makes uncertain of an impedance that was typed off it, along R and X.

    A display shows the nearest step: an even spread of one step, so step / sqrt(12).
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
    """What the display's steps [1, degree] make uncertain of a magnitude and an angle typed off it.

    The direction of a reading that may be zero is stated.
    """
    if direction is None:
        direction = np.exp(1j * np.angle(reading))
    name, (size, turn) = f"{label}: display step", np.array(steps) / np.sqrt(12)
    ways = {"magnitude": size * direction, "angle": np.radians(turn) * 1j * reading}
    return tuple(
        Effect(name, change, per_point=True, rectangular=True, influence=(name, way))
        for way, change in ways.items()
    )


def _size_effects(
    label: str, steps: tuple[float, float], by_z: bool, x: Complex, z_ref: float
) -> tuple[Effect, ...]:
    """What the step of a display makes uncertain of reflections [1] along their circle's radius."""
    name = f"{label}: display step"
    with np.errstate(divide="ignore", invalid="ignore"):
        z = z_ref * (1 + x) / (1 - x)
        # of |Z| along Z; of SWR along the reflection, with d|x| = 2 dS / (S + 1)^2
        along = z / np.abs(z) * (1 - x) ** 2 / (2 * z_ref)
        size = np.abs(x)
        outward = np.exp(1j * np.angle(x)) * (1 - size) ** 2 / 2
        change = (steps[0] * along if by_z else steps[1] * outward) / np.sqrt(12)
    return (Effect(name, np.nan_to_num(change), per_point=True, rectangular=True),)


def _even(of_rows: Sequence[Complex]) -> Complex:
    """As many options for each row, shape (K, F): the last of a row stands in again."""
    most = max(row.size for row in of_rows)
    return np.stack([np.pad(row, (0, most - row.size), mode="edge") for row in of_rows], axis=-1)
