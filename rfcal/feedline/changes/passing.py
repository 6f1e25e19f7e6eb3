"""What passes a new place on a line, as what lies behind it shows, tells the kind of that place."""

from dataclasses import replace

import numpy as np

from rfcal.feedline.changes.comparison import MORE, UNLIKE
from rfcal.feedline.faults.end import WHOLE
from rfcal.feedline.faults.events import Events
from rfcal.feedline.faults.kinds import JOINT, RESISTIVE, STEP, UNCLEAR, UNKNOWN
from rfcal.maths.reflection import Complex, from_impedance, renormalise, to_impedance

MUCH = 0.05
"""What passes a place tells its kind where that and what lies behind it reflect so much [1]."""

PASSES, TAKES, MOST = 0.5, 0.75, 4.0
"""A place is no resistance if what passed it lost less than the first of these parts of what a
resistance as large takes up, and is one between the second and the third (by simulation)."""

START, AROUND, LESS = 0.2, 2.0, 0.5
"""What is nearer than the first of these resolutions is at the start; its second round is looked at
within the second of them, and tells where one leaves less than the third part of the other."""


def told_by_passing(events: Events, baseline: Events) -> Events:
    """The same, with the nearest new place told by what passes it, where a single kind is sure."""
    near, size = events.near_m, np.abs(events.reflection)
    behind = np.abs(baseline.reflection)
    was = [baseline.nearest(d, near) for d in events.distance_m.tolist()]
    before = np.array([0.0 if k is None else behind[k] for k in was])
    new = np.flatnonzero((size > MORE * before) & (size > MUCH) & (size < 1))
    behind = np.where(
        baseline.distance_m > np.min(events.distance_m[new], initial=np.inf) + near, behind, 0
    )
    if not np.any(behind > MUCH):
        return events
    far = int(np.argmax(behind))
    now = events.nearest(baseline.distance_m[far], near)
    if now is None or np.any(new[1:] < now):
        return events
    itself = events.alike(now, baseline, far) < UNLIKE  # what lies behind has changed
    if itself and events.kind[now] in WHOLE and baseline.kind[far] not in WHOLE:
        return events  # that came off or is shorted
    m, r = new[0], size[new[0]]
    # a resistance passes (1 - r)^2 there and back, what loses nothing 1 - r^2
    share = np.log(size[now] / behind[far] / (1 - r**2)) / np.log((1 - r) / (1 + r))
    if not (abs(share) < PASSES or TAKES < share < MOST):
        return events
    kinds, fits = list(events.kind), list(events.fits)
    could = fits[m] if kinds[m] in UNCLEAR else (kinds[m], STEP) if kinds[m] in RESISTIVE else ()
    open_still = itself and share < PASSES and kinds[m] in RESISTIVE
    told = [k for k in could if k not in JOINT and (k in RESISTIVE) == (share > PASSES)]
    could = could if open_still else tuple(told)
    if could:
        kinds[m], fits[m] = could[0] if len(could) == 1 else UNKNOWN, could
        # what was judged by another kind before it
        kinds[now] = kinds[now] if share > PASSES else baseline.kind[far]
    return replace(events, kind=tuple(kinds), fits=tuple(fits))


def told_at_start(seen: Complex, z_ref: float, events: Events) -> Events:
    """The same, with what reflects at the very start called a step of impedance where it is one.

    A wave from the line's end comes back from a step there with the other sign than from a
    resistance: taking away the wrong one of the two leaves more of its second round.
    """
    at, size = events.nearest(0.0, START * events.resolution_m), np.abs(events.reflection)
    if at is None or events.narrow or events.kind[at] not in RESISTIVE or size.size < at + 2:
        return events
    band, r, z0 = events.echoes.band, float(events.reflection[at].real), events.z0
    second = 2 * events.distance_m[at + 1 + int(np.argmax(size[at + 1 :]))]
    there = np.abs(band.grid - second) < AROUND * events.resolution_m
    # r = (z - z0) / (z + z0) of a step; R / (R + 2 z0) in series, and minus its dual in shunt
    step = renormalise(seen, z_ref, float(to_impedance(r, z0).real))
    beyond = to_impedance(np.sign(r) * renormalise(seen, z_ref, z0), 1.0)
    resists = from_impedance(beyond - 2 * abs(r) / (1 - abs(r)), 1.0)
    left = [np.max(np.abs(band.trace(each))[there], initial=0.0) for each in (step, resists)]
    if not left[0] < LESS * left[1]:
        return events
    kinds = list(events.kind)
    kinds[at] = STEP
    return replace(events, kind=tuple(kinds))
