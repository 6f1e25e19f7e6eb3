"""The state of a line against an earlier sweep of it, in one sentence."""

import math
from collections.abc import Sequence
from itertools import compress

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.compare import EDGE
from rfcal.feedline.changes.comparison import LEAST, Change, slowed
from rfcal.feedline.changes.shift import Shift
from rfcal.feedline.faults.echoes import TOTAL
from rfcal.feedline.faults.end import WHOLE, more_than_all, strongest_on
from rfcal.feedline.faults.kinds import SLOWING
from rfcal.findings import size_words
from rfcal.maths.reflection import Real
from rfcal.models.line import SPEED_OF_LIGHT
from rfcal.record.findings.catalogue import line as say
from rfcal.record.findings.line.band import farther_words, hidden_m, unplaced
from rfcal.record.findings.line.loss import lost_words, weather_values
from rfcal.record.findings.line.otherwise import stretches
from rfcal.record.findings.line.ringing import perhaps_words
from rfcal.record.findings.line.verdict import (
    LEAST_MOVE,
    at_end,
    before_end,
    end_words,
    kind_words,
    look_words,
    place_words,
    reflections,
    sentence,
    unplaced_words,
)
from rfcal.record.results import LineState
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.words import about, plus_minus

WEAKLY = 0.5
"""What lies beyond a place that reflects so much [1] is seen weakly."""

SLOWING_OFF = 0.03
"""What slows the wave takes of it too, which moves what is behind by this share (standard)."""

ONE_PIECE_M = 0.2
"""Lengths of line that differ by less than this are one [m]."""

TURNED_DB = 0.5
"""What changed in size by less than this [dB] only turned."""

FLAT = 0.8
"""What differs by more than this part of the most everywhere does so all over the band."""

TOP_M = 5.0
"""Where a line broke is told from its end too if it is no farther from there [m]."""


def compared(state: LineState) -> tuple[str, bool]:
    """A line against its baseline, and whether that is to be looked after."""
    type_first, (parts, fault) = _type_words(state), _what_differs(state)
    return sentence("; ".join(filter(None, [*type_first, *parts]))), fault or bool(type_first)


def _type_words(state: LineState) -> list[str]:
    """What tells that the cable is not of the type that is stated."""
    now = state.now
    if state.misstated is not None:
        stated, doubt = state.misstated
        place = state.length_m * stated / now.velocity_factor
        fits = plus_minus(now.velocity_factor, K_AXIS * doubt)
        return [say.LINE_OTHER.format(fits=fits, stated=stated, place=place)]
    if state.length_m or not (state.loss_known and more_than_all(now)):
        return []
    place = float(now.distance_m[np.argmax(np.abs(now.reflection))])
    return [say.LINE_OVER.format(there=f"{place:.1f} m")]


def _what_differs(state: LineState) -> tuple[list[str], bool]:
    """More loss, the nearest change, and what else is new; and whether that is a fault."""
    found = state.comparison
    assert found is not None
    lost = [] if found.lost is None else [lost_words(state, found.lost)]
    # what broke is what makes it shorter
    broken, shift = any(change.closed for change in found.changes), found.shift
    moved = "" if shift is None or (broken and shift.size < 0) else _moved_words(state, shift)
    longer = bool(moved)
    if not found.changes:
        sound = "nothing else has changed" if lost else say.LINE_SOUND
        values = {} if found.weather is None else weather_values(found.weather)
        sound = say.LINE_WEATHER if values else sound
        least = max(LEAST, math.ceil(100 * found.largest) / 100)
        said = moved or sound.format(least=least, end=end_words(state), **values)
        return [said, *lost] if longer else [*lost, said], longer or bool(lost)
    ends = all(of_end(state, change) for change in found.changes)
    blind = ends and hidden_m(state) > state.length_m > 0
    if (blind or unplaced(state)) and not (moved or broken):
        changed, most = most_words(state)
        return [*lost, say.LINE_ANYWHERE + changed, unplaced_words(state), most], True
    first = found.changes[0]
    new = [c for c in found.changes if c.what == "new" or _breaks(state, c)]
    # where the line broke, it matters little what is gone before
    one = next((c for c in found.changes if c.closed), first) if first.what == "gone" else first
    each = [c for c in found.changes if (c is one or c.closed) and c not in new]
    told = [_change_words(state, c) for c in each]
    places = [(c.distance_m, c.after, c.kind, c.fits) for c in new]
    told += reflections(state, say.LINE_NEW, [place for place in places if abs(place[1]) >= LEAST])
    small = [(*place[:2], "", ()) for place in places if abs(place[1]) < LEAST]
    told += reflections(state, say.LINE_NEW_SMALL, small)
    off = state.now.distance_m - np.array([c.distance_m for c in new])[:, None]
    is_new = np.any(np.abs(off) < state.now.near_m, axis=0)
    told += stretches(state, [m for m in before_end(state) if is_new[m]], is_new)
    slows = bool(new) and new[0].kind in SLOWING
    if slows and longer and shift is not None:
        # a piece that long is met first
        slows = shift.from_m == new[0].distance_m and 0 < shift.size < state.now.near_m
    if slows:
        speed = state.now.velocity_factor * SPEED_OF_LIGHT
        size = shift.size if longer and shift else slowed(new[0], state.frequency, speed)
        moved = say.LINE_SLOWS.format(size=size)
    # a piece that slows the wave is what its two ends come from
    parts = [*lost, moved, *told] if longer and not slows else [*lost, *told, moved]
    parts.append(_beyond(state, found.changes, bool(moved or found.pieces.size)))
    come = [c for c in found.changes if c.what != "gone"]
    come = [c for c in come if by_faults(state, c) not in ("all", "perhaps")]
    return parts, longer or bool(lost) or any(abs(c.after) >= LEAST for c in come)


