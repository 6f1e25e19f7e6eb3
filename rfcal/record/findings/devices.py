"""Corrected values that no passive device can have, and places where intervals mislead."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from rfcal.errors import CalibrationError, NotThisLineError
from rfcal.feedline.fit import FarEnds, LineProperties
from rfcal.feedline.measure import measure_line
from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Complex
from rfcal.measurement.deembedding import LineByFigures, LineBySweeps, Step
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import at_plane
from rfcal.record.findings.case import Case
from rfcal.record.findings.catalogue import devices as say
from rfcal.record.findings.catalogue.devices import PATH_MISFIT
from rfcal.record.findings.passivity import beyond_passive, has_line_by_figures
from rfcal.record.results import Device
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.quantity import Quantity, both_axes
from rfcal.uncertainty.significance import active_points

CROOKED = 0.2
"""Radius of the 95 % region, in parts of its distance from an open, above which R is doubtful.

Found by whole simulated sessions: up to there the intervals of R and X cover 94 % or more.
"""
HIDDEN_RADIUS = 0.3
"""Radius of a 95 % region [1] from which the place of what was read on the chart is hardly known,
and a check that agrees tells little."""
DOUBTS = {
    "error-terms": "the error terms are those of no sound analyzer",
    "half-turn": "two standards seem to be exchanged",
    "read-alike": "two standards read alike",
    "anticlockwise": "the readings turn as no delay does",
    "standards-disagree": "the standards contradict each other",
    "check-disagrees": "a check disagrees",
    "active": "the device comes out as none that is passive",
    "same-reading": "one reading is named twice",
    "sign-lost": "X seems to have lost its sign",
    "mistyped": "a typed row does not fit those beside it",
    "signs-lost": "X seems to have lost its sign",
    "radians": "angles seem to be in radians",
    "linear-as-decibels": "magnitudes seem not to be in dB",
    "path-misfit": "what was removed is not what it was taken for",
    "other-line": "the line has changed since the baseline, and its far end may be as it was then",
    "display-limit": "a reading may lie beyond the display",
    "sign-unknown": "two answers remain, for the sign of X is not known",
    **dict.fromkeys(("moved", "lead-left", "standards-corrected"), ""),
}
"""What shakes an answer, by the code of its finding; empty where its interval holds that too."""
OWN = {"active", "sign-lost", "mistyped", "same-reading", "sign-unknown", "other-line"}
"""Codes that shake the answer of the one device that they are about."""
TOLD = 2
"""Sources of uncertainty that are named where little is known, at the most,"""
LEAST = 0.05
"""and the share that one after the first must have to be named."""
MOST_JUDGED = 801
"""Points at most by which a measured line is judged."""


def about_device(found: Device, case: Case, known: np.ndarray | bool = False) -> list[Finding]:
    """What there is to say about one corrected measurement, `known` where all but a sign is."""
    radius, distance = region_radius(found.reflection), np.abs(1 - found.reflection.value)
    hidden = radius > HIDDEN_RADIUS
    # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
    crooked = (radius > CROOKED * distance) & ~hidden
    judged = (say.DEVICE_HIDDEN, hidden & np.logical_not(known)), (say.LOPSIDED, crooked)
    return [*_impossible(found, case)] + [
        entry(
            device=found.name,
            where=span_mhz(found.frequency, where),
            radius=np.max(radius),
            advice=say.BY_SWEEPS * has_line_by_figures(found.inputs),
            sources=largest_sources(found.reflection, where),
        )
        for entry, where in judged
        if np.any(where)
    ]


def _impossible(found: Device, case: Case) -> list[Finding]:
    """What nothing passive does, beyond the path or before it: at a point, or over the band."""
    inputs, frequency = found.inputs, found.frequency
    before = at_plane(inputs.calibration, inputs.reading, inputs.connection)
    for reflection in (found.reflection, before)[: 2 if inputs.path else 1]:
        active, how = active_points(reflection, case.chance), say.ABOVE_ONE
        if not np.any(active) and (size := beyond_passive(frequency, reflection)):
            active, how = frequency > 0, say.OFF_PASSIVE.format(size=size)
        if np.any(active):
            where, causes = span_mhz(frequency, active), _causes(found, case)
            return [say.ACTIVE(device=found.name, where=where, how=how, causes=causes)]
    return []


def why_doubted(findings: Iterable[Finding], device: str) -> str:
    """Why a device's answer is doubted, by what was found; empty where it is not."""
    return " and ".join(filter(None, dict.fromkeys(_shaking(findings, device))))


