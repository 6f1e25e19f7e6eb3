"""CSV files of one sweep: a header that says what the columns are, then numbers."""

import csv
import io

import numpy as np

from rfcal.errors import ReadingError
from rfcal.maths.reflection import Complex, Real, from_impedance

LARGEST = 1e15
"""Numbers beyond this are slips of the pen, and would overflow later."""

UNITS_HZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e6}


def read_csv(text: str, file: str, z_ref: float) -> tuple[Real, Complex, list[int], bool]:
    """Frequencies [Hz], reflections, lines, and whether bare reflections stand in the file."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline=None)))
    except csv.Error as error:
        raise ReadingError(file, f"not a CSV file that can be read ({error})") from error
    header = [cell.strip().lower() for cell in rows[0]] if rows else []
    unit = header[0].removeprefix("frequency_") if header else ""
    kind = tuple(header[1:])
    if unit not in UNITS_HZ or kind not in (("r_ohm", "x_ohm"), ("re", "im")):
        raise ReadingError(
            file,
            "the header must be 'frequency_hz,r_ohm,x_ohm' or 'frequency_hz,re,im' "
            "(or _khz, _mhz), with commas between",
            1,
        )
    table, lines = [], []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            values = [float(cell) for cell in row]
        except ValueError:
            values = []
        if len(values) != 3 or not all(abs(value) <= LARGEST for value in values):
            found = ",".join(row)[:60]
            raise ReadingError(
                file, f"expected three finite numbers up to {LARGEST:g}, found {found!r}", number
            )
        table.append(values)
        lines.append(number)
    if not table:
        raise ReadingError(file, "there are no data lines: the sweep is empty")
    numbers = np.array(table)
    value = numbers[:, 1] + 1j * numbers[:, 2]
    bare = kind[0] != "r_ohm"
    reflection = value if bare else from_impedance(value, z_ref)
    return numbers[:, 0] * UNITS_HZ[unit], reflection, lines, bare
