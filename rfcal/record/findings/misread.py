"""Numbers in a file that mean something else than is read: each slip, and how it is undone."""

from collections.abc import Callable, Mapping

import numpy as np

from rfcal.maths.reflection import Complex
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.catalogue import standards as say
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import Record

Meanings = Mapping[str, Callable[[Complex], Complex]]
"""What may be said of the numbers of one reading, and what they were meant to be."""


def _in_degrees(x: Complex) -> Complex:
    """What was written in radians and read as degrees."""
    return np.asarray(np.abs(x) * np.exp(1j * np.degrees(np.angle(x))))


def _linear(x: Complex) -> Complex:
    """What was written as a magnitude and read as decibels."""
    return np.asarray(20 * np.log10(np.abs(x)) * np.exp(1j * np.angle(x)))


def meanings(record: Record, sweeps: Mapping[str, Sweep]) -> dict[str, Meanings]:
    """What each reading of a record may have meant, by its name."""
    always: Meanings = {say.SUSPECT_CONJUGATED: np.conj, say.SUSPECT_BACKWARDS: np.flip}
    polar: Meanings = {say.SUSPECT_RADIANS: _in_degrees, say.SUSPECT_LINEAR: _linear}
    return {
        item.name: {**always, **(polar if has_angles(item.reading, sweeps[item.name]) else {})}
        for item in record.items()
    }


def has_angles(reading: Reading, sweep: Sweep) -> bool:
    """Whether angles were written or typed, which may have been in radians."""
    origins = [part.origin for part in sweep.parts or (sweep,)]
    if not reading.files or None in origins:
        return reading.typed_reflection is not None
    if columns := reading.layout.columns:
        return "degrees" in columns
    content = b"\n".join(origin.content for origin in origins if origin).upper()
    options = [line.split() for line in content.splitlines() if line.startswith(b"#")]
    return b"DEGREES" in content or any(b"RI" not in words for words in options)
