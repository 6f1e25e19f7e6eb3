"""Figures of a line as several tables state them, and ``[line_check]``: the state of a line."""

from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any

import numpy as np

from rfcal import defaults
from rfcal.models.cables import CABLES, Cable, cable_type
from rfcal.models.line import LONGEST_M, UNCERTAIN, Line, loss_law
from rfcal.record.format.keys import Section, Stated, Table, cite
from rfcal.record.format.kinds import OHM, Choice, File, Number, Rows
from rfcal.record.format.reading import Reading, end_keys, end_readings

MOST_OFF = 0.3
"""Rows of a loss table may be off the law that fits them best by this share of themselves."""
SHALLOW_HZ = 30e6
"""From here on the law holds of usual cables [Hz] (common practice, no source)."""
LEAST_M = 0.1
"""A shorter line is not measured by its length [m]."""

_OF_TYPE = "its type's"
_SPEED, _LIGHT = "speed on it over the speed of light", "which is faster than light"


def uncertain(part: str, name: str, of: str, **how: Any) -> Number:
    """A key for what is uncertain of a line, by its name in `UNCERTAIN`."""
    return Number(name, f"uncertainty of {of}", 0.0, UNCERTAIN[part], **how)


LENGTH = Number("length_m", "its length", 0.0, LONGEST_M)
LENGTH_UNCERTAINTY = uncertain("length", "length_uncertainty_m", "its length")
VELOCITY_FACTOR = Number("velocity_factor", _SPEED, 0.01, 1.0, most=_LIGHT, instead=_OF_TYPE)
_USUAL = defaults.PATH["velocity factor"]
VELOCITY_FACTOR_UNCERTAINTY = uncertain(
    "velocity factor", "velocity_factor_uncertainty", "its velocity factor", default=_USUAL
)
Z0 = Number("z0_ohm", "its impedance", *OHM, instead=_OF_TYPE)


class Loss(Rows):
    """Matched loss of a line, which the loss law must be able to follow."""

    def _value(self, table: Table, found: Any) -> list[tuple[float, ...]]:
        rows = super()._value(table, found)
        for megahertz, loss in rows:
            if not 1e-3 <= megahertz <= 1e6 or not 1e-6 <= loss <= 1e6:
                wanted = "MHz (from 0.001 to 1e6) and dB per 100 m (above zero, from 1e-6 to 1e6)"
                raise table.fail(self.name, f"[{megahertz:g}, {loss:g}] is no row of {wanted}")
        frequency, stated = 1e6 * np.array(rows)[:, 0], np.array(rows)[:, 1]
        by_law = Line(0.0, 1.0, 1.0, *loss_law(rows)).loss_db_per_100m(frequency)
        # thin and plated conductors lose more than the law says where the skin is not yet shallow
        least = np.where(frequency < SHALLOW_HZ, 0.0, 1 - MOST_OFF)
        off = ~((least < by_law / stated) & (by_law / stated < 1 + MOST_OFF))
        if np.any(off):
            at = int(np.argmax(off))
            why = f"[{rows[at][0]:g}, {rows[at][1]:g}] does not go with the other rows"
            law = "a cable's loss rises between the root of frequency and frequency itself"
            best = f"what fits all rows best gives {by_law[at]:.3g} dB there"
            raise table.fail(self.name, f"{why}: {law}, and {best}. Look for a slip in one of them")
        return rows


LOSS = Loss(
    "loss_db_per_100m",
    "its matched loss",
    columns=("MHz", "dB"),
    example="[[10.0, 2.0], [100.0, 7.0]]",
    instead=_OF_TYPE,
)
OWN = (VELOCITY_FACTOR, Z0, LOSS)
"""The three figures that make a line of the user's own, without any type."""

NEEDED = tuple(replace(key, needed=True, instead="") for key in OWN)
"""The same where no type can stand in."""


def line_of(found: dict[str, Any], known: Cable | None, length_m: float) -> Line:
    """A line by what a table states of it, and its type (if any) for the rest."""
    own: list[Any] = [found.get(key.name) for key in OWN]
    velocity, z0, rows = own
    if known:
        velocity = velocity or known.velocity_factor
        z0, rows = z0 or known.z0, rows or known.loss
    return Line(length_m, velocity, z0, *(loss_law(rows) if rows else (0.0, 0.0)))


class Type(Choice):
    """A type of cable, however it is spelt."""

    def _value(self, table: Table, found: Any) -> Any:
        return super()._value(table, cable_type(found) if isinstance(found, str) else found)


ENDS = {"far_end_open": 1.0, "far_end_short": -1.0}
"""Keys of sweeps of the line with its far end open, or short, and what reflects there."""


