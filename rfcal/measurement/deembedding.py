"""What lies between the calibration plane and the device: remove it, or add it.

Each element of a path is one bilinear map with a name. Its inputs are quantities: parameters with
their effects, or readings that went through the same calibration as the device (and so share its
errors, which is kept track of).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Protocol

import numpy as np
from numpy.typing import NDArray

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line
from rfcal.uncertainty.quantity import Effect, Quantity, combine

STEP = 1e-5
"""Step of central differences, in parts of an input: good for nine digits."""


class Element(Protocol):
    """One thing between plane and device: a map that depends on a few inputs, shape (..., F)."""

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The map from beyond the element to its near side."""

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative by each input of what is seen of a reflection x [1] beyond, shape (F,)."""


@dataclass(frozen=True, eq=False)
class Step:
    """One element of a path with its inputs."""

    element: Element
    # inputs that are raw readings through the same calibration, each with what connecting it adds
    # to its true reflection [1]; they come before the parameters
    readings: tuple[tuple[Quantity, Quantity], ...] = ()
    parameters: tuple[Quantity, ...] = ()  # the other inputs
    embed: bool = False  # whether it is added to what was measured, else removed

    def at_points(self, index: NDArray[np.intp]) -> "Step":
        """The same at some of its frequencies."""
        element = self.element
        if isinstance(element, LineByFigures):
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


def seen_beyond(reflection: Complex, error_box: Bilinear, path: Sequence[Step]) -> Complex:
    """A reflection [1] at the plane as it is beyond a path, at the best estimates."""
    for step in path:
        through = step.through(error_box)
        reflection = (through.apply if step.embed else through.correct)(reflection)
    return reflection


@dataclass(frozen=True, eq=False)
class LineByFigures:
    """A line known by its figures.

    Inputs: length [m], velocity factor [1], z0 [ohm], relative loss and skin effect [1].
    """

    frequency: Real  # [Hz], shape (F,)
    line: Line  # the best estimate; its losses count times the fourth input, which is 1
    z_ref: float  # of the reflections [ohm]

    TURNING: ClassVar[tuple[int, ...]] = (0, 1)
    """Inputs whose doubt turns what is beyond, and is no small one: length and velocity factor."""

    def quantities(self, deviations: Mapping[str, float], name: str) -> list[Quantity]:
        """The inputs with the effects of their standard uncertainties, keys as `defaults.PATH`."""
        line, ones = self.line, np.ones(self.frequency.size, complex)
        values: dict[str, Any] = {
            "length": line.length_m,
            "velocity factor": line.velocity_factor,
            "impedance": line.z0,
            "loss": 1.0,
            "skin effect": line.skin,
        }
        return [
            Quantity(ones * value, (Effect(f"{name}: {key}", ones * complex(deviations[key])),))
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

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The line as a map."""
        line = self._line(inputs)
        zc = line.impedance(self.frequency)
        trip = np.exp(-2 * line.propagation(self.frequency) * line.length_m)
        return Bilinear.section((zc - self.z_ref) / (zc + self.z_ref), trip)

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input, by central differences."""
        values = np.array(np.broadcast_arrays(*inputs))
        steps = STEP * np.maximum(np.abs(values), 1.0)
        # input, which of them is moved, frequency
        one = np.eye(len(values))[..., None] * steps
        early, late = (self.bilinear(values[:, None] + side * one) for side in (-1, 1))
        return list((late.apply(x) - early.apply(x)) / (2 * steps))


class LineBySweeps:
    """A line known by two sweeps, its far end open and short; inputs: these two reflections.

    A line is symmetrical and reciprocal, so two conditions fix its map at each frequency, whatever
    its impedance, length and loss: no branch has to be chosen.
    """

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The line as a map."""
        o, s = inputs
        # Z_far = Zo (Zs - Z) / (Z - Zo), written in reflections
        return Bilinear(-2 - o + s, o + s, -o - s, s - o + 2 * o * s).invert()

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input."""
        o, s = inputs
        seen = self.bilinear(inputs).apply(x)
        # implicit derivative of x (-(o + s) seen + s - o + 2 o s) = (s - o - 2) seen + o + s
        below = 2 + o - s - x * (o + s)
        by_open = (1 - seen - x * (2 * s - 1 - seen)) / below
        by_short = (1 + seen - x * (2 * o + 1 - seen)) / below
        return [by_open, by_short]


@dataclass(frozen=True)
class Adapter:
    """A two-port, its port 1 to the analyzer, by its scattering parameters.

    Inputs: S11, S12 S21, S22.
    """

    z_own: float = defaults.REFERENCE_OHM  # of the scattering parameters [ohm]
    z_ref: float = defaults.REFERENCE_OHM  # of the reflections [ohm]

    def _to_own(self) -> Bilinear:
        """From reflections in `z_ref` to those in `z_own`."""
        step = np.asarray((self.z_ref - self.z_own) / (self.z_ref + self.z_own), complex)
        one = np.ones_like(step)
        return Bilinear(one, step, step, one)

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The adapter as a map."""
        s11, through, s22 = inputs
        own = self._to_own()
        return own.invert() @ Bilinear.from_error_terms(s11, s22, through) @ own

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input."""
        s11, through, s22 = inputs
        own = self._to_own()
        x = own.apply(x)
        inside = x / (1 - s22 * x)
        back = own.invert().derivative(s11 + through * inside)
        return [back, back * inside, back * through * inside**2]


@dataclass(frozen=True)
class InSeries:
    """An impedance in series with what lies beyond.

    Input: the impedance [ohm].
    """

    z_ref: float  # of the reflections [ohm]

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The impedance as a map."""
        # seen = ((2 - z) x + z)/(2 + z - z x), z in parts of z_ref, since Z adds
        z = inputs[0] / self.z_ref
        return Bilinear(2 - z, z, -z, 2 + z)

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by the impedance."""
        seen = self.bilinear(inputs).apply(x)
        return [(1 - seen) ** 2 / (2 * self.z_ref)]


class FixtureBySweeps:
    """A fixture known by itself open and short: stray series impedance, then stray admittance.

    Inputs: the two reflections. Open/short compensation as used with impedance meters (common
    practice, no source): ``Z = (Zm - Zs) / (1 - (Zm - Zs) Yo)``, ``Yo = 1/(Zo - Zs)``.
    """

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The fixture as a map."""
        o, s = inputs
        # normalised: zs = (1 + s)/(1 - s), y = (1 - o)(1 - s)/(2 (o - s)); all times what divides
        u, v = (1 - o) * (1 - s), 2 * (o - s)
        chain = TwoPort(v * (1 - s) + (1 + s) * u, (1 + s) * v, u * (1 - s), v * (1 - s))
        return chain.bilinear(1.0)

    def slopes(self, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
        """Derivative of what is seen by each input."""
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
    """What is beyond an element, given what is seen at its near side [1], with every effect."""
    values = [q.value for q in inputs]
    box = element.bilinear(values)
    far = box.correct(near.value)
    slope = 1 / box.derivative(far)
    by_input = element.slopes(far, values)
    parts = [(q, -slope * d) for q, d in zip(inputs, by_input, strict=True)]
    return combine(far, (near, slope), *parts)


def add(far: Quantity, element: Element, inputs: Sequence[Quantity]) -> Quantity:
    """What is seen at an element's near side, given what is beyond it [1], with every effect."""
    values = [q.value for q in inputs]
    box = element.bilinear(values)
    by_input = element.slopes(far.value, values)
    parts = list(zip(inputs, by_input, strict=True))
    return combine(box.apply(far.value), (far, box.derivative(far.value)), *parts)
