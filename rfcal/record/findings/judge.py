"""Findings: what a careful colleague would say about a record's readings and results."""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from rfcal.errors import RecordError
from rfcal.findings import SEVERITIES, Finding, span_mhz
from rfcal.maths.reflection import Real
from rfcal.measurement.error_terms import Calibration
from rfcal.models.interpolation import SAME
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.agreement import DISAGREE_PROBABILITY, too_many
from rfcal.record.format.schema import FILE, Record
from rfcal.record.results import Device
from rfcal.uncertainty.coverage import region_radius
from rfcal.uncertainty.significance import active_points

PLAUSIBLE = {"directivity": 0.7, "source match": 0.8, "reflection tracking": 2.0}
"""Sizes of error terms beyond which they are no analyzer's (common practice, no source)."""
CONDITION_WARNING = 30.0
"""Condition number of the standards above which the answer leans on tiny differences."""
CROOKED = 0.2
"""Radius of the 95 % region, in parts of its distance from an open, above which R is doubtful.

Found by whole simulated sessions: up to there the intervals of R and X cover 94 % or more.
"""
HIDDEN = 0.3
"""Radius of a device's 95 % region [1] from which its place on the chart is hardly known."""


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Warnings first, each finding once.

    Parameters
    ----------
    findings : sequence of Finding
        In the order in which they were made.

    Returns
    -------
    tuple of Finding
        Sorted by severity, else in the same order.
    """
    return tuple(sorted(dict.fromkeys(findings), key=lambda f: SEVERITIES.index(f.severity)))


def grid_words(frequency: Real) -> str:
    """A frequency grid in words.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].

    Returns
    -------
    str
        Such as ``"201 points from 69 to 72 MHz"``.
    """
    if frequency.size == 1:
        return f"one point at {frequency[0] / 1e6:.10g} MHz"
    first, last = frequency[0] / 1e6, frequency[-1] / 1e6
    return f"{frequency.size} points from {first:.10g} to {last:.10g} MHz"


def first_difference(one: Real, other: Real) -> str:
    """Where two frequency grids of one size begin to differ, in words.

    Parameters
    ----------
    one, other : ndarray, shape (F,) and (G,)
        Frequencies [Hz].

    Returns
    -------
    str
        Such as ``"; point 3 is 50.1 here and 50.2 MHz there"``, empty where the sizes differ.
    """
    if one.size != other.size:
        return ""
    at = int(np.argmax(np.abs(one - other) > SAME * one))
    return f"; point {at + 1} is {other[at] / 1e6:.10g} MHz here and {one[at] / 1e6:.10g} MHz there"


def require_independent(record: Record, sweeps: Mapping[str, Sweep]) -> None:
    """Refuse a check whose reading is that of a standard.

    Parameters
    ----------
    record : Record
        The record.
    sweeps : mapping of str to Sweep
        Raw readings by name.

    Raises
    ------
    RecordError
        Names the check and the standard.
    """
    for check in record.checks:
        for standard in record.standards:
            if _same_reading(sweeps[check.name], sweeps[standard.name]):
                raise RecordError(
                    FILE,
                    check.place,
                    f"its reading is that of the standard '{standard.name}', which took part in "
                    "the solution and so cannot contradict it: check with an artefact that is no "
                    "standard",
                )


def require_distinct(record: Record, sweeps: Mapping[str, Sweep]) -> None:
    """Refuse one file that was read as two standards: it would count as evidence twice.

    Parameters
    ----------
    record : Record
        The record.
    sweeps : mapping of str to Sweep
        Raw readings by name.

    Raises
    ------
    RecordError
        Names both standards.
    """
    for one, other in combinations(record.standards, 2):
        files = sweeps[one.name].origin, sweeps[other.name].origin
        if None not in files and _same_reading(sweeps[one.name], sweeps[other.name]):
            raise RecordError(
                FILE,
                other.place,
                f"its reading is that of '{one.name}': one sweep is no evidence twice; connect the "
                "standard again and read it anew, or leave it out",
            )


def _same_reading(one: Sweep, other: Sweep) -> bool:
    return np.array_equal(one.frequency, other.frequency) and np.array_equal(
        one.reflection, other.reflection
    )


def standards(calibration: Calibration) -> list[Finding]:
    """Standards that are badly spread, or that contradict each other.

    Parameters
    ----------
    calibration : Calibration
        The solved calibration.

    Returns
    -------
    list of Finding
        Warnings.
    """
    found = []
    poor = calibration.condition > CONDITION_WARNING
    if np.any(poor):
        message = (
            f"The standards lie close together {span_mhz(calibration.frequency, poor)} "
            f"(condition number {np.max(calibration.condition):.3g}), so small errors grow: use "
            "standards further apart on the chart there."
        )
        found.append(Finding("standards-close", "warning", "standards", message))
    box = calibration.error_box
    terms = (box.directivity, box.source_match, box.reflection_tracking)
    for (name, limit), term in zip(PLAUSIBLE.items(), terms, strict=True):
        beyond = np.abs(term) > limit
        if np.any(beyond):
            message = (
                f"The {name} comes out as {np.max(np.abs(term)):.2g} "
                f"{span_mhz(calibration.frequency, beyond)}, which no sound analyzer has: look for "
                "exchanged sweeps, a wrong definition or a wrong sign of X."
            )
            found.append(Finding("error-terms", "warning", "standards", message))
    bad = calibration.disagrees(DISAGREE_PROBABILITY)
    if too_many(bad, DISAGREE_PROBABILITY):
        chi_square, freedom = calibration.chi_square()
        worst = np.argmax(np.mean(np.abs(calibration.residuals()) ** 2, axis=1))
        message = (
            f"The standards contradict each other {span_mhz(calibration.frequency, bad)}: "
            f"chi-square up to {np.max(chi_square):.3g} with {freedom} degrees of freedom. "
            f"The largest residual is that of '{calibration.names[worst]}': look at its "
            "definition, its connection and its file."
        )
        found.append(Finding("standards-disagree", "warning", "standards", message))
    return found


def devices(found: Sequence[Device]) -> list[Finding]:
    """Corrected values that no passive device can have, and places where intervals mislead.

    Parameters
    ----------
    found : sequence of Device
        The corrected measurements.

    Returns
    -------
    list of Finding
        Warnings.
    """
    findings = []
    for device in found:
        radius = region_radius(device.reflection)
        active = active_points(device.reflection)
        if np.any(active):
            message = (
                f"The corrected reflection of '{device.name}' is above 1 beyond its uncertainty "
                f"{span_mhz(device.frequency, active)}, which no passive device does: look for "
                "exchanged standards, a wrong definition or a connection that changed."
            )
            findings.append(Finding("active", "warning", device.name, message))
        hidden = radius > HIDDEN
        if np.any(hidden):
            message = (
                f"Hardly anything is known of '{device.name}' {span_mhz(device.frequency, hidden)}:"
                f" the 95 % region of its reflection has a radius of up to {np.max(radius):.2g}. "
                "Look in the budget for what hides it: a lossy path, poor standards, noise."
            )
            findings.append(Finding("device-hidden", "warning", device.name, message))
        # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
        crooked = (radius > CROOKED * np.abs(1 - device.reflection.value)) & ~hidden
        if np.any(crooked):
            message = (
                f"'{device.name}' reads so near an open {span_mhz(device.frequency, crooked)} that "
                "the intervals of R and X are lopsided there: read their ends, not a value and a ±."
            )
            findings.append(Finding("near-open", "note", device.name, message))
    return findings
