"""Rows of numbers as they come out of a file, refused as soon as they cannot be a sweep."""

import re
from array import array
from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.arguments import MEGAHERTZ_HZ
from rfcal.maths.reflection import Complex, Real

LOWEST_HZ, HIGHEST_HZ = 1.0, 1e12
"""Frequencies outside these are slips of the pen [Hz]."""
LARGEST_REFLECTION = 1e6
"""A raw reading beyond this is no reading [1]."""
RECORD_POINTS, MOST_POINTS = 200_001, 2_000_001
"""Points of a sweep that a record can hold, and that are read at all (from Python)."""

TOLD = 100_000
"""Points after which it is said anew how far a file is read."""
Say = Callable[[str], object]
"""What is called with a few words on what is being done, for somebody who waits."""

_LINE = re.compile(r"([^\r\n]*)(?:\r\n|\n|\r|\Z)")


def silent(said: str) -> None:
    """What nobody waits for is not said."""


def text_lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines with their numbers, one by one, whatever they end in."""
    return enumerate((found[1] for found in _LINE.finditer(text)), start=1)


def numeric_table(
    rows: Iterable[tuple[int, Sequence[float]]], file: str, most: int, say: Say = silent
) -> tuple[Real, Sequence[int]]:
    """The numbers (F, K) of rows, each with its line and in it the frequency [Hz] first; lines.

    Frequencies ascend.
    """
    numbers, lines, last = array("d"), array("q"), 0.0
    for line, values in rows:
        if len(lines) >= most:
            raise ReadingError(file, too_many_points(most), line)
        if len(lines) % TOLD == 0:
            say(f"reading '{file}', point {len(lines) + 1:,}")
        numbers.extend(values)
        lines.append(line)
        if values[0] <= last:
            require_ascending(np.array(numbers[:: len(values)]), file, lines)
        last = values[0]
    if not lines:
        raise ReadingError(file, "there are no data lines: the sweep is empty")
    found = np.frombuffer(numbers).reshape(len(lines), -1)
    require_ascending(found[:, 0], file, lines)
    return found, lines


def in_form(form: str, numbers: Real, file: str, lines: Sequence[int]) -> Complex:
    """What columns of pairs say, (F, N): RI both parts, MA size and degrees, DB the size in dB."""
    first, second = numbers[:, 0::2], numbers[:, 1::2]
    least = np.min(first, axis=1)
    if form == "MA" and np.any(least < 0):
        at = int(np.argmax(least < 0))
        why = f"a magnitude of {least[at]:.6g} is below zero: are the magnitudes in dB?"
        cure = "Then say so, by magnitude_db in a CSV or DB for MA in an option line"
        raise ReadingError(file, f"{why} {cure}", lines[at])
    with np.errstate(all="ignore"):  # what overflows is refused by its size afterwards
        if form == "RI":
            return np.asarray(first + 1j * second)
        size = 10 ** (first / 20) if form == "DB" else first
        return np.asarray(size * np.exp(1j * np.radians(second)))


def too_many_points(most: int) -> str:
    """What is wrong with a sweep of more points."""
    if most >= MOST_POINTS:
        return f"more than {most:,} points, the most that is read: cut the file into pieces"
    return (
        f"more than {most:,} points, the most in a sweep of a record: leave some out, or correct "
        f"them in Python, which takes {MOST_POINTS:,}"
    )


def require_ascending(frequency: Real, file: str, lines: Sequence[int] = ()) -> None:
    """Refuse frequencies [Hz] that do not rise, or that nobody measures at; `lines` of the file."""
    last, at, wrong = f"the last frequency is {frequency[-1]:.10g} Hz", 0, ""
    if not frequency[0] >= LOWEST_HZ:
        first = f"the first frequency is {frequency[0]:.10g} Hz"
        wrong = f"{first}; leave out zero and points below 1 Hz"
    elif np.any(np.diff(frequency) <= 0):
        at = int(np.argmax(np.diff(frequency) <= 0)) + 1
        what = "repeats" if frequency[at] == frequency[at - 1] else "falls below"
        wrong = (
            f"frequencies must ascend, but point {at + 1} ({frequency[at]:.10g} Hz) {what} the one "
            f"before it ({frequency[at - 1]:.10g} Hz)"
        )
    elif frequency[-1] > HIGHEST_HZ:
        at, wrong = -1, f"{last}, beyond any measurement: is the unit right?"
    elif frequency[-1] < MEGAHERTZ_HZ:
        usual = f"is the unit right, or is it {frequency[-1]:.10g} MHz?"
        at, wrong = -1, f"{last}, and nothing is measured so low: {usual}"
    if wrong:
        raise ReadingError(file, wrong, lines[at] if len(lines) else None)


def require_plausible(reflection: np.ndarray, file: str, lines: Sequence[int] = ()) -> None:
    """Refuse reflections [1] that are no numbers, infinite, as of -z_ref, or too large."""
    beyond = ~(np.abs(reflection) <= LARGEST_REFLECTION)
    if np.any(beyond):
        at = int(np.argmax(beyond))
        wrong = (
            f"comes to a reflection beyond {LARGEST_REFLECTION:.0e}, which is no reading: look for "
            "a slip in the numbers, or in the unit or format of the file"
        )
        if np.isnan(reflection[at]) and not lines:  # a file's numbers are, and overflowed
            wrong = "is not a number: leave it out, or read it again"
        raise ReadingError(file, f"point {at + 1} {wrong}", lines[at] if len(lines) else None)
