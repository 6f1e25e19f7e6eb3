"""Do the checks agree: verdicts that chance alone seldom turns, and what they cannot see."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Real
from rfcal.measurement.error_terms import Calibration
from rfcal.record.results import Check
from rfcal.uncertainty.coverage import K_ELLIPSE
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import GROSS_CHANCE, too_many

CHECK_CHANCE = 0.01
"""Chance that a sound check disagrees: of one point, and at most twice that of the whole."""
DISAGREE_PROBABILITY = 1e-3
"""Chance below which the residuals of more than three standards are called a disagreement."""


def agree(measured: Quantity, expected: Quantity) -> bool:
    """Whether a check agrees as a whole.

    Parameters
    ----------
    measured, expected : Quantity
        Independent reflection coefficients [1].

    Returns
    -------
    bool
        False where too many points lie outside their 99 % region, or any lies grossly outside.
    """
    # the squared distance of two normal variables exceeds -2 ln p with probability p
    distance = squared_distance(measured, expected)
    gross = -2 * np.log(GROSS_CHANCE / distance.size)
    outside = distance > -2 * np.log(CHECK_CHANCE)
    return not too_many(outside, CHECK_CHANCE) and not bool(np.any(distance > gross))


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
    return squared_distance(measured, expected) <= K_ELLIPSE**2


def squared_distance(measured: Quantity, expected: Quantity) -> Real:
    """Squared distance of two reflections in standard deviations of their difference.

    Parameters
    ----------
    measured, expected : Quantity
        Independent reflection coefficients [1].

    Returns
    -------
    ndarray, shape (F,)
        Mahalanobis' distance, squared [1].
    """
    difference = measured.value - expected.value
    d = np.stack([difference.real, difference.imag], axis=-1)[..., None]
    total = measured.covariance() + expected.covariance() + 1e-24 * np.eye(2)
    return (np.swapaxes(d, -1, -2) @ np.linalg.solve(total, d))[..., 0, 0]


def checks(
    found: Sequence[Check], calibration: Calibration, *, solved: bool = True
) -> list[Finding]:
    """Checks that contradict the calibration, or that cannot.

    Parameters
    ----------
    found : sequence of Check
        The record's checks.
    calibration : Calibration
        The solved calibration.
    solved : bool
        False for an instrument that corrects itself: there are no standards to mix up.

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
    pairs = combinations(calibration.names, 2) if solved else ()
    unseen = [pair for pair in pairs if _unseen(calibration, *pair)]
    for check in found:
        swaps = [pair for pair in unseen if _agrees_exchanged(check, *pair)]
        if not check.agrees:
            hint = f" It would agree if {_either(swaps)} were exchanged." if swaps else ""
            message = (
                f"'{check.name}' does not agree with what it should be "
                f"{span_mhz(check.frequency, ~check.inside)}: do not trust the answer before you "
                "know why; look for exchanged sweeps, a wrong sign of X, a wrong value of the "
                f"load, a loose connector or a wrong definition.{hint}"
            )
            findings.append(Finding("check-disagrees", "warning", check.name, message))
        twin = _same_place(check) if solved else ""
        if twin:
            message = (
                f"'{check.name}' sits where the standard '{twin}' does, so it says little about "
                "the rest of the chart: check with something different."
            )
            findings.append(Finding("check-at-standard", "warning", check.name, message))
    blind = [p for p in unseen if all(_agrees_exchanged(check, *p) for check in found)]
    if blind and all(check.agrees for check in found):
        message = (
            f"Every check would agree as well if {_either(blind)} were exchanged, so none shows "
            "that they are not: check with another value too, such as 33 or 75 ohm."
        )
        findings.append(Finding("check-blind", "warning", "checks", message))
    return findings


def _either(pairs: Sequence[tuple[str, str]]) -> str:
    return ", or ".join(f"'{a}' and '{b}'" for a, b in pairs)


def _unseen(calibration: Calibration, one: str, other: str) -> bool:
    """Whether the standards themselves would not show an exchange of two."""
    bad = calibration.exchanged(one, other).disagrees(DISAGREE_PROBABILITY)
    return not too_many(bad, DISAGREE_PROBABILITY)


def _agrees_exchanged(check: Check, one: str, other: str) -> bool:
    """Whether the check would agree if two standards' readings had been exchanged."""
    box = check.calibration.exchanged(one, other).error_box
    moved = replace(check.measured, value=box.correct(check.reading))
    return agree(moved, check.expected)


def _same_place(check: Check) -> str:
    """Name of a standard that the check's artefact cannot be told from, all over the band."""
    for name, known in zip(check.calibration.names, check.calibration.known, strict=True):
        spread = np.sqrt(2 * (check.expected.variance() + known.variance()))
        if np.all(np.abs(check.expected.value - known.value) < K_ELLIPSE * spread):
            return name
    return ""
