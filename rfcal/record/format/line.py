"""``[line_check]``: how a record asks for the state of a line."""

from dataclasses import dataclass, replace
from typing import Any

from rfcal import defaults
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.format.cable import (
    LENGTH,
    LENGTH_UNCERTAINTY,
    LOSS,
    VELOCITY_FACTOR,
    VELOCITY_FACTOR_UNCERTAINTY,
    Z0,
    line_of,
)
from rfcal.record.format.keys import Section
from rfcal.record.format.table import Table
from rfcal.record.format.texts import Choice, File

LEAST_M = 0.1
"""A shorter line is not measured by its length [m]."""

LINE_CHECK = Section(
    "[line_check]",
    "The state of a line, from a sweep of it in equal steps: what reflects where, what changed "
    "since an earlier one, whether it has grown. All its sweeps are corrected by the standards.",
    (
        File("reading", "sweep of the line", needed=True),
        File("baseline", "an earlier one"),
        Choice("line", "its type, for velocity factor, impedance and loss", among=CABLES),
        VELOCITY_FACTOR,
        VELOCITY_FACTOR_UNCERTAINTY,
        replace(LENGTH, default=0.0, instead="not known"),
        replace(LENGTH_UNCERTAINTY, default=defaults.LINE_LENGTH_M),
        replace(Z0, instead="its type's, else `reference_ohm`"),
        replace(LOSS, instead="its type's, else a guess"),
        File(
            "far_end_open",
            "sweep of the line itself with its far end open, for its delay, impedance and loss, "
            "which are not stated then; with `length_m` the velocity factor follows too",
        ),
        File("far_end_short", "likewise with a short there; a narrow band asks for both"),
    ),
)


@dataclass(frozen=True)
class LineCheck:
    """``[line_check]``: a sweep of a line, searched for what reflects on the way."""

    reading: str  # the sweep's file
    baseline: str | None  # an earlier sweep of the same line
    far_ends: tuple[
        tuple[float, str], ...
    ]  # what an end reflected (1 open, -1 short), and the file
    line: Line  # length 0 where the record does not state it
    loss_known: bool  # whether the record states the loss
    doubt: dict[str, float]  # of ``velocity factor`` [1] and ``length`` [m], of what is stated
    assumed: tuple[str, ...]  # keys of `doubt` that the record does not state
    by_length: bool  # whether the velocity factor follows from the length and the measured delay


def read_line_check(table: Table, z_ref: float) -> LineCheck:
    """The line check of a record; `z_ref` [ohm] is the line's impedance where none is stated."""
    found = LINE_CHECK.read(table)
    ends = tuple(
        (end, found[key])
        for key, end in (("far_end_open", 1.0), ("far_end_short", -1.0))
        if key in table
    )
    by_length = bool(ends) and LENGTH.name in table
    _refuse_idle(table, bool(ends), by_length)
    line, loss_known = _line(table, found, by_length, z_ref)
    wanted = [] if by_length else [VELOCITY_FACTOR_UNCERTAINTY]
    wanted += [LENGTH_UNCERTAINTY] if line.length_m else []
    return LineCheck(
        found["reading"],
        found["baseline"],
        ends,
        line,
        loss_known,
        {key.gives: found[key.name] for key in wanted},
        tuple(key.gives for key in wanted if key.name not in table),
        by_length,
    )


def _line(table: Table, found: dict[str, Any], by_length: bool, z_ref: float) -> tuple[Line, bool]:
    """The line as far as it is stated, and whether its loss is."""
    known = CABLES.get(found["line"])
    if by_length:
        if found["length_m"] < LEAST_M:
            raise table.fail("length_m", f"{found['length_m']:g} is not at least {LEAST_M:g}")
        found = found | {"velocity_factor": defaults.VELOCITY_FACTOR}  # until it is measured
    elif known is None and "velocity_factor" not in table:
        raise table.missing("velocity_factor", "a number")
    if known is None and "z0_ohm" not in table:
        found = found | {"z0_ohm": z_ref}
    return line_of(found, known, found["length_m"]), bool(known or "loss_db_per_100m" in table)


def _refuse_idle(table: Table, ends: bool, by_length: bool) -> None:
    """Refuse what would have no effect, rather than let its writer believe in it."""
    if by_length and "velocity_factor" in table:
        raise table.fail(
            "velocity_factor",
            "the far end's sweeps and length_m give the velocity factor: state one of the two",
        )
    given = "the far end's sweeps give it"
    idle = {
        "z0_ohm": given if ends else "",
        "loss_db_per_100m": given if ends else "",
        "line": f"{given}, and length_m the velocity factor" if by_length else "",
        "velocity_factor_uncertainty": "length_m gives the velocity factor" if by_length else "",
        "length_uncertainty_m": "" if "length_m" in table else "there is no length_m",
    }
    for key, why in idle.items():
        if why and key in table:
            raise table.fail(key, f"it has no effect here, for {why}: leave it out")
