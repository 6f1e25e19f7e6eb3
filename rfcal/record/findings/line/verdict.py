"""The state of a line by itself in one sentence, and figures and words that any is made of."""

import math
import re
from collections.abc import Iterable, Sequence
from itertools import compress

import numpy as np

from rfcal.feedline.changes.behind import START
from rfcal.feedline.changes.comparison import TRIFLE
from rfcal.feedline.faults.end import OPEN_OR_SHORT, more_than_all, strongest_on
from rfcal.feedline.faults.events import FAULT
from rfcal.feedline.faults.kinds import MISMATCH, RESISTIVE, UNCLEAR, Z_STEP
from rfcal.findings import size_words
from rfcal.maths.reflection import to_impedance
from rfcal.record.findings.catalogue import line as say
from rfcal.record.findings.line import band, cable
from rfcal.record.results import LineState
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.words import about, plus_minus

PLACE = re.compile(r"\b(at|from) [\d.]+(?: ± [\d.]+)? m\b( on)?")
"""A place on a line, as sentences have it."""

LEAST_MOVE = 0.01
"""A line's growth is told no finer than this [m]."""

ALIKE = 0.5
"""A small place is told of in a sentence if it is larger than this part of the largest."""

MOST_FIT = 4
"""So many kinds that fit are named."""

WORDS = 35
"""A sentence of more words is told as two, where it has two clauses."""

WET = "length of other or wet cable"
"""What a narrow band takes for nearly any other kind."""


def reflections(
    state: LineState, words: str, found: Sequence[tuple[float, complex, str, tuple[str, ...]]]
) -> list[str]:
    """Places [m] with what they reflect [1] and may be, which is said once for all of it."""
    look = look_words(state, [distance for distance, *_ in found])
    places: dict[str, list[str]] = {}
    for distance, reflection, kind, fits in found:
        place = f"{_where(state, distance)}, {size_words(abs(reflection))}"
        places.setdefault(kind_words(state, distance, kind, fits), []).append(place)
    return [
        words.format(
            s="s" if len(each) > 1 else "",
            look=look,
            places=", and at ".join(each),
            kind=f"each {may_be}" if len(each) > 1 else may_be,
        )
        for may_be, each in places.items()
    ]


def look_words(state: LineState, distance_m: Iterable[float]) -> str:
    """What to do about places: nobody is sent up for one that may lie elsewhere."""
    elsewhere = any(band.farther_words(state, place) for place in distance_m)
    return say.LINE_SWEEP_FIRST if elsewhere else say.LINE_LOOK_THERE


def _where(state: LineState, distance_m: float) -> str:
    """A place that reflects; behind a stretch that slows the wave also where that puts it."""
    place, shift = place_words(state, distance_m), state.comparison and state.comparison.shift
    if not shift or shift.between_m is None or shift.from_m is None:
        return place
    if not shift.from_m < (wet_m := distance_m - shift.size) < distance_m:
        return place
    return say.LINE_IF_WET.format(place=place, wet_m=wet_m, from_m=shift.from_m)


def _strong(state: LineState) -> np.ndarray:
    """Which places are faults, or may be the end of a line whose length is not known, (K,)."""
    strong = state.now.size >= FAULT
    if state.ends:
        strong &= np.arange(strong.size) != state.end
    elif state.beyond_m is None and strong.size:
        # the farthest may be the end, however weak it comes back
        strong[(places(state) or [int(np.argmax(state.now.size))])[-1]] = True
    return strong & ~band.rings(state) & (np.arange(strong.size) != _from_start(state))


def places(state: LineState) -> list[int]:
    """Which places are told of: not what rings, nor what is too faint for anybody to look at."""
    now, hidden = state.now, np.zeros(state.now.size.shape, bool)
    if state.end is not None:  # what is faint beside the end is hidden by it, and may be its own
        before = now.distance_m[state.end] - now.distance_m
        hidden = (before > 0) & (before < now.band.near) & (now.size < TRIFLE)
    return np.flatnonzero(~band.rings(state) & ~hidden & (now.size > band.FAINTEST)).tolist()


