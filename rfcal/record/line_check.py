"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from rfcal.findings import Finding
from rfcal.maths.reflection import Complex, Real
from rfcal.models.cables import CABLES
from rfcal.models.line import Line, loss_law
from rfcal.models.quantity import Quantity
from rfcal.record.between import DEFAULT_DOUBT, LONGEST_M, loss_rows, velocity_factor
from rfcal.record.keys import Keys
from rfcal.tasks.faults import Change, Events, changes, find_events
from rfcal.tasks.feedline import LineProperties, measure_line

BEHIND = "ringing behind the end"
"""Kind of an event beyond the line's end: what ends the line answers late, and is no place."""
LENGTH_DOUBT_M = 0.1
"""Standard uncertainty of a feed line's length by tape [m] (common practice, no source)."""


@dataclass(frozen=True)
class LineCheck:
    """``[line_check]``: a sweep of a line, searched for what reflects on the way.

    Parameters
    ----------
    reading : str
        The sweep's file.
    baseline : str, optional
        An earlier sweep of the same line.
    far_ends : tuple of (float, str)
        What the far end reflected (1 open, -1 short) and the sweep's file, for the line itself.
    line : Line
        Velocity factor, impedance and loss; length 0 where the record does not state it.
    loss_known : bool
        Whether the record states the loss.
    doubt : mapping of str to float
        Standard uncertainties of ``velocity factor`` [1] and ``length`` [m].
    assumed : tuple of str
        Keys of `doubt` that the record does not state.
    by_length : bool
        Whether the velocity factor follows from the length and the measured delay.
    """

    reading: str
    baseline: str | None
    far_ends: tuple[tuple[float, str], ...]
    line: Line
    loss_known: bool
    doubt: dict[str, float]
    assumed: tuple[str, ...]
    by_length: bool


@dataclass(frozen=True, eq=False)
class LineState:
    """What a line check found.

    Parameters
    ----------
    now : Events
        What reflects along the line.
    before : Events, optional
        What reflected along it in the baseline.
    changes : tuple of Change, optional
        What differs from the baseline, nearest first.
    properties : LineProperties, optional
        The line by its own sweeps.
    length_m : float
        Length of the line as measured or stated [m], 0 where neither is.
    length_uncertainty_m : float
        Its standard uncertainty [m].
    frequency : ndarray, shape (F,)
        Frequencies of the sweep [Hz].
    """

    now: Events
    before: Events | None
    changes: tuple[Change, ...] | None
    properties: LineProperties | None
    length_m: float
    length_uncertainty_m: float
    frequency: Real


def read_line_check(keys: Keys, z_ref: float) -> LineCheck:
    """The line check of a record.

    Parameters
    ----------
    keys : Keys
        The table ``[line_check]``.
    z_ref : float
        Reference impedance of the record [ohm], taken for the line's where nothing is stated.

    Returns
    -------
    LineCheck
        The check.

    Raises
    ------
    RecordError
        Names the key at fault.
    """
    keys.only(
        (
            *("reading", "baseline", "far_end_open", "far_end_short", "line", "velocity_factor"),
            *("velocity_factor_uncertainty", "length_m", "length_uncertainty_m", "z0_ohm"),
            "loss_db_per_100m",
        )
    )
    ends = tuple(
        (end, keys.path(key))
        for key, end in (("far_end_open", 1.0), ("far_end_short", -1.0))
        if key in keys.table
    )
    known = CABLES[keys.choice("line", CABLES)] if "line" in keys.table else None
    by_length = bool(ends) and "length_m" in keys.table
    if by_length and "velocity_factor" in keys.table:
        raise keys.fail(
            "velocity_factor",
            "the far end's sweeps and length_m give the velocity factor: state one of the two",
        )
    rows = loss_rows(keys) if "loss_db_per_100m" in keys.table else known.loss if known else ()
    line = Line(
        keys.number("length_m", 0.0, low=0.1 if by_length else 0, high=LONGEST_M),
        0.66 if by_length else velocity_factor(keys, known),
        keys.number("z0_ohm", known.z0 if known else z_ref, low=1e-3, high=1e6),
        *(loss_law(rows) if rows else (0.0, 0.0)),
    )
    name, key = "velocity factor", "velocity_factor_uncertainty"
    default = DEFAULT_DOUBT["velocity factor"]
    if by_length:
        name, key, default = "length", "length_uncertainty_m", LENGTH_DOUBT_M
    return LineCheck(
        keys.path("reading"),
        keys.path("baseline") if "baseline" in keys.table else None,
        ends,
        line,
        bool(rows),
        {name: keys.number(key, default, low=0)},
        () if key in keys.table else (name,),
        by_length,
    )


