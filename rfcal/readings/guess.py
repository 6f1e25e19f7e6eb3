"""CSV files of unknown programs: which columns are what, by the words of their header."""

import re
from collections.abc import Sequence
from pathlib import Path

from rfcal import defaults
from rfcal.errors import ReadingError
from rfcal.readings.content import decoded, whole_file
from rfcal.readings.csv import AS_FOUND, PAIRS, Layout, first_rows
from rfcal.readings.sweep import Sweep, read_sweep

REFLECTION = {"s", "s11", "gamma", "γ", "rho", "ρ", "reflection"}
IMPEDANCE = {"z", "zin", "impedance"}
SIZE = {"mag", "magnitude", "abs", "logmag"}
ANGLE = {"phase", "angle", "ang", "arg", "deg", "degrees", "theta", "θ", "phi", "φ"}
PARTS = {"re": "re", "real": "re", "im": "im", "imag": "im", "imaginary": "im"}
OHMS = {"r": "r_ohm", "rs": "r_ohm", "resistance": "r_ohm"}
OHMS |= {"x": "x_ohm", "xs": "x_ohm", "reactance": "x_ohm"}
OHM = {"ohm", "ohms", "ω"}
OTHER = {"s21", "s12", "s22", "swr", "vswr", "loss", "rl", "rad", "radians"}
"""Words of a header that say what a column is; one of the last says that it is none of ours."""


def read_guessed(
    folder: Path, file: str, *, label: str, z_ref: float = defaults.REFERENCE_OHM
) -> tuple[Sweep, Layout]:
    """A sweep, and as what the columns of its file were taken where the header is not ours."""
    try:
        return read_sweep(folder, file, label=label, z_ref=z_ref), AS_FOUND
    except ReadingError:
        if not file.lower().endswith(".csv") or not (folder / file).is_file():
            raise
        layout = guessed(decoded(whole_file(folder / file)))
        if layout is None:
            raise
        return read_sweep(folder, file, label=label, z_ref=z_ref, layout=layout), layout


def guessed(text: str) -> Layout | None:
    """The columns of a file by the first row that has a frequency and a pair; None without."""
    for _, _, row in first_rows(text):
        if columns := _columns(row):
            return Layout(columns)
    return None


def column_words(layout: Layout) -> str:
    """As what the columns were taken, for a reader."""
    return ", ".join(f"{name} is '{header}'" for name, header in layout.columns.items())


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
    words = set(re.findall(r"\w+", plain)) - OHM
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
