"""What can be bought and cut: real parts in place of a design's."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from rfcal import defaults
from rfcal.matching.network import AnyPart, Network, NetworkElement, part_value
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.matching.winding import largest_coil, wound
from rfcal.maths.reflection import Complex, Real
from rfcal.models.line import Line


@dataclass(frozen=True, eq=False)
class Stock:
    """Parts that exist."""

    series: str = defaults.PREFERRED  # preferred values of coils and capacitors
    inductor_q: float = defaults.INDUCTOR_Q
    capacitor_q: float = defaults.CAPACITOR_Q
    inductor_parallel_f: float | None = None  # a coil's own capacitance; None as it is wound
    capacitor_series_h: float = 0.0  # inductance of a capacitor's leads
    # lines to cut sections and stubs from, the usual one first; their lengths are not used
    lines: tuple[Line, ...] = tuple(Line(1.0, z0=z0) for z0 in defaults.STOCK_OHM)
    step_m: float = defaults.CUT_M  # lengths are cut to this, and may be off by as much
    tolerance: float = defaults.TOLERANCE  # how far coils and capacitors may be off [1]
    wound_tolerance: float | None = None  # how far coils may be off that are wound; None as others
    power_w: float = defaults.POWER_W  # that coils are wound for
    frequency_hz: float = np.nan  # that they are for, once there is one

    def limits(self, part: AnyPart) -> tuple[float, float]:
        """Smallest and largest value of a kind of part [H, F or m], such as serves there.

        Coils and capacitors serve far enough below the resonance with what is not wanted of them.
        """
        if isinstance(part, Line | Stub):
            line = part if isinstance(part, Line) else part.line
            wave = float(line.wavelength_m(self.frequency_hz))
            return max(self.step_m, defaults.SHORT_M, defaults.SHORT_WAVES * wave), np.inf
        omega = 2 * np.pi * self.frequency_hz
        resonance = omega * defaults.OWN_RESONANCE
        longer = float(np.clip(defaults.SMALL_PARTS_HZ / self.frequency_hz, 1, 10))
        if isinstance(part, Inductor):
            own = self.inductor_parallel_f
            largest = (
                largest_coil(resonance) if own is None else 1 / (resonance**2 * (own or 1e-99))
            )
            return defaults.SMALL_COIL_H * longer, min(largest, defaults.LARGE_COIL_OHM / omega)
        leads = max(self.capacitor_series_h, defaults.SMALL_LEADS_H)
        largest = min(1 / (resonance**2 * leads), 1 / (omega * defaults.LARGE_CAPACITOR_OHM))
        return defaults.SMALL_CAPACITOR_F * longer, largest

    def off(self, element: NetworkElement) -> float:
        """How far a part may be off [1]; a coil that cannot be wound is bought."""
        if element.line is not None:
            return min(self.step_m / float(element.value), 1.0)
        bought = self.wound_tolerance is None or not isinstance(element.part, Inductor)
        if bought or not wound(float(element.value)):
            return self.tolerance
        return self.wound_tolerance or 0.0

    def lacks(self, network: Network) -> str:
        """Words for the first part of a design that is not to be had, or none."""
        for element in network.elements:
            low, high = self.limits(element.part)
            if low / 1.1 <= element.value <= high * 1.1:
                continue
            found = f"{element.name} would be {element.in_words(4)}, which is no part"
            if element.line is not None:
                return f"{found}: pieces of line are cut from {low:.2g} m on"
            kind = "coils" if isinstance(element.part, Inductor) else "capacitors"
            ends = (part_value(float(f"{end:.2g}"), element.unit) for end in (low, high))
            at = f"at {self.frequency_hz / 1e6:.6g} MHz"
            return f"{found}: {kind} serve {at} from {' to '.join(ends)}"
        return ""

    def wound(self, network: Network, frequency: Real, load: Complex) -> Network:
        """The network with each coil's own capacitance as it is wound for what it carries."""
        _, peaks = network.stress(frequency, load, power_w=self.power_w)
        elements = tuple(
            self._real(e, float(peak.max()))[0] if isinstance(e.part, Inductor) else e
            for e, peak in zip(network.elements, peaks, strict=True)
        )
        return replace(network, elements=elements)

    def _real(self, element: NetworkElement, ampere: float = 0.0) -> list[NetworkElement]:
        """The element of real parts; twice where no line of the impedance is in stock."""
        part = element.part
        if isinstance(part, Inductor):
            own = self.inductor_parallel_f
            if own is None:
                winding = wound(float(element.value), ampere)
                own = winding.capacitance_f if winding else 0.0
            return [element.with_part(q=self.inductor_q, parallel_f=own)]
        if isinstance(part, Capacitor):
            return [element.with_part(q=self.capacitor_q, series_h=self.capacitor_series_h)]
        line = element.line
        assert line is not None
        near = [one for one in self.lines if np.isclose(one.z0, line.z0)]
        if not near:
            below = [one for one in self.lines if one.z0 < line.z0]
            above = [one for one in self.lines if one.z0 > line.z0]
            near = sorted(below, key=lambda one: -one.z0)[:1]
            near += sorted(above, key=lambda one: one.z0)[:1]
        # the same number of wavelengths on the line that there is
        waves = line.length_m / line.velocity_factor
        return [
            element.with_line(replace(one, length_m=waves * one.velocity_factor)) for one in near
        ]

    def realise(self, network: Network) -> list[Network]:
        """The network of real parts, values still as designed; several where lines are between."""
        choices = product(*map(self._real, network.elements))
        return [replace(network, elements=chosen) for chosen in choices]
