"""Findings: what a careful colleague would say about a record's readings and results."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from rfcal.errors import RecordError
from rfcal.findings import SEVERITIES, Finding, span_mhz
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Real
from rfcal.models.quantity import Quantity
from rfcal.models.standards import DEFAULT_UNCERTAINTY
from rfcal.record.readings import Sweep
from rfcal.record.results import Check, Device
from rfcal.record.schema import ANALYZER_DEFAULTS, FILE, Record
from rfcal.tasks.calibration import Calibration
from rfcal.tasks.uncertainty import K_ELLIPSE

AGREES = 0.9
"""Share of its points at which a check must lie inside its 95 % region to agree as a whole."""
PLAUSIBLE = {"directivity": 0.7, "source match": 0.8, "reflection tracking": 2.0}
"""Sizes of error terms beyond which they are no analyzer's (common practice, no source)."""
CONDITION_WARNING = 30.0
"""Condition number of the standards above which the answer leans on tiny differences."""
CROOKED = 0.2
"""Radius of the 95 % region, in parts of its distance from an open, above which R is doubtful.

Found by whole simulated sessions: up to there the intervals of R and X cover 94 % or more.
"""
DISAGREE_PROBABILITY = 1e-3
"""Chance below which the residuals of more than three standards are called a disagreement."""


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


def assumptions(record: Record) -> list[Finding]:
    """What the record leaves to defaults about the analyzer.

    Parameters
    ----------
    record : Record
        The record.

    Returns
    -------
    list of Finding
        One note naming the keys and values, or nothing.
    """
    typed = any(item.reading.typed for item in record.items())
    keys = [k for k in record.assumed if k != "resolution_ohm" or typed]
    if not keys:
        return []
    values = ", ".join(f"{key} = {ANALYZER_DEFAULTS[key]:g}" for key in keys)
    message = f"The record does not say, so this was taken: {values}. State your analyzer's own."
    return [Finding("analyzer-default", "note", "[analyzer]", message)]


def default_uncertainty(name: str, kind: str) -> Finding:
    """A standard or artefact whose uncertainty the record leaves to the default.

    Parameters
    ----------
    name : str
        Its name.
    kind : str
        Its kind.

    Returns
    -------
    Finding
        A note with the values taken.
    """
    values = ", ".join(f"{k} {v:g}" for k, v in DEFAULT_UNCERTAINTY[kind].items())
    message = (
        f"No uncertainty is stated for '{name}', so the usual one of kind '{kind}' was taken "
        f"({values}, in SI units). State what you know of yours."
    )
    return Finding("uncertainty-default", "note", name, message)


def raw_reading(sweep: Sweep) -> list[Finding]:
    """A raw reading beyond the chart's edge: normal before correction.

    Parameters
    ----------
    sweep : Sweep
        A raw reading.

    Returns
    -------
    list of Finding
        One note, or nothing.
    """
    beyond = np.abs(sweep.reflection) > 1
    if not np.any(beyond):
        return []
    message = (
        f"The raw reading of '{sweep.label}' is above 1 in magnitude "
        f"{span_mhz(sweep.frequency, beyond)}; that is normal for an uncorrected analyzer."
    )
    return [Finding("raw-above-one", "note", sweep.label, message)]


