"""What was read again and has moved: how, and what that tells."""

from collections.abc import Sequence

import numpy as np

from rfcal import defaults
from rfcal.findings import Finding, listed, quoted, span_mhz
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.bench import Moved
from rfcal.models.line import SPEED_OF_LIGHT
from rfcal.record.findings.case import AS_IT_IS
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.findings.catalogue.devices import LONGER
from rfcal.record.findings.unsaid import delay_before
from rfcal.record.results import RereadCheck
from rfcal.uncertainty.coverage import K_ELLIPSE

SMALL = 0.2
"""Size of a reflection [1] below which it has no angle to speak of: it moves, it does not turn."""
MOSTLY = 2.0
"""So many times as much as all else is what is called by its name."""
LIKE = 0.1
"""Raw readings nearer to each other than this [1] may be of one artefact."""
BEHIND = 0.25
"""Turn [rad] beyond which what was read again lies behind something else, for bending and drift
turn less (common practice, no source)."""
MIRRORED = 0.01
"""So near [1] a second reading comes to the first with X of the other sign if one sign is wrong:
noise and a display's step leave no more."""
NOISY = 0.02
"""Turn [rad] that may be of noise and connections alone."""
ALIKE = 0.1
"""Parts by which the turn of one piece of line may seem to differ over a band, and its loss [1]."""


def about_rereads(found: Sequence[RereadCheck], z_ref: float) -> list[Finding]:
    """What moved farthest beyond what was stated, and what else did: one cause may have moved all.

    The change enters the uncertainty once, by what speaks for most of it.
    """
    moved = [again.moved for again in found if not again.agrees]
    moved.sort(key=lambda one: -np.max(one.squared()))
    return [_moved(moved[0], [one.of for one in moved[1:]], z_ref)] if moved else []


def _moved(moved: Moved, others: Sequence[str], z_ref: float) -> Finding:
    outside = moved.squared() > K_ELLIPSE**2
    times = np.sqrt(np.max(moved.squared())) / K_ELLIPSE
    at = _jump(moved.change.value)
    jumped = outside if at is None else np.arange(outside.size) == at
    where = span_mhz(moved.frequency, jumped)
    too = say.MOVED_TOO.format(others=quoted(others)) if others else ""
    how, causes = (say.JUMPED, (say.LOOSE,)) if at is not None else _how(moved, outside)
    far = f"{float(f'{times:.2g}'):,g}"
    if moved.at_least:
        look = listed((say.LEFT, *causes), last="or")
        return say.MOVED(of=moved.of, how=how, where=where, far=far, look=look, too=too)
    box, first, last = moved.calibration.error_box, moved.first, moved.first + moved.change.value
    before, again = box.apply(first), box.apply(last)
    early, late = _size(before - first), _size(again - first)  # off what the artefact is
    if min(early, late) < AS_IT_IS:  # corrected already, or by an analyzer that needs little
        causes = (*causes[:2], say.SWITCHED)
    if late < AS_IT_IS and early > MOSTLY * late:
        how = say.CORRECTED
    if other := _like(moved, before, again):
        how = say.EXCHANGED_WITH.format(other=other)
        causes = (say.EXCHANGE.format(of=moved.of, other=other),)
    elif not others and (sign := _sign_lost(before, again, outside)) is not None:
        x, later = (to_impedance(raw[sign], z_ref).imag for raw in (before, again))
        how, causes = say.MIRRORED.format(first_ohm=x, later_ohm=later), (say.LOST_SIGN,)
    elif delay := _delay(moved):
        line = delay_before(moved.calibration)
        if abs(delay) < defaults.NO_WEATHER_STRETCH * line:
            share, longer = abs(delay) / line, LONGER[delay < 0]
            causes = (say.STRETCHED.format(share=share, longer=longer), *causes)
        elif 4 * np.pi * moved.frequency[0] * delay > BEHIND:
            metres = delay * defaults.VELOCITY_FACTOR * SPEED_OF_LIGHT
            return say.LEAD_LEFT(of=moved.of, cm=100 * metres, where=where, too=too)
    look = listed(causes, last="or")
    return say.MOVED(of=moved.of, how=how, where=where, far=far, look=look, too=too)


def _sign_lost(before: Complex, again: Complex, outside: np.ndarray) -> int | None:
    """The point that moved farthest, if all that did have only X of the other sign; else None."""
    off, far = np.abs(np.conj(before) - again), np.abs(before - again)
    return int(np.argmax(far)) if np.all(off[outside] < MIRRORED) and far.max() > LIKE else None


def _delay(moved: Moved) -> float:
    """By what delay, one way, it lies behind what it was [s]; 0 where no one line does that."""
    ratio, along = 1 + moved.change.value / moved.first, 4 * np.pi * moved.frequency
    if np.any(np.abs(moved.first) < SMALL) or np.any(np.abs(np.abs(ratio) - 1) > ALIKE):
        return 0.0
    turn = -np.unwrap(np.angle(ratio))  # there and back
    delay = float(np.median(turn / along))
    one_line = np.all(np.abs(turn - along * delay) < np.maximum(ALIKE * np.abs(turn), NOISY))
    return delay if one_line else 0.0


def _how(moved: Moved, outside: np.ndarray) -> tuple[str, tuple[str, ...]]:
    """What an artefact did between its two readings, in words, and what may have done it."""
    change = moved.change.value
    if np.all(np.abs(moved.first) > SMALL) and not moved.at_least:
        ratio = 1 + change / moved.first
        turn, grown = np.angle(ratio), np.abs(ratio) - 1
        most = int(np.argmax(np.where(outside, np.abs(change), 0)))
        if _size(turn) > MOSTLY * _size(grown):
            way = "anticlockwise" if turn[most] > 0 else "clockwise"
            degrees = float(f"{abs(np.degrees(turn[most])):.2g}")
            small = (say.DRIFTED, say.BENT) if abs(turn[most]) < BEHIND else ()
            return say.TURNED.format(degrees=degrees, way=way), (*small, say.ADAPTED)
    how = (say.SHIFTED_LEAST if moved.at_least else say.SHIFTED).format(size=np.max(np.abs(change)))
    return how, (say.BENT, say.DRIFTED, say.LOOSE)


def _size(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))


def _like(moved: Moved, before: Complex, again: Complex) -> str:
    """Another standard whose reading the second one is; empty where there is none."""
    found = moved.calibration
    off = {n: _size(again - q.value) for n, q in zip(found.names, found.seen, strict=True)}
    off.pop(moved.of, None)
    nearest = min(off, key=lambda name: off[name])
    return nearest if off[nearest] < LIKE < _size(again - before) else ""


def _jump(change: np.ndarray) -> int | None:
    """The point from which on a change is another one; None where it varies as a whole."""
    steps = np.abs(np.diff(change))
    if steps.size < 4:
        return None
    at = int(np.argmax(steps))
    others: Real = np.delete(steps, range(max(at - 1, 0), min(at + 2, steps.size)))
    sudden = steps[at] > 2 * MOSTLY * np.max(others) and steps[at] > np.max(np.abs(change)) / 2
    return at + 1 if sudden else None
