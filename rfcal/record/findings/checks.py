"""Do the checks agree: verdicts that chance alone seldom turns, and what they cannot see."""

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from rfcal import defaults
from rfcal.defaults import FALSE_ALARM
from rfcal.findings import Finding, quoted, span_mhz
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.error_terms import Calibration
from rfcal.record.findings.case import Case, Scene, contradict
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.findings.devices import HIDDEN, largest_sources
from rfcal.record.findings.slips import exchanges
from rfcal.record.format.schema import Artefact, Record
from rfcal.record.results import Check
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.significance import far_off

OTHERS_OHM = (33.0, 75.0, 150.0, 15.0, 300.0)
"""Resistors that may serve as another check [ohm]; 25 and 100 are blind to some exchanges."""
SMALL = 0.15
"""A check that is farther off [1] was not moved there by drift or a loose connector."""
FEW, ODD = 2, 3.0
"""Points that agree beside one that is off by a slip, and so many times as far as any of them: a
wrong length moves all that are nearly as high."""
MANY = 20
"""Standards beyond which an exchange of two is contradicted by the others."""
SEEN = 0.05
"""An exchange of standards is seen where it moves a check by so much [1]."""


def about_checks(case: Case) -> list[Finding]:
    """Checks that contradict the calibration, or that cannot."""
    found, calibration = case.checks, case.calibration
    if not found:
        return []
    names = calibration.names if case.solved and len(calibration.names) <= MANY else ()
    pairs = list(combinations(names, 2))
    as_read = Scene.of(calibration)
    findings = [_disagrees(one, case) for one in found if not one.agrees]
    findings += [said for one in found if one.agrees for said in _blunt(one)]
    scenes = [Scene.of(check.inputs.calibration, check) for check in found if check.agrees]
    # the pairs whose exchange would leave standards and checks in agreement, and the error terms
    blind = {
        pair: swapped.calibration.error_box
        for pair, slip in zip(pairs, exchanges(pairs), strict=True)
        for swapped in slip.moved([as_read], 1.0)
        if not np.any(contradict(swapped.calibration))
        and not any(far_off(scene.off, FALSE_ALARM) for scene in slip.moved(scenes, 1.0))
    }
    if blind and len(scenes) == len(found):
        either = ", or ".join(quoted(pair) for pair in blind)
        other = _another(calibration, list(blind.values()), case.z_ref)
        findings.append(say.CHECK_BLIND(pairs=either, other=other))
    return findings


def _blunt(check: Check) -> Iterator[Finding]:
    """That it would have shown large errors only, by what lies before it or by the standards."""
    if (most := np.median(region_radius(check.measured))) > HIDDEN:
        what, cure = say.BLUNT_BEHIND if check.inputs.path else say.BLUNT_BARE
        cure = cure.format(sources=largest_sources(check.measured, check.frequency > 0))
        yield say.CHECK_BLUNT(check=check.name, most=most, what=what, cure=cure)


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


def contradicts_exchange(check: Check) -> bool:
    """Whether it agrees, at the standards' plane and farther from the middle than it may be off."""
    reflects = float(np.min(np.abs(check.expected.value)))
    return check.agrees and not check.inputs.path and reflects > SMALL


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
    explanation = _one_row(check, case) + (case.why or say.LOOK_FOR.format(causes=causes))
    return say.CHECK_DISAGREES(check=check.name, where=where, explanation=explanation)


def _one_row(check: Check, case: Case) -> str:
    """That one frequency is to be read again first, where it alone is far off."""
    far = np.sqrt(check.region.squared_distance(check.expected))
    at = int(np.argmax(far))
    rest = np.delete(far, at)
    if rest.size < FEW or not np.all(np.delete(check.inside, at)) or far[at] < ODD * np.max(rest):
        return ""
    alone = any(one.agrees for one in case.checks) or not case.solved
    what = "it" if alone else "it and the standards"
    return say.ONE_ROW.format(what=what, mhz=check.frequency[at] / 1e6)
