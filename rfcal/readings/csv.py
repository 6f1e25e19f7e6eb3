"""CSV files of one sweep: a header that says what the columns are, then numbers."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import MOST_POINTS, Say, silent, table, text_lines

LARGEST = 1e15
"""Numbers beyond this are slips of the pen, and would overflow later."""

UNITS_HZ = {"frequency_hz": 1.0, "frequency_khz": 1e3, "frequency_mhz": 1e6, "frequency_ghz": 1e9}
"""Columns of frequency, and what one of it is [Hz]."""
PAIRS = {
    ("r_ohm", "x_ohm"): "R and X",
    ("re", "im"): "real and imaginary part of the reflection",
    ("magnitude", "degrees"): "size and angle of the reflection",
    ("magnitude_db", "degrees"): "the same with the size in dB",
    ("z_ohm", "degrees"): "size and angle of the impedance",
}
"""Pairs of columns that make a reading, and what they are."""
FIRST_LINES = 100
"""A header stands among so many lines."""
DELIMITERS = (";", "\t", ",")
"""What may stand between the cells, in the order in which it is looked for."""


@dataclass(frozen=True)
class Layout:
    """How a CSV file is written, as far as that is stated."""

    columns: Mapping[str, str] = field(default_factory=dict)  # headers, by names of ours
    delimiter: str = ""  # empty: found by looking
    decimal: str = ""  # likewise


AS_FOUND = Layout()
"""Nothing is stated, all is found by looking."""


def read_csv(
    text: str,
    file: str,
    z_ref: float,
    most: int = MOST_POINTS,
    layout: Layout = AS_FOUND,
    say: Say = silent,
) -> tuple[Real, Complex, Sequence[int], bool]:
    """Frequencies [Hz], reflections, lines, and whether bare reflections stand in the file."""
    line, delimiter, header = _header(text, file, layout)
    own = {
        f"frequency_{name}" if f"frequency_{name}" in UNITS_HZ else name: name for name in header
    }
    names = layout.columns or own
    unit = next((name for name in UNITS_HZ if name in names), None)
    pair = next((pair for pair in PAIRS if set(pair) <= set(names)), None)
    if unit is None or pair is None:
        raise ReadingError(file, _wanted(header), line)
    places = [header.index(_plain(names[name])) for name in (unit, *pair)]
    comma = layout.decimal == "," if layout.decimal else None

    def rows() -> Iterator[tuple[int, list[float]]]:
        nonlocal comma
        for number, row in cells_of(text, delimiter):
            if number <= line or not any(cell.strip() for cell in row):
                continue
            if comma is None:  # the first row tells
                comma = delimiter != "," and any(_has_comma(row, place) for place in places)
            hertz, *pair_of = _numbers(row, places, len(header), comma, file, number)
            yield number, [hertz * UNITS_HZ[unit], *pair_of]

    try:
        numbers, lines = table(rows(), file, most, say)
    except csv.Error as error:
        raise ReadingError(file, f"not a CSV file that can be read ({error})") from error
    value, bare = _complex(pair, numbers[:, 1:]), pair[0] not in ("r_ohm", "z_ohm")
    value = value if bare else from_impedance(value, z_ref)
    return numbers[:, 0], value, lines, bare


def cells_of(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Rows of cells, each with its line."""
    lines = (f"{line}\n" for _, line in text_lines(text))
    return enumerate(csv.reader(lines, delimiter=delimiter), start=1)


def first_rows(
    text: str, delimiters: Sequence[str] = DELIMITERS, most: int = FIRST_LINES
) -> Iterator[tuple[str, int, list[str]]]:
    """The first rows of cells by each delimiter, as far as they can be read."""
    for delimiter in delimiters:
        with suppress(csv.Error):
            for line, row in islice(cells_of(text, delimiter), most):
                yield delimiter, line, row


def _plain(cell: str) -> str:
    return cell.strip().lower()


def _header(text: str, file: str, layout: Layout) -> tuple[int, str, list[str]]:
    """Line of the header, what stands between its cells, and these in small letters."""
    wanted = {_plain(name) for name in layout.columns.values()}
    likest: list[str] = []
    delimiters = (layout.delimiter,) if layout.delimiter else DELIMITERS
    for delimiter, line, row in first_rows(text, delimiters, FIRST_LINES if wanted else 1):
        cells = [_plain(cell) for cell in row]
        likest = max(likest, cells, key=_words)
        if wanted <= set(cells) if wanted else len(cells) > 1:
            return line, delimiter, cells
    if not wanted:
        raise ReadingError(file, _wanted(likest), 1)
    missing = ", ".join(f"'{name}'" for name in layout.columns.values())
    found = ", ".join(f"'{cell}'" for cell in likest)[:80]
    raise ReadingError(
        file,
        f"none of its first {FIRST_LINES} lines has the columns {missing}; what looks most like a "
        f"header has {found}",
    )


def _words(cells: Sequence[str]) -> tuple[int, int]:
    """How much a row looks like a header: cells with letters in them that are no numbers, cells."""
    numbers = r"[+-]?[\d.,]+(e[+-]?\d+)?|nan|inf"
    words = [c for c in cells if any(map(str.isalpha, c)) and not re.fullmatch(numbers, c)]
    return len(words), len(cells)


def _wanted(header: Sequence[str]) -> str:
    found = ",".join(header)[:60]
    return (
        "the header must be 'frequency_hz,r_ohm,x_ohm' or 'frequency_hz,re,im' (or _khz, _mhz, "
        f"_ghz), found '{found}'; in a record `columns` says which of other columns are these"
    )


def _has_comma(row: Sequence[str], place: int) -> bool:
    return place < len(row) and re.fullmatch(r"\s*[+-]?\d*,\d+\s*", row[place]) is not None


def _numbers(
    row: Sequence[str], places: Sequence[int], width: int, comma: bool, file: str, line: int
) -> list[float]:
    """The three numbers of one row."""
    try:
        cells = [row[place] for place in places]
        values = [float(cell.replace(",", ".") if comma else cell) for cell in cells]
    except (ValueError, IndexError):
        values = []
    if len(row) != width or not values or not all(abs(value) <= LARGEST for value in values):
        found = ",".join(row)[:60]
        many = "three" if width == len(places) else f"{width} cells, of which three are"
        raise ReadingError(
            file, f"expected {many} finite numbers up to {LARGEST:g}, found {found!r}", line
        )
    return values


def _complex(pair: tuple[str, str], numbers: Real) -> Complex:
    """What a pair of columns comes to: a reflection [1], or an impedance [ohm]."""
    first, second = numbers.T
    if pair[1] != "degrees":
        return np.asarray(first + 1j * second)
    size = 10 ** (first / 20) if pair[0] == "magnitude_db" else first
    return np.asarray(size * np.exp(1j * np.radians(second)))
