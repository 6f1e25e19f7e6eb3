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
    "assess": "rfcal.tasks.assessment",
    "compute": "rfcal.record.compute",
    "doubt_panel": "rfcal.faces",
    "line_panels": "rfcal.faces",
    "line_words": "rfcal.faces",
    "figure_words": "rfcal.faces",
    "from_impedance": "rfcal.maths.reflection",
    "match_panel": "rfcal.faces",
    "match_plots": "rfcal.faces",
    "match_words": "rfcal.faces",
    "monte_carlo": "rfcal.tasks.monte_carlo",
    "plan": "rfcal.tasks.planning",
    "plots": "rfcal.faces",
    "summary": "rfcal.faces",
    "swr": "rfcal.maths.reflection",
    "to_impedance": "rfcal.maths.reflection",
    "words": "rfcal.faces",
    "workbook": "rfcal.faces",
}

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    """Load an exported name when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'rfcal' has no attribute '{name}'")
    home = import_module(_HOME[name])
    return getattr(home, name) if hasattr(home, name) else import_module(f"{_HOME[name]}.{name}")


def __dir__() -> list[str]:
    return [*globals(), *_HOME]