def _breaks(state: LineState, change: Change) -> bool:
    """Whether the line is broken or shorted there, before its end."""
    return change.closed and not at_end(state, change.distance_m)


def _beyond(state: LineState, changes: Sequence[Change], moved: bool) -> str:
    """What is seen beyond the changes that are told, or how the rest is."""
    first, *others = changes
    if (broken := next((c for c in changes if c.closed), None)) is not None:
        if not _breaks(state, broken):
            return say.LINE_UP_TO if broken is first else ""
        gone = [c.distance_m - broken.distance_m for c in changes if c.what == "gone"]
        nearer = say.LINE_NEARER.format(off=gone[-1]) if gone and 0 < gone[-1] < TOP_M else ""
        it = "it" if broken is first else f"{broken.distance_m:.1f} m"
        return nearer + say.LINE_NONE_BEYOND.format(it=it)
    if any(c.what != "new" for c in others):
        through = abs(first.after) >= WEAKLY
        how = say.LINE_THROUGH_IT.get(by_faults(state, others[-1]), "")
        return (say.LINE_THROUGH_WEAKLY if through else say.LINE_THROUGH) + how
    if (perhaps := perhaps_words(state)) or others or moved:
        return perhaps
    found, now = state.comparison, state.now
    if not of_end(state, first) or found is None:
        return "the line is otherwise as it was"
    said = [] if hidden_m(state) > state.length_m / 2 > 0 else [say.LINE_NO_OTHER]
    if not (now.narrow or found.hidden or (found.shift and found.shift.all_along)):
        said = ["" if found.lost else "the line is otherwise as it was"]
    return "; ".join(filter(None, [*said, say.LINE_LOSS_HIDDEN if found.hidden else ""]))


def _moved_words(state: LineState, shift: Shift) -> str:
    """Where the line has grown longer or shorter; nothing where all of it may have."""
    if shift.between_m is None:
        return ""
    more = "longer" if shift.size > 0 else "shorter"
    place = f"{shift.from_m:.1f} m" if shift.from_m is not None else ""
    near, far = shift.between_m
    doubt = K_AXIS * float(np.hypot(shift.uncertainty, SLOWING_OFF * shift.size))
    size = plus_minus(abs(shift.size), max(doubt, LEAST_MOVE))
    now, found = state.now, state.comparison
    assert found is not None
    last = state.end if state.end is not None else int(np.argmax(np.abs(now.reflection)))
    at_ends = near <= 0, far > now.distance_m[last] - shift.size - now.near_m
    whole = np.abs(now.reflection[last]) > TOTAL or (*now.fits[last], "")[0] in WHOLE
    ends = shift.size < 0 and whole
    if not ends and any(at_ends) and not any(c.grown or c.what == "gone" for c in found.changes):
        ask = ", then ".join(compress(say.LINE_ADDED_ENDS, at_ends))
        where = {"ends": ask, "near": near, "far": far}
        state_it = say.LINE_LENGTH_NOW if state.length_m else ""
        asked = say.LINE_ADDED[more].format(piece=shift.size, length=state_it, **where)
        return say.LINE_NOTHING_NEW.format(size=size, more=more) + asked
    return say.LINE_LONGER.format(
        place=place or f"somewhere between {near:.1f} and {far:.1f} m",
        other="" if shift.or_m is None else say.LINE_OR_FROM.format(place=shift.or_m),
        size=size,
        more=more,
        look=say.LINE_LOOK_BREAK if ends else say.LINE_LOOK[more],
    )


def _change_words(state: LineState, change: Change) -> str:
    """What changed or is gone: where, and how much."""
    place = place_words(state, change.distance_m)
    before, after = size_words(abs(change.before)), size_words(abs(change.after))
    if change.what == "gone":
        at_foot = change.distance_m < state.now.near_m
        foot = at_foot and not farther_words(state, change.distance_m)
        return (say.LINE_GONE_FOOT if foot else say.LINE_GONE).format(place=place, size=before)
    if not of_end(state, change):
        kind = kind_words(state, change.distance_m, change.kind, change.fits)
        look, how = look_words(state, [change.distance_m]), "grown" if change.grown else "changed"
        values = {"place": place, "kind": kind, "look": look}
        if before_hidden(state, change):
            near, size = about(state.now.near_m), size_words(change.size)
            return say.LINE_CHANGED_BY.format(near=near, size=size, **values)
        return say.LINE_GROWN.format(how=how, before=before, after=after, **values)
    if change.closed:
        like = say.LINE_LIKE.get(change.kind, say.LINE_LIKE["unknown"])
        return say.LINE_CLOSED.format(place=place, after=after, like=like)
    what = say.LINE_END if at_end(state, change.distance_m) else say.LINE_ABOUT
    changed, most = most_words(state)
    return f"{what.format(near=about(hidden_m(state)), place=place)}{changed}; {most}"


