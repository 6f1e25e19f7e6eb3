"""What a cable is beside what it is stated to be: of another type, longer, wet, or lossier."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes.loss import AGED_DB, SURELY, Lost
from rfcal.feedline.faults.end import OPEN_OR_SHORT, sooner_end
from rfcal.feedline.faults.kinds import FULL, ON_AXIS, RESISTIVE, TWIN
from rfcal.feedline.measure import FASTEST
from rfcal.findings import Finding
from rfcal.record.findings.catalogue import line as say
from rfcal.record.results import LineState
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.uncertainty.words import plus_minus

LEAST_M = 1.0
"""The shortest line [m] that another one is taken for."""

SLOWED = 0.75
"""Speed on wet cable over that on dry, at least [1]: of soaked foam (value from memory)."""


MOST_OPEN = 0.75
"""A loss is not known where this part of it, and `AGED_DB`, is within its 95 % half-width."""


def or_end(state: LineState, strong: np.ndarray, rings: bool) -> tuple[str, str]:
    """The other explanation where no end is seen: the last place, by another type of cable.

    To be said before that place, or behind it where a break is likelier: what reflects all, and
    behind which nothing rings.
    """
    now, last, stated = state.now, np.flatnonzero(strong)[-1], state.now.velocity_factor
    place = float(now.distance_m[last])
    if state.end is not None:
        place = sooner_end(now, state.length_m, RESISTIVE)
    fits = stated * state.length_m / max(place, LEAST_M)
    may_be = state.properties is None and state.beyond_m is None and place != state.length_m
    if not (may_be and 0 < fits <= FASTEST):
        return "", ""
    whole = now.size[last] > 1 - FULL
    whole |= bool({now.kind[last], *now.fits[last][:1]} & set(OPEN_OR_SHORT))
    other = say.LINE_OR_END.format(place=place, fits=fits, stated=stated)
    if state.end is not None or (whole and not rings):
        return "", say.LINE_OR_TYPE.format(other=other)
    return say.LINE_TYPE_FIRST.format(other=other), ""


def too_short(state: LineState, beyond_m: float) -> str:
    """What explains that a line seems longer than its stated length."""
    now, length, stated = state.now, state.length_m, state.now.velocity_factor
    at = int(np.argmin(np.abs(now.distance_m - beyond_m)))
    half = K_AXIS * math.hypot(now.distance_uncertainty_m[at], state.length_uncertainty_m)
    more = beyond_m - length
    return say.LINE_BEYOND.format(
        length_m=length,
        piece=plus_minus(more, half),
        electrical=more / stated,
        fits=stated * length / beyond_m,
        stated=stated,
    )


def stretches(state: LineState, before: Sequence[int], strong: np.ndarray) -> list[str]:
    """From where to where a length of other cable goes, if places are the ends of one."""
    now, said = state.now, []
    for m, n in pairwise(before):
        one, other = ({now.kind[k], *now.fits[k]} & set(say.LINE_STRETCH) for k in (m, n))
        start, far = now.distance_m[[m, n]].tolist()
        # the far end of what loses more, as wet cable does, goes as none of its kinds over the band
        back = -now.reflection[n] / now.reflection[m]
        twins = 1 / TWIN < abs(back) < TWIN and abs(np.angle(back)) < ON_AXIS
        both = one & other or (one | other if twins else set())
        if (strong[m] or strong[n]) and (kind := min(both, default="")):
            half = K_AXIS * float(now.distance_uncertainty_m[n])
            near = max(start, start + SLOWED * (far - start) - half)
            r = now.reflection[m].real
            values = {"start": start, "near": near, "far": far, "ohm": now.z0 * (1 + r) / (1 - r)}
            said.append(say.LINE_STRETCH[kind].format(**values))
    return said


def matched_loss_db(state: LineState) -> tuple[float, float]:
    """Matched loss in all of a line by its own sweeps, in mid-band, and its 95 % half-width."""
    assert state.properties is not None
    loss, of_loss = state.properties.loss_db(np.array([np.mean(state.frequency)]))
    return float(loss[0]), K_AXIS * float(of_loss[0])


def is_loss_measured(state: LineState) -> bool:
    """Whether that says more than a bound above."""
    loss, half = matched_loss_db(state)
    return half < max(MOST_OPEN * loss, AGED_DB)


def lost_words(state: LineState, lost: Lost) -> str:
    """How much more a line loses, and what to look for."""
    of_type, length = lost is state.lost, state.length_m or lost.length_m
    before = say.LINE_LOST_SINCE if lost is state.since else "it did"
    look = f": {say.LINE_LOST_TYPE if of_type else say.LINE_LOST_LOOK}"
    if not lost.sure:
        look = f": {say.LINE_LOST_PERHAPS}" if of_type else f", {say.LINE_LOST_OR_END}"
    if lost.share:
        look = say.LINE_LOST_BY_HEAT[lost.more_db > 0]
    return say.LINE_LOST.format(
        loses="may lose" if lost.share or (of_type and not lost.sure) else "loses",
        # tenths of a decibel are enough
        more=f"{abs(lost.more_db):.1f} ± {max(K_AXIS * lost.uncertainty_db, 0.1):.1f}",
        way="more" if lost.more_db > 0 else "less",
        than="is stated of it" if of_type else before,
        middle=f"{lost.at_hz / 1e6:.3g} MHz",
        length_m=length,
        per_100m=abs(lost.more_db) / length * 100,
        look=look,
    )


def weather_values(weather: Lost) -> dict[str, object]:
    """How much more or less a line loses on another day."""
    warmer, size = weather.more_db > 0, abs(weather.more_db)
    return {
        "size": f"{size:.1f}" if size > 0.1 else f"{size:.1g}",
        "more": "more" if warmer else "less",
        "middle": f"{weather.at_hz / 1e6:.3g} MHz",
        "warmer": "warmer" if warmer else "colder",
    }


def not_its_type(state: LineState) -> list[Finding]:
    """What a line's own sweeps tell against its type: speed, impedance, or less loss than that."""
    found, stated, at = state.properties, state.stated, float(np.mean(state.frequency))
    if found is None or stated is None or not found.fits:
        return []
    line, length, usual = found.line, state.length_m, defaults.PATH
    (loss, half), of_z0 = matched_loss_db(state), found.standard_uncertainty["z0"]
    of_type = float(stated.loss_db_per_100m(np.array([at]))[0]) * length / 100
    speed, of_speed = line.velocity_factor, state.length_uncertainty_m / length
    # what is seen, what the type has, and what may part them (standard)
    rows = (
        (speed, stated.velocity_factor, np.hypot(usual["velocity factor"], of_speed * speed)),
        (line.z0, stated.z0, np.hypot(usual["impedance"] * stated.z0, of_z0)),
        (min(loss, of_type), of_type, np.hypot(usual["loss"] * of_type, half / K_AXIS)),
    )
    said = zip(rows, say.LINE_FIGURES, strict=True)
    off = [
        words.format(seen=seen, type=known, at=at / 1e6)
        for (seen, known, doubt), words in said
        if abs(seen - known) > SURELY * doubt
    ]
    return [say.LINE_NOT_TYPE(figures=", and ".join(off))] if off else []
