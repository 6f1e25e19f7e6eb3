"""Typed readings of which one row would fit those beside it if one number lost a slip."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import pairwise, product
from operator import matmul

import numpy as np

from rfcal import defaults
from rfcal.findings import Finding, quoted
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real, from_impedance, to_impedance
from rfcal.measurement.deembedding import LineByFigures, line_figures
from rfcal.readings.display import Beyond, as_shown, resistance_of
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.catalogue.devices import TYPED_UNSEEN
from rfcal.record.format.reading import Item, Reading
from rfcal.record.format.schema import Measurement, Record
from rfcal.uncertainty.quantity import at_points

ROWS, SMOOTH = 4, 0.02
"""Typed rows from which one is judged by those beside it, and the part of |Z| or SWR that these lie
off a straight line at most: a resonance between coarse steps bends more."""
COURSES = ((1, 4), (2, 5))
"""Degrees of the courses that a row may lie on, and through how many of the nearest rows each."""
ODD, FITS, CLOSE = 16.0, 3.0, 1.2
"""A slip lies so many times as far off as these, and is so much closer if undone: twice as many
where a digit may be any or no other number tells that the row is right. Within how many it fits
then: what one digit changes by less than half must be closer, for a narrow dip right on the row
looks alike. Of 12,000 devices without a slip, half of them with dips, twelve at most."""
TOLD = 0.5
"""Part of |Z| or SWR from which a number that any digit moved is told, where rows can be judged."""
FAR = 0.2
"""Part of |Z| or SWR by which what has no resonance sticks out by more than noise."""
Z, SWR, SIZE, ANGLE = "|Z|", "SWR", "magnitude", "angle"
AT_PLANE = Bilinear(1.0, 0.0, 0.0, 1.0)
UNITS = {"R": " ohm", "X": " ohm", Z: " ohm", SWR: "", SIZE: "", ANGLE: " degrees"}


@dataclass(frozen=True, eq=False)
class Typed:
    """Rows of one reading as a display showed them, and the course that is smooth behind them."""

    mhz: Real  # shape (F,)
    cells: Real  # shape (F, K)
    steps: tuple[float, ...]  # by which each column goes, shape (K,)
    names: tuple[str, ...]  # of the columns
    course: Complex  # Z [ohm], of a size alone as if it were all R, or the reflection, shape (F,)
    z_ref: float  # of the SWR [ohm]
    signed: bool  # else X may be mirrored anywhere
    noise: float  # of each axis of the reflection [1]
    path: Bilinear = AT_PLANE  # from where the course is smooth to what was read

    def behind(self, path: Bilinear) -> "Typed":
        """The same rows, of which the course is smooth behind a path; the sign of X is known."""
        x = path.correct(self.course if self.polar else from_impedance(self.course, self.z_ref))
        course = x if self.polar else to_impedance(x, self.z_ref)
        return replace(self, path=path, course=course)

    @property
    def polar(self) -> bool:
        """Whether the display shows a reflection."""
        return ANGLE in self.names

    def seen(self, course: Complex, i: int) -> Complex:
        """The reflections that are read in a row, of values of the course."""
        x = course if self.polar else from_impedance(course, self.z_ref)
        return at_points(self.path, np.array(i)).apply(x)

    def shown(self, seen: Complex) -> Real:
        """What the display makes of reflections, shape (..., K)."""
        if self.polar:
            return np.stack([np.abs(seen), np.degrees(np.angle(seen))], -1)
        z = to_impedance(seen, self.z_ref)
        all_of_it = as_shown(z if self.signed else z.real + 1j * np.abs(z.imag), self.z_ref)
        return np.stack([all_of_it[name] for name in self.names], -1)

    def apart(self, shown: Real | float, other: Real) -> Real:
        """How far what is shown lies from something else; an angle comes round."""
        off = shown - other
        return np.abs(off - [360 * (name == ANGLE) for name in self.names] * np.round(off / 360))

    def odd_row(self, *, still: bool = False) -> dict[str, object] | None:
        """A row with a slip, and what was meant; empty without any, None where none would show.

        What stands `still`, as standards do, has no resonance: whatever sticks out there is a slip.
        """
        rows = self.mhz.size if np.all(np.isfinite(self.course)) else 0
        judged = np.zeros(rows, bool)
        for i, (degree, count) in product(range(rows if rows >= ROWS else 0), COURSES):
            others = np.delete(np.arange(rows), i)
            near = np.sort(others[np.argsort(np.abs(others - i), kind="stable")[:count]])
            # beyond the others a straight line says little, and one that bends needs enough of them
            if degree == 1 or (i in (0, rows - 1) and near.size == count):
                slip = self._slip(i, near, degree, still)
                if slip:
                    return slip
                judged[i] |= slip is not None
        return {} if judged.all() else None

    def _slip(self, i: int, near: np.ndarray, degree: int, still: bool) -> dict[str, object] | None:
        """A row's slip by the smooth course of others, or empty; None where none would show."""
        level, bend = self._course(i, near, degree)
        with np.errstate(invalid="ignore"):  # an SWR without end is that of no passive device
            seen = self.seen(np.asarray(level), i)
            expected, noise = self.shown(seen), self.noise * (1 + 1j)
            corners = self.seen(around(level, bend), i), around(seen, noise)
            bent, noisy = (self.apart(self.shown(x), expected).max((0, 1)) for x in corners)
        doubt = np.maximum(np.maximum(bent, self.steps), noisy)
        if not np.all(np.isfinite(doubt)):
            return None
        scale = np.hypot(*expected) + 0 * expected if "X" in self.names else expected
        scale = np.array([expected[0], np.degrees(1)]) if self.polar else scale
        if np.any((bent > self.steps) & (bent > SMOOTH * scale)):
            return None
        off = self.apart(self.cells[i], expected) / doubt
        at, here = int(np.argmax(off)), self.course[i]
        far = np.min(np.abs(np.array([here, np.conj(here)]) - level))
        still = still and bool(far > FAR * np.abs(level))
        beside, step = 0.0 if still else np.max(np.delete(off, at), initial=0), self.steps[at]
        if beside <= FITS and off[at] >= ODD:
            written, part = display_text(self.cells[i, at], step), self.names[at]
            own = {"mhz": self.mhz[i], "part": part, "written": written + UNITS[part]}
            for meant, fits, times in _undone(written, len(self.names) > 1):
                left = self.apart(meant, expected)[at] / doubt[at]
                if left <= fits and off[at] >= times * max(left, beside, 1):
                    return {**own, "meant": meant}
            if still:
                return {**own, "meant": float(display_text(expected[at], step))}
        told = len(self.names) > 1 and bool(np.all(2 * ODD * doubt <= TOLD * scale))
        return {} if told else None

    def _course(self, i: int, near: np.ndarray, degree: int) -> tuple[complex, complex]:
        """Z [ohm] of a row by the smooth course of others, and how far R and X of these lie off."""
        away, z = self.mhz[near] - self.mhz[i], self.course[near]
        # X that has no sign may have changed it between any two: as it is smoothest
        below = np.arange(near.size) < np.arange(1 if self.signed else near.size)[:, None]
        mirrored = z.real + 1j * np.where(below, -1, 1) * z.imag
        next_power, powers = away ** (degree + 1), np.vander(away, degree + 1)
        courses = np.column_stack([*mirrored, next_power])
        level, left = (found := np.linalg.lstsq(powers, courses)[0])[-1], courses - powers @ found
        best = int(np.argmin(np.linalg.norm(left[:, :-1], axis=0)))
        # beyond the others the next power is off by so many times what it leaves of them
        times = np.abs(level[-1]) / np.abs(left[:, -1]).max() if degree > 1 else 1.0
        r, x = (times * np.abs(part[:, best]).max() for part in (left.real, left.imag))
        return complex(level[best]), complex(r, x)


