"""``[line_check]``: the state of a line, what reflects along it, and what has changed."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes import Comparison, compare
from rfcal.feedline.echo_basis import prepare
from rfcal.feedline.echoes import NEAREST
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
from rfcal.feedline.fit import LineProperties
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

    given: dict[str, Any] = {"line": line, "loss_known": loss_known, "z_ref": z_ref}
    search: Callable[..., Events] = partial(
        find_events,
        frequency,
        **given,
        velocity_factor_uncertainty=doubts[1],
        z0_uncertainty=_of_z0(found),
    )
    ended = partial(_ended, frequency, line=line, doubts=doubts, measured=found is not None)
    swept = search(now.value, common=now.common_changes())
    folded = folds(swept, line.length_m)
    fade = prepare(frequency, now.value, line, loss_known).fade
    seen = ended(unfolded(swept, line.length_m, fade) if folded else swept)
    before = comparison = None
    if then is not None:
        earlier = search(then.value, common=then.common_changes())
        differ = partial(compare, frequency, now, then, **given)
        seen, before, comparison = _since(earlier, ended, differ, swept, seen, line.length_m)
    lost = _beyond_stated(wanted, frequency, now, z_ref, found, None if folded else seen)
    of_line = found, line.length_m, doubts[0], frequency
    placed = loss_known and placed_by_loss(frequency, now.value, line, swept)
    left = bool(found and not wanted.by_length and not followed(frequency, found.delay_s))
    return LineState(
        seen.events, before, comparison, *of_line, seen.beyond_m, seen.end, lost, placed, left
    )


class _Ended(NamedTuple):
    """Events up to a line's end."""

    events: Events
    end: int | None  # which of them it is
    beyond_m: float | None  # where more reflects from beyond a stated length


def _since(
    before: Events,
    ended: Callable[[Events], _Ended],
    differ: Callable[..., Comparison],
    swept: Events,
    now: _Ended,
    length_m: float,
) -> tuple[_Ended, Events, Comparison]:
    """Today's events by what the baseline knows, those of the baseline, and what differs."""
    folded = swept if folds(swept, length_m) else None  # they compare where they appear
    earlier = _Ended(before, None, None) if folded else ended(before)
    now = _grown(swept, now, earlier)
    return now, earlier.events, _compared(differ, folded, now, earlier, length_m)


def _grown(swept: Events, now: _Ended, then: _Ended) -> _Ended:
    """The end where it is now, if the stated length was right in the baseline."""
    if now.beyond_m is None or then.beyond_m is not None or then.end is None:
        return now
    end = swept.distance_m.tolist().index(now.beyond_m)
    return _Ended(behind_end(swept, end, np.inf), end, None)


def _compared(
    differ: Callable[..., Comparison],
    folded: Events | None,
    now: _Ended,
    then: _Ended,
    length_m: float,
) -> Comparison:
    """What differs from the baseline; where far parts fold back, compared as they appear."""
    end_m = np.inf if now.beyond_m is not None or folded or not length_m else length_m
    if now.end is not None and not folded:
        end_m = float(now.events.distance_m[now.end])
    end_then_m = None if then.end is None else float(then.events.distance_m[then.end])
    found = differ(
        events=folded or now.events, baseline=then.events, end_m=end_m, end_then_m=end_then_m
    )
    return _unfolded_changes(found, folded, length_m) if folded else found


def _beyond_stated(
    wanted: LineCheck,
    frequency: Real,
    now: Quantity,
    z_ref: float,
    found: LineProperties | None,
    seen: _Ended | None,
) -> Lost | None:
    """What the line loses more than its type or the record says, as far as its end tells."""
    if not wanted.loss_known:
        return None
    if found is not None:
        return measured_more(frequency, found, wanted.line)
    # what hardly reflects falls over the band as it likes
    if seen is None or seen.end is None or abs(seen.events.reflection[seen.end]) < FAULT:
        return None
    end_m = float(seen.events.distance_m[seen.end])
    return more_than_stated(frequency, now.value, wanted.line, z_ref=z_ref, end_m=end_m)


def _by_its_ends(
    wanted: LineCheck, frequency: Real, ends: Sequence[Quantity], z_ref: float
) -> LineProperties:
    """The line's own properties, from sweeps with its far end open or short [1]."""
    seen = dict(zip((end for end, _ in wanted.far_ends), ends, strict=True))
    swept = frequency, seen.get(1.0), seen.get(-1.0)
    given: dict[str, Any] = {"z_ref": z_ref, "far_end": defaults.PATH["far end"]}
    if wanted.by_length:
        return measure_line(*swept, length_m=wanted.line.length_m, **given)
    given["velocity_factor"] = wanted.line.velocity_factor
    return measure_unfollowed(*swept, **given) or measure_line(*swept, **given)


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
) -> _Ended:
    """Events up to the line's end; more from beyond it is told of a stated length alone."""
    length, own = line.length_m, own_delay(events, frequency)
    if not length:
        return _Ended(with_own_delay(events, own, strongest_on(events)), None, None)
    last = length + NEAREST * events.resolution_m
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
        return _Ended(with_own_delay(events, own, strongest_on(events)), None, beyond)
    events = behind_end(events, end, last)
    if end is None:
        return _Ended(events, None, None)
    return _Ended(with_own_delay(events, own, slice(end, end + 1)), end, None)
