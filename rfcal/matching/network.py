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
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line

_LETTER = {Inductor: "L", Capacitor: "C", Stub: "stub ", Line: "line "}


@dataclass(frozen=True, eq=False)
class Stress:
    """What each element must stand: peak values [V] and [A], along it for a line."""

    volt: Real  # (K, ..., F)
    ampere: Real  # (K, ..., F)


@dataclass(frozen=True, eq=False)
class Network:
    """A matching network."""

    topology: str  # such as "L, shunt part at load"
    elements: tuple[NetworkElement, ...]  # from source to load
    note: str = ""  # what tells it from others of its topology, such as "Q = 3"

    @classmethod
    def of(cls, topology: str, parts: Sequence[tuple[str, Part]], note: str = "") -> "Network":
        """A network of (place, part) from source to load, named by counting: L1, C1, line 1."""
        count: dict[str, int] = {}
        elements = []
        for place, part in parts:
            letter = _LETTER[type(part)]
            count[letter] = count.get(letter, 0) + 1
            elements.append(NetworkElement(f"{letter}{count[letter]}", place, part))
        return cls(topology, tuple(elements), note)

    @property
    def form(self) -> str:
        """``"low-pass"`` or ``"high-pass"`` where all its lumped parts agree, else empty."""
        kinds = {(e.place, type(e.part)) for e in self.elements if e.line is None}
        if kinds and kinds <= {(SERIES, Inductor), (SHUNT, Capacitor)}:
            return "low-pass"
        if kinds and kinds <= {(SERIES, Capacitor), (SHUNT, Inductor)}:
            return "high-pass"
        return ""

    @property
    def values(self) -> list[Any]:
        """The elements' values [H, F, m]."""
        return [element.value for element in self.elements]

    def with_values(self, values: Sequence[ArrayLike]) -> "Network":
        """The same network with other values, each of shape () or, for draws, (..., 1)."""
        pairs = zip(self.elements, values, strict=True)
        return replace(self, elements=tuple(e.with_value(value) for e, value in pairs))

    def two_port(self, frequency: ArrayLike) -> TwoPort:
        """The whole network, from source to load."""
        one = np.ones(np.shape(frequency), complex)
        # [V1; I1] = [A B; C D] [V2; I2]: its columns are what 1 V alone and 1 A alone make
        (a, c), (b, d) = (self._states(frequency, at)[0] for at in ((one, 0 * one), (0 * one, one)))
        return TwoPort(a, b, c, d)

    def states(self, frequency: ArrayLike, load: ArrayLike) -> list[State]:
        """Voltage and current at every joint from source to load, with one ampere into the load."""
        volt: Complex = np.asarray(load, complex)
        return self._states(frequency, (volt, np.ones_like(volt)))

    def _states(self, frequency: ArrayLike, at_load: State) -> list[State]:
        found = [at_load]
        for element in reversed(self.elements):
            found.append(element.source_side(frequency, found[-1]))
        return found[::-1]

    def seen(
        self, frequency: ArrayLike, load: ArrayLike, *, z_ref: float = defaults.REFERENCE_OHM
    ) -> Complex:
        """Reflection at the input [1], shape (..., F)."""
        volt, ampere = self.states(frequency, load)[0]
        return (volt - z_ref * ampere) / (volt + z_ref * ampere)

    def seen_and_slopes(
        self, frequency: ArrayLike, load: ArrayLike, *, z_ref: float = defaults.REFERENCE_OHM
    ) -> tuple[Complex, Complex, Complex]:
        """What is `seen`, and its derivatives by each value's logarithm [1], shape (K, ..., F).

        And by the load [1/ohm], shape (..., F).
        """
        joints = self.states(frequency, load)
        volt, ampere = joints[0]
        below = volt + z_ref * ampere
        # d(reflection)/dZ = 2 z_ref / (Z + z_ref)^2 with Z = volt / ampere
        scale = 2 * z_ref / below**2
        pairs = zip(self.elements, pairwise(joints), strict=True)
        slopes = _stack([scale * e.slope(frequency, near, far) for e, (near, far) in pairs])
        return (volt - z_ref * ampere) / below, slopes, scale

    def losses_db(self, frequency: ArrayLike, load: ArrayLike) -> Real:
        """Loss in each element [dB], shape (K, ..., F); reflection at the input is not in it."""
        watts = [(v * np.conj(i)).real for v, i in self.states(frequency, load)]
        return _stack([10 * np.log10(p / q) for p, q in pairwise(watts)])

    def stress(self, frequency: ArrayLike, load: ArrayLike, *, power_w: float) -> Stress:
        """Peak voltage and current of each element, at a power into the network."""
        joints = self.states(frequency, load)
        into = (joints[0][0] * np.conj(joints[0][1])).real
        scale = np.sqrt(2 * power_w / into)  # effective values of the one-ampere run to amplitudes
        pairs = zip(self.elements, pairwise(joints), strict=True)
        volts, amperes = zip(
            *(e.peaks(frequency, near, far) for e, (near, far) in pairs), strict=True
        )
        return Stress(scale * _stack(volts), scale * _stack(amperes))


def _stack(rows: Sequence) -> Any:
    """Rows of different leading axes as one array."""
    return np.stack(np.broadcast_arrays(*rows))
