"""Raw readings as they came."""

from collections.abc import Sequence

import numpy as np

from rfcal.findings import Finding, quoted, span_mhz
from rfcal.models.interpolation import SAME
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import readings as say
from rfcal.record.format.schema import Artefact, Measurement
from rfcal.record.format.standard import Reread

USUAL_SIZE = 1.1
"""Of a raw reflection [1]: so far an uncorrected analyzer's goes (common practice, no source)."""


def about_digits(item: Artefact | Measurement | Reread) -> list[Finding]:
    """A reading typed with digits that tell the display's step."""
    if item.reading.typed_reflection is None:
        return []
    magnitude, degrees = item.reading.steps
    return [say.DISPLAY_STEP(name=item.name, magnitude=magnitude, degrees=degrees)]


def about_sizes(sweeps: Sequence[Sweep]) -> list[Finding]:
    """Raw readings far beyond the chart's edge, all in one sentence."""
    far = [s for s in sweeps if np.abs(s.reflection).max() > USUAL_SIZE]
    if not far:
        return []
    labels = [s.label for s in far]
    frequency = np.concatenate([s.frequency for s in far])
    size = np.abs(np.concatenate([s.reflection for s in far]))
    grid = np.unique(frequency)
    where = span_mhz(grid, np.isin(grid, frequency[size > USUAL_SIZE]))
    of = {"labels": ", ".join(labels), "names": quoted(labels)}
    return [say.RAW_ABOVE_ONE(**of, size=float(size.max()), where=where)]


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
