"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.feedline.changes import compare
from rfcal.feedline.echoes import NEAREST
from rfcal.feedline.faults import Events, find_events, loss_by_droop
from rfcal.feedline.fit import LineProperties
from rfcal.feedline.measure import measure_line
from rfcal.maths.reflection import Real
from rfcal.models.line import SPEED_OF_LIGHT, Line
from rfcal.record.format.line import LineCheck
from rfcal.record.results import LineState
from rfcal.uncertainty.quantity import Quantity

BEHIND = "ringing behind the end"
"""Kind of an event beyond the line's end: what ends the line answers late, and is no place."""


def line_state(
    wanted: LineCheck,
    frequency: Real,
    now: Quantity,
    then: Quantity | None,
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
    now, then : Quantity, or None
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
            far_end=defaults.PATH["far end"],
        )
        line = properties.line
    loss_known = bool(ends) or wanted.loss_known
    if not loss_known:  # one guess for both sweeps, so that they compare
        line = loss_by_droop(frequency, (then or now).value, line, z_ref=z_ref)
    _require_range(line, frequency)
    of_length, of_velocity = _doubts(wanted, line, properties)
    search = partial(
        _searched,
        frequency,
        line=line,
        loss_known=loss_known,
        z_ref=z_ref,
        velocity_factor_uncertainty=of_velocity,
    )
    events = search(now)
    before = None if then is None else search(then)
    last, beyond = np.inf, None
    if line.length_m:
        last = line.length_m + NEAREST * events.resolution_m
        if properties is None:  # else the same velocity factor stands behind length and events
            last += 2 * of_length + 2 * line.length_m * of_velocity / line.velocity_factor
            beyond = _beyond(events, line.length_m, last)
        last = last if beyond is None else np.inf
        events = _ended(events, line.length_m, last)
    comparison = None
    if then is not None and before is not None:
        comparison = compare(
            frequency,
            now,
            then,
            line,
            events=events,
            baseline=before,
            loss_known=loss_known,
            z_ref=z_ref,
            end_m=last,
        )
    return LineState(
        events, before, comparison, properties, line.length_m, of_length, frequency, beyond
    )


def _searched(frequency: Real, sweep: Quantity, **stated) -> Events:
    """Events of a sweep, what is common to all its frequencies told from noise."""
    return find_events(frequency, sweep.value, common=sweep.common_changes(), **stated)


def _require_range(line: Line, frequency: Real) -> None:
    """Refuse steps with which the line's far parts would appear nearer than they are."""
    speed = line.velocity_factor * SPEED_OF_LIGHT
    width = float(frequency[-1] - frequency[0])
    step, margin = width / (frequency.size - 1), NEAREST * speed / (2 * width)
    if line.length_m > speed / (2 * step) - margin:
        raise CalibrationError(
            f"steps of {step / 1e6:.3g} MHz show {speed / (2 * step) - margin:.3g} m of this line, "
            f"which is {line.length_m:.4g} m long, and what lies beyond appears nearer than it is: "
            f"sweep in steps below {speed / (2 * (line.length_m + margin)) / 1e6:.3g} MHz"
        )


def _beyond(events: Events, length_m: float, last_m: float) -> float | None:
    """Where something beyond the stated end reflects more than what is there, if it does [m]."""
    size, place = np.abs(events.reflection), events.distance_m
    at_end = np.max(size, where=np.abs(place - length_m) < last_m - length_m, initial=0.0)
    beyond = np.where(place >= last_m, size, 0.0)
    return float(place[np.argmax(beyond)]) if np.any(beyond > at_end) else None


def _ended(events: Events, length_m: float, last_m: float) -> Events:
    """The same with what lies behind the end called so."""
    kinds = [
        k if d < last_m else BEHIND for k, d in zip(events.kind, events.distance_m, strict=True)
    ]
    before = kinds.index(BEHIND) if BEHIND in kinds else len(kinds)
    if before and events.distance_m[before - 1] > 2 * length_m - last_m:
        # what rings behind it does not make the end a resistance on the way
        at_end = kinds[before - 1]
        kinds[before - 1] = "mismatch" if at_end.endswith("resistance") else at_end
    return replace(events, kind=tuple(kinds))


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
    return line.length_m * relative if properties else wanted.doubt.get("length", 0.0), of_velocity
