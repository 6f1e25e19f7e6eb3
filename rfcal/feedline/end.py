"""The end of a line whose length is stated: what lies behind it, and whether it is one."""

from dataclasses import replace

import numpy as np

from rfcal.errors import CalibrationError
from rfcal.feedline.echoes import NEAREST
from rfcal.feedline.fault_kinds import MISMATCH, RESISTIVE
from rfcal.feedline.faults import Events
from rfcal.maths.reflection import Real
from rfcal.models.line import SPEED_OF_LIGHT, Line

BEHIND = "ringing behind the end"
"""Kind of an event beyond the line's end: what ends the line answers late, and is no place."""


def require_range(line: Line, frequency: Real) -> None:
    """Refuse steps [Hz] with which the line's far parts would appear nearer than they are."""
    speed = line.velocity_factor * SPEED_OF_LIGHT
    width = float(frequency[-1] - frequency[0])
    step, margin = width / (frequency.size - 1), NEAREST * speed / (2 * width)
    # range = c VF / (2 df)
    if line.length_m > speed / (2 * step) - margin:
        raise CalibrationError(
            f"steps of {step / 1e6:.3g} MHz show {speed / (2 * step) - margin:.3g} m of this line, "
            f"which is {line.length_m:.4g} m long, and what lies beyond appears nearer than it is: "
            f"sweep in steps below {speed / (2 * (line.length_m + margin)) / 1e6:.3g} MHz"
        )


def beyond_end(events: Events, length_m: float, last_m: float) -> float | None:
    """Where something beyond the stated end reflects more than what is there, if it does [m]."""
    size, place = np.abs(events.reflection), events.distance_m
    at_end = np.max(size, where=np.abs(place - length_m) < last_m - length_m, initial=0.0)
    beyond = np.where(place >= last_m, size, 0.0)
    return float(place[np.argmax(beyond)]) if np.any(beyond > at_end) else None


def ended(events: Events, length_m: float, last_m: float) -> Events:
    """The same with what lies behind the end called so."""
    kinds = [
        k if d < last_m else BEHIND for k, d in zip(events.kind, events.distance_m, strict=True)
    ]
    before = kinds.index(BEHIND) if BEHIND in kinds else len(kinds)
    if before and events.distance_m[before - 1] > 2 * length_m - last_m:
        # what rings behind it does not make the end a resistance on the way
        at_end = kinds[before - 1]
        kinds[before - 1] = MISMATCH if at_end in RESISTIVE else at_end
    return replace(events, kind=tuple(kinds))
