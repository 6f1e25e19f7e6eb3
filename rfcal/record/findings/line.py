"""Sweeps of a line that no uniform line would give, and a length that is none."""

from rfcal.findings import Finding
from rfcal.record.findings.catalogue import LINE_LENGTH, LINE_MISFIT
from rfcal.record.results import LineState


def about_line(state: LineState) -> list[Finding]:
    """What there is to doubt about a line check; a wrong length explains a bad fit."""
    found = state.properties
    if state.beyond_m is not None:
        return [LINE_LENGTH(length_m=state.length_m, beyond_m=state.beyond_m)]
    if found is None or found.fits:
        return []
    return [LINE_MISFIT(residual=found.residual, expected=found.expected_residual)]
