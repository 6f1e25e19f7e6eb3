"""Where a raw reading is: a file, several that repeat it, or numbers off a display."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from rfcal.readings.csv import AS_FOUND, COLUMNS_HZ, DELIMITERS, PAIRS, Layout
from rfcal.readings.display import Beyond
from rfcal.record.format.keys import PAIRED, Key, Placed, Table, as_text, cite
from rfcal.record.format.kinds import Choice, File, Files, OneLine, Rows


@dataclass(frozen=True)
class DisplayRows(Rows):
    """Rows off a display, in which a cell may be beyond its range, such as ``">999"``."""

    whole: bool = False  # whether no cell may be

    def _cell(self, table: Table, row: int, found: Any) -> float:
        place, said = f"{self.name}, row {row}", as_text(found).strip().lower()
        beyond = re.fullmatch(r">\s*(\d+(\.\d*)?)", said) if isinstance(found, str) else None
        if beyond and self.whole:
            why = "a far end beyond the display tells too little of what lies before it"
            cure = "read it at frequencies where the display shows it, or sweep it into a file"
            raise table.fail(place, f"{why}: {cure}")
        if beyond and float(beyond[1]):
            return Beyond(table.finite(place, Decimal(beyond[1])))
        if isinstance(found, str) or said.lstrip("+-") in ("inf", "infinity", "nan"):
            raise table.fail(
                place,
                f"{cite(found)} is not what a display shows: numbers stand without quotes and take "
                "a point, and for what is beyond its range type the largest number that it can "
                f'show, after a > and in quotes, such as "{BEYOND}" for either sign',
            )
        return table.finite(place, found)


_R_X: Any = {
    "columns": ("MHz", "R ohm", "X ohm"),
    "example": "[[7.05,48.2,-3.1], [7.1,47.5,1.4]]",
}


def end_keys(name: str, says: str) -> tuple[File, Rows]:
    """Keys of a far end, read into a file or typed off the display."""
    said = f"{name}_typed", "the same, off the display"
    typed = DisplayRows(*said, instead=f"`{name}`", whole=True, **_R_X)
    return File(name, says, instead=f"`{typed.name}`"), typed


def end_readings(table: Table, found: dict[str, Any], keys: Sequence[str]) -> tuple["Reading", ...]:
    """Readings of a far end, of those keys that are there: each a file or typed."""
    readings = []
    for key in keys:
        file, rows = found[key], found[f"{key}_typed"]
        if file and rows:
            why = f"{key} gives this sweep already: leave out one of the two"
            raise table.fail(f"{key}_typed", why)
        if file or rows:
            readings.append(Reading((file,) if file else (), rows))
    return tuple(readings)


BEYOND = ">999"
"""How a cell beyond the display's range may look."""
NAME = OneLine("name", "its name, as the page shows it", needed=True)
READING = (
    Files(
        "reading",
        "raw sweep as the instrument gave it: one-port Touchstone, or CSV headed "
        "`frequency_hz,r_ohm,x_ohm` or `frequency_hz,re,im` (also `_khz`, `_mhz`); the scatter of "
        "repeats counts as noise",
    ),
    DisplayRows(
        "typed",
        "off the display; X is positive for an inductor, negative for a capacitor; a cell beyond "
        'its range is `">999"`, with the largest number that it can show',
        **_R_X,
    ),
    Rows(
        "typed_reflection",
        "off the display; every digit that it shows, zeros too, for its step is taken from them",
        columns=("MHz", "magnitude", "degrees"),
        example="[[7.05,0.12,48.0], [7.1,0.10,31.5]]",
    ),
    DisplayRows(
        "typed_z_ohm",
        "off a display of |Z|, with every digit that it shows; alone, or beside `typed_swr` at the "
        "same frequencies",
        columns=("MHz", "|Z| ohm"),
        example="[[7.05,48.3], [7.1,47.5]]",
    ),
    DisplayRows(
        "typed_swr",
        "off a display of SWR in `reference_ohm`, likewise",
        columns=("MHz", "SWR"),
        example="[[7.05,1.08], [7.1,1.06]]",
    ),
)
"""Keys of which exactly one says where the raw reading of a standard, check or device is; the last
two may stand together."""
X_SIGN = Choice(
    "x_sign",
    "`unknown` where the display shows X without its sign, which is then worked out as far as the "
    "readings allow; with `typed`",
    among=("shown", "unknown"),
    default="shown",
)


class Columns(Key):
    """Which columns of a CSV file are what."""

    form = 'a table such as {frequency_mhz = "Freq", r_ohm = "Rs", x_ohm = "Xs"}'

    def _fits(self, found: Any) -> bool:
        return isinstance(found, dict) and all(isinstance(v, str) for v in found.values())

    def _value(self, table: Table, found: Any) -> dict[str, str]:
        known = [*COLUMNS_HZ, *dict.fromkeys(name for pair in PAIRS for name in pair)]
        super()._value(table, found)
        table.inside(found, f"{table.place} {self.name}").only(known)
        pairs = [set(pair) for pair in PAIRS if set(pair) <= set(found)]
        if len(set(COLUMNS_HZ) & set(found)) != 1 or len(pairs) != 1 or len(found) != 3:
            said = "; ".join(" and ".join(pair) for pair in PAIRS)
            why = f"one of {', '.join(COLUMNS_HZ)} is needed, and one pair of: {said}"
            raise table.fail(self.name, why)
        if len({name.strip().lower() for name in found.values()}) < len(found):
            raise table.fail(self.name, "one column is named twice")
        return found


