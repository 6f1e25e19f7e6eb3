"""CSV files of one sweep: a header that says what the columns are, then numbers.

Of unknown programs which columns are what is guessed, by the words of their header.
"""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import MOST_POINTS, Say, in_form, numeric_table, silent, text_lines

LARGEST_NUMBER = 1e15
"""Numbers beyond this are slips of the pen, and would overflow later."""

COLUMNS_HZ = {"frequency_hz": 1.0, "frequency_khz": 1e3, "frequency_mhz": 1e6, "frequency_ghz": 1e9}
"""Columns of frequency, and what one of it is [Hz]."""
PAIRS = {
    ("r_ohm", "x_ohm"): "RI",
    ("re", "im"): "RI",
    ("magnitude", "degrees"): "MA",
    ("magnitude_db", "degrees"): "DB",
    ("z_ohm", "degrees"): "MA",
}
"""Pairs of columns that make a reading, and the form that they are in."""
FIRST_LINES = 100
"""A header stands among so many lines."""
DELIMITERS = (";", "\t", ",")
"""What may stand between the cells, in the order in which it is looked for."""
REFLECTION = {"s", "s11", "gamma", "γ", "rho", "ρ", "reflection"}
IMPEDANCE = {"z", "zin", "impedance"}
SIZE = {"mag", "magnitude", "abs", "logmag"}
ANGLE = {"phase", "angle", "ang", "arg", "deg", "degrees", "theta", "θ", "phi", "φ"}
PARTS = {"re": "re", "real": "re", "im": "im", "imag": "im", "imaginary": "im"}
OHMS = {"r": "r_ohm", "rs": "r_ohm", "resistance": "r_ohm"}
OHMS |= {"x": "x_ohm", "xs": "x_ohm", "reactance": "x_ohm"}
OHM_WORDS = {"ohm", "ohms", "ω"}
OTHER = {"s21", "s12", "s22", "swr", "vswr", "loss", "rl", "rad", "radians"}
"""Words of a header that say what a column is; one of the last says that it is none of ours."""
WANTED = (
    "the header must be 'frequency_hz,r_ohm,x_ohm' or 'frequency_hz,re,im' (or _khz, _mhz, _ghz), "
    "found '{found}'; in a record `columns` says which of other columns are these"
)
_COMMA = re.compile(r"\s*[+-]?\d*,\d+\s*")


@dataclass(frozen=True)
class Layout:
    """How a CSV file is written, as far as that is stated."""

    columns: Mapping[str, str] = field(default_factory=dict)  # headers, by names of ours
    delimiter: str = ""  # empty: found by looking
    decimal: str = ""  # likewise

    @property
    def words(self) -> str:
        """As what the columns are taken, for a reader."""
        return ", ".join(f"{name} is '{header}'" for name, header in self.columns.items())


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
    form = PAIRS[pair[0], pair[1]]
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
            if not values or not all(abs(value) <= LARGEST_NUMBER for value in values):
                many = "three" if len(header) == 3 else f"{len(header)} cells, of which three are"
                found = f"found {','.join(row)[:60]!r}"
                why = f"expected {many} finite numbers up to {LARGEST_NUMBER:g}, {found}"
                raise ReadingError(file, why, number)
            yield number, [values[0] * COLUMNS_HZ[unit], *values[1:]]

    try:
        numbers, lines = numeric_table(rows(), file, most, say)
    except csv.Error as error:
        raise ReadingError(file, f"not a CSV file that can be read ({error})") from error
    value, ohms = in_form(form, numbers[:, 1:], file, lines)[:, 0], pair[0] in ("r_ohm", "z_ohm")
    return numbers[:, 0], from_impedance(value, z_ref) if ohms else value, lines, not ohms


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
    delimiters = [layout.delimiter] if layout.delimiter else DELIMITERS
    for delimiter, line, row in first_rows(text, delimiters):
        header = [cell.lower() for cell in row]
        own = {f"frequency_{c}" if f"frequency_{c}" in COLUMNS_HZ else c: c for c in header}
        names = {name: cell.lower() for name, cell in layout.columns.items()} or own
        unit = next((name for name in COLUMNS_HZ if name in names), None)
        pair = next((pair for pair in PAIRS if set(pair) <= set(names)), None)
        if unit and pair and set(names.values()) <= set(header):
            return line, delimiter, header, {name: names[name] for name in (unit, *pair)}
    if layout.columns:
        missing = ", ".join(f"'{name}'" for name in layout.columns.values())
        why = f"none of its first {FIRST_LINES} lines has the columns {missing}"
        raise ReadingError(file, why)
    _, first = next(text_lines(text))
    raise ReadingError(file, WANTED.format(found=first[:60]), 1)


def guessed(text: str) -> Layout | None:
    """The columns of a file by the first row that has a frequency and a pair; None without."""
    for _, _, row in first_rows(text):
        if columns := _columns(row):
            return Layout(columns)
    return None


def _columns(header: Sequence[str]) -> dict[str, str]:
    """Headers by names of ours; empty unless each is one column and no other could be meant."""
    found: dict[str, list[str]] = {}
    for cell in header:
        # a record holds it as it stands
        if cell.isprintable() and "  " not in cell:
            found.setdefault(_meaning(cell), []).append(cell)
    units = [name for name in found if name.startswith("frequency_")]
    plain = found.get("degrees", [])
    if "z_ohm" in found and {"magnitude", "magnitude_db"} & set(found):
        plain = []  # of which of the two it is the angle is not said
    for pair in PAIRS if len(units) == 1 else ():
        whose = "degrees of z_ohm" if pair[0] == "z_ohm" else "degrees of reflection"
        angle = {"degrees": found.get(whose, plain)}
        cells = {name: (found | angle).get(name, []) for name in (*units, *pair)}
        if all(len(cell) == 1 for cell in cells.values()):
            return {name: cell for name, (cell,) in cells.items()}
    return {}


def _meaning(cell: str) -> str:
    """What a header speaks of, by names of ours; an angle also of what. Empty where unknown."""
    plain = cell.casefold().replace("_", " ")
    words = set(re.findall(r"\w+", plain)) - OHM_WORDS
    unit = re.search(r"[kmg]?hz", plain)
    if unit and ("freq" in plain or "f" in words):
        return f"frequency_{unit[0]}"
    of_z, of_s, sized = words & IMPEDANCE, words & REFLECTION, words & SIZE or "|" in plain
    if words & OTHER or (of_z and of_s):
        return ""
    if words & ANGLE:
        return "degrees of z_ohm" if of_z else "degrees of reflection" if of_s else "degrees"
    for part in words & set(PARTS):
        return {"re": "r_ohm", "im": "x_ohm"}[PARTS[part]] if of_z else PARTS[part]
    if len(words) == 1 and "|" not in plain and words <= set(OHMS):
        return OHMS[words.pop()]
    if of_z:
        return "z_ohm" if words <= IMPEDANCE | SIZE else ""
    if "db" in words or "logmag" in words:
        return "magnitude_db" if of_s or sized else ""
    known = words and words <= REFLECTION | SIZE
    return "magnitude" if known and (sized or words & {"rho", "ρ"}) else ""
