"""Raw readings as they came."""

from collections.abc import Sequence

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.models.interpolation import SAME
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import (
    ANSWER_NEAREST,
    DISPLAY_STEP,
    MIXED_REFERENCES,
    RAW_ABOVE_ONE,
)
from rfcal.record.format.schema import Artefact, Measurement


def about_reading(item: Artefact | Measurement, sweep: Sweep) -> list[Finding]:
    """One raw reading: beyond the chart's edge, or typed with digits that tell its step."""
    found = []
    beyond = np.abs(sweep.reflection) > 1
    if np.any(beyond):
        found.append(RAW_ABOVE_ONE(label=sweep.label, where=span_mhz(sweep.frequency, beyond)))
    if item.reading.typed_reflection is not None:
        magnitude, degrees = item.reading.steps
        found.append(DISPLAY_STEP(name=item.name, magnitude=magnitude, degrees=degrees))
    return found


def about_references(sweeps: Sequence[Sweep], z_ref: float) -> list[Finding]:
    """Bare reflections beside files that state another reference impedance [ohm] than the record.

    One of each is named.
    """
    bare = [s.label for s in sweeps if s.assumed_reference]
    other = next((s for s in sweeps if s.z_ref != z_ref), None)
    if not bare or other is None:
        return []
    return [
        MIXED_REFERENCES(bare=bare[0], taken_ohm=z_ref, other=other.label, stated_ohm=other.z_ref)
    ]


def about_answer(device: str, wanted_hz: float, taken_hz: float) -> list[Finding]:
    """An answer asked for between the points of the reading."""
    if abs(wanted_hz - taken_hz) <= SAME * taken_hz:
        return []
    return [ANSWER_NEAREST(device=device, wanted_mhz=wanted_hz / 1e6, taken_mhz=taken_hz / 1e6)]
