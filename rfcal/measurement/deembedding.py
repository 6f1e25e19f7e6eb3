"""What lies between the calibration plane and the device: remove it, or add it.

Each element of a path is one bilinear map. Its inputs are quantities: parameters with their
effects, or readings that went through the same calibration as the device (and so share its errors,
which is kept track of). A `PathElement` says by what it is known: figures, a file or sweeps.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import matmul
from typing import Any, Protocol

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.findings import span_mhz
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.maths.twoport import TwoPort
from rfcal.measurement.error_terms import Calibration
from rfcal.models.interpolation import between_points, same_grid
from rfcal.models.line import UNCERTAIN, Line
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.uncertainty.quantity import Effect, Quantity, Swept, both_axes, combine

ALIKE = 1e-6
"""Reflections closer than this are one reading, not two [1]."""
MOST_LOSS_DB = 120.0
"""Loss there and back [dB] beyond which no analyzer sees anything of a device."""
STEP = 1e-5
"""Step of central differences, in parts of an input: good for nine digits."""


class ElementMap(Protocol):
    """One thing between plane and device: a map that depends on a few inputs, shape (..., F)."""

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The map from beyond the element to its near side."""


@dataclass(frozen=True, eq=False)
class Step(Swept):
    """One element of a path with its inputs."""

    element: ElementMap
    # inputs that are raw readings through the same calibration, each with what connecting it adds
    # to its true reflection [1]; they come before the parameters
    readings: tuple[tuple[Quantity, Quantity], ...] = ()
    parameters: tuple[Quantity, ...] = ()  # the other inputs
    embed: bool = False  # whether it is added to what was measured, else removed
    # parameters whose doubt turns what is beyond, and is no small one
    turning: tuple[int, ...] = ()

    def through(self, error_box: Bilinear) -> Bilinear:
        """The element as a map at the best estimates, its readings corrected by the error box."""
        corrected = [error_box.correct(reading.value) for reading, _ in self.readings]
        return self.element.bilinear([*corrected, *(p.value for p in self.parameters)])


