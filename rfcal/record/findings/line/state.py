"""The state of a line in one sentence, against an earlier sweep too, and what there is to doubt."""

import math
from collections.abc import Sequence

import numpy as np

from rfcal.feedline.changes.compare import WINDOW_EDGE
from rfcal.feedline.changes.comparison import TRIFLE, Change
from rfcal.feedline.changes.shift import Shift
from rfcal.feedline.faults.echoes import TOTAL
from rfcal.feedline.faults.end import OPEN_OR_SHORT, more_than_all, strongest_on
from rfcal.feedline.faults.events import FAULT, Events
from rfcal.feedline.faults.kinds import SLOWING, UNCLEAR
from rfcal.findings import Finding, quoted, size_words
from rfcal.record.findings.catalogue import line as say
from rfcal.record.findings.line import band, cable, verdict
from rfcal.record.results import LineState
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.words import about, plus_minus

SLOWING_OFF = 0.03
"""What slows the wave takes of it too, which moves what is behind by this share (standard)."""

TURNED_DB = 0.5
"""What changed in size by less than this [dB] only turned."""


def baseline_words(state: LineState) -> tuple[str, bool]:
    """A line against its baseline, and whether that is to be looked after."""
    type_first, (parts, fault) = _type_words(state), _what_differs(state)
    said = verdict.sentence("; ".join(filter(None, [*type_first, *parts])))
    return said, fault or bool(type_first)


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
    place = float(now.distance_m[np.argmax(now.size)])
    return [say.LINE_OVER.format(there=f"{place:.1f} m")]


def _what_differs(state: LineState) -> tuple[list[str], bool]:
    """More loss, the nearest change, and what else is new; and whether that is a fault."""
    found = state.comparison
    assert found is not None
    lost = [] if found.lost is None else [cable.lost_words(state, found.lost)]
    # what broke is what makes it shorter
    broken, shift = any(change.closed for change in found.changes), found.shift
    moved = "" if shift is None or (broken and shift.size < 0) else _moved_words(state, shift)
    longer = bool(moved)
    if not found.changes:
        said = moved or _sound_words(state)
        return [said, *lost] if longer else [*lost, said], longer or bool(lost)
    ends = all(of_end(state, change) for change in found.changes)
    blind = ends and band.hidden_m(state) > state.length_m > 0
    if (blind or band.unplaced(state)) and not (moved or broken):
        changed, most = most_words(state)
        return [*lost, say.LINE_ANYWHERE + changed, verdict.unplaced_words(state), most], True
    first = found.changes[0]
    new = [c for c in found.changes if c.what == "new" or _breaks(state, c)]
    # where the line broke, it matters little what is gone before
    one = next((c for c in found.changes if c.closed), first) if first.what == "gone" else first
    each = [c for c in found.changes if (c is one or c.closed) and c not in new]
    told = [*(_change_words(state, c) for c in each), *_new_words(state, new)]
    if shift and new and new[0].kind in SLOWING and shift.from_m == new[0].distance_m:
        # what slows the wave does so, but a piece that long is met first
        moved = "" if 0 < shift.size < state.now.band.near else moved
    beyond = _beyond(state, found.changes, found.by_length or longer)
    come = [c for c in found.changes if c.what != "gone"]
    come = [c for c in come if by_faults(state, c) not in ("all", "perhaps")]
    fault = longer or bool(lost) or any(abs(c.after) >= TRIFLE for c in come)
    return [*lost, moved, *told, beyond], fault


def _sound_words(state: LineState) -> str:
    """That nothing else has changed."""
    found = state.comparison
    assert found is not None
    least = max(TRIFLE, math.ceil(100 * found.largest) / 100)
    values = {"least": least, "end": verdict.end_words(state)}
    if found.weather is not None:
        return say.LINE_WEATHER.format(**values, **cable.weather_values(found.weather))
    return "nothing else has changed" if found.lost else say.LINE_SOUND.format(**values)


def _new_words(state: LineState, new: Sequence[Change]) -> list[str]:
    """What is new, the small of it without its kind."""
    every = [(c.distance_m, c.after, c.kind, c.fits) for c in new]
    large = [place for place in every if abs(place[1]) >= TRIFLE]
    small = [(*place[:2], "", ()) for place in every if abs(place[1]) < TRIFLE]
    told = verdict.reflections(state, say.LINE_NEW, large)
    told += verdict.reflections(state, say.LINE_NEW_SMALL, small)
    off = state.now.distance_m - np.array([c.distance_m for c in new])[:, None]
    is_new = np.any(np.abs(off) < state.now.band.near, axis=0)
    before = [m for m in verdict.before_end(state) if is_new[m]]
    return told + cable.stretches(state, before, is_new)


