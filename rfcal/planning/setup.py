"""What will be used for a measurement: analyzer, standards and what lies between, with doubts."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import Inputs
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated
from rfcal.readings.display import display_effects, polar_effects
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.uncertainty.quantity import Effect


@dataclass(frozen=True, eq=False)
class Length:
    """A line, adapter or fixture between calibration plane and device, and how it will be known."""

    name: str
    line: Line  # what it is
    # standard uncertainties, as of a `PathElement`
    deviations: Mapping[str, float] = field(default_factory=dict)
    kind: str = "cable"  # by its figures; "measured" or "fixture" by its ends; or "adapter"
    seen: Bilinear | None = None  # what it is by what was read already, in place of `line`


@dataclass(frozen=True, eq=False)
class Setup:
    """What will be used for a measurement.

    Where nothing is stated the same is taken as in a record that states nothing.
    """

    frequency: Real  # [Hz], shape (F,)
    standards: Mapping[str, Standard | Tabulated] = field(default_factory=dict)  # by name
    noise: float = defaults.ANALYZER["noise"]  # of each axis of one raw reading [1]
    connection: float = defaults.ANALYZER["connection"]  # of each axis of connecting once [1]
    drift: float = defaults.ANALYZER["drift"]  # of each axis of each error term [1]
    lines: tuple[Length, ...] = ()  # between plane and device, from the plane outward
    z_ref: float = defaults.REFERENCE_OHM  # [ohm]
    # the analyzer's error terms before any correction [1]: by the tracking noise is divided
    directivity: complex = 0.0
    source_match: complex = 0.0
    tracking: complex = 1.0
    resolution_ohm: float = 0.0  # step of a display that R and X are typed off; 0 of files
    typed_steps: tuple[float, float] | None = None  # of a typed magnitude [1] and angle [degree]
    residual: Mapping[str, float] | None = None  # as an `Analyzer` has it, in place of standards
    inside: tuple[Length, ...] = ()  # from the analyzer to the plane, as part of the error box

    def inputs(self, reflection: Complex) -> Inputs:
        """The measurement as it will be of a device that reflects this [1], shape (F,)."""
        bench = self.bench()
        calibration = bench.calibration(self.frequency)
        path = bench.steps(calibration, [self._element(v, calibration) for v in self.lines])
        for step in reversed(path):
            reflection = step.through(calibration.error_box).apply(reflection)
        raw = calibration.error_box.apply(reflection)
        return bench.inputs(calibration, self.read("device", raw), path)

    def repeated(self, count: int) -> "Setup":
        """The set-up at the middle of its frequencies so many times, for cases side by side.

        A sweep's frequencies must ascend, so these do: by a billionth from the first to the last.
        """
        middle = float(np.median(self.frequency))
        return replace(self, frequency=middle * np.linspace(1.0, 1.0 + 1e-9, count))

    def box(self) -> Bilinear:
        """The analyzer, then the lines inside the calibration, as one map."""
        ones = np.ones(np.shape(self.frequency), complex)
        terms = (self.directivity, self.source_match, self.tracking)
        box = Bilinear.from_error_terms(*(ones * term for term in terms))
        for length in self.inside:
            box = box @ self._map(length)
        return box

    def _map(self, length: Length) -> Bilinear:
        """A line, adapter or fixture from its far end to its near end."""
        return length.seen or length.line.two_port(self.frequency).bilinear(self.z_ref)

    def read(self, label: str, raw: Complex) -> Sweep:
        """What the display makes of a raw reflection [1], shape (F,)."""
        value = np.broadcast_to(raw, np.shape(self.frequency)).astype(complex)
        effects: tuple[Effect, ...] = ()
        if self.typed_steps is not None:
            effects = polar_effects(label, self.typed_steps, value)
        elif self.resolution_ohm:
            effects = display_effects(label, self.resolution_ohm, value, self.z_ref)
        return Sweep(self.frequency, value, self.z_ref, label, effects=effects)

    def bench(self) -> Bench:
        """The analyzer with the standards as they will be read."""
        analyzer = Analyzer(self.noise, self.connection, self.drift, self.residual)
        box, f, z_ref = self.box(), self.frequency, self.z_ref
        standards = (
            Known(name, item, self.read(name, box.apply(item.reflection(f, z_ref=z_ref))))
            for name, item in self.standards.items()
        )
        return Bench(analyzer, tuple(standards), z_ref)

    def _element(self, length: Length, calibration: Calibration) -> PathElement:
        """One element of the path, with what will tell about it."""
        known_by: Line | TwoPortSweep | tuple[Sweep, ...] = length.line
        name, box = length.name, self._map(length)
        if length.kind == "adapter":
            passing = np.sqrt(box.reflection_tracking)  # both ways alike
            s = np.array([[box.directivity, passing], [passing, box.source_match]])
            known_by = TwoPortSweep(self.frequency, s.transpose(2, 0, 1), self.z_ref, name)
        elif length.kind != "cable":
            seen = calibration.error_box @ box
            known_by = tuple(
                self.read(f"{name}, {what}", seen.apply(np.asarray(end, complex)))
                for what, end in (("open", 1.0), ("short", -1.0))
            )
        fixture = length.kind == "fixture"
        return PathElement(name, known_by, fixture=fixture, deviations=length.deviations)