def unplaced_words(state: LineState) -> str:
    """That no place can be told, and what to sweep."""
    length = "" if state.length_m else say.LINE_STATE_LENGTH
    low, high = band.deciding_mhz(state)
    near = about(state.now.band.near)
    return say.LINE_UNPLACED.format(near=near, length=length, needed=high - low)


def kind_words(state: LineState, distance_m: float, kind: str, fits: tuple[str, ...]) -> str:
    """What a place may be; where its kind is not known, those that fit if they are few.

    A resistance may be a step of impedance, unless what passes it or an end that reflects all tells
    by its size; and by a narrow band hardly anything is no length of other or wet cable.
    """
    now, names = state.now, fits or (kind,) * (kind in say.LINE_FITS)
    at = now.nearest(distance_m, now.band.resolution)
    resistive = RESISTIVE & set(names)
    told = fits == (kind,) if len(names) == 1 else resistive == set(names)
    begins = resistive and not told and not set(say.LINE_STRETCH) & set(names)
    names += (Z_STEP,) * bool(begins and not _ends_whole(state))
    names += (WET,) * (now.band.narrow and bool(set(names) - set(OPEN_OR_SHORT)))
    if len(names) > MOST_FIT:
        return say.LINE_ANY if now.band.narrow else say.LINE_KINDS["unknown"]
    if len(names) < 2:
        kind = names[0] if names else kind
        may_end = kind == MISMATCH and at is not None and at not in before_end(state)
        return say.LINE_MAYBE_END if may_end else say.LINE_KINDS.get(kind, f"a {kind}")
    known = {end: say.LINE_BEHIND_LOSS.format(kind=say.LINE_FITS[end]) for end in OPEN_OR_SHORT}
    means = say.LINE_FITS | (known if state.loss_known else {})
    *some, last = [means.get(name, f"a {name}") for name in dict.fromkeys(names)]
    return " or ".join(filter(None, [", ".join(some), last]))


def _ends_whole(state: LineState) -> bool:
    """Whether an end that reflects all tells by its size what takes up power before it."""
    return bool(set(OPEN_OR_SHORT) & set(state.now.kind))


def before_end(state: LineState) -> list[int]:
    """Which places may be faults: those before the end, or before what may be it."""
    open_ended = state.end is None and not state.ends
    last = strongest_on(state.now).start if open_ended else state.end
    return [m for m in places(state) if (last is None or m < last) and m != _from_start(state)]


def _from_start(state: LineState) -> int | None:
    """Which place is none, as a line of another impedance begins there, at the very start."""
    now = state.now
    first = now.nearest(0.0, START * now.band.resolution)
    if first is None or now.kind[first] != Z_STEP or now.size[first] < FAULT:
        return None
    return first


def what_tells(state: LineState) -> list[str]:
    """What would tell the kinds of places that are open."""
    now = state.now
    before = [m for m in before_end(state) if now.size[m] >= TRIFLE]
    if band.may_fold(state) or not before:
        return []
    if now.band.narrow:
        if not any(now.kind[m] in UNCLEAR for m in before):
            return []
        low, high = band.deciding_mhz(state)
        return [say.LINE_TELL_BAND.format(low=low, high=high)]
    each = [(now.kind[m], now.fits[m]) for m in before if now.fits[m] != (now.kind[m],)]
    twins = RESISTIVE & {kind for told, fits in each for kind in (told, *fits)}
    said = [say.LINE_TELL_TWINS] if twins and not _ends_whole(state) else []
    unclear = twins or any(fits for _, fits in each)
    return said + ([say.LINE_TELL_LOSS] if unclear and not state.loss_known else [])