def _breaks(state: LineState, change: Change) -> bool:
    """Whether the line is broken or shorted there, before its end."""
    return change.closed and not verdict.at_end(state, change.distance_m)


def _beyond(state: LineState, changes: Sequence[Change], moved: bool) -> str:
    """What is seen beyond the changes that are told, or how the rest is."""
    first, *others = changes
    if (broken := next((c for c in changes if c.closed), None)) is not None:
        if not _breaks(state, broken):
            return say.LINE_UP_TO if broken is first else ""
        it = "it" if broken is first else f"{broken.distance_m:.1f} m"
        return say.LINE_NONE_BEYOND.format(it=it)
    if any(c.what != "new" for c in others):
        return say.LINE_THROUGH + say.LINE_THROUGH_IT.get(by_faults(state, others[-1]), "")
    if (perhaps := band.perhaps_words(state)) or others or moved:
        return perhaps
    found, now = state.comparison, state.now
    if not of_end(state, first) or found is None:
        return "the line is otherwise as it was"
    said = [] if band.hidden_m(state) > state.length_m / 2 > 0 else [say.LINE_NO_OTHER]
    if not (now.band.narrow or found.hidden or (found.shift and found.shift.all_along)):
        said = ["" if found.lost else "the line is otherwise as it was"]
    return "; ".join(filter(None, [*said, say.LINE_LOSS_HIDDEN if found.hidden else ""]))


def _moved_words(state: LineState, shift: Shift) -> str:
    """Where the line has grown longer or shorter; nothing where all of it may have."""
    if shift.between_m is None:
        return ""
    more = "longer" if shift.size > 0 else "shorter"
    place = "somewhere between {:.1f} and {:.1f} m".format(*shift.between_m)
    doubt = K_AXIS * float(np.hypot(shift.uncertainty, SLOWING_OFF * shift.size))
    size = plus_minus(abs(shift.size), max(doubt, verdict.LEAST_MOVE))
    now = state.now
    last = state.end if state.end is not None else int(np.argmax(now.size))
    ends = now.size[last] > TOTAL or (*now.fits[last], "")[0] in OPEN_OR_SHORT
    return say.LINE_LONGER.format(
        place=place if shift.from_m is None else f"{shift.from_m:.1f} m",
        other="" if shift.or_m is None else say.LINE_OR_FROM.format(place=shift.or_m),
        size=size,
        more=more,
        look=say.LINE_LOOK_BREAK if ends and shift.size < 0 else say.LINE_LOOK[more],
    )


def _change_words(state: LineState, change: Change) -> str:
    """What changed or is gone: where, and how much."""
    place = verdict.place_words(state, change.distance_m)
    before, after = size_words(abs(change.before)), size_words(abs(change.after))
    if change.what == "gone":
        at_foot = change.distance_m < state.now.band.near
        foot = at_foot and not band.farther_words(state, change.distance_m)
        return (say.LINE_GONE_FOOT if foot else say.LINE_GONE).format(place=place, size=before)
    if not of_end(state, change):
        kind = verdict.kind_words(state, change.distance_m, change.kind, change.fits)
        look = verdict.look_words(state, [change.distance_m])
        values = {"kind": kind, "look": look, "place": place}
        if before_hidden(state, change):
            near, size = about(state.now.band.near), size_words(change.size)
            return say.LINE_CHANGED_BY.format(near=near, size=size, **values)
        how = "grown" if change.grown else "changed"
        return say.LINE_GROWN.format(how=how, before=before, after=after, **values)
    if change.closed:
        like = say.LINE_LIKE.get(change.kind, say.LINE_LIKE["unknown"])
        return say.LINE_CLOSED.format(place=place, after=after, like=like)
    what = say.LINE_END if verdict.at_end(state, change.distance_m) else say.LINE_ABOUT
    changed, most = most_words(state)
    return f"{what.format(near=about(band.hidden_m(state)), place=place)}{changed}; {most}"


def of_end(state: LineState, change: Change) -> bool:
    """Whether it is the line's end that changed, or may be where its length is not known."""
    if state.length_m or change.grown:
        return verdict.at_end(state, change.distance_m)
    now = state.now
    return change.distance_m > now.distance_m[strongest_on(now).start] - now.band.near


def before_hidden(state: LineState, change: Change) -> bool:
    """Whether what was at a place before its end cannot be told from that end."""
    off = state.length_m - change.distance_m
    return (
        change.before != 0
        and not verdict.at_end(state, change.distance_m)
        and abs(off) < state.now.band.near
    )