def path_map(error_box: Bilinear, path: Sequence[Step]) -> Bilinear:
    """The map from beyond a path to the plane, at the best estimates."""
    maps = [step.through(error_box) for step in path]
    ways = (m.invert() if step.embed else m for m, step in zip(maps, path, strict=True))
    return reduce(matmul, ways, Bilinear(1.0, 0.0, 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class LineByFigures:
    """A line known by its figures.

    Inputs: length [m], velocity factor [1], z0 [ohm], relative loss and skin effect [1].
    """

    frequency: Real  # [Hz], shape (F,)
    line: Line  # the best estimate; its losses count times the fourth input, which is 1
    z_ref: float  # of the reflections [ohm]

    def quantities(self, deviations: Mapping[str, float], name: str) -> list[Quantity]:
        """The inputs with the effects of their standard uncertainties, keys as `defaults.PATH`."""
        ones = np.ones(self.frequency.size, complex)
        return [
            Quantity(ones * value, (Effect(f"{name}: {key}", ones * complex(deviations[key])),))
            for key, value in zip(UNCERTAIN, line_figures(self.line), strict=True)
        ]

    def bilinear(self, inputs: Sequence[Any]) -> Bilinear:
        """The line as a map."""
        length, velocity, z0, loss, skin = inputs
        losses = self.line.conductor_db * loss, self.line.dielectric_db * loss
        zc, propagation = Line(length, velocity, z0, *losses, skin).constants(self.frequency)
        trip = np.exp(-2 * propagation * length)
        return Bilinear.section((zc - self.z_ref) / (zc + self.z_ref), trip)


def line_figures(line: Line) -> tuple[Any, ...]:
    """The inputs of a line that is known by its figures, in the order of what is uncertain."""
    return line.length_m, line.velocity_factor, line.z0, 1.0, line.skin


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


@dataclass(frozen=True)
class Adapter:
    """A two-port, its port 1 to the analyzer, by its scattering parameters.

    Inputs: S11, S12 S21, S22.
    """

    z_own: float = defaults.REFERENCE_OHM  # of the scattering parameters [ohm]
    z_ref: float = defaults.REFERENCE_OHM  # of the reflections [ohm]

    def bilinear(self, inputs: Sequence[Complex]) -> Bilinear:
        """The adapter as a map."""
        s11, through, s22 = inputs
        return Bilinear.from_error_terms(s11, s22, through).renormalised(self.z_own, self.z_ref)


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


def slopes(element: ElementMap, x: Complex, inputs: Sequence[Complex]) -> list[Complex]:
    """Derivative by each input of what is seen of a reflection x [1] beyond, shape (F,).

    By central differences, of all inputs at once.
    """
    values = np.array(np.broadcast_arrays(*inputs))
    steps = STEP * np.maximum(np.abs(values), 1.0)
    # input, which of them is moved, frequency
    one = np.eye(len(values))[..., None] * steps
    early, late = (element.bilinear(values[:, None] + side * one) for side in (-1, 1))
    return list((late.apply(x) - early.apply(x)) / (2 * steps))


def across(
    reflection: Quantity, element: ElementMap, inputs: Sequence[Quantity], *, embed: bool
) -> Quantity:
    """A reflection [1] beyond an element, or where it is added before it, with every effect."""
    values = [q.value for q in inputs]
    box = element.bilinear(values)
    far = reflection.value if embed else box.correct(reflection.value)
    slope = box.derivative(far)
    parts = list(zip(inputs, slopes(element, far, values), strict=True))
    if embed:
        return combine(box.apply(far), (reflection, slope), *parts)
    return combine(far, (reflection, 1 / slope), *((q, -d / slope) for q, d in parts))


@dataclass(frozen=True)
class SeriesPart:
    """A capacitor or a coil in series with a device, its own loss left out."""

    capacitance_f: float | None
    inductance_h: Any  # float of a coil
    uncertainty: float  # of its reactance [1], standard

    def impedance(self, frequency: Real) -> Complex:
        """At frequencies [Hz], in ohm."""
        jw = 2j * np.pi * frequency
        z = 1 / (jw * self.capacitance_f) if self.capacitance_f else jw * self.inductance_h
        return np.asarray(z, complex)


@dataclass(frozen=True, eq=False)
class PathElement:
    """One thing between the standards' plane and a device, and by what it is known."""

    name: str
    # sweeps: its far end open, and short
    known_by: Line | TwoPortSweep | SeriesPart | Sequence[Sweep]
    fixture: bool = False  # whether the sweeps are of a fixture, else of a line
    deviations: Mapping[str, float] = field(default_factory=dict)  # as `usual_doubt`, of which
    # those stand in that are not stated
    embed: bool = False  # whether it is to be added, else removed


def usual_doubt(line: Line) -> dict[str, float]:
    """What is uncertain of a line, in the units of its inputs: as it says, else as `defaults.PATH`.

    The impedance's is in ohm.
    """
    usual = {**defaults.PATH, "impedance": defaults.PATH["impedance"] * line.z0}
    return {**usual, **line.uncertainty}


def by_figures(element: PathElement, line: Line, frequency: Real, z_ref: float) -> Step:
    """A cable at some frequencies [Hz]."""
    there_and_back = 2 * line.loss_db_per_100m(frequency) * line.length_m / 100
    if np.any(lost := there_and_back > MOST_LOSS_DB):
        raise CalibrationError(
            f"there and back it loses {np.max(there_and_back):.3g} dB {span_mhz(frequency, lost)}, "
            "so nothing of the device comes back: check length_m and the loss"
        )
    cable = LineByFigures(frequency, line, z_ref)
    inputs = cable.quantities({**usual_doubt(line), **element.deviations}, element.name)
    # length and velocity factor turn what is beyond
    return Step(cable, parameters=tuple(inputs), embed=element.embed, turning=(0, 1))


def by_file(element: PathElement, sweep: TwoPortSweep, frequency: Real, z_ref: float) -> Step:
    """An adapter at some frequencies [Hz]: S11, S12 S21 and S22 in its own reference."""
    s = sweep.s
    if np.any(closed := np.abs(s[:, 0, 1] * s[:, 1, 0]) < 10 ** (-MOST_LOSS_DB / 20)):
        raise CalibrationError(
            f"'{sweep.origin.file if sweep.origin else sweep.label}' lets nothing through and back "
            f"{span_mhz(sweep.frequency, closed)}: an adapter passes both ways"
        )
    rows = np.array([s[:, 0, 0], s[:, 0, 1] * s[:, 1, 0], s[:, 1, 1]])
    doubt: Real | float = 0.0
    # the product of two parameters, uncertain together: of what is reciprocal they are one number
    passing = np.abs(s[:, 1, 0]) + np.abs(s[:, 0, 1])
    if not same_grid(frequency, sweep.frequency):
        what = f"the parameters of '{element.name}'"
        rows, doubt = between_points(frequency, sweep.frequency, rows, what=what)
        passing = np.interp(frequency, sweep.frequency, passing)
    alike, source = np.ones_like(passing), f"{element.name}: definition"
    deviation = element.deviations.get("adapter", defaults.PATH["adapter"])
    sizes = np.hypot(np.array([alike, passing, alike]) * deviation, doubt)
    inputs = (
        Quantity(row, both_axes(source, size, influence=(source, what)))
        for what, row, size in zip(("S11", "S12 S21", "S22"), rows, sizes, strict=True)
    )
    return Step(Adapter(sweep.z_ref, z_ref), parameters=tuple(inputs), embed=element.embed)


def by_part(element: PathElement, part: SeriesPart, frequency: Real, z_ref: float) -> Step:
    """A part in series at some frequencies [Hz]."""
    z = part.impedance(frequency)
    effect = Effect(f"{element.name}: reactance", z * part.uncertainty)
    return Step(InSeries(z_ref), parameters=(Quantity(z, (effect,)),), embed=element.embed)


BY_ITSELF: Mapping[type, Callable[[PathElement, Any, Real, float], Step]] = {
    Line: by_figures,
    TwoPortSweep: by_file,
    SeriesPart: by_part,
}
"""How what is known without sweeps through the calibration becomes a step."""


def same_points(sweep: Sweep, frequency: Real) -> Sweep:
    """A sweep of an element's far end, refused where it was not read at the device's points."""
    if not same_grid(sweep.frequency, frequency):
        raise CalibrationError(
            f"'{sweep.origin.file if sweep.origin else sweep.label}' was not read at the "
            "device's frequencies: read the line open, short and with the device at the same points"
        )
    return sweep


def by_sweeps(
    element: PathElement,
    here: Calibration,
    ends: Mapping[str, Quantity],
    connection: Callable[[str], tuple[Effect, ...]],
) -> Step:
    """A line or fixture whose far end was read open and short, each connected by itself."""
    box = FixtureBySweeps() if element.fixture else LineBySweeps()
    corrected = [here.error_box.correct(reading.value) for reading in ends.values()]
    if np.any(alike := np.abs(corrected[0] - corrected[1]) < ALIKE):
        raise CalibrationError(
            f"its two sweeps, open and short, read alike {span_mhz(here.frequency, alike)}: "
            "look whether one file was named twice"
        )
    through, zero = box.bilinear(corrected), np.zeros(here.frequency.size, complex)
    far_end = element.deviations.get("far end", defaults.PATH["far end"])
    pairs = []
    for (label, reading), end in zip(ends.items(), (1.0, -1.0), strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            # what the far end is off from 1 or -1, as it is seen at the near side
            slope = through.derivative(zero + end)
        far = both_axes(f"{label}: far end", far_end, slope=slope)
        pairs.append((reading, Quantity(zero, (*connection(label), *far))))
    return Step(box, readings=tuple(pairs), embed=element.embed)
