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
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import Line

SERIES, SHUNT, SECTION = "series", "shunt", "section"
AnyPart = Inductor | Capacitor | Stub | Line
State = tuple[Complex, Complex]
"""Voltage and current at one joint of the network [V, A], each of shape (..., F)."""
LUMPED: dict[type, tuple[str, str]] = {
    Inductor: ("inductance_h", "H"),
    Capacitor: ("capacitance_f", "F"),
}
"""Name and unit of what is their value."""
LEAST_POWER = {"H": -3, "F": -4}
"""Powers of a thousand below which no part is written: 0.56 pF, not 560 fF."""


def part_value(value: float, unit: str) -> str:
    """A coil's or a capacitor's value as it is written on it, such as ``"330 pF"``."""
    power = int(np.clip(np.floor(np.log10(value) / 3 + 1e-9), LEAST_POWER[unit], 0))
    return f"{value / 1000.0**power:.4g} {' mµnp'[-power].strip()}{unit}"


@dataclass(frozen=True, eq=False)
class NetworkElement:
    """One part and how it is connected."""

    name: str  # such as "C1"
    place: str  # SERIES, SHUNT or, for a line in the way, SECTION
    part: AnyPart

    @property
    def line(self) -> Line | None:
        """The line that it is made of, if it is."""
        part = self.part
        return part if isinstance(part, Line) else part.line if isinstance(part, Stub) else None

    @property
    def value(self) -> Any:
        """Inductance [H], capacitance [F] or length [m]."""
        line = self.line
        return line.length_m if line is not None else getattr(self.part, LUMPED[type(self.part)][0])

    @property
    def unit(self) -> str:
        """Unit of `value`: ``"H"``, ``"F"`` or ``"m"``."""
        return "m" if self.line is not None else LUMPED[type(self.part)][1]

    def leads_m(self, frequency: float) -> float:
        """Leads that would do as much as twice its value does [m]; 0 of a line, which has none."""
        if self.line is not None:
            return 0.0
        # with leads a capacitor looks like C / (1 - w^2 L C)
        omega = 2 * np.pi * frequency
        inductance = self.value if self.unit == "H" else 1 / (omega**2 * self.value)
        return float(inductance) / defaults.LEAD_H_PER_M

    def in_words(self, figures: int = 6) -> str:
        """The value as it is written on a part, such as ``"330 pF"`` or ``"0.965 m of 50 ohm"``."""
        value = float(f"{self.value:.{figures}g}")
        if self.line is not None:
            return f"{value:g} m of {self.line.z0:.3g} ohm"
        return part_value(value, self.unit)

    def with_part(self, part: Any = None, **changed: Any) -> "NetworkElement":
        """The same element of another part, or with its own part changed."""
        return replace(self, part=part or replace(self.part, **changed))

    def with_line(self, line: Line) -> "NetworkElement":
        """The same element cut from another line."""
        return self.with_part(line) if isinstance(self.part, Line) else self.with_part(line=line)

    def with_value(self, value: Any) -> "NetworkElement":
        """The same element with another value, shape () or, for draws, (..., 1)."""
        if self.line is not None:
            return self.with_line(replace(self.line, length_m=value))
        return self.with_part(**{LUMPED[type(self.part)][0]: value})

    def source_side(self, frequency: ArrayLike, far: State) -> State:
        """Voltage and current at the source side from those at the load side."""
        volt, ampere = far
        if isinstance(self.part, Line):
            zc, propagation = self.part.constants(frequency)
            # V = V+ e^(gamma l) + V- e^(-gamma l), I = (V+ e^(gamma l) - V- e^(-gamma l)) / Zc
            grow = np.exp(propagation * self.part.length_m)
            ahead, back = (volt + zc * ampere) * grow / 2, (volt - zc * ampere) / grow / 2
            return ahead + back, (ahead - back) / zc
        z = self.part.impedance(frequency)
        if self.place == SERIES:
            return volt + z * ampere, ampere
        return volt, ampere + volt / z

    def peaks(self, frequency: ArrayLike, near: State, far: State) -> tuple[Real, Real]:
        """Largest voltage and current of the part, along it for a line; in the unit of `near`."""
        # through the part; a section's is the one at its source side
        current = near[1] - far[1] if self.place == SHUNT else near[1]
        volt = near[0] - far[0] if self.place == SERIES else near[0]
        if self.line is None:
            return np.abs(volt), np.abs(current)
        line = self.line
        zc, propagation = line.constants(frequency)
        waves = np.max(line.length_m / line.wavelength_m(frequency))
        share = np.linspace(0, 1, 2 + min(int(128 * waves), 2000))
        share = share.reshape(-1, *(1,) * max(volt.ndim, 1))
        grow = np.exp(propagation * line.length_m * share)
        ahead, back = (volt + zc * current) / 2 / grow, (volt - zc * current) / 2 * grow
        return np.abs(ahead + back).max(axis=0), np.abs((ahead - back) / zc).max(axis=0)


_LETTER = {Inductor: "L", Capacitor: "C", Stub: "stub ", Line: "line "}


@dataclass(frozen=True, eq=False)
class Network:
    """A matching network."""

    topology: str  # such as "L, shunt part at load"
    elements: tuple[NetworkElement, ...]  # from source to load

    @classmethod
    def of(cls, topology: str, parts: Sequence[tuple[str, AnyPart]]) -> "Network":
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
    def floats(self) -> bool:
        """Whether a stub stands in series, of which neither conductor is at ground."""
        return any(e.place == SERIES and isinstance(e.part, Stub) for e in self.elements)

    @property
    def values(self) -> list[Any]:
        """The elements' values [H, F, m]."""
        return [element.value for element in self.elements]

    def with_values(self, values: Sequence[ArrayLike]) -> "Network":
        """The same network with other values, each of shape () or, for draws, (..., 1)."""
        pairs = zip(self.elements, values, strict=True)
        return replace(self, elements=tuple(e.with_value(value) for e, value in pairs))

    def states(
        self, frequency: ArrayLike, load: ArrayLike, power_w: float | None = None
    ) -> list[State]:
        """Voltage and current at every joint from source to load, with one ampere into the load.

        Their peaks, where a power into the network is given.
        """
        volt: Complex = np.asarray(load, complex)
        found: list[State] = [(volt, np.ones_like(volt))]
        for element in reversed(self.elements):
            found.append(element.source_side(frequency, found[-1]))
        if power_w is not None:
            into = (found[-1][0] * np.conj(found[-1][1])).real
            scale = np.sqrt(2 * power_w / into)  # effective values of the one-ampere run to peaks
            found = [(scale * volt, scale * ampere) for volt, ampere in found]
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
        pairs = zip(self.elements, pairwise(self.states(frequency, load, power_w)), strict=True)
        peaks = [e.peaks(frequency, near, far) for e, (near, far) in pairs]
        volts, amperes = zip(*peaks, strict=True)
        return _stack(volts), _stack(amperes)


def _stack(rows: Sequence) -> Any:
    """Rows of different leading axes as one array."""
    return np.stack(np.broadcast_arrays(*rows))