def assumed(wanted: LineCheck) -> list[Finding]:
    """What the record leaves to a default about the line.

    Parameters
    ----------
    wanted : LineCheck
        The check as the record states it.

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    return [
        Finding(
            "path-default",
            "note",
            "line check",
            f"No uncertainty of the line's {name} is stated, so {wanted.doubt[name]:g} was taken; "
            "distances are no better than that. State what you know of yours.",
        )
        for name in wanted.assumed
    ]


def line_state(
    wanted: LineCheck,
    frequency: Real,
    now: Complex,
    then: Complex | None,
    ends: Sequence[Quantity],
    z_ref: float,
) -> LineState:
    """The state of a line, from its corrected sweeps.

    Parameters
    ----------
    wanted : LineCheck
        The check as the record states it.
    frequency : ndarray, shape (F,)
        Frequencies of all the sweeps [Hz].
    now, then : ndarray, shape (F,), or None
        Corrected reflection at the line's foot [1], today's and the baseline's.
    ends : sequence of Quantity
        Corrected reflection with the far end open or short [1], as in `wanted`.
    z_ref : float
        Reference impedance of the reflections [ohm].

    Returns
    -------
    LineState
        Events, changes and properties.

    Raises
    ------
    CalibrationError
        Sweeps that show no distances, or an ambiguous length.
    """
    line, properties = wanted.line, None
    if ends:
        found = dict(zip((end for end, _ in wanted.far_ends), ends, strict=True))
        properties = measure_line(
            frequency,
            found.get(1.0),
            found.get(-1.0),
            z_ref=z_ref,
            velocity_factor=None if wanted.by_length else line.velocity_factor,
            length_m=line.length_m if wanted.by_length else None,
            far_end=DEFAULT_DOUBT["far end"],
        )
        line = properties.line
    of_length, of_velocity = _doubts(wanted, line, properties)
    search = partial(
        find_events,
        frequency,
        velocity_factor=line.velocity_factor,
        loss_db_per_100m=line.loss_db_per_100m if ends or wanted.loss_known else None,
        z0=line.z0,
        z_ref=z_ref,
        velocity_factor_uncertainty=of_velocity,
    )
    events = search(now)
    before = None if then is None else search(then)
    changed = None if before is None else changes(events, before)
    if line.length_m:
        last = line.length_m + 1.5 * events.resolution_m
        if properties is None:  # else the same velocity factor stands behind length and events
            last += 2 * LENGTH_DOUBT_M + 2 * line.length_m * of_velocity / line.velocity_factor
        kinds = zip(events.kind, events.distance_m, strict=True)
        events = replace(events, kind=tuple(k if d < last else BEHIND for k, d in kinds))
        changed = changed and tuple(c for c in changed if c.distance_m < last)
    return LineState(events, before, changed, properties, line.length_m, of_length, frequency)


def _doubts(
    wanted: LineCheck, line: Line, properties: LineProperties | None
) -> tuple[float, float]:
    """Standard uncertainties of length [m] and velocity factor [1]: the delay ties them."""
    of_delay = properties.standard_uncertainty["delay"] / properties.delay_s if properties else 0.0
    if wanted.by_length:
        relative = float(np.hypot(wanted.doubt["length"] / line.length_m, of_delay))
        return wanted.doubt["length"], line.velocity_factor * relative
    of_velocity = wanted.doubt["velocity factor"]
    relative = float(np.hypot(of_velocity / line.velocity_factor, of_delay))
    return line.length_m * relative if properties else 0.0, of_velocity