def alone(state: LineState) -> tuple[str, bool]:
    """A line without a baseline: what reflects before its end, or more than once without one."""
    now, size = state.now, state.now.size
    if np.all(size < TRIFLE) and not (state.ends and size.size):
        sight = min(now.band.range, now.seen_m)
        return sentence(say.LINE_SILENT.format(least=TRIFLE, range_m=sight)), False
    if band.may_fold(state):
        return band.about_range(state)[0].message, True
    if band.unplaced(state):
        most = f"{say.LINE_ANYWHERE}reflects {size_words(float(np.max(size)))}"
        return sentence(f"{most}; {unplaced_words(state)}"), False
    strong = _strong(state)
    every = zip(now.distance_m.tolist(), now.reflection.tolist(), now.kind, now.fits, strict=True)
    rung = bool(np.any(band.rings(state)))
    first, also = cable.or_end(state, strong, rung) if np.any(strong) else ("", "")
    words = say.LINE_PLACE + "{look}" * bool(state.ends and not first)
    told = reflections(state, words, list(compress(every, strong)))
    told += cable.stretches(state, before_end(state), strong)
    told[:1] = [first + each for each in told[:1]]
    if state.ends:
        said, fault = _ended(state, strong, told, first, also)
        return sentence("; ".join(said)), fault
    over = state.loss_known and state.beyond_m is None and more_than_all(now)
    which = (
        say.LINE_WHICH_END
        if np.sum(strong) > 1
        else f"{say.LINE_ONE_END}; {say.LINE_END_HIDES.format(near=about(now.band.near))}"
    )
    which = f"{which}; {say.LINE_OVER.format(there='there')}" if over else which
    if state.beyond_m is not None:
        which = cable.too_short(state, state.beyond_m)
    return sentence("; ".join([*told, which])), bool(np.sum(strong) > 1 or over)


def _ended(
    state: LineState, strong: np.ndarray, told: list[str], first: str, also: str
) -> tuple[list[str], bool]:
    """What is said of a line whose end is known, with what is told of its places."""
    now, end, start = state.now, end_words(state), _from_start(state)
    losses = [lost for lost in (state.since, state.lost) if lost is not None]
    lost = [cable.lost_words(state, each) for each in losses]
    sure = any(each.sure for each in losses)
    itself, no_antenna = _end_itself(state)
    said = [*_small(state, end), say.LINE_END_HIDES.format(near=about(now.band.near)), *itself]
    if no_antenna:
        said, end = [*itself, *_small(state, "it")], "it"
    blind = now.band.near > state.length_m and band.needed_mhz(state)
    if blind and not before_end(state):
        said = [unplaced_words(state), *itself]
    if told:
        said = [*told, say.LINE_BEFORE.format(end=end) + also]
        said = [*itself, *said] if no_antenna else said
    said = [*lost, *said] if sure and not told else [*said, *lost]
    if maybe := band.perhaps_words(state):  # what is sure is looked at first
        said = [*said, maybe] if told else [maybe, *said]
    if start is not None:
        ohm = to_impedance(now.reflection[start].real, now.z0).real
        said.insert(0, say.LINE_FROM_START.format(ohm=ohm, z0=now.z0))
    may_be = maybe.endswith(say.LINE_LOOK_THERE)
    return said, bool(told or sure or no_antenna or may_be or start is not None)


def _small(state: LineState, end: str) -> list[str]:
    """What is listed where nothing is a fault: a reader of one sentence is to know of it."""
    now, size = state.now, state.now.size
    early = band.perhaps(state)
    if not (listed := before_end(state)):
        other = " other" if early else ""
        return [say.LINE_NO_FAULT.format(other=other, size=size_words(FAULT), end=end)]
    most = max(listed, key=size.__getitem__)
    place = float(now.distance_m[most])
    if size[most] < TRIFLE:
        at = {"place": place_words(state, place), "size": size_words(size[most])}
        return [say.LINE_SMALLER.format(end=end, other=" else" if early else "", **at)]
    told = [m for m in listed if size[m] > ALIKE * size[most]]
    each = [(float(now.distance_m[m]), now.reflection[m], now.kind[m], now.fits[m]) for m in told]
    said = reflections(state, say.LINE_SMALL, each)
    said[-1] += f": {say.LINE_NEXT_VISIT}"
    said += cable.stretches(state, listed, np.isin(np.arange(size.size), told))
    others = np.setdiff1d([*listed, *np.flatnonzero(band.may_ring(state))], [*told, *early])
    rest = max([band.least_seen(state), *size[others]])
    return [*said, say.LINE_NO_MORE.format(end=end, size=math.ceil(1e3 * rest) / 1e3)]


