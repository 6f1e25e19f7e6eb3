"""What there is to doubt about a line check."""

import numpy as np

from rfcal.feedline.changes.comparison import LEAST
from rfcal.feedline.faults.events import FAULT, Events
from rfcal.feedline.faults.kinds import UNCLEAR
from rfcal.findings import Finding, quoted
from rfcal.record.findings.catalogue import line as say
from rfcal.record.findings.line.band import (
    about_range,
    deciding_mhz,
    may_fold,
    needed_mhz,
    steps_first,
)
from rfcal.record.findings.line.changes import compared
from rfcal.record.findings.line.loss import is_loss_measured, not_its_type
from rfcal.record.findings.line.verdict import alone, before_end, what_tells
from rfcal.record.results import LineState
from rfcal.uncertainty.words import about


def line_verdict(state: LineState) -> tuple[str, bool]:
    """The line's state in one sentence, and whether that is a fault or a change to look after."""
    said, fault = alone(state) if state.comparison is None else compared(state)
    return steps_first(state) + said, fault


def about_line(state: LineState) -> list[Finding]:
    """What there is to say about a line check; a wrong length explains a bad fit."""
    sentence, fault = line_verdict(state)
    said = about_range(state) + _width(state)
    if fault and sentence not in [finding.message for finding in said]:
        said.insert(0, say.LINE_FAULT(sentence=sentence))
    said += _unseen_loss(state)
    found = state.properties
    if state.unfollowed:
        values = {"length_m": state.length_m, "range_m": state.now.range_m}
        said.append(say.LINE_UNFOLLOWED(**values))
    if state.beyond_m is not None:
        said.append(say.LINE_LENGTH(length_m=state.length_m, beyond_m=state.beyond_m))
    elif found is not None and not found.fits:
        said.append(say.LINE_MISFIT(residual=found.residual, expected=found.expected_residual))
    return said + not_its_type(state)


def about_devices(state: LineState, seen: dict[str, Events]) -> list[Finding]:
    """What a fault that the far end's sweeps do not have does to devices whose sweeps show it."""
    found, now = state.properties, state.now
    if found is None or not found.fits:
        return []
    faults = [m for m in before_end(state) if abs(now.reflection[m]) >= LEAST]
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
    near = events.nearest(float(now.distance_m[at]), now.resolution_m)
    return near is not None and abs(events.reflection[near]) > abs(now.reflection[at]) / 2


def _unseen_loss(state: LineState) -> list[Finding]:
    """That more loss would not have shown: by a baseline, or an end that is alike all over."""
    end, now = state.end, state.now
    if state.comparison or state.lost or state.since or may_fold(state):
        return []
    tells = state.loss_known and not now.narrow
    alike = end is not None and now.kind[end] not in UNCLEAR and abs(now.reflection[end]) >= FAULT
    if tells and alike:
        return []
    measured = state.properties and is_loss_measured(state)
    return [say.LINE_LOSS_SINCE() if measured else say.LINE_LOSS_UNSEEN()]


def _width(state: LineState) -> list[Finding]:
    """What a narrow band leaves open."""
    width, near = float(np.ptp(state.frequency)) / 1e6, state.now.near_m
    if not (needed := needed_mhz(state)):
        return []
    sweep = say.LINE_WIDER.format(needed_mhz=needed)
    if state.now.narrow and what_tells(state):
        low, high = deciding_mhz(state)
        needed, sweep = high - low, say.LINE_THAT_BAND.format(low=low, high=high)
    aim = width * near / needed
    return [say.LINE_NARROW(width_mhz=width, near_m=about(near), sweep=sweep, aim_m=aim)]
