"""Rows of numbers as they come out of a file, refused as soon as they cannot be a sweep."""

import re
from array import array
from collections.abc import Iterator, Sequence

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Real

LOWEST_HZ, HIGHEST_HZ = 1.0, 1e12
"""Frequencies outside these are slips of the pen [Hz]."""
MEGAHERTZ_HZ = 1e3
"""A sweep that ends below this was written down in another unit [Hz]."""
LARGEST_REFLECTION = 1e6
"""A raw reading beyond this is no reading [1]."""
RECORD_POINTS, MOST_POINTS = 200_001, 2_000_001
"""Points of a sweep that a record can hold, and that are read at all (from Python)."""

_LINE = re.compile(r"([^\r\n]*)(?:\r\n|\n|\r|\Z)")


def text_lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines with their numbers, one by one, whatever they end in."""
    return enumerate((found[1] for found in _LINE.finditer(text)), start=1)


class Rows:
    """The rows of one sweep, in each the frequency first; `unit` is what one of it is [Hz]."""

    def __init__(self, file: str, most: int, unit: float = 1.0):
        self.file, self.most, self.unit = file, most, unit
        self.numbers, self.lines, self.last = array("d"), array("q"), -np.inf

    def add(self, values: Sequence[float], line: int) -> None:
        """One more row, and the line it stands on."""
        hertz = values[0] * self.unit
        if not self.lines:
            _require_first(hertz, self.file, line)
        elif hertz <= self.last:
            raise _falls(self.file, len(self.lines) + 1, hertz, self.last, line)
        if len(self.lines) >= self.most:
            raise ReadingError(self.file, too_many(self.most), line)
        self.numbers.extend(values)
        self.lines.append(line)
        self.last = hertz

    def table(self) -> tuple[Real, Real]:
        """Frequencies [Hz], and the other numbers, shape (F, K)."""
        if not self.lines:
            raise ReadingError(self.file, "there are no data lines: the sweep is empty")
        numbers = np.frombuffer(self.numbers).reshape(len(self.lines), -1)
        return numbers[:, 0] * self.unit, numbers[:, 1:]


def too_many(most: int) -> str:
    """What is wrong with a sweep of more points."""
    if most >= MOST_POINTS:
        return f"more than {most:,} points, the most that is read: cut the file into pieces"
    return (
        f"more than {most:,} points, the most in a sweep of a record: leave some out, or correct "
        f"them in Python, which takes {MOST_POINTS:,}"
    )


def require_ascending(frequency: Real, file: str, lines: Sequence[int] = ()) -> None:
    """Refuse frequencies [Hz] that do not rise, or that nobody measures at; `lines` of the file."""
    first, last = (lines[0], lines[-1]) if len(lines) else (None, None)
    _require_first(frequency[0], file, first)
    if frequency[-1] > HIGHEST_HZ:
        raise ReadingError(
            file,
            f"the last frequency is {frequency[-1]:.10g} Hz, beyond any measurement: is the unit "
            "right?",
            last,
        )
    if frequency[-1] < MEGAHERTZ_HZ:
        raise ReadingError(
            file,
            f"the last frequency is {frequency[-1]:.10g} Hz, and nothing is measured so low: is "
            f"the unit right, or is it {frequency[-1]:.10g} MHz?",
            last,
        )
    steps = np.diff(frequency)
    if np.any(steps <= 0):
        at = int(np.argmax(steps <= 0)) + 1
        line = lines[at] if len(lines) else None
        raise _falls(file, at + 1, frequency[at], frequency[at - 1], line)


def _require_first(hertz: float, file: str, line: int | None) -> None:
    if not hertz >= LOWEST_HZ:
        why = f"the first frequency is {hertz:.10g} Hz; leave out zero and points below 1 Hz"
        raise ReadingError(file, why, line)


def _falls(file: str, point: int, hertz: float, before: float, line: int | None) -> ReadingError:
    what = "repeats" if hertz == before else "falls below"
    return ReadingError(
        file,
        f"frequencies must ascend, but point {point} ({hertz:.10g} Hz) {what} the one before it "
        f"({before:.10g} Hz)",
        line,
    )


def require_plausible(reflection: np.ndarray, file: str, lines: Sequence[int] = ()) -> None:
    """Refuse reflections [1] that are infinite, as of -z_ref, or of no possible size."""
    beyond = ~(np.abs(reflection) <= LARGEST_REFLECTION)
    if np.any(beyond):
        at = int(np.argmax(beyond))
        raise ReadingError(
            file,
            f"point {at + 1} comes to a reflection beyond {LARGEST_REFLECTION:.0e}, which is no "
            "reading: look for a slip in the numbers, or in the unit or format of the file",
            lines[at] if len(lines) else None,
        )
