"""What can be bought and cut: real parts in place of a design's."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from rfcal import defaults
from rfcal.matching.element import NetworkElement, Part
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.models.line import Line


@dataclass(frozen=True, eq=False)
class Stock:
    """Parts that exist."""

    series: str = defaults.SERIES  # preferred values of coils and capacitors
    inductor_q: float = defaults.INDUCTOR_Q
    capacitor_q: float = defaults.CAPACITOR_Q
    inductor_parallel_f: float = 0.0  # a coil's own capacitance
    capacitor_series_h: float = 0.0  # inductance of a capacitor's leads
    inductance_h: tuple[float, float] = defaults.INDUCTANCE_H  # smallest and largest to be had
    capacitance_f: tuple[float, float] = defaults.CAPACITANCE_F
    # lines to cut sections and stubs from, the usual one first; their lengths are not used
    lines: tuple[Line, ...] = tuple(Line(1.0, z0=z0) for z0 in defaults.STOCK_OHM)
    step_m: float = defaults.CUT_M  # lengths are cut to this

    def limits(self, part: Part) -> tuple[float, float]:
        """Smallest and largest value of a kind of part [H, F or m]."""
        if isinstance(part, Inductor):
            return self.inductance_h
        return self.capacitance_f if isinstance(part, Capacitor) else (self.step_m, np.inf)

    def lacks(self, network: Network) -> str:
        """Words for the first part of a design that is not to be had, or none."""
        for element in network.elements:
            low, high = self.limits(element.part)
            if not low / 1.1 <= element.value <= high * 1.1:
                return f"{element.name} of {element.in_words()} is not in stock"
        return ""

    def _real(self, element: NetworkElement) -> list[NetworkElement]:
        """The element of real parts; twice where no line of the impedance is in stock."""
        part = element.part
        if isinstance(part, Inductor):
            coil = Inductor(part.value, self.inductor_q, self.inductor_parallel_f)
            return [replace(element, part=coil)]
        if isinstance(part, Capacitor):
            capacitor = Capacitor(part.value, self.capacitor_q, self.capacitor_series_h)
            return [replace(element, part=capacitor)]
        line = element.line
        assert line is not None
        near = [one for one in self.lines if np.isclose(one.z0, line.z0)]
        if not near:
            below = [one for one in self.lines if one.z0 < line.z0]
            above = [one for one in self.lines if one.z0 > line.z0]
            near = sorted(below, key=lambda one: -one.z0)[:1]
            near += sorted(above, key=lambda one: one.z0)[:1]
        cut = []
        for one in near:  # the same number of wavelengths on the line that there is
            length = line.length_m * one.velocity_factor / line.velocity_factor
            whole = replace(one, length_m=length)
            new = Stub(whole, part.end) if isinstance(part, Stub) else whole
            cut.append(replace(element, part=new))
        return cut

    def realise(self, network: Network) -> list[Network]:
        """The network of real parts, values still as designed; several where lines are between."""
        choices = product(*map(self._real, network.elements))
        return [replace(network, elements=chosen) for chosen in choices]
