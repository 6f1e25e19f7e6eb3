"""Figures of a line, as several tables of the record state them."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.maths.checks import LEAST_OHM, MOST_OHM
from rfcal.models.cables import Cable
from rfcal.models.line import LONGEST_M, Line, loss_law
from rfcal.record.format.numbers import Number, Rows
from rfcal.record.format.table import Table

MOST_OFF = 0.3
"""Rows of a loss table may be off the law that fits them best by this share of themselves."""

SHALLOW_HZ = 30e6
"""From here on the law holds of usual cables [Hz] (common practice, no source)."""

LENGTH = Number("length_m", "its length", unit="m", low=0.0, high=LONGEST_M)
LENGTH_UNCERTAINTY = Number(
    "length_uncertainty_m", "uncertainty of its length", unit="m", low=0.0, high=1e3, gives="length"
)
VELOCITY_FACTOR = Number(
    "velocity_factor",
    "speed on it over the speed of light",
    low=0.01,
    high=1.0,
    most="which is faster than light",
    instead="its type's",
)
VELOCITY_FACTOR_UNCERTAINTY = Number(
    "velocity_factor_uncertainty",
    "uncertainty of its velocity factor",
    default=defaults.PATH["velocity factor"],
    low=0.0,
    high=0.3,
    gives="velocity factor",
)
Z0 = Number(
    "z0_ohm", "its impedance", unit="ohm", low=LEAST_OHM, high=MOST_OHM, instead="its type's"
)


@dataclass(frozen=True)
class Loss(Rows):
    """Matched loss of a line, which the loss law must be able to follow."""

    def _value(self, table: Table, found: Any) -> list[tuple[float, ...]]:
        rows = super()._value(table, found)
        for megahertz, loss in rows:
            if not 1e-3 <= megahertz <= 1e6 or not 1e-6 <= loss <= 1e6:
                raise table.fail(
                    self.name,
                    f"[{megahertz:g}, {loss:g}] is no row of MHz (from 0.001 to 1e6) and dB per "
                    "100 m (above zero, from 1e-6 to 1e6)",
                )
        frequency, stated = 1e6 * np.array(rows)[:, 0], np.array(rows)[:, 1]
        by_law = Line(0.0, 1.0, 1.0, *loss_law(rows)).loss_db_per_100m(frequency)
        # thin and plated conductors lose more than the law says where the skin is not yet shallow
        least = np.where(frequency < SHALLOW_HZ, 0.0, 1 - MOST_OFF)
        off = ~((least < by_law / stated) & (by_law / stated < 1 + MOST_OFF))
        if np.any(off):
            at = int(np.argmax(off))
            raise table.fail(
                self.name,
                f"[{rows[at][0]:g}, {rows[at][1]:g}] does not go with the other rows: a cable's "
                "loss rises between the root of frequency and frequency itself, and what fits all "
                f"rows best gives {by_law[at]:.3g} dB there. Look for a slip in one of them",
            )
        return rows


LOSS = Loss(
    "loss_db_per_100m",
    "its matched loss",
    columns=("MHz", "dB"),
    example="[[10.0, 2.0], [100.0, 7.0]]",
    instead="its type's",
)
OWN = (VELOCITY_FACTOR, Z0, LOSS)
"""The three figures that make a line of the user's own, without any type."""

NEEDED = tuple(replace(key, needed=True, instead="") for key in OWN)
"""The same where no type can stand in."""


def line_of(found: dict[str, Any], known: Cable | None, length_m: float) -> Line:
    """A line by what a table states of it, and its type (if any) for the rest."""
    velocity, z0, rows = (found[key.name] for key in OWN)
    if known:
        velocity = velocity or known.velocity_factor
        z0, rows = z0 or known.z0, rows or known.loss
    return Line(length_m, velocity, z0, *(loss_law(rows) if rows else (0.0, 0.0)))
