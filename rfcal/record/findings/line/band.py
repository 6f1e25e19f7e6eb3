"""What band and steps of a line's sweep leave open, what would tell, and what may ring."""

import math
from collections.abc import Iterable

import numpy as np

from rfcal.feedline.changes.comparison import GROWN, TRIFLE
from rfcal.feedline.faults.echoes import TOTAL
from rfcal.feedline.faults.end import EARLY, RINGING, ringing, strongest_on
from rfcal.feedline.faults.events import FAULT
from rfcal.findings import Finding, size_words
from rfcal.record.findings.catalogue import line as say
from rfcal.record.results import LineState
from rfcal.uncertainty.words import about

SHORT_RANGE_M = 100.0
"""A range below this may be shorter than a feed line is [m] (common practice, no source)."""

COARSE, FINE, LEAST_M = 5.0, 20.0, 1.0
"""A sweep is narrow if it tells less than the first of these places apart on the line; one that
tells the second, or a place every metre, would do (common practice, no source)."""

HIDDEN = 2.0
"""A change of the end hides one before it within so many resolutions (by simulation)."""

FAINTEST = 0.005
"""What reflects less [1] is not told of: the best connectors do (common practice, no source)."""


RINGS_LESS = 0.1
"""Before the end antennas alone ring less than this [1] (by simulation of a thousand lines)."""


def farther_words(state: LineState, distance_m: float) -> str:
    """By how much farther a place may lie and still before the end, as far as that is known."""
    ranges = (state.length_m - distance_m) / state.now.band.range
    more = ", or a multiple of that" if ranges > 2 else ""
    may = ranges > 1 or distance_m < state.now.band.tail or may_fold(state)
    return f"or {state.now.band.range:.0f} m farther{more}" if may else ""


def may_fold(state: LineState) -> bool:
    """Whether a line of unknown length may well be longer than the steps show."""
    now = state.now
    return not state.length_m and now.band.range <= SHORT_RANGE_M and bool(now.distance_m.size)


def hidden_m(state: LineState) -> float:
    """How far before a line's end what changed may pass for a change of the end [m]."""
    return HIDDEN * state.now.band.resolution


def unplaced(state: LineState) -> str:
    """Up to where all may be that a narrow band sees of a line of unknown length, if within that.

    What an antenna answers there passes for any place in that.
    """
    now = state.now
    if state.length_m or not now.band.narrow or not now.kind:
        return ""
    strongest = int(np.argmax(now.size))
    # what reflects all delays nothing
    all_of_it = now.size[strongest] > TOTAL
    placed = all_of_it or now.distance_m[strongest] > now.band.near
    return "" if placed else say.LINE_SOMEWHERE.format(near=about(now.band.near))


def needed_mhz(state: LineState) -> float:
    """How wide a sweep tells places apart that this one does not; 0 where it tells enough."""
    now, near = state.now, state.now.band.near
    length = state.length_m or float(np.max(now.distance_m, initial=0.0))
    aim = max(length / FINE, LEAST_M)
    if not 0 < length < COARSE * near or aim > near:
        return 0.0
    return float(f"{float(np.ptp(state.frequency)) / 1e6 * near / aim:.2g}")


def deciding_mhz(state: LineState) -> tuple[float, float]:
    """The band that tells kinds apart, and places as well."""
    middle = float(np.mean(state.frequency)) / 1e6
    return middle / 2, middle / 2 + max(middle, needed_mhz(state))


def about_range(state: LineState) -> list[Finding]:
    """What wide steps leave open."""
    now, band = state.now, state.now.band
    values = {"step_mhz": band.width / (band.frequency.size - 1) / 1e6, "range_m": now.band.range}
    if band.folds or at_start(state):
        beyond = say.LINE_FOLDS_BACK if band.folds else say.LINE_RINGS_BACK
        beyond = beyond.format(range_m=now.band.range, tail_m=band.tail)
        return [say.LINE_STEPS(length_m=state.length_m, beyond=beyond, **values, **_steps(state))]
    if not may_fold(state):
        return []
    place = float(now.distance_m[np.argmax(now.size)])
    values |= {"place_m": place, "beyond_m": place + now.band.range}
    cures = place + band.needed - band.length < now.band.range
    values["least_mhz"] = values["step_mhz"] * now.band.range / SHORT_RANGE_M / 2
    return [say.LINE_FOLDED(state_it=say.LINE_OR_STATE if cures else "", **values)]