def interpolated(name: str) -> Finding:
    """A reading that lies between the calibration's points.

    Parameters
    ----------
    name : str
        The measurement or check.

    Returns
    -------
    Finding
        A note.
    """
    message = (
        f"'{name}' was read at other frequencies than the standards; the error terms were "
        "interpolated by a cubic spline, and what that costs is in the budget. Reading the "
        "standards at the same frequencies avoids it."
    )
    return Finding("interpolated", "note", name, message)


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
            one, other = sweeps[check.name], sweeps[standard.name]
            if np.array_equal(one.frequency, other.frequency) and np.array_equal(
                one.reflection, other.reflection
            ):
                raise RecordError(
                    FILE,
                    check.place,
                    f"its reading is that of the standard '{standard.name}', which took part in "
                    "the solution and so cannot contradict it: check with an artefact that is no "
                    "standard",
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
    chi_square, freedom = calibration.chi_square()
    if freedom:
        from scipy.special import chdtri

        limit = chdtri(freedom, DISAGREE_PROBABILITY)
        bad = chi_square > limit
        if np.mean(bad) > 10 * DISAGREE_PROBABILITY:
            worst = np.argmax(np.mean(np.abs(calibration.residuals()) ** 2, axis=1))
            message = (
                f"The standards contradict each other {span_mhz(calibration.frequency, bad)}: "
                f"chi-square up to {np.max(chi_square):.3g} with {freedom} degrees of freedom. "
                f"The largest residual is that of '{calibration.names[worst]}': look at its "
                "definition, its connection and its file."
            )
            found.append(Finding("standards-disagree", "warning", "standards", message))
    return found


def inside_region(measured: Quantity, expected: Quantity) -> np.ndarray:
    """Where two reflections agree: their difference lies in its own 95 % ellipse.

    Parameters
    ----------
    measured, expected : Quantity
        Independent reflection coefficients [1].

    Returns
    -------
    ndarray of bool, shape (F,)
        True where they agree.
    """
    difference = measured.value - expected.value
    d = np.stack([difference.real, difference.imag], axis=-1)[..., None]
    total = measured.covariance() + expected.covariance() + 1e-24 * np.eye(2)
    distance = np.swapaxes(d, -1, -2) @ np.linalg.solve(total, d)
    return distance[..., 0, 0] <= K_ELLIPSE**2


def checks(found: Sequence[Check], calibration: Calibration) -> list[Finding]:
    """Checks that contradict the calibration, or that cannot.

    Parameters
    ----------
    found : sequence of Check
        The record's checks.
    calibration : Calibration
        The solved calibration.

    Returns
    -------
    list of Finding
        Warnings, and a note where there is no check at all.
    """
    if not found:
        message = (
            "Nothing independent contradicts or confirms this calibration: add a [[check]] with "
            "an artefact that is no standard, such as 33 or 75 ohm."
        )
        return [Finding("no-check", "note", "checks", message)]
    findings = []
    for check in found:
        swaps = [pair for pair in _pairs(calibration) if _agrees_exchanged(check, *pair)]
        pairs = ", or ".join(f"'{a}' and '{b}'" for a, b in swaps)
        if not check.agrees:
            hint = f" It would agree if {pairs} were exchanged." if swaps else ""
            message = (
                f"'{check.name}' does not agree with what it should be "
                f"{span_mhz(check.frequency, ~check.inside)}: do not trust the answer before you "
                "know why; look for exchanged sweeps, a wrong sign of X, a wrong value of the "
                f"load, a loose connector or a wrong definition.{hint}"
            )
            findings.append(Finding("check-disagrees", "warning", check.name, message))
        elif swaps:
            message = (
                f"'{check.name}' would agree as well if {pairs} were exchanged, so it does not "
                "show that they are not: check with another value too, such as 33 or 75 ohm."
            )
            findings.append(Finding("check-blind", "warning", check.name, message))
        twin = _same_place(check, calibration)
        if twin:
            message = (
                f"'{check.name}' sits where the standard '{twin}' does, so it says little about "
                "the rest of the chart: check with something different."
            )
            findings.append(Finding("check-at-standard", "warning", check.name, message))
    return findings


def _pairs(calibration: Calibration) -> list[tuple[str, str]]:
    return list(combinations(calibration.names, 2))


def _agrees_exchanged(check: Check, one: str, other: str) -> bool:
    """Whether the check would agree if two standards' readings had been exchanged."""
    calibration = check.calibration
    order = list(range(len(calibration.names)))
    i, j = calibration.names.index(one), calibration.names.index(other)
    order[i], order[j] = j, i
    known = [k.value for k in calibration.known]
    seen = [calibration.seen[k].value for k in order]
    box = Bilinear.fit(known, seen, calibration.weight)
    moved = replace(check.measured, value=box.correct(check.reading))
    return bool(np.mean(inside_region(moved, check.expected)) >= AGREES)


def _same_place(check: Check, calibration: Calibration) -> str:
    """Name of a standard that the check's artefact cannot be told from, all over the band."""
    middle = check.expected.value[check.frequency.size // 2]
    at = np.argmin(np.abs(calibration.frequency - check.frequency[check.frequency.size // 2]))
    for name, known in zip(calibration.names, calibration.known, strict=True):
        spread = np.sqrt(2 * (check.expected.variance().max() + known.variance()[at]))
        if abs(middle - known.value[at]) < K_ELLIPSE * spread:
            return name
    return ""


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
        excess = np.abs(device.reflection.value) - 1
        doubt = np.sqrt(np.linalg.eigvalsh(device.reflection.covariance())[..., -1])
        active = excess > K_ELLIPSE * doubt
        if np.any(active):
            message = (
                f"The corrected reflection of '{device.name}' is above 1 beyond its uncertainty "
                f"{span_mhz(device.frequency, active)}, which no passive device does: look for "
                "exchanged standards, a wrong definition or a connection that changed."
            )
            findings.append(Finding("active", "warning", device.name, message))
        # Z = z_ref (1 + x)/(1 - x) is not straight over a region as wide as its distance from 1
        crooked = K_ELLIPSE * doubt > CROOKED * np.abs(1 - device.reflection.value)
        if np.any(crooked):
            message = (
                f"'{device.name}' reads so near an open {span_mhz(device.frequency, crooked)} that "
                "the intervals of R and X, which take the way from reflection to impedance as "
                "straight, are too narrow there: believe the region of the reflection instead."
            )
            findings.append(Finding("near-open", "warning", device.name, message))
    return findings