def _known_by(table: Table) -> str:
    """By what the line of a line check is known: what would have no effect is refused."""
    if not any(key in table or f"{key}_typed" in table for key in ENDS):
        return "by figures"
    return "by sweeps and length" if LENGTH.name in table else "by sweeps"


LINE_CHECK = Section(
    "[line_check]",
    "The state of a line, from a sweep of it in equal steps: what reflects where, what changed "
    "since an earlier one, whether it has grown. All its sweeps are corrected by the standards.",
    (
        File("reading", "sweep of the line", needed=True),
        File("baseline", "an earlier one"),
        Type(
            "line",
            "its type, for velocity factor, impedance and loss, or to compare what its far end "
            "tells with",
            among=CABLES,
        ),
        replace(VELOCITY_FACTOR, kinds=("by figures", "by sweeps")),
        replace(VELOCITY_FACTOR_UNCERTAINTY, kinds=("by figures", "by sweeps")),
        replace(LENGTH, default=0.0, instead="not known"),
        replace(LENGTH_UNCERTAINTY, default=defaults.LINE_LENGTH_M, beside=LENGTH.name),
        replace(Z0, instead="its type's, else `reference_ohm`", kinds=("by figures",)),
        replace(LOSS, instead="its type's, else a guess", kinds=("by figures",)),
        *end_keys(
            "far_end_open",
            "sweep of the line itself with its far end open, for its delay, impedance and loss, "
            "which are not stated then; with `length_m` the velocity factor follows too",
        ),
        *end_keys("far_end_short", "likewise with a short there; a narrow band asks for both"),
    ),
    kind=_known_by,
    kinds={
        "by figures": "a line known by its figures",
        "by sweeps": "a line known by sweeps of its far end",
        "by sweeps and length": "a line known by such sweeps and length_m",
    },
)


@dataclass(frozen=True)
class LineCheck(Stated):
    """``[line_check]``: a sweep of a line, searched for what reflects on the way."""

    reading: str  # the sweep's file
    baseline: str | None  # an earlier sweep of the same line
    far_ends: tuple[tuple[float, Reading], ...]  # each with its end: 1 open, -1 short
    line: Line  # length 0 where the record does not state it
    loss_known: bool  # whether the record states the loss
    doubt: dict[str, float]  # of ``velocity factor`` [1] and ``length`` [m], of what is stated
    assumed: tuple[str, ...]  # keys of `doubt` that the record does not state
    by_length: bool  # whether the velocity factor follows from the length and the measured delay


def read_line_check(table: Table, z_ref: float) -> LineCheck:
    """The line check of a record; `z_ref` [ohm] is the line's impedance where none is stated."""
    found = LINE_CHECK.read(table)
    ends = tuple(
        (end, reading)
        for key, end in ENDS.items()
        for reading in end_readings(table, found, (key,))
    )
    by_length = _known_by(table) == "by sweeps and length"
    line, loss_known = _line(table, found, by_length, z_ref)
    if found["baseline"] and PurePosixPath(found["baseline"]) == PurePosixPath(found["reading"]):
        why = f"{cite(found['baseline'])} is the reading itself, so nothing can have changed"
        raise table.fail("baseline", f"{why}: name an earlier sweep, or leave it out")
    wanted = {} if by_length else {"velocity factor": VELOCITY_FACTOR_UNCERTAINTY}
    wanted |= {"length": LENGTH_UNCERTAINTY} if line.length_m else {}
    return LineCheck.made(
        table,
        found,
        far_ends=ends,
        line=line,
        loss_known=loss_known,
        doubt={what: found[key.name] for what, key in wanted.items()},
        assumed=tuple(what for what, key in wanted.items() if key.name not in table),
        by_length=by_length,
    )


def _line(table: Table, found: dict[str, Any], by_length: bool, z_ref: float) -> tuple[Line, bool]:
    """The line as far as it is stated, and whether its loss is."""
    known = CABLES.get(found["line"])
    if by_length:
        if found["length_m"] < LEAST_M:
            raise table.fail("length_m", f"{found['length_m']:g} is not at least {LEAST_M:g}")
        found = found | {"velocity_factor": defaults.VELOCITY_FACTOR}  # until it is measured
    elif known is None and "velocity_factor" not in table:
        raise table.missing("velocity_factor", "a number, or the cable's type as line,")
    if known is None and "z0_ohm" not in table:
        found = found | {"z0_ohm": z_ref}
    return line_of(found, known, found["length_m"]), bool(known or "loss_db_per_100m" in table)