def _steps(state: LineState) -> dict[str, float]:
    """Below what steps a sweep shows all of a line and what rings behind its end."""
    band = state.now.band
    share = (band.frequency.size - 1) * band.needed / band.range
    return {"least_mhz": band.width / share / 1e6, "points": math.ceil(share) + 1}


def at_start(state: LineState, *, told: bool = False) -> bool:
    """Whether something appears where what rings behind the end would, folded back.

    Or is told of there, which against a baseline is what has changed; unless that is the end alone,
    of which it may be part.
    """
    now, found, tail = state.now, state.comparison, state.now.band.tail
    place = now.distance_m[now.size >= TRIFLE]
    changed = np.array([change.distance_m for change in found.changes] if found else [])
    told &= not (changed.size and np.min(changed) > state.length_m - now.band.near)
    late = changed if told and found else np.append(place, changed)
    return bool(tail and np.any((late < tail) | (late > now.band.range) * (not told)))


def steps_first(state: LineState) -> str:
    """What to do before anybody looks at a place that may be such ringing, in words if any is."""
    told = at_start(state, told=True)
    return say.LINE_STEPS_FIRST.format(**_steps(state)) if told else ""


def least_seen(state: LineState) -> float:
    """The least reflection that stands out as far as the line's end, or as is seen [1]."""
    now = state.now
    length = state.length_m or float(np.max(now.distance_m, initial=0.0))
    before = max(min(length, now.band.range, now.seen_m) - now.band.near, 0.0)
    return max(FAINTEST, float(np.interp(before, now.band.grid, now.least)))


def rings(state: LineState) -> np.ndarray:
    """Which places ring at the line's end or what may be it, or may do so, (K,)."""
    now = state.now
    late = np.isin(now.kind, (RINGING, EARLY))
    return late | ringing(now) if late.size and state.end is None else late


def may_ring(state: LineState) -> np.ndarray:
    """Which of these lie well before the end, and may be places, (K,)."""
    now, end = state.now, strongest_on(state.now).start if state.end is None else state.end
    end_m = np.r_[now.distance_m, 0.0][end or 0]
    if state.end is not None and state.length_m:
        end_m = min(end_m, state.length_m)
    return rings(state) & (now.distance_m < end_m - now.band.near)


def perhaps(state: LineState) -> list[int]:
    """Which of these a sentence tells of, as they are not in a baseline."""
    now, then, size = state.now, state.before, state.now.size
    early = may_ring(state) & (size >= TRIFLE) & (state.end is not None)
    if then is not None:
        off = np.abs(now.distance_m[:, None] - then.distance_m) < now.band.near
        early &= np.all((size[:, None] > GROWN * then.size) | ~off, axis=1)
    return np.flatnonzero(early).tolist()


def perhaps_words(state: LineState) -> str:
    """That this may be places; empty where there is nothing of the kind."""
    if not (early := perhaps(state)):
        return ""
    most = max(state.now.size[early])
    look = f": {say.LINE_NEXT_VISIT if most >= FAULT else say.LINE_TELL_RINGING}"
    if state.before is not None or most > RINGS_LESS:
        look = say.LINE_LOOK_THERE
    return early_words(state, early) + look


def early_words(state: LineState, early: Iterable[int]) -> str:
    """What may be places or the end's own ringing, with their sizes."""
    now = state.now
    each = [f"{now.distance_m[k]:.1f} m, {size_words(now.size[k])}" for k in early]
    return say.LINE_PERHAPS.format(places=", and at ".join(each))
