"""What lies between the calibration plane and the device: remove it, or add it.

Each element of a path is one bilinear map with a name. Its inputs are quantities: parameters with
their effects, or readings that went through the same calibration as the device (and so share its
errors, which is kept track of).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear, section_by_mismatch, section_by_round_trip
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line
from rfcal.uncertainty.quantity import Effect, Quantity, combine

STEP = 1e-5
"""Step of central differences, in parts of an input: good for nine digits."""


class Element(Protocol):
    """One thing between plane and device: a map that depends on a few inputs."""

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The map from beyond the element to its near side.

        Parameters
        ----------
        inputs : sequence of ndarray, shape (..., F)
            The element's inputs.
        """

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input.

        Parameters
        ----------
        x : ndarray, shape (F,)
            Reflection beyond the element [1].
        inputs : sequence of ndarray, shape (F,)
            The element's inputs.
        """


@dataclass(frozen=True, eq=False)
class Step:
    """One element of a path with its inputs.

    Parameters
    ----------
    element : Element
        What it is.
    readings : tuple of (Quantity, Quantity)
        Inputs that are raw readings through the same calibration, each with what connecting it
        adds to its true reflection [1]; they come before the parameters.
    parameters : tuple of Quantity
        The other inputs.
    embed : bool
        True to add the element to what was measured, False to remove it.
    """

    element: Element
    readings: tuple[tuple[Quantity, Quantity], ...] = ()
    parameters: tuple[Quantity, ...] = ()
    embed: bool = False

    def at_points(self, index: NDArray[np.intp]) -> "Step":
        """The same at some of its frequencies."""
        element = self.element
        if isinstance(element, Cable):
            element = replace(element, frequency=element.frequency[index])
        return replace(
            self,
            element=element,
            readings=tuple((r.at_points(index), c.at_points(index)) for r, c in self.readings),
            parameters=tuple(p.at_points(index) for p in self.parameters),
        )

    def through(self, error_box: Bilinear) -> Bilinear:
        """The element as a map at the best estimates, its readings corrected by the error box."""
        corrected = [error_box.correct(reading.value) for reading, _ in self.readings]
        return self.element.bilinear([*corrected, *(p.value for p in self.parameters)])


@dataclass(frozen=True, eq=False)
class Cable:
    """A line known by its figures; inputs: length, velocity factor, z0, relative loss and skin.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].
    line : Line
        The best estimate; its losses count times the fourth input, which is 1.
    z_ref : float
        Reference impedance of the reflections [ohm].
    """

    frequency: Real
    line: Line
    z_ref: float

    def quantities(self, deviations: dict[str, float], name: str) -> list[Quantity]:
        """The inputs with their effects.

        Parameters
        ----------
        deviations : dict of str to float
            Standard uncertainties of ``length`` [m], ``velocity factor`` [1], ``impedance``
            [ohm] and ``loss`` [1, relative]; that of the skin effect is its usual one.
        name : str
            Name of the line, for the budget.

        Returns
        -------
        list of five Quantity
            In the order of the inputs.
        """
        line, ones = self.line, np.ones(self.frequency.size, complex)
        values: dict[str, Any] = {
            "length": line.length_m,
            "velocity factor": line.velocity_factor,
            "impedance": line.z0,
            "loss": 1.0,
            "skin effect": line.skin,
        }
        known = {"skin effect": defaults.SKIN_EFFECT, **deviations}
        return [
            Quantity(ones * value, (Effect(f"{name}: {key}", ones * complex(known[key])),))
            for key, value in values.items()
        ]

    def _line(self, inputs: Sequence[Any]) -> Line:
        length, velocity, z0, loss, skin = inputs
        return replace(
            self.line,
            length_m=length,
            velocity_factor=velocity,
            z0=z0,
            conductor_db=self.line.conductor_db * loss,
            dielectric_db=self.line.dielectric_db * loss,
            skin=skin,
        )

    def _section(self, line: Line) -> tuple[Complex, Complex]:
        zc = line.impedance(self.frequency)
        trip = np.exp(-2 * line.propagation(self.frequency) * line.length_m)
        return (zc - self.z_ref) / (zc + self.z_ref), trip

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The line as a map.

        Parameters
        ----------
        inputs : sequence of five ndarray, shape (..., F)
            Length [m], velocity factor [1], z0 [ohm], relative loss [1], skin [1].

        Returns
        -------
        Bilinear
            From the far end to the near end.
        """
        return Bilinear.section(*self._section(self._line(inputs)))

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input.

        Parameters
        ----------
        x : ndarray, shape (F,)
            Reflection at the far end [1].
        inputs : sequence of five ndarray, shape (F,)
            As for `bilinear`.

        Returns
        -------
        list of five ndarray, shape (F,)
            Derivatives [1/m, 1, 1/ohm, 1, 1], by central differences.
        """
        mismatch, trip = self._section(self._line(inputs))
        by_mismatch = section_by_mismatch(x, mismatch, trip)
        by_trip = section_by_round_trip(x, mismatch, trip)
        values = np.array(np.broadcast_arrays(*inputs))
        steps = STEP * np.maximum(np.abs(values), 1.0)
        # input, which of them is moved, frequency
        one = np.eye(len(values))[..., None] * steps
        ends = (self._section(self._line(values[:, None] + side * one)) for side in (-1, 1))
        moved = [(late - early) / (2 * steps) for early, late in zip(*ends, strict=True)]
        return list(by_mismatch * moved[0] + by_trip * moved[1])


class Measured:
    """A line known by two sweeps, its far end open and short; inputs: these two reflections.

    A line is symmetrical and reciprocal, so two conditions fix its map at each frequency, whatever
    its impedance, length and loss: no branch has to be chosen.
    """

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The line as a map.

        Parameters
        ----------
        inputs : sequence of two ndarray, shape (..., F)
            Reflection seen with the far end open and short [1].

        Returns
        -------
        Bilinear
            From the far end to the near end.
        """
        o, s = inputs
        # Z_far = Zo (Zs - Z) / (Z - Zo), written in reflections
        return Bilinear(-2 - o + s, o + s, -o - s, s - o + 2 * o * s).invert()

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input.

        Parameters
        ----------
        x : ndarray, shape (F,)
            Reflection at the far end [1].
        inputs : sequence of two ndarray, shape (F,)
            As for `bilinear`.

        Returns
        -------
        list of two ndarray, shape (F,)
            Derivatives [1].
        """
        o, s = inputs
        seen = self.bilinear(inputs).apply(x)
        # implicit derivative of x (-(o + s) seen + s - o + 2 o s) = (s - o - 2) seen + o + s
        below = 2 + o - s - x * (o + s)
        by_open = (1 - seen - x * (2 * s - 1 - seen)) / below
        by_short = (1 + seen - x * (2 * o + 1 - seen)) / below
        return [by_open, by_short]


@dataclass(frozen=True)
class Adapter:
    """A two-port known by its scattering parameters; inputs: S11, S12 S21, S22.

    Parameters
    ----------
    z_own : float
        Reference impedance of the scattering parameters [ohm].
    z_ref : float
        Reference impedance of the reflections [ohm].
    """

    z_own: float = 50.0
    z_ref: float = 50.0

    def _to_own(self) -> Bilinear:
        """From reflections in `z_ref` to those in `z_own`."""
        step = np.asarray((self.z_ref - self.z_own) / (self.z_ref + self.z_own), complex)
        one = np.ones_like(step)
        return Bilinear(one, step, step, one)

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The adapter as a map.

        Parameters
        ----------
        inputs : sequence of three ndarray, shape (..., F)
            S11, S12 times S21, S22 [1]; port 1 faces the analyzer.

        Returns
        -------
        Bilinear
            From port 2 to port 1.
        """
        s11, through, s22 = inputs
        own = self._to_own()
        return own.invert() @ Bilinear.from_error_terms(s11, s22, through) @ own

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input.

        Parameters
        ----------
        x : ndarray, shape (F,)
            Reflection at port 2 [1].
        inputs : sequence of three ndarray, shape (F,)
            As for `bilinear`.

        Returns
        -------
        list of three ndarray, shape (F,)
            Derivatives [1].
        """
        s11, through, s22 = inputs
        own = self._to_own()
        x = own.apply(x)
        inside = x / (1 - s22 * x)
        back = own.invert().derivative(s11 + through * inside)
        return [back, back * inside, back * through * inside**2]


class Fixture:
    """A fixture known by itself open and short: stray series impedance, then stray admittance.

    Inputs: the two reflections. Open/short compensation as used with impedance meters (common
    practice, no source): ``Z = (Zm - Zs) / (1 - (Zm - Zs) Yo)``, ``Yo = 1/(Zo - Zs)``.
    """

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The fixture as a map.

        Parameters
        ----------
        inputs : sequence of two ndarray, shape (..., F)
            Reflection of the fixture open and short [1].

        Returns
        -------
        Bilinear
            From the device's clips to the plane.
        """
        o, s = inputs
        # normalised: zs = (1 + s)/(1 - s), y = (1 - o)(1 - s)/(2 (o - s)); all times what divides
        u, v = (1 - o) * (1 - s), 2 * (o - s)
        chain = TwoPort(v * (1 - s) + (1 + s) * u, (1 + s) * v, u * (1 - s), v * (1 - s))
        return chain.bilinear(1.0)

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input.

        Parameters
        ----------
        x : ndarray, shape (F,)
            Reflection at the clips [1].
        inputs : sequence of two ndarray, shape (F,)
            As for `bilinear`.

        Returns
        -------
        list of two ndarray, shape (F,)
            Derivatives [1].
        """
        o, s = inputs
        seen = self.bilinear(inputs).apply(x)
        # normalised: seen z = zs + w, w = 1/(1/z + y); y = y_open (1 - o)
        y_open = (1 - s) / (2 * (o - s))
        w = (1 + x) / (1 - x + y_open * (1 - o) * (1 + x))
        moved = (1 - seen) ** 2
        by_open = moved * (w * y_open) ** 2
        by_short = moved * (1 - (w * y_open * (1 - o)) ** 2) / (1 - s) ** 2
        return [by_open, by_short]


def remove(near: Quantity, element: Element, inputs: Sequence[Quantity]) -> Quantity:
    """What is beyond an element, given what is seen at its near side.

    Parameters
    ----------
    near : Quantity
        Reflection coefficient at the near side [1].
    element : Element
        What is between.
    inputs : sequence of Quantity
        The element's inputs.

    Returns
    -------
    Quantity
        Reflection coefficient beyond [1], with every effect.
    """
    values = [q.value for q in inputs]
    box = element.bilinear(values)
    far = box.correct(near.value)
    slope = 1 / box.derivative(far)
    by_input = element.slopes(far, values)
    parts = [(q, -slope * d) for q, d in zip(inputs, by_input, strict=True)]
    return combine(far, (near, slope), *parts)


def add(far: Quantity, element: Element, inputs: Sequence[Quantity]) -> Quantity:
    """What is seen at the near side of an element, given what is beyond it.

    Parameters
    ----------
    far : Quantity
        Reflection coefficient beyond the element [1].
    element : Element
        What is between.
    inputs : sequence of Quantity
        The element's inputs.

    Returns
    -------
    Quantity
        Reflection coefficient at the near side [1], with every effect.
    """
    values = [q.value for q in inputs]
    box = element.bilinear(values)
    by_input = element.slopes(far.value, values)
    parts = list(zip(inputs, by_input, strict=True))
    return combine(box.apply(far.value), (far, box.derivative(far.value)), *parts)
