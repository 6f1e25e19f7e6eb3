"""CSV files of one sweep: a header that says what the columns are, then numbers."""

import csv
from collections.abc import Sequence

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance
from rfcal.readings.rows import MOST_POINTS, Rows, text_lines

LARGEST = 1e15
"""Numbers beyond this are slips of the pen, and would overflow later."""

UNITS_HZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e6}


def read_csv(
    text: str, file: str, z_ref: float, most: int = MOST_POINTS
) -> tuple[Real, Complex, Sequence[int], bool]:
    """Frequencies [Hz], reflections, lines, and whether bare reflections stand in the file."""
    table = csv.reader(f"{line}\n" for _, line in text_lines(text))
    try:
        header = [cell.strip().lower() for cell in next(table, [])]
        unit, kind = header[0].removeprefix("frequency_") if header else "", tuple(header[1:])
        if unit not in UNITS_HZ or kind not in (("r_ohm", "x_ohm"), ("re", "im")):
            raise ReadingError(
                file,
                "the header must be 'frequency_hz,r_ohm,x_ohm' or 'frequency_hz,re,im' "
                "(or _khz, _mhz), with commas between",
                1,
            )
        rows = Rows(file, most, UNITS_HZ[unit])
        for number, row in enumerate(table, start=2):
            if any(cell.strip() for cell in row):
                rows.add(_numbers(row, file, number), number)
    except csv.Error as error:
        raise ReadingError(file, f"not a CSV file that can be read ({error})") from error
    frequency, numbers = rows.table()
    value = numbers[:, 0] + 1j * numbers[:, 1]
    bare = kind[0] != "r_ohm"
    return frequency, value if bare else from_impedance(value, z_ref), rows.lines, bare


def _numbers(row: list[str], file: str, line: int) -> list[float]:
    """The three numbers of one row."""
    try:
        values = [float(cell) for cell in row]
    except ValueError:
        values = []
    if len(values) != 3 or not all(abs(value) <= LARGEST for value in values):
        found = ",".join(row)[:60]
        raise ReadingError(
            file, f"expected three finite numbers up to {LARGEST:g}, found {found!r}", line
        )
    return values
