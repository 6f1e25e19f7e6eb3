"""Numbers in a file that mean something else than is read: each slip, and how it is undone."""

from collections.abc import Callable, Mapping

import numpy as np

from rfcal.maths.reflection import Complex
from rfcal.record.findings.catalogue import standards as say


def _in_degrees(x: Complex) -> Complex:
    """What was written in radians and read as degrees."""
    return np.asarray(np.abs(x) * np.exp(1j * np.degrees(np.angle(x))))


def _linear(x: Complex) -> Complex:
    """What was written as a magnitude and read as decibels."""
    return np.asarray(20 * np.log10(np.abs(x)) * np.exp(1j * np.angle(x)))


MISREAD: Mapping[str, Callable[[Complex], Complex]] = {
    say.SUSPECT_CONJUGATED: np.conj,
    say.SUSPECT_RADIANS: _in_degrees,
    say.SUSPECT_LINEAR: _linear,
    say.SUSPECT_BACKWARDS: lambda x: x[::-1],
}
"""What may be said of the numbers in a file, and what they were meant to be."""
