"""Numbers typed off a display: every reading that it leaves possible, its step in its uncertainty.

The sign of X may be missing, a cell may say only that it is beyond the display's range, or nothing
but |Z| or SWR may be shown. What is then possible are `Options`: readings of which at each
frequency one is true, the edges of what is possible among them.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance, swr
from rfcal.readings.rows import require_ascending, require_plausible
from rfcal.readings.sweep import Sweep
from rfcal.uncertainty.quantity import Effect, spread_effects

LARGEST_TYPED = 5.0
"""A typed magnitude beyond this is no reading, but decibels perhaps [1]."""
MOST_RAW = 1.1
"""Size of a raw reflection beyond which none is looked for [1] (common practice, no source)."""
MOST_RAW_SWR = (1 + MOST_RAW) / (1 - MOST_RAW)
"""What that is as an SWR, which is below zero where more comes back than goes."""
ENDLESS = 1e6
"""What stands for endless, in parts of a display's range."""
FAR = np.array([1.0, 3.0, ENDLESS])
"""Places beyond it that stand for all, in parts of it; the first is its end."""
APART = 0.04
"""How far options may lie apart that stand for all between them [1]: less than analyzers err."""

POLAR = ("magnitude", "degrees")
"""The two numbers of a display of a reflection."""

DISPLAY_ROUNDING = "display step"
"""The name of that uncertainty in the budget, after a reading's."""


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

        def chosen(values: list[Complex]) -> Complex:
            each = np.array([np.broadcast_to(v, index.shape) for v in values])
            return each[index, np.arange(index.size)]

        effects = tuple(
            replace(same[0], change=chosen([e.change for e in same]))
            for same in zip(*(sweep.effects for sweep in self.sweeps), strict=True)
        )
        values = chosen([sweep.reflection for sweep in self.sweeps])
        return replace(self.sweeps[0], reflection=values, effects=effects, parts=())

    def nearest(self, value: Complex, z_ref: float) -> Sweep:
        """The sweep that has at each frequency what is nearest to a raw reading [1].

        Its uncertainty holds the options around it: all of one sign, or of a circle the next ones.
        """
        if len(self.sweeps) == 1:
            return self.sweeps[0]
        found = self.picked(np.argmin(np.abs(self.values(z_ref) - value), axis=0))
        off = np.array([sweep.reflection for sweep in self.sweeps]) - found.reflection
        signs = np.array(self.signs)
        own = signs[np.argmin(np.abs(off), axis=0)]
        around = np.where(own == 0, np.abs(off) < 2 * APART, signs[:, None] == own)
        spread = spread_effects(f"{found.label}: {DISPLAY_ROUNDING}", found.label, off, around)
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
        beyond = [any(isinstance(cell, Beyond) for cell in row) for row in rows]
        # all that a cell beyond the display may be is among the options
        steps = dict.fromkeys("RX", np.where(beyond, 0.0, self.steps[0]))
        signs = (0,) if sign_known else (1, -1)
        return self._options(rows, self._of_impedance, steps, signs=signs)

    def polar(self, rows: Sequence[Sequence[float]]) -> Options:
        """From the magnitude [1] and the angle [degree] of a reflection."""
        steps = dict(zip(POLAR, self.steps, strict=True))
        own = np.exp(1j * np.radians([row[2] for row in rows]))
        return self._options(rows, self._of_polar, steps, bare=True, direction=own)

    def sizes(
        self, z_rows: Sequence[Sequence[float]], swr_rows: Sequence[Sequence[float]]
    ) -> Options:
        """From |Z| [ohm], from SWR, or from both."""
        if not swr_rows:
            return self._options(z_rows, self._circle_of_z, {"|Z|": self.steps[0]})
        if not z_rows:
            return self._options(swr_rows, self._circle_of_swr, {"SWR": self.steps[1]}, bare=True)
        if [row[0] for row in z_rows] != [row[0] for row in swr_rows]:
            raise ReadingError(
                self.where,
                "typed_z_ohm and typed_swr are of one reading: give both at the same frequencies, "
                "in the same order",
            )
        both = [(*z, swr) for z, (_, swr) in zip(z_rows, swr_rows, strict=True)]
        # of two sizes all is among the options
        return self._options(both, self._both, {}, signs=(1, -1), bare=True)

    def _options(
        self,
        rows: Sequence[Sequence[float]],
        possible: Callable[[str, Sequence[float], int], Complex],
        steps: Mapping[str, float | Real],
        *,
        signs: tuple[int, ...] = (0,),
        bare: bool = False,
        direction: Complex | None = None,
    ) -> Options:
        """What each row leaves possible with each sign of X, and the doubt by the display's steps.

        Of several rows, errors name the one; the last option of a row stands in where others have
        more.
        """
        megahertz = np.array([row[0] for row in rows], float)
        require_ascending(megahertz * 1e6, self.where)
        places = [f"{self.where}, row {i}" for i in range(1, len(rows) + 1)]
        placed = list(zip(places if rows[1:] else [self.where], rows, strict=True))
        sweeps, signs_of = [], []
        for sign in signs:
            found = [possible(where, row, sign) for where, row in placed]
            most = max(x.size for x in found)
            for x in np.transpose([np.pad(x, (0, most - x.size), mode="edge") for x in found]):
                require_plausible(x, self.where)
                effects = step_effects(self.label, x, self.z_ref, steps, direction)
                own = megahertz * 1e6, x, self.z_ref, self.label, None, effects, bare
                sweeps.append(Sweep(*own))
                signs_of.append(sign)
        return Options(tuple(sweeps), tuple(signs_of))

    def _of_impedance(self, where: str, row: Sequence[float], sign: int) -> Complex:
        """Reflections [1] that R and X leave possible; what is beyond the display reaches far."""
        _, r, x = row
        if isinstance(r, Beyond) and isinstance(x, Beyond):
            return beyond_impedance(min(r, x), self.z_ref, sign)
        along_r, along_x = (FAR if isinstance(cell, Beyond) else FAR[:1] for cell in (r, x))
        signs: list[float] = (
            [sign] if sign else [1, -1] if isinstance(x, Beyond) else [math.copysign(1, x)]
        )
        ohms = np.ravel(np.outer(signs, abs(x) * along_x))
        return np.asarray(from_impedance(r * along_r + 1j * ohms, self.z_ref))

    def _of_polar(self, where: str, row: Sequence[float], _: int) -> Complex:
        """The reflection [1] of a magnitude and an angle."""
        magnitude, degrees = row[1:]
        if not 0 <= magnitude <= LARGEST_TYPED or abs(degrees) > 360:
            raise ReadingError(
                where,
                f"{magnitude:g} at {degrees:g} degrees is no reading; give a magnitude from 0 to "
                f"{LARGEST_TYPED:g} (a return loss of 10 dB is 0.316) and an angle within 360 "
                "degrees",
            )
        return np.array([magnitude * np.exp(1j * np.radians(degrees))])

    def _range(self, where: str, shown: float, step: float, least: float, what: str) -> Real:
        """What is shown, and the least and the greatest value that shows like this."""
        if not shown >= least:
            raise ReadingError(where, f"{shown:g} is no {what}, which is {least:g} or more")
        if isinstance(shown, Beyond):
            raw = [MOST_RAW_SWR] if least else []
            return np.array([shown, ENDLESS * shown, *raw])
        return np.array([shown, max(shown - step / 2, least), shown + step / 2])

    def _both(self, where: str, row: Sequence[float], sign: int) -> Complex:
        """Reflections [1] that |Z| and SWR leave possible together."""
        _, z_shown, swr_shown = row
        z_ref = self.z_ref
        z = self._range(where, z_shown, self.steps[0], 0.0, "|Z|")[:, None]
        s = self._range(where, swr_shown, self.steps[1], 1.0, "SWR")
        r = resistance_of(z, s, z_ref)
        size = z + 0 * r
        if np.all(r > size * (1 + 1e-9)):
            least = max(z_shown / z_ref, z_ref / z_shown) if z_shown else math.inf
            raise ReadingError(
                where,
                f"|Z| of {z_shown:g} ohm has an SWR of {least:.3g} or more in {z_ref:g} ohm, and "
                f"{swr_shown:g} was typed: look at both (of a display in other ohms, reference_ohm "
                "in the record says so)",
            )
        x = sign * np.sqrt(np.maximum(size**2 - r**2, 0))
        found = np.asarray(from_impedance(np.minimum(r, size) + 1j * x, z_ref))
        possible = r <= size * (1 + 1e-9)
        # where a corner is impossible, the edge of what is possible lies on X = 0 at this |Z|
        on_axis = np.asarray(from_impedance(z[:, 0] + 0j, z_ref))
        return np.concatenate([found[possible], on_axis[: 0 if possible.all() else None]])

    def _circle_of_z(self, where: str, row: Sequence[float], _: int) -> Complex:
        """Reflections [1] that |Z| alone leaves possible."""
        shown = row[1]
        self._range(where, shown, 0.0, 0.0, "|Z|")
        if isinstance(shown, Beyond):
            return beyond_impedance(shown, self.z_ref)
        # a half circle in the plane of Z, and a little more for what no analyzer corrected yet
        length = 2 * np.pi * self.z_ref * shown / (self.z_ref**2 + shown**2)
        angles = np.pi * np.linspace(-0.55, 0.55, 9 + 2 * int(length / APART / 2))
        found = from_impedance(shown * np.exp(1j * angles), self.z_ref)
        found = found[np.argsort(np.abs(angles))]  # the usual first
        return found[np.abs(found) <= MOST_RAW]

    def _circle_of_swr(self, where: str, row: Sequence[float], _: int) -> Complex:
        """Reflections [1] that SWR alone leaves possible."""
        swr = self._range(where, row[1], 0.0, 1.0, "SWR")
        sizes = np.unique((swr - 1) / (swr + 1))
        count = 8 * (1 + int(sizes[0] * 2 * np.pi / APART / 8))
        return np.ravel(sizes[:, None] * np.exp(2j * np.pi * np.arange(count) / count))


