"""What kind of analyzer the error terms would be: one that there is, or one that no slip explains.

An analyzer before its correction is far from ideal, and whatever delays a wave turns its phase
clockwise as frequency rises.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.error_terms import Calibration, implausible
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.misread import Meanings
from rfcal.record.findings.slips import Scene, exchanges, misreadings

LONGEST_S = 150e-9
"""Round trip of the longest lead before the standards' plane, 15 m of cable (common practice, no
source): steps in which it turns by a whole turn do not show which way the tracking turns."""
LOW_HZ, PER_METRE_S = 1e6, 10e-9
"""Below this an analyzer's own delay turns nothing to speak of, so that only a lead does; and a
metre's round trip (common practice, no source)."""
BACKWARD_S = 35e-12
"""Round trip by which standards of one's own making may hide a delay: 3.5 mm of cable (common
practice, no source)."""
SURE = 6.0
"""So many standard deviations off is no chance: once in 10^4 at eleven points, in 10^6 at thirty,
and as it must be beyond what leads explain too, it takes next to no part of that of a false
alarm."""
FEWEST = 11
"""Points from which a line through phases is judged."""
MOST = 3
"""Slips that are told."""
KNOWN_RAD = 0.15
"""Doubt of the phase at zero frequency up to which its sign can be told [rad]."""


def about_analyzer(calibration: Calibration, meant: Mapping[str, Meanings]) -> list[Finding]:
    """What the error terms of standards say besides: the likeliest slip alone."""
    box, frequency = calibration.error_box, calibration.frequency
    beyond = implausible(box)
    tracking = box.reflection_tracking
    if beyond:
        where = np.any(list(beyond.values()), axis=0)
        terms = " and ".join(
            f"a {name} of {np.max(np.abs(getattr(box, name.replace(' ', '_')))):.2g}"
            for name in beyond
        )
        mended = _mended(calibration, meant)
        look = say.LOOK_WHETHER.format(mended=", or ".join(mended)) if mended else say.LOOK_WRONG
        return [say.ERROR_TERMS(look=look, terms=terms, where=span_mhz(frequency, where))]
    turn = delay_of(tracking, frequency)
    if turn is None:
        return []
    if turn.delay_s < -max(BACKWARD_S, SURE * turn.doubt_s):
        degrees = np.degrees(-2 * np.pi * turn.delay_s * np.ptp(frequency))
        where = span_mhz(frequency, frequency > 0)
        return [say.ANTICLOCKWISE(degrees=degrees, where=where)]
    if frequency[-1] < LOW_HZ and turn.delay_s - SURE * turn.doubt_s > LONGEST_S:
        where = span_mhz(frequency, frequency > 0)
        return [say.UNIT_BY_DELAY(metres=turn.delay_s / PER_METRE_S, where=where)]
    if turn.at_zero_doubt < KNOWN_RAD and np.pi - abs(turn.at_zero) < SURE * KNOWN_RAD:
        real = [np.mean(known.value.real) for known in calibration.known]
        ends = [calibration.names[int(at)] for at in (np.argmin(real), np.argmax(real))]
        pair = "'{}' and '{}'".format(*ends)
        return [say.HALF_TURN(pair=pair, degrees=abs(np.degrees(turn.at_zero)))]
    return []


def _mended(calibration: Calibration, meant: Mapping[str, Meanings]) -> list[str]:
    """What would leave error terms that an analyzer may have: readings exchanged, or misread."""
    scene, names = Scene.of(calibration), calibration.names
    for slips in (exchanges(combinations(names, 2)), misreadings(names, meant)):
        mended = [
            slip.said()
            for slip in slips
            for moved in slip.moved([scene], 1.0)
            if not implausible(moved.calibration.error_box)
        ]
        if mended:
            return mended[:MOST]
    return []


@dataclass(frozen=True)
class Turn:
    """A straight line through the phases of a transmission."""

    delay_s: float
    doubt_s: float  # its standard uncertainty
    at_zero: float  # phase at zero frequency, within half a turn [rad]
    at_zero_doubt: float  # its standard uncertainty [rad]


def delay_of(values: Complex, frequency: Real) -> Turn | None:
    """The line through their phases; None where too few points, or too far apart, show one."""
    if frequency.size < FEWEST:
        return None
    step = float(np.max(np.diff(frequency)))
    phase = np.unwrap(np.angle(values)) / (2 * np.pi)
    middle = float(np.mean(frequency))
    slope, level = np.polyfit(frequency - middle, phase, 1)
    if (1 - abs(slope) * step) / step < LONGEST_S:
        return None
    scatter = np.std(phase - level - slope * (frequency - middle))
    doubt = scatter / (np.std(frequency) * np.sqrt(frequency.size - 2))
    at_zero = np.angle(np.exp(2j * np.pi * (level - slope * middle)))
    return Turn(-slope, doubt, float(at_zero), 2 * np.pi * doubt * middle)
