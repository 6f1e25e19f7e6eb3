"""Standards that contradict an analyzer's nature or each other, and checks that contradict them."""

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from rfcal import defaults
from rfcal.defaults import FALSE_ALARM
from rfcal.findings import Finding, quoted, span_mhz
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Real, from_impedance
from rfcal.measurement.bench import Bench
from rfcal.measurement.error_terms import (
    BEYOND_CHANCE,
    KNOWN_RAD,
    LONGEST_S,
    Calibration,
    implausible,
    turn_of,
)
from rfcal.models.standards import Standard
from rfcal.record.findings.case import KHZ_HZ, USUAL_HZ, Case, Scene, contradict, in_mhz
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.catalogue.readings import TYPED_KHZ
from rfcal.record.findings.devices import HIDDEN_RADIUS, largest_sources
from rfcal.record.findings.slips import Slip, exchanges
from rfcal.record.format.schema import Artefact, Record
from rfcal.record.results import Check
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.significance import far_off
from rfcal.uncertainty.words import WHOLE

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
LONG_LEAD_M, NEAR_RAD = 3.0, 0.5
"""Few points show no delay: a tracking so near half a turn is an exchange, or a longer lead than
this before the standards (common practice, no source)."""
OTHERS_OHM = (33.0, 75.0, 150.0, 15.0, 300.0)
"""Resistors that may serve as another check [ohm]; 25 and 100 are blind to some exchanges."""
SMALL = 0.15
"""A check that is farther off [1] was not moved there by drift or a loose connector."""
MANY = 20
"""Standards beyond which an exchange of two is contradicted by the others."""
SEEN = 0.05
"""An exchange of standards is seen where it moves a check by so much [1]."""


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
        look = say.LOOK_CHECKS if why else say.LOOK_WRONG
        if case.mends:
            look = say.LOOK_WHETHER.format(mended=", or ".join(case.mends))
        return [say.ERROR_TERMS(look=look, terms=terms, where=span_mhz(frequency, where))]
    read = case.read.get(calibration.names[0])  # it turns so in the reference of the readings
    tracking = box.renormalised(case.z_ref, read.z_ref if read else case.z_ref).reflection_tracking
    turn = turn_of(tracking, frequency, calibration.seen)
    if turn is None:
        metres, off = 0.5 / frequency[0] / PER_METRE_S, np.angle(-tracking[0])
        pair = exchange(calibration)
        half = metres >= LONG_LEAD_M and abs(off) <= NEAR_RAD and not {*pair.names} & {*case.stayed}
        half = half and bool(_unseen(pair, case))
        why = say.OR_LEAD.format(metres=metres)
    else:
        where = span_mhz(frequency, frequency > 0)
        if turn.backward and any(f"'{name}'" in why for name in calibration.names):
            return []  # what explains a contradiction explains the turn as well
        if turn.backward:
            degrees = np.degrees(-2 * np.pi * turn.delay * np.ptp(frequency))
            return [say.ANTICLOCKWISE(degrees=degrees, where=where)]
        if frequency[-1] < LOW_HZ and turn.delay - BEYOND_CHANCE * turn.doubt > LONGEST_S:
            return [say.UNIT_BY_DELAY(metres=turn.delay / PER_METRE_S, where=where)]
        half, why = turn.half, say.AT_ZERO.format(degrees=abs(np.degrees(turn.at_zero)))
    return [say.HALF_TURN(pair=exchange(calibration).said(1.0), why=why)] if half else []


def exchange(calibration: Calibration) -> Slip:
    """Of the two standards that lie farthest to the chart's left and right: what turns it all."""
    real = [np.mean(known.value.real) for known in calibration.known]
    left, right = (calibration.names[int(at)] for at in (np.argmin(real), np.argmax(real)))
    return next(exchanges([(left, right)]))


