"""Typed readings of which one row would fit those beside it if one number lost a slip."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from rfcal.findings import Finding
from rfcal.maths.reflection import Complex, Real, from_impedance, swr
from rfcal.readings.display import Beyond
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Measurement, Record

ROWS, SMOOTH = 4, 0.02
"""Typed rows from which one is judged by those beside it, and the part of |Z| or SWR that these lie
off a straight line at most: a resonance between coarse steps bends more."""
COURSES = ((1, 4), (2, 5))
"""Degrees of the courses that a row may lie on, and through how many of the nearest rows each."""
ODD, FITS, CLOSE = 30.0, 3.0, 1.2
"""So many times as far as these a row is off by a slip, and comes back if it is undone. What one
digit changes by less than half must come closer, for a narrow dip right on the row looks alike: of
6,000 devices without a slip, half of them with dips, thirteen. Of one size alone no other number
tells that the row is right, so that a digit that may be any other is no slip there."""
FAR = 0.2
"""Part of |Z| or SWR by which what has no resonance sticks out by more than noise."""
Z, SWR = "|Z|", "SWR"


@dataclass(frozen=True, eq=False)
class Typed:
    """Rows of one reading as a display showed them, and the course that is smooth behind them."""

    mhz: Real  # shape (F,)
    cells: Real  # shape (F, K)
    steps: tuple[float, ...]  # by which each column goes, shape (K,)
    names: tuple[str, ...]  # of the columns
    course: Complex  # Z [ohm], of a size alone as if it were all R, shape (F,)
    z_ref: float  # of the SWR [ohm]
    signed: bool  # else X may be mirrored anywhere

    def shown(self, z: Complex) -> Real:
        """What the display makes of impedances [ohm], shape (..., K)."""
        x = z.imag if self.signed else np.abs(z.imag)
        all_of_it = {"R": z.real, "X": x, Z: np.abs(z), SWR: swr(from_impedance(z, self.z_ref))}
        return np.stack([all_of_it[name] for name in self.names], -1)

    def odd_row(self, *, still: bool = False) -> dict[str, object]:
        """A row with a slip, and what was meant; empty where there is none.

        What stands `still`, as standards do, has no resonance: whatever sticks out there is a slip.
        """
        rows = self.mhz.size if self.mhz.size >= ROWS else 0
        for i, (degree, count) in product(range(rows), COURSES):
            others = np.delete(np.arange(rows), i)
            near = np.sort(others[np.argsort(np.abs(others - i), kind="stable")[:count]])
            # beyond the others a straight line says little, and one that bends needs enough of them
            asked = degree == 1 or (i in (0, rows - 1) and near.size == count)
            if asked and (slip := self._slip(i, near, degree, still)):
                return slip
        return {}

    def _slip(self, i: int, near: np.ndarray, degree: int, still: bool) -> dict[str, object]:
        """A row's slip, by the smooth course of others; empty where they have none."""
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
        expected = self.shown(level[best])
        around = self.shown(level[best] + np.array([r, -r]) + 1j * np.array([[x], [-x]]))
        if not np.all(np.isfinite(around)):
            return {}
        scale = expected if SWR in self.names else np.abs(level[best])
        doubt = np.maximum(np.abs(around - expected).max((0, 1)), self.steps)
        off = np.abs(self.cells[i] - expected)
        if np.any(doubt > SMOOTH * scale):
            return {}
        at, here = int(np.argmax(off / doubt)), self.course[i]
        far = np.min(np.abs(np.array([here, np.conj(here)]) - level[best]))
        still = still and bool(far > FAR * np.abs(level[best]))
        beside = FITS if still else np.max(np.delete(off / doubt, at), initial=0)
        if off[at] >= ODD * doubt[at] and beside <= FITS:
            places = max(0, -round(np.log10(self.steps[at])))
            written, unit = f"{self.cells[i, at]:.{places}f}", " ohm" * (self.names[at] != SWR)
            own = {"mhz": self.mhz[i], "part": self.names[at], "written": written + unit}
            for meant, fits in _undone(written, len(self.names) > 1):
                if max(abs(meant - expected[at]) / doubt[at], beside) <= fits:
                    return {**own, "meant": meant}
            return {**own, "meant": round(float(expected[at]), places)} if still else {}
        return {}


def mistyped(record: Record) -> Iterator[Finding]:
    """What was typed in a row that does not fit those beside it."""
    for item in record.items():
        typed = typed_rows(item.reading, record.reference_ohm)
        if typed and (odd := typed.odd_row(still=not isinstance(item, Measurement))):
            yield say.MISTYPED(label=item.name, **odd)


def typed_rows(reading: Reading, z_ref: float) -> Typed | None:
    """What was typed of R and X or of sizes, as far as it is not beyond the display."""
    tables = {("R", "X"): reading.typed, (Z,): reading.typed_z, (SWR,): reading.typed_swr}
    steps = dict(zip(("R", "X", Z, SWR), reading.steps * 2, strict=True))
    known, mhz = dict[str, Real](), np.zeros(0)
    for names, rows in tables.items():
        if rows and not any(isinstance(cell, Beyond) for row in rows for cell in row):
            mhz, *columns = np.array(rows, float).T
            known |= zip(names, columns, strict=True)
    if not known:
        return None
    if "R" in known:
        z = known["R"] + 1j * known["X"]
    elif len(known) == 1:
        (size,) = known.values()
        z = size * (z_ref if SWR in known else 1.0) + 0j
    else:
        # (1 - |x|^2)/(1 + |x|^2) = 2 s/(s^2 + 1), and |x|^2 by |Z| and R (definition of both)
        size, s = known[Z], known[SWR]
        r = np.minimum((size**2 + z_ref**2) / z_ref * s / (s**2 + 1), size)
        z = r + 1j * np.sqrt(size**2 - r**2)
    own = tuple(steps[name] for name in known)
    signed = "R" in known and reading.sign_known
    return Typed(mhz, np.stack([*known.values()], -1), own, tuple(known), z, z_ref, signed)


def _undone(typed: str, any_digit: bool) -> Iterator[tuple[float, float]]:
    """What a number may have been before a slip, and within how many doubts it fits then.

    Its sign, its point or two digits slipped, or a digit was left out or was another.
    """
    yield from ((meant, FITS) for meant in (-float(typed), 10 * float(typed), float(typed) / 10))
    for a, b in pairwise(k for k, digit in enumerate(typed) if digit.isdigit()):
        yield float(typed[:a] + typed[b] + typed[a + 1 : b] + typed[a] + typed[b + 1 :]), FITS
    for k, digit in product(range(len(typed)), "0123456789" * any_digit):
        for rest in (k, k + 1) if typed[k].isdigit() else ():
            meant = float(typed[:k] + digit + typed[rest:])
            yield meant, FITS if abs(meant - float(typed)) > abs(float(typed)) / 2 else CLOSE