def of_end(state: LineState, change: Change) -> bool:
    """Whether it is the line's end that changed, or may be where its length is not known."""
    if state.length_m or change.grown:
        return at_end(state, change.distance_m)
    now = state.now
    return change.distance_m > now.distance_m[strongest_on(now).start] - now.near_m


def before_hidden(state: LineState, change: Change) -> bool:
    """Whether what was at a place before its end cannot be told from that end."""
    off = state.length_m - change.distance_m
    return (
        change.before != 0 and not at_end(state, change.distance_m) and abs(off) < state.now.near_m
    )


def by_faults(state: LineState, change: Change) -> str:
    """How much of a change a new place before it explains, as `seen_through` says it."""
    found = state.comparison
    assert found is not None
    if change.what != "changed" or not any(
        c.grown and c.distance_m < change.distance_m for c in found.changes
    ):
        return ""
    return "not known" if found.through == "more" and state.now.narrow else found.through


def most_words(state: LineState) -> tuple[str, str]:
    """How the end changed, and by how much, by what comes back to the foot where that is most."""
    found = state.comparison
    assert found is not None
    swept, asked, weight = state.frequency, state.answer_hz, state.now.echoes.band.weight
    inner, came = weight > EDGE * np.max(weight), np.abs(found.came)
    at = int(np.argmax(np.abs(came[1] - came[0]) * inner))
    # of what only turned the size is as it was
    turned = found.pieces.size or abs(20 * np.log10(came[1, at] / came[0, at])) < TURNED_DB
    least = np.min(np.abs(found.came[1] - found.came[0])[inner])
    most, best, dips = say.LINE_ALL_OVER, "", _dips(state, came + ~inner, inner)
    if least <= FLAT * found.largest:
        most, at = say.LINE_MOST, int(np.argmin(np.abs(swept - found.largest_hz)))
    if asked is not None and swept[0] <= asked <= swept[-1]:
        at = int(np.argmin(np.abs(swept - asked)))
    elif dips:
        each = zip(came, dips, strict=True)
        was, now = (f"{size_words(one[k])} at {swept[k] / 1e6:.4g} MHz" for one, k in each)
        best = say.LINE_LEAST.format(now=now, was=was)
    differs = say.LINE_DIFFERS + most.format(most=found.largest, most_mhz=found.largest_hz / 1e6)
    if turned:
        may_be = _turned_words(found.pieces) or _weather_words(state)
        return say.LINE_TURNED.format(line=may_be), differs
    before, after = map(size_words, came[:, at])
    came_back = say.LINE_CAME.format(mhz=swept[at] / 1e6, before=before, after=after)
    return say.LINE_CHANGED, differs + came_back + best


def _dips(state: LineState, came: Real, inner: np.ndarray) -> list[int]:
    """At which points the end was best, and is, if that is a resonance in both sweeps.

    By a narrow band that is what comes to the foot [1]; by a wide one other places do as well.
    """
    now, before = state.now, state.before
    assert before is not None
    if now.narrow:
        dips = np.argmin(came, axis=1)
        at_edge = np.isin(dips, np.flatnonzero(inner)[[0, -1]])
        return [] if np.any(at_edge) else dips.tolist()
    at = strongest_on(now).start if state.end is None else state.end
    was = before.nearest(float(now.distance_m[at]), now.resolution_m)
    each = [before.dip(was) if was is not None else None, now.dip(at)]
    return [dip[0] for dip in each if dip is not None] if all(each) else []


def _weather_words(state: LineState) -> str:
    """That weather may turn the end beside a piece that was put in, if it may by so much."""
    found, now = state.comparison, state.now
    assert found is not None
    shift, at = found.shift, int(np.argmin(np.abs(state.frequency - found.largest_hz)))
    if shift is None or shift.between_m is None or any(c.what == "new" for c in found.changes):
        return ""
    grown = defaults.WEATHER_K * defaults.STRETCH_PER_K * found.changes[-1].distance_m
    turn = 4 * np.pi * found.largest_hz * grown / (now.velocity_factor * SPEED_OF_LIGHT)
    return say.LINE_TURNED_BY["weather"] * bool(found.largest < abs(found.came[0][at]) * turn)


def _turned_words(pieces: Real) -> str:
    """What else than an antenna turns a phase: lengths of line [m] that would explain it."""
    if not pieces.size:
        return ""
    one, piece = np.ptp(pieces) < ONE_PIECE_M, float(np.mean(pieces))
    how = "either" if not one else "longer" if piece > 0 else "shorter"
    return say.LINE_TURNED_BY[how].format(piece=abs(piece))