def about_checks(case: Case) -> list[Finding]:
    """Checks that contradict the calibration, or that cannot."""
    found, calibration = case.checks, case.calibration
    if not found:
        return []
    names = calibration.names if case.solved and len(calibration.names) <= MANY else ()
    findings = [_disagrees(one, case) for one in found if not one.agrees]
    findings += [said for one in found if one.agrees for said in _blunt(one)]
    slips = exchanges(combinations(names, 2))
    blind = {slip.names: box for slip in slips for box in _unseen(slip, case)}
    if blind and all(check.agrees for check in found):
        either = ", or ".join(quoted(pair) for pair in blind)
        other = _another(calibration, list(blind.values()), case.z_ref)
        findings.append(say.CHECK_BLIND(pairs=either, other=other))
    return findings


def _unseen(slip: Slip, case: Case) -> list[Bilinear]:
    """The error terms by a slip, if it would leave standards and checks that agree in agreement."""
    agree = [Scene.of(check.inputs.calibration, check) for check in case.checks if check.agrees]
    if any(far_off(scene.off, FALSE_ALARM) for scene in slip.moved(agree, 1.0)):
        return []
    solved = [scene.calibration for scene in slip.moved([Scene.of(case.calibration)], 1.0)]
    return [each.error_box for each in solved if not np.any(contradict(each))]


def _blunt(check: Check) -> Iterator[Finding]:
    """That it would have shown large errors only, by what lies before it or by the standards."""
    if (most := np.median(region_radius(check.measured))) > HIDDEN_RADIUS:
        sources = largest_sources(check.measured, check.frequency > 0)
        some = say.SOME.format(most=most) if most < WHOLE else ""
        yield say.CHECK_BLUNT(check=check.name, some=some, sources=sources)


def about_builds(record: Record) -> list[Finding]:
    """Whether all checks reflect nearly all, or are built as a load is and share its strays.

    The latter only where the checks' build is stated and these rest on it.
    """
    checks = record.checks if record.standards else ()
    (low, high), models = defaults.CHECK_OHM, {c.name: c.model for c in checks if not c.at}
    ohms = {name: m.resistance for name, m in models.items() if m and m.kind == "load"}
    seen = len(ohms) < len(models) or any(low <= ohm <= high for ohm in ohms.values())
    found = [say.CHECK_FAR(check=name, ohm=ohm) for name, ohm in ohms.items() if not seen]
    loads = {build: item.name for item in record.standards if (build := _build_of(item))}
    builds = {_build_of(item) if item.build_stated else "" for item in record.checks}
    if len(builds) != 1 or (build := builds.pop()) not in loads:
        return found
    names = quoted([item.name for item in record.checks])
    return [*found, say.CHECK_SAME_BUILD(checks=names, load=loads[build], build=build)]


def _build_of(item: Artefact) -> str:
    """How a resistor is built whose inductance is known by that alone; else empty."""
    stated = {"reflection", "inductance"} & set(item.uncertainty)
    resistor = item.model is not None and item.model.kind == "load" and not stated
    return item.model.build if resistor and item.model else ""


def _another(calibration: Calibration, blind: Sequence[Bilinear], z_ref: float) -> str:
    """A resistor that would show that the error terms are none of these, in words."""
    for ohm in OTHERS_OHM:
        true = np.full(calibration.frequency.shape, from_impedance(ohm, z_ref))
        raw = calibration.error_box.apply(true)
        if all(np.max(np.abs(box.correct(raw) - true)) > SEEN for box in blind):
            return f"{ohm:g} ohm"
    return say.NO_RESISTOR


def _disagrees(check: Check, case: Case) -> Finding:
    where = span_mhz(check.frequency, ~check.inside | np.all(check.inside))
    size = np.max(np.abs(check.region.centre - check.expected.value))
    if not case.solved:
        causes = say.CAUSES_INSIDE
    elif check.inputs.path:
        unsigned = set(case.calibration.names) & set(case.mirrored)
        causes = say.CAUSE_SIGN * bool(unsigned) + say.CAUSES_BEHIND.format(at=check.at)
    else:
        causes = say.CAUSES if case.stayed or size > SMALL else say.CAUSES_SMALL
    alone = np.sum(~check.inside) == 1 < check.inside.size
    explanation = say.ONE_ROW * bool(alone) + (case.why or say.LOOK_FOR.format(causes=causes))
    return say.CHECK_DISAGREES(check=check.name, where=where, explanation=explanation)
