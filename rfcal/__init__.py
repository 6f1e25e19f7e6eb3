"""Corrected impedance, and how sure it is, from raw one-port readings.

The names that notebooks need are loaded when they are first used, so that ``import rfcal`` costs
next to nothing.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "Bilinear": "rfcal.maths.bilinear",
    "Line": "rfcal.models.line",
    "RfcalError": "rfcal.errors",
    "Standard": "rfcal.models.standards",
    "assess": "rfcal.measurement.assessment",
    "compute": "rfcal.record.job.compute",
    "doubt_panel": "rfcal.workbook.uncertainty",
    "line_panels": "rfcal.workbook.lines",
    "line_words": "rfcal.report.text.line",
    "figure_words": "rfcal.report.text.device",
    "from_impedance": "rfcal.maths.reflection",
    "match_panel": "rfcal.workbook.matching",
    "match_plots": "rfcal.report.figures.match",
    "match_words": "rfcal.report.text.match",
    "monte_carlo": "rfcal.measurement.monte_carlo",
    "plan": "rfcal.planning.plan",
    "plots": "rfcal.report.figures.device",
    "summary": "rfcal.report.summary",
    "swr": "rfcal.maths.reflection",
    "to_impedance": "rfcal.maths.reflection",
    "words": "rfcal.report.text.device",
    "workbook": "rfcal.workbook",
}

_MODULES = {
    "doubt_panel",
    "line_panels",
    "line_words",
    "figure_words",
    "match_panel",
    "match_plots",
    "match_words",
    "plots",
    "summary",
    "words",
    "workbook",
}

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    """Load an exported name when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'rfcal' has no attribute '{name}'")
    home = import_module(_HOME[name])
    return home if name in _MODULES else getattr(home, name)


def __dir__() -> list[str]:
    return [*globals(), *_HOME]
