"""A network between source and load: what it does to reflection and power, part by part.

Everything follows from voltage and current at each joint, reckoned from the load to the source
with one ampere into the load; draws lead, frequency is last.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import pairwise
from operator import matmul
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from rfcal.matching.element import SECTION, SERIES, SHUNT, AnyPart, Element
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line

_LETTER = {Inductor: "L", Capacitor: "C", Stub: "stub ", Line: "line "}


def _stack(rows: list) -> Any:
    """Rows of different leading axes as one array."""
    return np.stack(np.broadcast_arrays(*rows))


@dataclass(frozen=True, eq=False)
class Stress:
    """What each part must stand.

    Parameters
    ----------
    volt : ndarray, shape (K, ..., F)
        Peak voltage across each part, along it for a line [V].
    ampere : ndarray, shape (K, ..., F)
        Peak current through each part [A].
    """

    volt: Real
    ampere: Real


@dataclass(frozen=True, eq=False)
class Network:
    """A matching network.

    Parameters
    ----------
    topology : str
        Such as ``"L, shunt part at the load"``.
    elements : tuple of Element
        From source to load.
    note : str
        What tells it from others of its topology, such as ``"Q = 3"``.
    """

    topology: str
    elements: tuple[Element, ...]
    note: str = ""

    @classmethod
    def of(cls, topology: str, parts: Sequence[tuple[str, AnyPart]], note: str = "") -> "Network":
        """A network of parts that get their names by counting.

        Parameters
        ----------
        topology : str
            As for the class.
        parts : sequence of (str, part)
            Place and part, from source to load.
        note : str
            As for the class.

        Returns
        -------
        Network
            With elements named L1, C1, "line 1" and so on from the source.
        """
        count: dict[str, int] = {}
        elements = []
        for place, part in parts:
            letter = _LETTER[type(part)]
            count[letter] = count.get(letter, 0) + 1
            elements.append(Element(f"{letter}{count[letter]}", place, part))
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

    def free(self) -> list[int]:
        """Indices of the elements that are chosen.

        Returns
        -------
        list of int
            Those that are not fixed.
        """
        return [k for k, element in enumerate(self.elements) if not element.fixed]

    def with_values(self, values: Sequence[ArrayLike]) -> "Network":
        """The same network with other values of its free elements.

        Parameters
        ----------
        values : sequence of array_like, each of shape () or (..., 1)
            One for each free element, from source to load.

        Returns
        -------
        Network
            With the new values.
        """
        new = dict(zip(self.free(), values, strict=True))
        return replace(
            self,
            elements=tuple(
                e.with_value(new[k]) if k in new else e for k, e in enumerate(self.elements)
            ),
        )

    def on_line(self, line: Line, from_load_m: float) -> "Network":
        """The network built into an existing line, with the line's pieces on both sides.

        Parameters
        ----------
        line : Line
            The line from the source to the load.
        from_load_m : float
            Length of the piece between network and load [m]; 0 puts it at the load.

        Returns
        -------
        Network
            With the pieces as fixed elements; pieces without length are left out.
        """
        pieces = (("feed line to source", line.length_m - from_load_m), ("feed line", from_load_m))
        before, beyond = (
            (Element(name, SECTION, replace(line, length_m=length), True),) if length > 0 else ()
            for name, length in pieces
        )
        return replace(self, elements=(*before, *self.elements, *beyond))

    def two_port(self, frequency: ArrayLike) -> TwoPort:
        """The whole network.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        TwoPort
            From source to load.
        """
        return reduce(matmul, (e.two_port(frequency) for e in self.elements))

    def states(self, frequency: ArrayLike, load: ArrayLike) -> list[tuple[Complex, Complex]]:
        """Voltage and current at every joint, with one ampere into the load.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        load : array_like, shape (..., F)
            Load impedance [ohm].

        Returns
        -------
        list of (ndarray, ndarray)
            From the source to the load, one more than there are elements [V, A].
        """
        load = np.asarray(load, complex)
        found: list[tuple[Complex, Complex]] = [(load, np.ones_like(load))]
        for element in reversed(self.elements):
            found.append(element.before(frequency, *found[-1]))
        return found[::-1]

    def seen(self, frequency: ArrayLike, load: ArrayLike, *, z_ref: float = 50.0) -> Complex:
        """Reflection at the network's input.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        load : array_like, shape (..., F)
            Load impedance [ohm].
        z_ref : float
            Reference impedance of the result [ohm].

        Returns
        -------
        ndarray, shape (..., F)
            Reflection coefficient [1].
        """
        volt: Complex = np.asarray(load, complex)
        ampere: Complex = np.ones_like(volt)
        for element in reversed(self.elements):
            volt, ampere = element.before(frequency, volt, ampere)
        return (volt - z_ref * ampere) / (volt + z_ref * ampere)

    def seen_and_slopes(
        self, frequency: ArrayLike, load: ArrayLike, *, z_ref: float = 50.0
    ) -> tuple[Complex, Complex]:
        """What is seen, and its derivative by the logarithm of each element's value.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        load : array_like, shape (..., F)
            Load impedance [ohm].
        z_ref : float
            Reference impedance [ohm].

        Returns
        -------
        seen : ndarray, shape (..., F)
            Reflection coefficient [1].
        slopes : ndarray, shape (K, ..., F)
            Derivatives [1]; a part 1 % larger changes the reflection by 0.01 times this.
        """
        joints = self.states(frequency, load)
        volt, ampere = joints[0]
        below = volt + z_ref * ampere
        # d(reflection)/dZ = 2 z_ref / (Z + z_ref)^2 with Z = volt / ampere
        scale = 2 * z_ref / below**2
        pairs = zip(self.elements, pairwise(joints), strict=True)
        slopes = _stack([scale * e.slope(frequency, near, far) for e, (near, far) in pairs])
        return (volt - z_ref * ampere) / below, slopes

    def losses_db(self, frequency: ArrayLike, load: ArrayLike) -> Real:
        """Loss in each element; what is reflected at the input is not in it.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        load : array_like, shape (..., F)
            Load impedance [ohm], of a resistance above zero.

        Returns
        -------
        ndarray, shape (K, ..., F)
            Losses [dB]; they add up to the network's.
        """
        watts = [(v * np.conj(i)).real for v, i in self.states(frequency, load)]
        return _stack([10 * np.log10(p / q) for p, q in pairwise(watts)])

    def stress(self, frequency: ArrayLike, load: ArrayLike, *, power_w: float) -> Stress:
        """Peak voltage and current of each part.

        Parameters
        ----------
        frequency : array_like, shape (F,)
            Frequencies [Hz].
        load : array_like, shape (..., F)
            Load impedance [ohm].
        power_w : float
            Power that flows into the network [W].

        Returns
        -------
        Stress
            Amplitudes of sine waves, not effective values.
        """
        joints = self.states(frequency, load)
        into = (joints[0][0] * np.conj(joints[0][1])).real
        scale = np.sqrt(2 * power_w / into)  # effective values of the one-ampere run to amplitudes
        pairs = zip(self.elements, pairwise(joints), strict=True)
        found = [e.peaks(frequency, near, far) for e, (near, far) in pairs]
        return Stress(
            _stack([scale * volt for volt, _ in found]), _stack([scale * amp for _, amp in found])
        )