COLUMNS = Columns(
    "columns",
    "which columns of a CSV file are what, where its header has other names: `frequency_hz`, "
    "`_khz`, `_mhz` or `_ghz`, and `r_ohm` and `x_ohm`, `re` and `im`, `magnitude` (or "
    "`magnitude_db`) and `degrees`, or `z_ohm` and `degrees`",
)
_CELLS, _FOUND = "what stands between its cells", "found by looking"
DELIMITER = Choice("delimiter", _CELLS, among=DELIMITERS, default="", instead="found")
DECIMAL = Choice("decimal", "its decimal point", among=(".", ","), default="", instead=_FOUND)
HOW = (X_SIGN, COLUMNS, DELIMITER, DECIMAL)
"""How a reading is written, where that does not show."""


@dataclass(frozen=True)
class Reading:
    """Where a raw reading is: files, or what was typed."""

    files: tuple[str, ...] = ()  # relative to the record's folder; several repeat one thing
    typed: Sequence[tuple[float, ...]] | None = None  # MHz, R ohm, X ohm
    typed_reflection: Sequence[tuple[float, ...]] | None = None  # MHz, magnitude, degrees
    typed_z: Sequence[tuple[float, ...]] | None = None  # MHz, |Z| ohm
    typed_swr: Sequence[tuple[float, ...]] | None = None  # MHz, SWR
    steps: tuple[float, float] = (0.0, 0.0)  # of the display, by the digits of both columns
    sign_known: bool = True  # of the X of `typed`
    layout: Layout = AS_FOUND  # of CSV files

    @property
    def rows(self) -> list[tuple[float, ...]]:
        """What was typed of R and X, of |Z| or of SWR, each row with its MHz."""
        return [*(self.typed or ()), *(self.typed_z or ()), *(self.typed_swr or ())]

    @property
    def beyond(self) -> tuple[float, ...]:
        """What cells are beyond of that the display can show; empty where none is."""
        return tuple(cell for row in self.rows for cell in row if isinstance(cell, Beyond))

    @property
    def shows_less(self) -> bool:
        """Whether the display leaves more than one reading possible."""
        sizes = self.typed_z is not None or self.typed_swr is not None
        return sizes or bool(self.beyond) or not self.sign_known


@dataclass(frozen=True)
class Item(Placed):
    """What was connected and read."""

    name: str
    reading: Reading


def step_of(cells: Sequence[object], coarsest: int = 0) -> float:
    """Such as 0.01 where two places were typed; `coarsest` is the least power of ten shown."""
    found = [Decimal(str(cell).lstrip("> ")) for cell in cells]
    return 10.0 ** min([coarsest, *(int(cell.as_tuple().exponent) for cell in found)]) * bool(found)


def read_reading(table: Table, found: dict[str, Any]) -> Reading:
    """The reading of an item, out of the values found in its table."""
    key = next((key.name for key in READING if key.name in table), "")  # only a plan has none
    sign_known, files = found[X_SIGN.name] == "shown", found["reading"] or ()
    if not sign_known and key not in ("", "typed"):
        shows = "shows no sign anyhow" if key in PAIRED else "has the sign"
        why = f"this key belongs to typed rows of MHz, R and X, and here is {key}, which {shows}"
        raise table.fail(X_SIGN.name, f"{why}: leave it out")
    for i, row in enumerate(found["typed"] or () if not sign_known else (), start=1):
        if row[2] < 0:
            why = f"X is {row[2]:g}, so its sign is known: leave out x_sign, or type the size"
            raise table.fail(f"typed, row {i}", f"{why} of X alone in every row")
    columns, delimiter, decimal = (found[one.name] for one in (COLUMNS, DELIMITER, DECIMAL))
    stated = [one.name for one in (COLUMNS, DELIMITER, DECIMAL) if one.name in table]
    if stated and not any(not re.search(r"\.(s\d+p|ts)$", file.lower()) for file in files):
        raise table.fail(stated[0], "this key says how a CSV file is written, and there is none")

    def step(key: str, column: int = 1, coarsest: int = 0) -> float:
        return step_of([row[column] for row in table.values.get(key, ())], coarsest)

    # displays show ohms and degrees to one or finer, a magnitude to 0.01 and an SWR to 0.1
    first = max(step("typed"), step("typed_reflection", 1, -2), step("typed_z_ohm"))
    second = max(step("typed", 2), step("typed_reflection", 2), step("typed_swr", 1, -1))
    steps = (min(first, second),) * 2 if key == "typed" else (first, second)
    typed, polar, z, swr = (found[one.name] for one in READING[1:])
    layout = Layout(columns or {}, delimiter, decimal)
    return Reading(files, typed, polar, z, swr, steps, sign_known, layout)