def as_shown(z: Complex, z_ref: float) -> dict[str, Real]:
    """What displays make of impedances [ohm], by what they show of them."""
    return {"R": z.real, "X": z.imag, "|Z|": np.abs(z), "SWR": swr(from_impedance(z, z_ref))}


def resistance_of(z: Real, ratio: Real, z_ref: float) -> Real:
    """R [ohm] of what has this |Z| [ohm] and SWR; more than |Z| where nothing has both."""
    # (1 - |x|^2)/(1 + |x|^2) = 2 s/(s^2 + 1), and |x|^2 by |Z| and R (definition of both)
    return (z**2 + z_ref**2) / z_ref * ratio / (ratio**2 + 1)


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


def size_range(
    rows: Sequence[Sequence[float]], one: float, step: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """From where to where a size may be that is shown so, as (size - one) / (size + one) [1].

    Of |Z| with z_ref as `one`, and of SWR with 1, reflections differ by as much or more.
    """
    beyond = np.array([isinstance(shown, Beyond) for _, shown in rows])
    sizes = np.array([shown for _, shown in rows]) + np.outer([-1, 1], ~beyond * step / 2)
    low, high = (sizes - one) / (sizes + one)
    return low, np.where(beyond, MOST_RAW, high)


def step_effects(
    label: str,
    reading: Complex,
    z_ref: float,
    steps: Mapping[str, float | Real],
    direction: Complex | None = None,
) -> tuple[Effect, ...]:
    """What a display's steps make uncertain of a reading [1], by the numbers that it shows.

    It shows the nearest step: an even spread of one step, so step / sqrt(12). The direction of a
    reading that may be zero is stated.
    """
    outward = np.exp(1j * np.angle(reading)) if direction is None else direction
    by_r = (1 - reading) ** 2 / (2 * z_ref)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (1 + reading) / (1 - reading)
        by_z = np.nan_to_num(z / np.abs(z) * by_r)
    by_polar = dict(zip(POLAR, (outward, 1j * np.pi / 180 * reading), strict=True))
    by_swr = outward * (1 - np.abs(reading)) ** 2 / 2  # d|x| = 2 dS / (S + 1)^2
    slopes = {"R": by_r, "X": 1j * by_r, "|Z|": by_z, "SWR": by_swr, **by_polar}
    name = f"{label}: {DISPLAY_ROUNDING}"
    return tuple(
        Effect(name, step / np.sqrt(12) * slopes[number], True, True, influence=(name, number))
        for number, step in steps.items()
    )
