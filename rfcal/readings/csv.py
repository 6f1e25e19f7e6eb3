"""CSV files of one sweep: a header that says what the columns are, then numbers."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import MOST_POINTS, Say, in_form, silent, table, text_lines

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
SIZES = {
    "magnitude": "a magnitude of {:.6g} is below zero: is it in dB (magnitude_db)?",
    "z_ohm": "an impedance's size of {:.6g} ohm is below zero",
}
"""What is said of a number below zero in columns that hold none."""
FIRST_LINES = 100
"""A header stands among so many lines."""
DELIMITERS = (";", "\t", ",")
"""What may stand between the cells, in the order in which it is looked for."""
WANTED = (
    "the header must be 'frequency_hz,r_ohm,x_ohm' or 'frequency_hz,re,im' (or _khz, _mhz, _ghz), "
    "found '{found}'; in a record `columns` says which of other columns are these"
)
_COMMA = re.compile(r"\s*[+-]?\d*,\d+\s*")
_FORMS = {"magnitude_db": "DB"}


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
    line, delimiter, header, columns = _header(text, file, layout)
    unit, *pair = columns
    places = [header.index(cell) for cell in columns.values()]
    comma = layout.decimal == "," if layout.decimal else None

    def rows() -> Iterator[tuple[int, list[float]]]:
        nonlocal comma
        for number, row in cells_of(text, delimiter):
            if number <= line or not any(cell.strip() for cell in row):
                continue
            cells = [row[place] for place in places] if len(row) == len(header) else []
            if comma is None:  # the first row tells
                comma = delimiter != "," and any(map(_COMMA.fullmatch, cells))
            try:
                values = [float(cell.replace(",", ".") if comma else cell) for cell in cells]
            except ValueError:
                values = []
            if not values or not all(abs(value) <= LARGEST for value in values):
                many = "three" if len(header) == 3 else f"{len(header)} cells, of which three are"
                found = f"found {','.join(row)[:60]!r}"
                why = f"expected {many} finite numbers up to {LARGEST:g}, {found}"
                raise ReadingError(file, why, number)
            if pair[0] in SIZES and values[1] < 0:
                raise ReadingError(file, SIZES[pair[0]].format(values[1]), number)
            yield number, [values[0] * UNITS_HZ[unit], *values[1:]]

    try:
        numbers, lines = table(rows(), file, most, say)
    except csv.Error as error:
        raise ReadingError(file, f"not a CSV file that can be read ({error})") from error
    value = in_form("RI" if pair[1] != "degrees" else _FORMS.get(pair[0], "MA"), numbers[:, 1:])
    bare = pair[0] not in ("r_ohm", "z_ohm")
    return numbers[:, 0], value[:, 0] if bare else from_impedance(value[:, 0], z_ref), lines, bare


def cells_of(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Rows of cells, each with its line."""
    lines = (f"{line}\n" for _, line in text_lines(text))
    return enumerate(csv.reader(lines, delimiter=delimiter), start=1)


def first_rows(
    text: str, delimiters: Sequence[str] = DELIMITERS
) -> Iterator[tuple[str, int, list[str]]]:
    """The first rows of cells by each delimiter, as far as they can be read."""
    for delimiter in delimiters:
        with suppress(csv.Error):
            for line, row in islice(cells_of(text, delimiter), FIRST_LINES):
                yield delimiter, line, [cell.strip() for cell in row]


def _header(text: str, file: str, layout: Layout) -> tuple[int, str, list[str], dict[str, str]]:
    """Its line, what stands between its cells, these in small letters, and those by our names."""
    likest: tuple[int, list[str]] = (1, [])
    for delimiter, line, row in first_rows(
        text, [layout.delimiter] if layout.delimiter else DELIMITERS
    ):
        header = [cell.lower() for cell in row]
        own = {f"frequency_{c}" if f"frequency_{c}" in UNITS_HZ else c: c for c in header}
        names = {name: cell.lower() for name, cell in layout.columns.items()} or own
        if set(names.values()) <= set(header):
            unit = next((name for name in UNITS_HZ if name in names), None)
            pair = next((pair for pair in PAIRS if set(pair) <= set(names)), None)
            if unit and pair:
                return line, delimiter, header, {name: names[name] for name in (unit, *pair)}
        likest = max(likest, (line, header), key=lambda found: _words(found[1]))
    if not layout.columns:
        raise ReadingError(file, WANTED.format(found=",".join(likest[1])[:60]), likest[0])
    missing = ", ".join(f"'{name}'" for name in layout.columns.values())
    found = "', '".join(likest[1])[:80]
    raise ReadingError(
        file,
        f"none of its first {FIRST_LINES} lines has the columns {missing}; what looks most like a "
        f"header has '{found}'",
    )


def _words(cells: Sequence[str]) -> tuple[int, int]:
    """How much a row looks like a header: cells with letters in them that are no numbers, cells."""
    numbers = r"[+-]?[\d.,]+(e[+-]?\d+)?|nan|inf"
    words = [c for c in cells if any(map(str.isalpha, c)) and not re.fullmatch(numbers, c)]
    return len(words), len(cells)