def _end_itself(state: LineState) -> tuple[list[str], bool]:
    """What the line's end reflects, where that is much; whether it is an open or a short."""
    if state.end is None or state.now.size[state.end] < FAULT:
        return [], False
    size, kind = size_words(state.now.size[state.end]), state.now.kind[state.end]
    as_what = say.LINE_END_KINDS.get(kind, "")
    end, seen = end_words(state) if as_what else "the end itself", end_place(state)[1]
    said, dip = say.LINE_END_ITSELF.format(end=end, seen=seen, size=size) + as_what, None
    if not (as_what or state.now.band.narrow):
        dip = state.now.dip(state.end)
    if dip is not None:
        values = {"mhz": state.frequency[dip[0]] / 1e6, "least": size_words(dip[1])}
        said += say.LINE_END_DIPS.format(**values)
    return [said], bool(as_what)


def end_place(state: LineState) -> tuple[str, str]:
    """Where the line ends, with its 95 % half-width, and where it is stated or seen if elsewhere.

    It is where it is seen if it may have broken before it, or has moved since the baseline; an
    antenna's own delay alone moves nothing.
    """
    now, at, stated, found = state.now, state.end, state.length_m, state.comparison
    half = K_AXIS * state.length_uncertainty_m
    place = f"{plus_minus(stated, half)} m"
    if at is None:
        return place, ""
    seen, of_seen = float(now.distance_m[at]), K_AXIS * float(now.distance_uncertainty_m[at])
    off = half < abs(seen - stated) and of_seen < stated
    note = {"seen": seen, "length_m": stated} if off else {}
    closed = found and any(change.closed for change in found.changes)
    moved = note and found and found.shift and found.shift.between_m
    if not (now.kind[at] in OPEN_OR_SHORT or closed or moved):
        words = say.LINE_END_SEEN.format(seen=plus_minus(seen, of_seen))
        return place, words if note else ""
    place = f"{plus_minus(seen, of_seen)} m"
    return place, say.LINE_END_STATED.format(**note) if note else ""


def at_end(state: LineState, distance_m: float) -> bool:
    """Whether a change is at the line's end, as far as its place is known."""
    if not state.ends:
        return False
    end = state.length_m if state.end is None else float(state.now.distance_m[state.end])
    return abs(distance_m - end) < LEAST_MOVE  # there changes at the end are laid to


def end_words(state: LineState) -> str:
    """Where the line ends, or how far it was seen, in words."""
    if state.ends:
        return f"the line's end at {end_place(state)[0]}"
    return f"{min(state.now.band.range, state.now.seen_m):.0f} m"


def place_words(state: LineState, distance_m: float) -> str:
    """A distance [m] with the 95 % half-width of the place that is found there, if one is."""
    if at_end(state, distance_m):
        return end_place(state)[0]
    if somewhere := band.unplaced(state):
        return somewhere
    now, nearest = state.now, state.now.nearest(distance_m, state.now.band.resolution)
    place = f"{distance_m:.1f} m"
    if nearest is not None:
        place = f"{plus_minus(distance_m, K_AXIS * float(now.distance_uncertainty_m[nearest]))} m"
    said = band.farther_words(state, distance_m)
    if state.misstated is not None:
        said = say.LINE_BY_TYPE.format(place=distance_m * state.misstated[0] / now.velocity_factor)
    return f"{place} ({said})" if said else place


def sentence(text: str) -> str:
    """A text as sentences, none longer than need be, with from where the first place is counted."""
    text = PLACE.sub(lambda found: found[0] + say.LINE_FROM[found[2] or ""], text, count=1)
    said, *rest = text.split("; ")
    for clause in rest:
        together = len(re.split(r"[.?] ", f"{said} {clause}")[-1].split()) <= WORDS
        said += f"; {clause}" if together else f". {clause[0].upper()}{clause[1:]}"
    return f"{said[0].upper()}{said[1:]}."
