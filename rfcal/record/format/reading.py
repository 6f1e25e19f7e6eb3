"""Where a raw reading is: a file, several that repeat it, or numbers off a display."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from rfcal.record.format.keys import Table
from rfcal.record.format.kinds import Files, Line, Rows

NAME = Line("name", "its name, as the page shows it", needed=True)
READING = (
    Files(
        "reading",
        "raw sweep as the instrument gave it: one-port Touchstone, or CSV headed "
        "`frequency_hz,r_ohm,x_ohm` or `frequency_hz,re,im` (also `_khz`, `_mhz`); the scatter of "
        "repeats counts as noise",
    ),
    Rows(
        "typed",
        "off the display; X is positive for an inductor, negative for a capacitor",
        columns=("MHz", "R ohm", "X ohm"),
        example="[[7.05, 48.2, -3.1]]",
    ),
    Rows(
        "typed_reflection",
        "off the display; every digit that it shows, zeros too, for its step is taken from them",
        columns=("MHz", "magnitude", "degrees"),
        example="[[7.05, 0.12, 48.0]]",
    ),
)
"""Keys of which exactly one says where the raw reading of a standard, check or device is."""


@dataclass(frozen=True)
class Reading:
    """Where a raw reading is: exactly one of the first three is set."""

    files: tuple[str, ...] = ()  # relative to the record's folder; several repeat one thing
    typed: Sequence[tuple[float, ...]] | None = None  # MHz, R ohm, X ohm
    typed_reflection: Sequence[tuple[float, ...]] | None = None  # MHz, magnitude, degrees
    steps: tuple[float, float] = (0.0, 0.0)  # of the display: magnitude [1] and angle [degree]


def read_reading(table: Table, found: dict[str, Any]) -> Reading:
    """The reading of an item, out of the values found in its table."""
    key = next((key.name for key in READING if key.name in table), "")
    if not key:  # only a plan has none
        return Reading()
    if key == "reading":
        return Reading(found[key])
    if key == "typed":
        return Reading(typed=found[key])
    # displays show a magnitude to 0.01 or finer and an angle to a degree or finer
    steps = (_display_step(table, key, 1, -2), _display_step(table, key, 2, 0))
    return Reading(typed_reflection=found[key], steps=steps)


def _display_step(table: Table, key: str, column: int, coarsest: int) -> float:
    """Such as 0.01 where two places were typed; `coarsest` is the least power of ten shown."""
    cells = [Decimal(row[column]) for row in table.values[key]]
    return float(10.0 ** min(coarsest, *(int(c.as_tuple().exponent) for c in cells)))
