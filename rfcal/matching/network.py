"""A network between source and load: what it does to reflection and power, element by element.

Everything follows from voltage and current at each joint, reckoned from the load to the source
with one ampere into the load; draws lead, frequency is last.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.matching.element import SERIES, SHUNT, NetworkElement, Part, State
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import Line

_LETTER = {Inductor: "L", Capacitor: "C", Stub: "stub ", Line: "line "}


@dataclass(frozen=True, eq=False)
class Network:
    """A matching network."""

    topology: str  # such as "L, shunt part at load"
    elements: tuple[NetworkElement, ...]  # from source to load

    @classmethod
    def of(cls, topology: str, parts: Sequence[tuple[str, Part]]) -> "Network":
        """A network of (place, part) from source to load, named by counting: L1, C1, line 1."""
        count: dict[str, int] = {}
        elements = []
        for place, part in parts:
            letter = _LETTER[type(part)]
            count[letter] = count.get(letter, 0) + 1
            elements.append(NetworkElement(f"{letter}{count[letter]}", place, part))
        return cls(topology, tuple(elements))

    @property
    def form(self) -> str:
        """``"low-pass"`` or ``"high-pass"`` where all its lumped parts agree, else empty."""
        low = {
            (e.place, type(e.part)) in ((SERIES, Inductor), (SHUNT, Capacitor))
            for e in self.elements
            if e.line is None
        }
        return ("low-pass" if True in low else "high-pass") if len(low) == 1 else ""

    @property
    def values(self) -> list[Any]:
        """The elements' values [H, F, m]."""
        return [element.value for element in self.elements]

    def with_values(self, values: Sequence[ArrayLike]) -> "Network":
        """The same network with other values, each of shape () or, for draws, (..., 1)."""
        pairs = zip(self.elements, values, strict=True)
        return replace(self, elements=tuple(e.with_value(value) for e, value in pairs))

    def states(self, frequency: ArrayLike, load: ArrayLike) -> list[State]:
        """Voltage and current at every joint from source to load, with one ampere into the load."""
        volt: Complex = np.asarray(load, complex)
        found: list[State] = [(volt, np.ones_like(volt))]
        for element in reversed(self.elements):
            found.append(element.source_side(frequency, found[-1]))
        return found[::-1]

    def seen(
        self, frequency: ArrayLike, load: ArrayLike, *, z_ref: float = defaults.REFERENCE_OHM
    ) -> Complex:
        """Reflection at the input [1], shape (..., F)."""
        volt, ampere = self.states(frequency, load)[0]
        return (volt - z_ref * ampere) / (volt + z_ref * ampere)

    def worst(self, frequency: Real, load: Complex, z_ref: float) -> Real:
        """Largest reflection over the frequencies [1], shape (...) of the values or the load."""
        seen = self.seen(frequency, load, z_ref=z_ref)
        return np.sqrt((seen.real**2 + seen.imag**2).max(axis=-1))

    def heights(self, frequency: Real, load: Complex, z_ref: float) -> tuple[Real, Real]:
        """Largest reflection [1] and most power reflected or lost [dB] over the frequencies."""
        volt, ampere = self.states(frequency, load)[0]
        ahead, back = (
            wave.real**2 + wave.imag**2 for wave in (volt + z_ref * ampere, volt - z_ref * ampere)
        )
        # of |V + Z0 I|^2 / (4 Z0) that a source can give, Re(Z) arrives with one ampere in the load
        share = ahead / (4 * z_ref * load.real)
        return np.sqrt((back / ahead).max(axis=-1)), 10 * np.log10(share.max(axis=-1))

    def losses_db(self, frequency: ArrayLike, load: ArrayLike) -> Real:
        """Loss in each element [dB], shape (K, ..., F); reflection at the input is not in it."""
        watts = [(v * np.conj(i)).real for v, i in self.states(frequency, load)]
        return _stack([10 * np.log10(p / q) for p, q in pairwise(watts)])

    def stress(self, frequency: ArrayLike, load: ArrayLike, *, power_w: float) -> tuple[Real, Real]:
        """Peak voltage [V] and current [A] of each element, along it for a line, (K, ..., F).

        At a power into the network.
        """
        joints = self.states(frequency, load)
        into = (joints[0][0] * np.conj(joints[0][1])).real
        scale = np.sqrt(2 * power_w / into)  # effective values of the one-ampere run to amplitudes
        pairs = zip(self.elements, pairwise(joints), strict=True)
        peaks = [e.peaks(frequency, near, far) for e, (near, far) in pairs]
        volts, amperes = zip(*peaks, strict=True)
        return scale * _stack(volts), scale * _stack(amperes)


def _stack(rows: Sequence) -> Any:
    """Rows of different leading axes as one array."""
    return np.stack(np.broadcast_arrays(*rows))
