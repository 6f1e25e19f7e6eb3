"""Corrected impedance, and how sure it is, from raw one-port readings.

>>> import rfcal
>>> raw = "data/demo/beacon-antenna/raw"
>>> names = ("short", "open", "load", "antenna")
>>> short, opened, load, antenna = (rfcal.read(f"{raw}/{name}.s1p") for name in names)
>>> calibrated = rfcal.calibrate(
...     {
...         rfcal.Standard("short", inductance=0.35e-9): short,
...         rfcal.Standard("open", capacitance=60e-15): opened,
...         rfcal.Standard("load", resistance=49.9, uncertainty={"resistance": 0.15}): load,
...     }
... )
>>> print(calibrated.correct(antenna).at(70.2e6))
R 31.11 ± 0.39 ohm, X 4.99 ± 0.53 ohm, SWR 1.633 (1.612 to 1.655) at 70.2 MHz

`rfcal.workbook` holds what notebooks use besides. It is loaded when it is first asked for.
"""

from rfcal import interrupt  # noqa: F401 (before all that takes time)

# isort: split
from importlib import import_module
from typing import TYPE_CHECKING, Any

from rfcal.errors import RfcalError
from rfcal.library.calibrated import CalibratedAnalyzer, calibrate, read
from rfcal.library.device import Device
from rfcal.library.doors import guarded
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, swr, to_impedance
from rfcal.measurement.bench import Analyzer
from rfcal.models.cables import cable
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated
from rfcal.readings.sweep import Sweep
from rfcal.record.job.compute import compute
from rfcal.record.results import Results
from rfcal.uncertainty.words import Answer, Value

if TYPE_CHECKING:
    from rfcal import workbook

__all__ = [
    "Analyzer",
    "Answer",
    "Bilinear",
    "CalibratedAnalyzer",
    "Device",
    "Line",
    "Results",
    "RfcalError",
    "Standard",
    "Sweep",
    "Tabulated",
    "Value",
    "__version__",
    "cable",
    "calibrate",
    "compute",
    "from_impedance",
    "read",
    "swr",
    "to_impedance",
    "workbook",
]

__version__ = "0.1.0"


if not TYPE_CHECKING:  # a type checker knows all of it, and no name that is not there
    globals().update({n: guarded(thing) for n, thing in globals().items() if n in __all__})

    def __getattr__(name: str) -> Any:
        """Load the workbook, which draws, when it is first asked for."""
        if name == "workbook":
            return import_module("rfcal.workbook")
        raise AttributeError(f"module 'rfcal' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
