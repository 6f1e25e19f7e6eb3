"""What was found in the readings of a record, in words."""

from collections.abc import Iterable

import numpy as np

from rfcal.findings import Finding, grid_words, told_once
from rfcal.record.findings.catalogue.readings import DEFAULTS, NEVER_NEGATIVE
from rfcal.record.findings.catalogue.standards import ERROR_TERMS, HALF_TURN
from rfcal.record.findings.standards import growth
from rfcal.record.results import Results, error_terms
from rfcal.report.text.device import check_line, reread_line

USUAL = (
    "note: Usual values stand where the record states none; the page of the report lists them. "
    "State what you know of yours."
)


def finding_lines(findings: Iterable[Finding]) -> list[str]:
    """What was found as a terminal says it: the list of defaults is the page's."""
    return [USUAL if f.code == DEFAULTS.code else str(f) for f in told_once(findings)]


def check_lines(found: Results) -> list[str]:
    """What stands against the readings, what is good, what is still open, and what was read."""
    loud = finding_lines(f for f in found.findings if f.severity != "note")
    asked = finding_lines(f for f in found.findings if f.code == NEVER_NEGATIVE.code)
    first = "no warnings: go on to the report"
    if loud:
        first = f"warnings: {len(loud)}, look at {'them' if loud[1:] else 'it'} before you go on"
    elif asked:
        first = "no warnings, but a question: answer it before you go on"
    notes = finding_lines(f for f in found.findings if f.severity == "note")
    notes = [note for note in notes if note not in asked]
    sweeps = [
        f"{s.label}: {grid_words(s.frequency)} ({s.origin.file if s.origin else 'typed'})"
        for s in found.sweeps
    ]
    return [first, *loud, *asked, *good_lines(found), *notes, *sweeps]


def good_lines(found: Results) -> list[str]:
    """Everything that was looked at and stands the test, in lines; what does not is a finding."""
    codes = {finding.code for finding in found.findings}
    said = []
    if found.record.standards:
        said += _standards(found, codes)
    said += [f"good: {check_line(check)}" for check in found.checks if check.agrees]
    return said + [f"good: {reread_line(reread)}" for reread in found.rereads if reread.agrees]


def _standards(found: Results, codes: set[str]) -> list[str]:
    """Standards and error terms, as far as nothing stands against them."""
    calibration, said = found.calibration, []
    if not codes & {"standards-close", "error-terms"}:
        said.append(
            "good: the standards lie well apart: an error in one of them is at most "
            f"{np.max(growth(calibration)):.2g} times as large elsewhere on the chart"
        )
    if not codes & {ERROR_TERMS.code, HALF_TURN.code}:
        terms = error_terms(calibration).items()
        sizes = (f"{name.replace('_', ' ')} up to {np.max(np.abs(t)):.2g}" for name, t in terms)
        sound = "good: the error terms are those of a sound analyzer"
        said.append(f"{sound}: {', '.join(sizes)} (1 is full reflection)")
    chi_square, freedom = calibration.chi_square()
    if not freedom:
        said.append("three standards fix the error terms exactly: only a check can contradict them")
    elif "standards-disagree" not in codes:
        said.append(
            f"good: the {len(calibration.names)} standards agree with each other: chi-square up to "
            f"{np.max(chi_square):.2g} with {freedom} degrees of freedom"
        )
    return said
