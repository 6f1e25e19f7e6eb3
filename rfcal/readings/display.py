"""Displays that show less than R and X: every reading that such a display leaves possible.

The sign of X may be missing, a cell may say only that it is beyond the display's range, or nothing
but |Z| or SWR may be shown. What is then possible are `Options`: readings of which at each
frequency one is true, the edges of what is possible among them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.sweep import Sweep
from rfcal.readings.typed import display_effects, from_megahertz
from rfcal.uncertainty.quantity import Effect

MOST_RAW = 1.1
"""Size of a raw reflection beyond which none is looked for [1] (common practice, no source)."""
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
        """The sweep that has at each frequency what is nearest to a raw reading [1]."""
        return self.picked(np.argmin(np.abs(self.values(z_ref) - value), axis=0))


def certain(sweep: Sweep) -> Options:
    """A reading of which nothing is missing."""
    return Options((sweep,), (0,))


def typed_options(
    rows: Sequence[Sequence[float]],
    *,
    sign_known: bool,
    label: str,
    step_ohm: float,
    z_ref: float,
    where: str,
) -> Options:
    """From rows of MHz, R and X, where X has no sign or cells are `Beyond` the display."""
    frequency = from_megahertz(np.array([row[0] for row in rows], float), where)
    signs = (0,) if sign_known else (1, -1)
    kept = [[_of_row(row, sign, z_ref) for row in rows] for sign in signs]
    beyond = np.array([_is_beyond(row) for row in rows])
    options = []
    for sign, of_rows in zip(signs, kept, strict=True):
        for reflection in _even(of_rows):
            # all that a cell beyond the display may be is among the options
            effects = display_effects(label, np.where(beyond, 0.0, step_ohm), reflection, z_ref)
            options.append((sign, Sweep(frequency, reflection, z_ref, label, effects=effects)))
    return _options(options)


def _of_row(row: Sequence[float], sign: int, z_ref: float) -> Complex:
    """Reflections [1] that one row of MHz, R, X leaves possible, X of this sign (0: as typed)."""
    _, r, x = row
    if not _is_beyond(row):
        return np.array([from_impedance(complex(r, sign * abs(x) if sign else x), z_ref)])
    if isinstance(r, Beyond) and isinstance(x, Beyond):
        return beyond_impedance(min(r, x), z_ref, sign)
    if isinstance(r, Beyond):
        along = np.array([1.0, 3.0, ENDLESS]) * r
        return np.asarray(from_impedance(along + 1j * (sign * abs(x) if sign else x), z_ref))
    along = np.array([1.0, 3.0, ENDLESS]) * abs(x)
    both = np.concatenate([s * along for s in ((sign,) if sign else (1, -1))])
    return np.asarray(from_impedance(r + 1j * both, z_ref))


def _is_beyond(row: Sequence[float]) -> bool:
    return any(isinstance(cell, Beyond) for cell in row)


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


def size_options(
    z_rows: Sequence[Sequence[float]],
    swr_rows: Sequence[Sequence[float]],
    *,
    steps: tuple[float, float],
    label: str,
    z_ref: float,
    where: str,
) -> Options:
    """From rows of MHz and |Z| [ohm], of MHz and SWR, or both, off displays with these steps."""
    rows = z_rows or swr_rows
    frequency = from_megahertz(np.array([row[0] for row in rows], float), where)
    if z_rows and swr_rows:
        if [row[0] for row in z_rows] != [row[0] for row in swr_rows]:
            raise ReadingError(
                where,
                "typed_z_ohm and typed_swr are of one reading: give both at the same frequencies, "
                "in the same order",
            )
        either = [
            _both(i, z[1], s[1], steps, z_ref, where)
            for i, (z, s) in enumerate(zip(z_rows, swr_rows, strict=True), start=1)
        ]
        found = [(1, _even(either)), (-1, np.conj(_even(either)))]
    else:
        circles = (
            _circle_of_z(i, row[1], z_ref, where) if z_rows else _circle_of_swr(i, row[1], where)
            for i, row in enumerate(rows, start=1)
        )
        found = [(0, _even(list(circles)))]
    one = not (z_rows and swr_rows)  # of two sizes all is among the options

    def sweep(x: Complex) -> Sweep:
        effects = _size_effects(label, steps, bool(z_rows), x, z_ref) if one else ()
        bare = bool(swr_rows)
        return Sweep(frequency, x, z_ref, label, effects=effects, assumed_reference=bare)

    return _options([(sign, sweep(x)) for sign, kept in found for x in kept])


def _range(i: int, shown: float, step: float, least: float, what: str, where: str) -> Real:
    """The least and the greatest value that shows like this."""
    if not shown >= least:
        raise ReadingError(where, f"row {i}: {shown:g} is no {what}, which is {least:g} or more")
    if isinstance(shown, Beyond):
        return np.array([shown, ENDLESS * shown])
    return np.array([max(shown - step / 2, least), shown + step / 2])


def _both(
    i: int, z_shown: float, swr_shown: float, steps: tuple[float, float], z_ref: float, where: str
) -> Complex:
    """Reflections [1] with X of zero or more that |Z| and SWR leave possible together."""
    z = _range(i, z_shown, steps[0], 0.0, "|Z|", where)[:, None]
    s = _range(i, swr_shown, steps[1], 1.0, "SWR", where)
    middle = np.array([[z_shown], *z]), np.array([swr_shown, *s])
    # (1 - |x|^2)/(1 + |x|^2) = 2 s/(s^2 + 1), and |x|^2 by |Z| and R (definition of both)
    r = (middle[0] ** 2 + z_ref**2) / z_ref * middle[1] / (middle[1] ** 2 + 1)
    size = middle[0] + 0 * r
    if np.all(r > size * (1 + 1e-9)):
        least = max(z_shown / z_ref, z_ref / z_shown) if z_shown else math.inf
        raise ReadingError(
            where,
            f"row {i}: |Z| of {z_shown:g} ohm has an SWR of {least:.3g} or more in {z_ref:g} ohm, "
            f"and {swr_shown:g} was typed: look at both, and at reference_ohm",
        )
    x = np.sqrt(np.maximum(size**2 - r**2, 0))
    found = np.asarray(from_impedance(np.minimum(r, size) + 1j * x, z_ref))
    possible = r <= size * (1 + 1e-9)
    # where a corner is impossible, the edge of what is possible lies on X = 0 at this |Z|
    on_axis = np.asarray(from_impedance(z[:, 0] + 0j, z_ref))
    return np.concatenate([found[possible], on_axis[: 0 if possible.all() else None]])


def _circle_of_z(i: int, shown: float, z_ref: float, where: str) -> Complex:
    """Reflections [1] that |Z| alone leaves possible."""
    _range(i, shown, 0.0, 0.0, "|Z|", where)
    if isinstance(shown, Beyond):
        return beyond_impedance(shown, z_ref)
    # a half circle in the plane of Z, and a little more for what no analyzer corrected yet
    length = 2 * np.pi * z_ref * shown / (z_ref**2 + shown**2)
    angles = np.pi * np.linspace(-0.55, 0.55, 9 + 2 * int(length / APART / 2))
    found = np.asarray(from_impedance(shown * np.exp(1j * angles), z_ref))
    found = found[np.argsort(np.abs(angles))]  # the usual first
    return found[np.abs(found) <= MOST_RAW]


def _circle_of_swr(i: int, shown: float, where: str) -> Complex:
    """Reflections [1] that SWR alone leaves possible."""
    ends = _range(i, shown, 0.0, 1.0, "SWR", where)
    sizes = np.unique((ends - 1) / (ends + 1))
    count = 8 * (1 + int(sizes[0] * 2 * np.pi / APART / 8))
    return np.ravel(sizes[:, None] * np.exp(2j * np.pi * np.arange(count) / count))


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


def _options(found: Sequence[tuple[int, Sweep]]) -> Options:
    return Options(tuple(sweep for _, sweep in found), tuple(sign for sign, _ in found))
