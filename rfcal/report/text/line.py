"""A line check in words: the line, what reflects along it, and what has changed."""

import math

import numpy as np

from rfcal.feedline.changes.comparison import TRIFLE
from rfcal.feedline.changes.shift import Shift
from rfcal.feedline.faults.events import FAULT
from rfcal.feedline.faults.kinds import UNCLEAR
from rfcal.findings import size_words
from rfcal.models.line import SPEED_OF_LIGHT
from rfcal.record.findings.catalogue import line as say
from rfcal.record.findings.line import band, cable, state, verdict
from rfcal.record.results import LineState
from rfcal.uncertainty import coverage
from rfcal.uncertainty.words import about, plus_minus, rounded

STATE = "the line's state: "
LAST = say.LINE_HIDES.split("{")[0]
MADE_GOOD = "that was made good before the sweeps were compared"


def line_lines(line: LineState) -> list[str]:
    """What a line check found, in lines."""
    now, near = line.now, line.now.band.near
    size, late, places = now.size, band.rings(line), verdict.places(line)
    new = [c.distance_m for c in line.comparison.changes] if line.comparison else []
    said = [f"{STATE}{state.line_verdict(line)[0]}", *_properties(line), _seen(line, len(places))]
    for i in places:
        half, kind = coverage.K_AXIS * float(now.distance_uncertainty_m[i]), now.kind[i]
        place = band.unplaced(line) or f"{plus_minus(float(now.distance_m[i]), half)} m"
        row = [size_words(float(size[i]))]
        if farther := band.farther_words(line, now.distance_m[i]):
            row.insert(0, farther)
        elif i != line.end and size[i] < TRIFLE:
            row += [] if now.distance_m[i] in new else [say.LINE_AS_SOUND]
        elif i != line.end or kind not in UNCLEAR:
            row.insert(0, verdict.kind_words(line, now.distance_m[i], kind, now.fits[i]))
        if i == line.end:
            place, stated = verdict.end_place(line)
            row[-1] += say.LINE_WHOLE
            row.insert(0, f"the line's end{stated}")
            hides, told = say.LINE_HIDES.format(near=about(near)), LAST in said[0]
            row += [] if told or near > line.length_m else [f"which hides what may be in {hides}"]
        if line.beyond_m is not None and now.distance_m[i] > line.length_m + near:
            row.insert(-1, say.LINE_NO_PLACE.format(length_m=line.length_m))
        said.append(f"  {place}: {', '.join(row)}")
    if line.end is None and line.ends:
        hidden = any(line.length_m - now.distance_m[i] < near for i in places)
        said.append(f"  {verdict.end_place(line)[0]}: {say.LINE_END_UNSEEN[hidden]}")
        late &= np.abs(now.distance_m - line.length_m) > near
    early = band.may_ring(line)
    if (unsure := np.flatnonzero(early & (size > band.FAINTEST))).size:
        said.append(f"  {band.early_words(line, unsure)}")
    late &= ~early
    # a band that does not even tell the line's ends apart tells of nothing behind it
    if np.any(late) and not near > line.length_m > 0:
        *some, last = (f"{d:.1f}" for d in now.distance_m[late])
        echoes = f"{', '.join(some)} and {last}" if some else last
        end = "the end" if line.ends else "an antenna"
        said.append("  " + say.LINE_RINGS.format(places=echoes, end=end))
    return said + verdict.what_tells(line) + _comparison_lines(line)


def _seen(line: LineState, count: int) -> str:
    """How many places are listed, how fine and how far the sweep tells, and what it hides."""
    now, near = line.now, line.now.band.near
    far = min(now.band.range - near, now.seen_m)
    hidden = (
        f", as loss or stronger places hide a reflection of {FAULT:g} beyond"
        if now.seen_m <= far
        else ""
    )
    if (least := band.least_seen(line)) > band.FAINTEST:
        hidden += f", and of what lies before the end what reflects {least:.1g} or more"
    return (
        f"places that reflect {band.FAINTEST:g} or more, nearest first: {count} (metres of this "
        f"cable at velocity factor {line.now.band.speed / SPEED_OF_LIGHT:.3g} from where the "
        f"standards were connected; resolution: told apart from {rounded(near, near)} m on; "
        f"range: seen up to {rounded(far, far / 10)} m{hidden}; kinds are those of one uniform "
        "line):"
    )


def _comparison_lines(line: LineState) -> list[str]:
    """What differs from the baseline, in lines."""
    found, said = line.comparison, []
    if found is None:
        return []
    if found.changes:
        beyond = "a fault changes what is seen beyond it too"
        said = [f"changed since the baseline, nearest first ({beyond}):"]
    for c in found.changes:
        before, after = size_words(abs(c.before)), size_words(abs(c.after))
        told = f"changed by {c.size:.2g} (phase counted)"
        if abs(abs(c.before) - abs(c.after)) > c.size:  # by itself, seen through what is before it
            told = f"changed by {c.size:.2g} behind what is new before it; seen"
        told += "" if state.before_hidden(line, c) else f", from {before} to {after}"
        if c is found.changes[0] and state.of_end(line, c):
            told = f"now reflects {after}" if c.closed else state.most_words(line)[1]
        told = {"new": f"new, {after}", "gone": f"gone, {before}"}.get(c.what, told)
        said.append(f"  {verdict.place_words(line, c.distance_m)}: {told}")
    if found.shift is not None:
        said.append(shift_words(found.shift))
    if (lost := found.lost or found.weather) is not None:
        said.append(say.LINE_LOSS_MOVED.format(**cable.weather_values(lost)) + MADE_GOOD)
    if not found.changes:
        most = f"{found.largest:.2g} of reflection at most, at {found.largest_hz / 1e6:.4g} MHz"
        said.append(f"the two sweeps differ by {most}")
    return said


def shift_words(shift: Shift) -> str:
    """How the line's places have moved, in words."""
    more = "longer" if shift.size > 0 else "shorter"
    if shift.between_m is not None:
        return f"the line is {more} than in the baseline: {MADE_GOOD}"
    where, first = "all along it as weather may make it", ""
    if not shift.sure and shift.from_m is not None:
        first = f"from {shift.from_m:.1f} m on, where something is new, or "
    elif not shift.sure:
        where += " or from one place on"
    delay = f"the line's delay is {abs(shift.size):.2%} {more} than in the baseline"
    return f"{delay}, {first}{where}: {MADE_GOOD}"


def _properties(line: LineState) -> list[str]:
    """Length, impedance and loss of a line by its own sweeps; nothing where there are none."""
    found, k = line.properties, coverage.K_AXIS
    if found is None:
        return []
    of = found.standard_uncertainty
    (loss, half), middle = cable.matched_loss_db(line), np.mean(line.frequency) / 1e6
    lost = f"{plus_minus(loss, half)} dB in all"
    if not cable.is_loss_measured(line):
        lost = f"not known, below {math.ceil(loss + half)} dB in all"
    usual = ""
    if line.stated is not None:
        per_100m = float(line.stated.loss_db_per_100m(np.array([middle * 1e6]))[0])
        usual = f", where its type has {per_100m * line.length_m / 100:.1f} dB"
    length = plus_minus(line.length_m, k * line.length_uncertainty_m)
    return [
        f"the line: {length} m at velocity factor {found.line.velocity_factor:.3g}, delay "
        f"{plus_minus(found.delay_s * 1e9, k * of['delay'] * 1e9)} ns, "
        f"{plus_minus(found.line.z0, k * of['z0'])} ohm, matched loss "
        f"{lost} at {middle:.4g} MHz{usual}"
    ]