def _shaking(findings: Iterable[Finding], device: str) -> list[str]:
    """What shakes a device's answer, in words; empty words where the answer holds it."""
    mine = (f.code for f in findings if f.code not in OWN or f.about == device)
    return [DOUBTS[code] for code in mine if code in DOUBTS]


def why_wrong(findings: Iterable[Finding], device: str) -> str:
    """The same, but where all answers that remain are told."""
    return why_doubted((f for f in findings if f.code != "sign-unknown"), device)


def _causes(found: Device, case: Case) -> str:
    """What may have made a device seem what nothing passive is."""
    path, name, raw = found.inputs.path, found.name, found.inputs.reading.value
    if _shaking(case.told, name):
        return say.CAUSE_FIRST
    if any(not step.embed for step in path) and _passive(found, raw):
        line = any(isinstance(step.element, LineByFigures) for step in path)
        return say.CAUSE_LINE if line else say.CAUSE_REMOVED
    meant = case.meant.get(name, {}).items()
    mended = [kind.said([name]) for kind, undo in meant if _passive(found, undo(raw))]
    still = say.CAUSES_AGAIN if found.bench.moved else say.CAUSES_STILL
    others = say.CAUSES_INSIDE if not case.solved else still if case.checks else say.CAUSES_OPEN
    causes = [*mended[:2], *(cause.format(name=name) for cause in others)][:3]
    return f"whether {', '.join(causes[:-1])}, or {causes[-1]}"


def _passive(found: Device, raw: Complex) -> bool:
    """Whether a raw reading [1] is one of something passive at the standards' plane."""
    inputs = found.inputs
    with np.errstate(all="ignore"):
        reading = replace(inputs.reading, value=raw)
        plane = at_plane(inputs.calibration, reading, inputs.connection)
        if not np.all(np.isfinite(plane.value)) or np.any(active_points(plane)):
            return False
    return not beyond_passive(found.frequency, plane)


def largest_sources(reflection: Quantity, where: np.ndarray) -> str:
    """The largest sources of a reflection's uncertainty at some points, with their shares."""
    parts = {
        source: float(np.mean(np.trace(np.broadcast_to(c, (where.size, 2, 2))[where], 0, 1, 2)))
        for source, c in reflection.by_source().items()
    }
    total = sum(parts.values()) or 1.0
    first, *others = sorted(parts, key=lambda source: -parts[source])
    told = [first, *(s for s in others[: TOLD - 1] if parts[s] > LEAST * total)]
    return " and ".join(f"'{source}' ({parts[source] / total:.0%})" for source in told)


def about_path(name: str, step: Step, calibration: Calibration, z_ref: float) -> list[Finding]:
    """Whether the sweeps of a line's open and short end are a line's, as far as they can tell.

    The calibration is that at the device's frequencies, the reference [ohm] the reflections'.
    """
    if not isinstance(step.element, LineBySweeps):
        return []
    why = ""
    try:
        fit = swept_line(step, calibration, z_ref)
        if not fit.fits:
            why = (
                f"the sweeps of its open and short end are off those of a uniform line by "
                f"{fit.residual:.2g} where {fit.expected_residual:.2g} was to be expected"
            )
    except NotThisLineError as error:
        why = str(error)
    except CalibrationError:
        return []  # too narrow a band, or steps too wide, to tell
    return [PATH_MISFIT(element=name, why=why)] if why else []


def swept_line(step: Step, calibration: Calibration, z_ref: float) -> LineProperties:
    """The line that the sweeps of its open and short end are of, at a velocity factor of 1."""
    # in a row, so that no turn is lost between them
    few = slice(MOST_JUDGED)
    ends = {}
    for far, pair in zip((1.0, -1.0), step.readings, strict=True):
        end = at_plane(calibration, *pair)
        doubt = both_axes("all", np.sqrt(end.variance()[few]), per_point=True)
        ends[far] = Quantity(end.value[few], doubt)
    return measure_line(FarEnds(calibration.frequency[few], ends, z_ref), velocity_factor=1.0)
