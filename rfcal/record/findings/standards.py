"""Standards that are badly spread, or that contradict an analyzer's nature or each other."""

from collections.abc import Collection, Iterable, Iterator
from itertools import combinations

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Real
from rfcal.measurement.bench import Bench
from rfcal.measurement.error_terms import (
    KNOWN_RAD,
    LONGEST_S,
    SURE,
    Calibration,
    implausible,
    turn_of,
)
from rfcal.models.standards import Standard
from rfcal.record.findings import slips
from rfcal.record.findings.case import KHZ_HZ, USUAL_HZ, Case, Scene, contradict, in_mhz
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.catalogue.readings import TYPED_KHZ
from rfcal.record.findings.checks import contradicts_exchange

CONDITION_WARNING = 30.0
"""Condition number of the standards above which the answer leans on tiny differences."""
IDEAL = 0.024
"""Size of error terms [1] below which all three are those of an instrument that corrects itself: a
raw one's bridge has 32 dB of directivity at best, and a tracking that turns (common practice, no
source)."""
ALIKE, APART = 0.15, 0.7
"""Raw readings nearer to each other than the first [1] are of no standards that are as far apart as
the second: analyzers show more of a step on the chart (common practice, no source)."""
EDGE = 36
"""Points about the chart's edge at which the growth of an error is looked at."""
LOW_HZ, PER_METRE_S = 1e6, 10e-9
"""Below this an analyzer's own delay turns nothing to speak of, so that only a lead does; and a
metre's round trip (common practice, no source)."""
MOST = 3
"""Slips that are told."""
LEAD_M, NEAR_RAD = 3.0, 0.5
"""Few points show no delay: a tracking so near half a turn is an exchange, or a longer lead than
this before the standards (common practice, no source)."""


def about_standards(case: Case) -> Iterator[Finding]:
    """What there is to say about the standards and the error terms."""
    calibration, frequency = case.calibration, case.calibration.frequency
    poor = calibration.condition > CONDITION_WARNING
    if np.any(poor):
        worst = np.max(growth(calibration)[poor])
        yield say.STANDARDS_CLOSE(where=span_mhz(frequency, poor), growth=worst)
    yield from [*_read_alike(calibration)] or about_analyzer(case)
    box = calibration.error_box
    terms = (box.directivity, box.source_match, box.reflection_tracking - 1)
    if (size := np.max(np.abs(terms))) < IDEAL:
        yield say.STANDARDS_CORRECTED(size=size)
    bad = contradict(calibration, case.chance)
    if np.any(bad):
        chi_square, freedom = calibration.chi_square()
        yield say.STANDARDS_DISAGREE(
            where=span_mhz(frequency, bad),
            chi_square=np.max(chi_square),
            freedom=freedom,
            evidence=case.why or say.NO_CULPRIT,
        )


def asked_khz(case: Case, bench: Bench) -> Iterator[Finding]:
    """Frequencies in MHz that would be short wave as kHz, if the tracking turns as little as there.

    At what is written, leads that long would turn it a thousand times as far.
    """
    sweeps, calibration, standards = case.read.values(), case.calibration, bench.standards
    f = calibration.frequency
    if not (sweeps and all(map(in_mhz, sweeps)) and f[0] >= KHZ_HZ and f[-1] <= USUAL_HZ[1]):
        return
    if not all(isinstance(one.model, Standard) for one in standards):
        return  # a file tells of what is written
    if known := [one.quantity(f / 1e3, bench.z_ref) for one in standards]:
        calibration = calibration.with_known(known)
    turned = -np.unwrap(np.angle(calibration.error_box.reflection_tracking)) + KNOWN_RAD
    most = 2 * np.pi * LONGEST_S * f / 1e3 + 2 * KNOWN_RAD
    if np.all(turned % (2 * np.pi) <= most) and np.ptp(turned) <= np.ptp(most) + KNOWN_RAD:
        meant, written = (
            " to ".join(dict.fromkeys(f"{hz:.10g}" for hz in f[[0, -1]] / unit))
            for unit in (1e9, 1e6)
        )
        yield TYPED_KHZ(meant=meant, written=written)


def _read_alike(calibration: Calibration) -> Iterator[Finding]:
    """Standards that should be far apart, and were read close to each other."""
    names = calibration.names
    known, seen = (np.array([q.value for q in of]) for of in (calibration.known, calibration.seen))
    # at the first frequency those that may be it everywhere
    read, are = (np.abs(np.subtract.outer(values[:, 0], values[:, 0])) for values in (seen, known))
    for one, other in np.argwhere(np.triu((read < ALIKE) & (are > APART))):
        size = float(np.max(np.abs(seen[one] - seen[other])))
        if size < ALIKE and np.min(np.abs(known[one] - known[other])) > APART:
            yield say.READ_ALIKE(one=names[one], other=names[other], size=size)


