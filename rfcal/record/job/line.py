"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes import Comparison, compare
from rfcal.feedline.echoes import NEAREST
from rfcal.feedline.end import (
    behind_end,
    beyond_end,
    end_among,
    folds,
    own_delay,
    strongest_on,
    unfolded,
    unfolded_places,
    with_own_delay,
)
from rfcal.feedline.faults import Events, find_events, loss_by_droop
from rfcal.feedline.fit import LineProperties
from rfcal.feedline.measure import measure_line
from rfcal.maths.reflection import Real
from rfcal.models.line import Line
from rfcal.record.format.line import LineCheck
from rfcal.record.results import LineState
from rfcal.uncertainty.quantity import Quantity


def line_state(
    wanted: LineCheck,
    frequency: Real,
    now: Quantity,
    then: Quantity | None,
    ends: Sequence[Quantity],
    z_ref: float,
) -> LineState:
    """The state of a line by its sweeps at its foot [1]: today's, the baseline's, its far ends'."""
    found = _by_its_ends(wanted, frequency, ends, z_ref) if ends else None
    line, loss_known = (found.line, True) if found else (wanted.line, wanted.loss_known)
    if not loss_known:  # one guess for both sweeps, so that they compare
        line = loss_by_droop(frequency, (then or now).value, line, z_ref=z_ref)
    doubts = _doubts(wanted, line, found)

    search = partial(
        find_events,
        frequency,
        line=line,
        loss_known=loss_known,
        z_ref=z_ref,
        velocity_factor_uncertainty=doubts[1],
        z0_uncertainty=_of_z0(found),
    )
    ended = partial(_ended, frequency, line=line, doubts=doubts, measured=found is not None)
    swept = search(now.value, common=now.common_changes())
    folded = folds(swept, line.length_m)
    events, end, beyond = ended(unfolded(swept, line.length_m) if folded else swept)
    before = comparison = None
    if then is not None:
        before = search(then.value, common=then.common_changes())
        end_then = beyond_then = None
        if not folded:  # else they compare where they appear
            before, end_then, beyond_then = ended(before)
        if beyond is not None and beyond_then is None and end_then is not None:
            # the length was right then: the line has grown longer
            end, beyond = swept.distance_m.tolist().index(beyond), None
            events = behind_end(swept, end, np.inf)
        end_m = np.inf if beyond is not None or folded or not line.length_m else line.length_m
        comparison = compare(
            frequency,
            now,
            then,
            line,
            events=swept if folded else events,
            baseline=before,
            loss_known=loss_known,
            z_ref=z_ref,
            end_m=end_m if end is None or folded else float(events.distance_m[end]),
            end_then_m=None if end_then is None else float(before.distance_m[end_then]),
        )
        if folded:
            comparison = _unfolded_changes(comparison, swept, line.length_m)
    return LineState(
        events, before, comparison, found, line.length_m, doubts[0], frequency, beyond, end
    )


def _by_its_ends(
    wanted: LineCheck, frequency: Real, ends: Sequence[Quantity], z_ref: float
) -> LineProperties:
    """The line's own properties, from sweeps with its far end open or short [1]."""
    seen = dict(zip((end for end, _ in wanted.far_ends), ends, strict=True))
    return measure_line(
        frequency,
        seen.get(1.0),
        seen.get(-1.0),
        z_ref=z_ref,
        velocity_factor=None if wanted.by_length else wanted.line.velocity_factor,
        length_m=wanted.line.length_m if wanted.by_length else None,
        far_end=defaults.PATH["far end"],
    )


def _doubts(wanted: LineCheck, line: Line, found: LineProperties | None) -> tuple[float, float]:
    """Standard uncertainties of length [m] and velocity factor [1]: the delay ties them."""
    of_delay = found.standard_uncertainty["delay"] / found.delay_s if found else 0.0
    if wanted.by_length:
        relative = float(np.hypot(wanted.doubt["length"] / line.length_m, of_delay))
        return wanted.doubt["length"], line.velocity_factor * relative
    of_velocity = wanted.doubt["velocity factor"]
    relative = float(np.hypot(of_velocity / line.velocity_factor, of_delay))
    return line.length_m * relative if found else wanted.doubt.get("length", 0.0), of_velocity


def _unfolded_changes(found: Comparison, events: Events, length_m: float) -> Comparison:
    """The same with what changed at the line's end where that is."""
    each = np.array([change.distance_m for change in found.changes])
    places = unfolded_places(events, each, length_m)
    moved = [replace(c, distance_m=float(d)) for c, d in zip(found.changes, places, strict=True)]
    return replace(found, changes=tuple(sorted(moved, key=lambda change: change.distance_m)))


def _of_z0(found: LineProperties | None) -> float:
    """Standard uncertainty of the line's impedance [1, relative]: as cables of one type differ."""
    if found is None:
        return defaults.PATH["impedance"]
    return found.standard_uncertainty["z0"] / found.line.z0


def _ended(
    frequency: Real, events: Events, *, line: Line, doubts: tuple[float, float], measured: bool
) -> tuple[Events, int | None, float | None]:
    """Events up to the line's end, which of them it is, and where it seems to be [m].

    The last is told of a stated length alone, where more reflects from beyond it.
    """
    length, own = line.length_m, own_delay(events, frequency)
    if not length:
        return with_own_delay(events, own, strongest_on(events)), None, None
    last, of_place = length + NEAREST * events.resolution_m, events.distance_uncertainty_m
    of_length, of_velocity = doubts[0], doubts[1] / line.velocity_factor
    if measured:  # the same velocity factor stands behind length and events
        of_place = np.sqrt(np.maximum(of_place**2 - (of_velocity * events.distance_m) ** 2, 0))
        of_length = 0.0
    else:
        last += 2 * of_length + 2 * length * of_velocity
    end = end_among(events, length, np.linalg.norm([of_place, own], axis=0) + of_length, last)
    beyond = None if measured else beyond_end(events, end, last)
    if beyond is not None:
        return with_own_delay(events, own, strongest_on(events)), None, beyond
    events = behind_end(events, end, last)
    if end is None:
        return events, None, None
    return with_own_delay(events, own, slice(end, end + 1)), end, None
