"""What the band and the steps of a line's sweep leave open, and what would tell."""

import math

import numpy as np

from rfcal.feedline.changes.comparison import LEAST
from rfcal.feedline.faults.echoes import TOTAL
from rfcal.findings import Finding
from rfcal.record.findings.catalogue import line as say
from rfcal.record.results import LineState
from rfcal.uncertainty.words import about

SHORT_M = 100.0
"""A range below this may be shorter than a feed line is [m] (common practice, no source)."""

COARSE, FINE, LEAST_M = 5.0, 20.0, 1.0
"""A sweep is narrow if it tells less than the first of these places apart on the line; one that
tells the second, or a place every metre, would do (common practice, no source)."""

HIDDEN = 2.0
"""A change of the end hides one before it within so many resolutions (by simulation)."""

FAINTEST = 0.005
"""What reflects less [1] is not told of: the best connectors do (common practice, no source)."""


def farther_words(state: LineState, distance_m: float) -> str:
    """By how much farther a place may lie and still before the end, as far as that is known."""
    ranges = (state.length_m - distance_m) / state.now.range_m
    more = ", or a multiple of that" if ranges > 2 else ""
    may = ranges > 1 or distance_m < state.now.echoes.band.tail or may_fold(state)
    return f"or {state.now.range_m:.0f} m farther{more}" if may else ""


def may_fold(state: LineState) -> bool:
    """Whether a line of unknown length may well be longer than the steps show."""
    now = state.now
    known = bool(state.length_m) or state.placed
    return not known and now.range_m <= SHORT_M and bool(now.distance_m.size)


def hidden_m(state: LineState) -> float:
    """How far before a line's end what changed may pass for a change of the end [m]."""
    return HIDDEN * state.now.resolution_m


def unplaced(state: LineState) -> str:
    """Up to where all may be that a narrow band sees of a line of unknown length, if within that.

    What an antenna answers there passes for any place in that.
    """
    now = state.now
    if state.length_m or not now.narrow or not now.kind:
        return ""
    strongest = int(np.argmax(np.abs(now.reflection)))
    # what reflects all delays nothing
    all_of_it = abs(now.reflection[strongest]) > TOTAL
    placed = all_of_it or now.distance_m[strongest] > now.near_m
    return "" if placed else say.LINE_SOMEWHERE.format(near=about(now.near_m))


def needed_mhz(state: LineState) -> float:
    """How wide a sweep tells places apart that this one does not; 0 where it tells enough."""
    now, near = state.now, state.now.near_m
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
    now, band = state.now, state.now.echoes.band
    values = {"step_mhz": band.width / (band.frequency.size - 1) / 1e6, "range_m": now.range_m}
    if band.folds or at_start(state):
        beyond = say.LINE_FOLDS_BACK if band.folds else say.LINE_RINGS_BACK
        beyond = beyond.format(range_m=now.range_m, tail_m=band.tail)
        return [say.LINE_STEPS(length_m=state.length_m, beyond=beyond, **values, **_steps(state))]
    if not may_fold(state):
        return []
    place = float(now.distance_m[np.argmax(np.abs(now.reflection))])
    values |= {"place_m": place, "beyond_m": place + now.range_m}
    cures = place + band.needed - band.length < now.range_m
    values["least_mhz"] = values["step_mhz"] * now.range_m / SHORT_M / 2
    return [say.LINE_FOLDED(state_it=say.LINE_OR_STATE if cures else "", **values)]


def _steps(state: LineState) -> dict[str, float]:
    """Below what steps a sweep shows all of a line and what rings behind its end."""
    band = state.now.echoes.band
    share = (band.frequency.size - 1) * band.needed / band.range
    return {"least_mhz": band.width / share / 1e6, "points": math.ceil(share) + 1}


def at_start(state: LineState, *, told: bool = False) -> bool:
    """Whether something appears where what rings behind the end would, folded back.

    Or is told of there, which against a baseline is what has changed; unless that is the end alone,
    of which it may be part.
    """
    now, found, tail = state.now, state.comparison, state.now.echoes.band.tail
    place = now.distance_m[np.abs(now.reflection) >= LEAST]
    changed = np.array([change.distance_m for change in found.changes] if found else [])
    told &= not (changed.size and np.min(changed) > state.length_m - now.near_m)
    late = changed if told and found else np.append(place, changed)
    return bool(tail and np.any((late < tail) | (late > now.range_m) * (not told)))


def steps_first(state: LineState) -> str:
    """What to do before anybody looks at a place that may be such ringing, in words if any is."""
    told = at_start(state, told=True)
    return say.LINE_STEPS_FIRST.format(**_steps(state)) if told else ""


def least_seen(state: LineState) -> float:
    """The least reflection that stands out as far as the line's end, or as is seen [1]."""
    now = state.now
    length = state.length_m or float(np.max(now.distance_m, initial=0.0))
    before = max(min(length, now.range_m, now.seen_m) - now.near_m, 0.0)
    return max(FAINTEST, float(np.interp(before, now.grid_m, now.least)))
