"""What rings at the end of a line, and what may be a place of its own."""

from collections.abc import Iterable

import numpy as np

from rfcal.feedline.changes.comparison import LEAST, MORE
from rfcal.feedline.faults.end import BEHIND, EARLY, ringing, strongest_on
from rfcal.feedline.faults.events import FAULT
from rfcal.findings import size_words
from rfcal.record.findings.catalogue import line as say
from rfcal.record.results import LineState

RINGS_LESS = 0.1
"""Before the end antennas alone ring less than this [1] (by simulation of a thousand lines)."""


def rings(state: LineState) -> np.ndarray:
    """Which places ring at the line's end or what may be it, or may do so, (K,)."""
    now = state.now
    late = np.isin(now.kind, (BEHIND, EARLY))
    return late | ringing(now) if late.size and state.end is None else late


def may_ring(state: LineState) -> np.ndarray:
    """Which of these lie well before the end, and may be places, (K,)."""
    now, end = state.now, strongest_on(state.now).start if state.end is None else state.end
    end_m = np.r_[now.distance_m, 0.0][end or 0]
    if state.end is not None and state.length_m:
        end_m = min(end_m, state.length_m)
    return rings(state) & (now.distance_m < end_m - now.near_m)


def perhaps(state: LineState) -> list[int]:
    """Which of these a sentence tells of, as they are not in a baseline."""
    now, then, size = state.now, state.before, np.abs(state.now.reflection)
    early = may_ring(state) & (size >= LEAST) & (state.end is not None)
    if then is not None:
        off = np.abs(now.distance_m[:, None] - then.distance_m) < now.near_m
        early &= np.all((size[:, None] > MORE * np.abs(then.reflection)) | ~off, axis=1)
    return np.flatnonzero(early).tolist()


def perhaps_words(state: LineState) -> str:
    """That this may be places; empty where there is nothing of the kind."""
    if not (early := perhaps(state)):
        return ""
    most = max(np.abs(state.now.reflection[early]))
    look = f": {say.LINE_NEXT_VISIT if most >= FAULT else say.LINE_TELL_RINGING}"
    if state.before is not None or most > RINGS_LESS:
        look = say.LINE_LOOK_THERE
    return early_words(state, early) + look


def early_words(state: LineState, early: Iterable[int]) -> str:
    """What may be places or the end's own ringing, with their sizes."""
    now = state.now
    each = [f"{now.distance_m[k]:.1f} m, {size_words(abs(now.reflection[k]))}" for k in early]
    return say.LINE_PERHAPS.format(places=", and at ".join(each))
