"""Raw readings as they came."""

from collections.abc import Sequence

import numpy as np

from rfcal.findings import Finding, span_mhz
from rfcal.models.interpolation import SAME
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.format.reread import Reread
from rfcal.record.format.schema import Artefact, Measurement

USUAL_SIZE = 1.1
"""Of a raw reflection [1]: so far an uncorrected analyzer's goes (common practice, no source)."""


def about_reading(
    item: Artefact | Measurement | Reread, sweep: Sweep, *, solved: bool = True
) -> list[Finding]:
    """One raw reading: far beyond the chart's edge, or typed with digits that tell its step.

    What an instrument that corrects itself (not `solved`) reads is judged as an answer.
    """
    found = []
    size = np.abs(sweep.reflection)
    if solved and np.any(beyond := size > USUAL_SIZE):
        where = span_mhz(sweep.frequency, beyond)
        found.append(say.RAW_ABOVE_ONE(label=sweep.label, size=float(size.max()), where=where))
    if item.reading.typed_reflection is not None:
        magnitude, degrees = item.reading.steps
        found.append(say.DISPLAY_STEP(name=item.name, magnitude=magnitude, degrees=degrees))
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
        say.MIXED_REFERENCES(
            bare=bare[0], taken_ohm=z_ref, other=other.label, stated_ohm=other.z_ref
        )
    ]


def about_answer(device: str, wanted_hz: float, taken_hz: float) -> list[Finding]:
    """An answer asked for between the points of the reading."""
    if abs(wanted_hz - taken_hz) <= SAME * taken_hz:
        return []
    return [say.ANSWER_NEAREST(device=device, wanted_mhz=wanted_hz / 1e6, taken_mhz=taken_hz / 1e6)]