def around(value: Complex | complex, by: complex) -> Complex:
    """The corners where the real and the imaginary part may be so far off, shape (2, 2)."""
    return np.asarray(value + by.real * np.array([1, -1]) + 1j * by.imag * np.array([[1], [-1]]))


def display_text(cell: float, step: float) -> str:
    """A number with the digits of a display that goes by this step."""
    return f"{cell:.{max(0, -round(np.log10(step)))}f}"


def mistyped(record: Record) -> Iterator[Finding]:
    """Typed rows that do not fit those beside them, and devices where such a row may not show."""
    unseen = []
    for item in record.items():
        device = isinstance(item, Measurement)
        typed = typed_rows(item.reading, record.reference_ohm, record.analyzer["noise"])
        if typed and typed.signed and (box := _stated_lines(item, typed.mhz * 1e6, typed.z_ref)):
            typed = typed.behind(box)
        odd = typed.odd_row(still=not device) if typed else None
        if odd:
            yield say.MISTYPED(label=item.name, **odd)
        elif odd is None and device and any(item.reading.steps):  # off a display
            unseen.append(item.name)
    if unseen:
        yield TYPED_UNSEEN(devices=quoted(unseen))


def _stated_lines(item: Item, hertz: Real, z_ref: float) -> Bilinear | None:
    """The path that is taken away before a device, at best estimates, where it is of lines."""
    path = item.between if isinstance(item, Measurement) else ()
    lines = [between.line for between in path if not between.embed]
    maps = [LineByFigures(hertz, one, z_ref).bilinear(line_figures(one)) for one in lines if one]
    return reduce(matmul, maps) if maps and None not in lines else None