def by_faults(state: LineState, change: Change) -> str:
    """How much of a change a new place before it explains, as `seen_through` says it."""
    found = state.comparison
    assert found is not None
    if change.what != "changed" or not any(
        c.grown and c.distance_m < change.distance_m for c in found.changes
    ):
        return ""
    return "not known" if found.through == "more" and state.now.band.narrow else found.through


def most_words(state: LineState) -> tuple[str, str]:
    """How the end changed, and by how much, by what comes back to the foot where that is most."""
    found = state.comparison
    assert found is not None
    swept, asked, weight = state.frequency, state.answer_hz, state.now.band.weight
    came, inner = np.abs(found.came), weight > WINDOW_EDGE * np.max(weight)
    most = int(np.argmax(np.abs(came[1] - came[0]) * inner))
    # of what only turned the size is as it was
    turned = found.by_length or abs(20 * np.log10(came[1, most] / came[0, most])) < TURNED_DB
    at = most
    if asked is not None and swept[0] <= asked <= swept[-1]:
        at = int(np.argmin(np.abs(swept - asked)))
    differs = say.LINE_MOST.format(most=found.largest, most_mhz=found.largest_hz / 1e6)
    if turned:
        return say.LINE_TURNED, differs
    before, after = map(size_words, came[:, at])
    came_back = say.LINE_CAME.format(mhz=swept[at] / 1e6, before=before, after=after)
    return say.LINE_CHANGED, differs + came_back


def line_verdict(state: LineState) -> tuple[str, bool]:
    """The line's state in one sentence, and whether that is a fault or a change to look after."""
    said, fault = verdict.alone(state) if state.comparison is None else baseline_words(state)
    return band.steps_first(state) + said, fault


def about_line(state: LineState) -> list[Finding]:
    """What there is to say about a line check; a wrong length explains a bad fit."""
    sentence, fault = line_verdict(state)
    said = band.about_range(state) + _width(state)
    if fault and sentence not in [finding.message for finding in said]:
        said.insert(0, say.LINE_FAULT(sentence=sentence))
    said += _unseen_loss(state)
    found = state.properties
    if state.unfollowed:
        values = {"length_m": state.length_m, "range_m": state.now.band.range}
        said.append(say.LINE_UNFOLLOWED(**values))
    if state.beyond_m is not None:
        said.append(say.LINE_LENGTH(length_m=state.length_m, beyond_m=state.beyond_m))
    elif found is not None and not found.fits:
        said.append(say.LINE_MISFIT(residual=found.residual, expected=found.expected_residual))
    return said + cable.not_its_type(state)


def about_devices(state: LineState, seen: dict[str, Events]) -> list[Finding]:
    """What a fault that the far end's sweeps do not have does to devices whose sweeps show it."""
    found, now = state.properties, state.now
    if found is None or not found.fits:
        return []
    faults = [m for m in verdict.before_end(state) if now.size[m] >= TRIFLE]
    new = [m for m in faults if state.before is None or not _shows(state.before, now, m)]
    if new:
        behind = [name for name, events in seen.items() if _shows(events, now, new[0])]
        what = say.LINE_SINCE_PLACE.format(place_m=now.distance_m[new[0]])
    else:
        behind = [name for name, events in seen.items() if state.since and events is now]
        what = say.LINE_SINCE_LOSS
    return [say.LINE_SINCE(devices=quoted(behind), what=what)] if behind else []


def _shows(events: Events, now: Events, at: int) -> bool:
    """Whether another sweep of the line shows a place as well."""
    near = events.nearest(float(now.distance_m[at]), now.band.resolution)
    return near is not None and events.size[near] > now.size[at] / 2


def _unseen_loss(state: LineState) -> list[Finding]:
    """That more loss would not have shown: by a baseline, or an end that is alike all over."""
    end, now = state.end, state.now
    if state.comparison or state.lost or state.since or band.may_fold(state):
        return []
    tells = state.loss_known and not now.band.narrow
    alike = end is not None and now.kind[end] not in UNCLEAR and now.size[end] >= FAULT
    if tells and alike:
        return []
    return [say.LINE_LOSS_UNSEEN()]


def _width(state: LineState) -> list[Finding]:
    """What a narrow band leaves open."""
    width, near = float(np.ptp(state.frequency)) / 1e6, state.now.band.near
    if not (needed := band.needed_mhz(state)):
        return []
    values = {"width_mhz": width, "near_m": about(near), "needed_mhz": needed}
    return [say.LINE_NARROW(aim_m=width * near / needed, **values)]
