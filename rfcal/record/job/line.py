"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes import Comparison, compare
from rfcal.feedline.echo_basis import prepare
from rfcal.feedline.end import (
    behind_end,
    beyond_end,
    end_among,
    folds,
    own_delay,
    placed_by_loss,
    strongest_on,
    unfolded,
    unfolded_places,
    with_own_delay,
)
from rfcal.feedline.faults import FAULT, Events, find_events, loss_by_droop
from rfcal.feedline.fit import FarEnds, LineProperties
from rfcal.feedline.loss import Lost, measured_more, more_than_stated
from rfcal.feedline.measure import followed, measure_line, measure_unfollowed
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
    given: dict[str, Any] = {"loss_known": loss_known, "z_ref": z_ref}
    # cables of one type differ
    of_z0 = (
        found.standard_uncertainty["z0"] / found.line.z0 if found else defaults.PATH["impedance"]
    )

    def look(sweep: Quantity, line: Line) -> _Sight:
        common = sweep.common_changes()
        unsure = {"velocity_factor_uncertainty": doubts[1], "z0_uncertainty": of_z0}
        swept = find_events(frequency, sweep.value, line, common=common, **given | unsure)
        fade = prepare(frequency, sweep.value, line, loss_known).fade
        return _ended(frequency, swept, fade, line, doubts, found is not None)

    seen, before, comparison = look(now, line), None, None
    grown = lost = _beyond_stated(wanted, frequency, now, z_ref, found, seen)
    placed = loss_known and placed_by_loss(frequency, now.value, line, seen.swept)
    if then is not None:
        before = look(then, line)
        differ = partial(compare, frequency, now, then, line, **given)
        against = partial(_against, differ, before, length_m=line.length_m)
        seen, comparison = against(seen)
        grown = comparison.lost
    if grown is not None and not (lost and found):  # so that its end is told as it is
        seen = look(now, grown.on(line))
        seen, comparison = (seen, None) if before is None else against(seen)
    return LineState(
        seen.events,
        before and before.events,
        comparison,
        found,
        line.length_m,
        doubts[0],
        frequency,
        seen.beyond_m,
        seen.end,
        lost,
        loss_known,
        placed,
        bool(found and not wanted.by_length and not followed(frequency, found.delay_s)),
    )


class _Sight(NamedTuple):
    """What a sweep shows of a line."""

    swept: Events  # where they appear
    events: Events  # up to the line's end, and where they are
    folded: bool  # whether that differs, as its far parts fold back
    end: int | None = None  # which of them is the line's end
    beyond_m: float | None = None  # where more reflects from beyond a stated length


def _against(
    differ: Callable[..., Comparison], then: _Sight, now: _Sight, length_m: float
) -> tuple[_Sight, Comparison]:
    """Today's events by what the baseline knows, and what differs from it."""
    if now.folded:  # compared as they appear
        found = differ(events=now.swept, baseline=then.swept)
        each = np.array([change.distance_m for change in found.changes])
        places = unfolded_places(now.swept, each, length_m)
        moved = [
            replace(c, distance_m=float(d)) for c, d in zip(found.changes, places, strict=True)
        ]
        return now, replace(found, changes=tuple(sorted(moved, key=lambda c: c.distance_m)))
    if now.beyond_m is not None and then.beyond_m is None and then.end is not None:
        # the stated length was right in the baseline: the end is where it is now
        end = now.swept.distance_m.tolist().index(now.beyond_m)
        now = now._replace(events=behind_end(now.swept, end, np.inf), end=end, beyond_m=None)
    ends = [None if s.end is None else float(s.events.distance_m[s.end]) for s in (then, now)]
    stated = np.inf if now.beyond_m is not None or not length_m else length_m
    end_m = stated if ends[1] is None else ends[1]
    given = {"events": now.events, "baseline": then.events, "end_m": end_m, "end_then_m": ends[0]}
    return now, differ(**given)


def _beyond_stated(
    wanted: LineCheck,
    frequency: Real,
    now: Quantity,
    z_ref: float,
    found: LineProperties | None,
    seen: _Sight,
) -> Lost | None:
    """What the line loses more than its type or the record says, as far as its end tells."""
    if not wanted.loss_known:
        return None
    if found is not None:
        return measured_more(frequency, found, wanted.line)
    # what hardly reflects falls over the band as it likes
    if seen.folded or seen.end is None or abs(seen.events.reflection[seen.end]) < FAULT:
        return None
    end_m = float(seen.events.distance_m[seen.end])
    return more_than_stated(frequency, now.value, wanted.line, z_ref=z_ref, end_m=end_m)


def _by_its_ends(
    wanted: LineCheck, frequency: Real, ends: Sequence[Quantity], z_ref: float
) -> LineProperties:
    """The line's own properties, from sweeps with its far end open or short [1]."""
    seen = dict(zip((end for end, _ in wanted.far_ends), ends, strict=True))
    swept = FarEnds(frequency, seen, z_ref, defaults.PATH["far end"])
    if wanted.by_length:
        return measure_line(swept, length_m=wanted.line.length_m)
    velocity = wanted.line.velocity_factor
    return measure_unfollowed(swept, velocity) or measure_line(swept, velocity_factor=velocity)


def _doubts(wanted: LineCheck, line: Line, found: LineProperties | None) -> tuple[float, float]:
    """Standard uncertainties of length [m] and velocity factor [1]: the delay ties them."""
    of_delay = found.standard_uncertainty["delay"] / found.delay_s if found else 0.0
    if wanted.by_length:
        relative = float(np.hypot(wanted.doubt["length"] / line.length_m, of_delay))
        return wanted.doubt["length"], line.velocity_factor * relative
    of_velocity = wanted.doubt["velocity factor"]
    relative = float(np.hypot(of_velocity / line.velocity_factor, of_delay))
    return line.length_m * relative if found else wanted.doubt.get("length", 0.0), of_velocity


def _ended(
    frequency: Real,
    swept: Events,
    fade: Callable[[Real], Real],
    line: Line,
    doubts: tuple[float, float],
    measured: bool,
) -> _Sight:
    """Events up to the line's end; more from beyond it is told of a stated length alone."""
    length, folded = line.length_m, folds(swept, line.length_m)
    events = unfolded(swept, length, fade) if folded else swept
    own = own_delay(events, frequency)
    open_ended = _Sight(swept, with_own_delay(events, own, strongest_on(events)), folded)
    if not length:
        return open_ended
    last = length + events.near_m
    # a place that may be two is no end by that
    of_place = np.sqrt(events.distance_uncertainty_m**2 - events.merged_m**2)
    of_length, of_velocity = doubts[0], doubts[1] / line.velocity_factor
    if measured:  # the same velocity factor stands behind length and events
        of_place = np.sqrt(np.maximum(of_place**2 - (of_velocity * events.distance_m) ** 2, 0))
        of_length = 0.0
    else:
        last += 2 * of_length + 2 * length * of_velocity
    end = end_among(events, length, np.linalg.norm([of_place, own], axis=0) + of_length, last)
    beyond = None if measured else beyond_end(events, end, last)
    if beyond is not None:
        return open_ended._replace(beyond_m=beyond)
    events = behind_end(events, end, last)
    if end is not None:
        events = with_own_delay(events, own, slice(end, end + 1))
    return _Sight(swept, events, folded, end)