def typed_rows(
    reading: Reading, z_ref: float, noise: float = defaults.ANALYZER["noise"]
) -> Typed | None:
    """What was typed, as far as it is not beyond the display."""
    tables: dict[tuple[str, ...], Sequence[tuple[float, ...]] | None] = {
        **{("R", "X"): reading.typed, (SIZE, ANGLE): reading.typed_reflection},
        **{(Z,): reading.typed_z, (SWR,): reading.typed_swr},
    }
    steps = dict(zip(UNITS, reading.steps * 3, strict=True))
    known, mhz = dict[str, Real](), np.zeros(0)
    for names, rows in tables.items():
        if rows and not any(isinstance(cell, Beyond) for row in rows for cell in row):
            mhz, *columns = np.array(rows, float).T
            known |= zip(names, columns, strict=True)
    if not known:
        return None
    if "R" in known:
        z = known["R"] + 1j * known["X"]
    elif ANGLE in known:
        z = known[SIZE] * np.exp(1j * np.radians(known[ANGLE]))
    elif len(known) == 1:
        (size,) = known.values()
        z = size * (z_ref if SWR in known else 1.0) + 0j
    else:
        size = known[Z]
        r = np.minimum(resistance_of(size, known[SWR], z_ref), size)
        z = r + 1j * np.sqrt(size**2 - r**2)
    own = tuple(steps[name] for name in known)
    signed = {"R", ANGLE} & {*known} and reading.sign_known
    return Typed(
        mhz, np.stack([*known.values()], -1), own, tuple(known), z, z_ref, bool(signed), noise
    )


def _undone(typed: str, two: bool) -> Iterator[tuple[float, float, float]]:
    """What a number may have been before a slip, how near it must lie, and how many times nearer.

    Its sign, its point or two digits slipped, or of `two` numbers a digit was left out or another.
    """
    slips = [-float(typed), 10 * float(typed), float(typed) / 10]
    for a, b in pairwise(k for k, digit in enumerate(typed) if digit.isdigit()):
        slips.append(float(typed[:a] + typed[b] + typed[a + 1 : b] + typed[a] + typed[b + 1 :]))
    yield from ((meant, FITS, ODD if two else 2 * ODD) for meant in slips)
    for k, digit in product(range(len(typed)), "0123456789" * two):
        for rest in (k, k + 1) if typed[k].isdigit() else ():
            meant = float(typed[:k] + digit + typed[rest:])
            far = abs(meant - float(typed)) > abs(float(typed)) / 2
            yield meant, FITS if far else CLOSE, 2 * ODD