def growth(calibration: Calibration) -> Real:
    """How many times an error of one standard may come out elsewhere on the chart, shape (F,).

    Source: a bilinear map is off by its slope times a polynomial of degree 2 of the reflection; the
    standards fix that polynomial, and it is largest on the chart's edge.
    """
    g = np.array([k.value for k in calibration.known])
    powers = np.moveaxis(g[..., None] ** np.arange(3), 0, -2)
    edge = np.exp(2j * np.pi * np.arange(EDGE) / EDGE)[:, None] ** np.arange(3)
    return np.max(np.abs(edge @ np.linalg.pinv(powers)), axis=(-2, -1))


def about_analyzer(case: Case) -> list[Finding]:
    """What the error terms of standards say besides: the likeliest slip alone."""
    calibration, why = case.calibration, case.why
    box, frequency = calibration.error_box, calibration.frequency
    if beyond := implausible(box):
        where = np.any(list(beyond.values()), axis=0)
        terms = " and ".join(
            f"a {name} of {np.max(np.abs(getattr(box, name.replace(' ', '_')))):.2g}"
            for name in beyond
        )
        mended = [slip for slip in _mended(case) if slip in why or not why]
        look = say.LOOK_CHECKS if why else say.LOOK_WRONG
        look = say.LOOK_WHETHER.format(mended=", or ".join(mended)) if mended else look
        return [say.ERROR_TERMS(look=look, terms=terms, where=span_mhz(frequency, where))]
    read = case.read.get(calibration.names[0])  # it turns so in the reference of the readings
    tracking = box.renormalised(case.z_ref, read.z_ref if read else case.z_ref).reflection_tracking
    turn = turn_of(tracking, frequency, calibration.seen)
    if turn is None:
        metres, off = 0.5 / frequency[0] / PER_METRE_S, np.angle(-tracking[0])
        pair = exchange(calibration, case.stayed)
        upheld = pair.against or any(map(contradicts_exchange, case.checks))
        half = not upheld and metres >= LEAD_M and abs(off) <= NEAR_RAD
        why = say.OR_LEAD.format(metres=metres)
    else:
        where = span_mhz(frequency, frequency > 0)
        if turn.backward and any(f"'{name}'" in why for name in calibration.names):
            return []  # what explains a contradiction explains the turn as well
        if turn.backward:
            degrees = np.degrees(-2 * np.pi * turn.delay * np.ptp(frequency))
            return [say.ANTICLOCKWISE(degrees=degrees, where=where)]
        if frequency[-1] < LOW_HZ and turn.delay - SURE * turn.doubt > LONGEST_S:
            return [say.UNIT_BY_DELAY(metres=turn.delay / PER_METRE_S, where=where)]
        half, why = turn.half, say.AT_ZERO.format(degrees=abs(np.degrees(turn.at_zero)))
    return [say.HALF_TURN(pair=exchange(calibration).said(), why=why)] if half else []


def exchange(calibration: Calibration, stayed: Collection[str] = ()) -> slips.Slip:
    """Of the two standards that lie farthest to the chart's left and right: what turns it all."""
    real = [np.mean(known.value.real) for known in calibration.known]
    left, right = (calibration.names[int(at)] for at in (np.argmin(real), np.argmax(real)))
    return next(slips.exchanges([(left, right)], stayed=stayed))


def or_exchange(why: str, found: Iterable[Finding], calibration: Calibration) -> str:
    """What would explain a contradiction, where the analyzer itself tells of an exchange."""
    if say.HALF_TURN.code not in {f.code for f in found}:
        return why
    said = exchange(calibration).said()
    return say.SUSPECTS.format(several=said, left="") if said in why else say.SEEN_ABOVE


def _mended(case: Case) -> list[str]:
    """What would leave error terms that an analyzer may have: of readings, or of a value."""
    calibration = case.calibration
    scene, names = Scene.of(calibration), slips.suspected(calibration)
    values = (
        slip for n in names for slip in slips.other_values(n, scene.known[n].value, case.z_ref)
    )
    misread = slips.misreadings(calibration.names, names, case.meant)
    for tried in (slips.exchanges(combinations(names, 2)), misread, values):
        mended = [
            slip.said(size=slip.sizes[0])
            for slip in tried
            if not slip.fitted
            for moved in slip.moved([scene], slip.sizes[0])
            if not implausible(moved.calibration.error_box)
        ]
        if mended:
            return mended[:MOST]
    return []
