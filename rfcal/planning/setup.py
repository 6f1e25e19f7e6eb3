"""What will be used for a measurement: analyzer, standards and what lies between, with doubts."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from rfcal import defaults
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Analyzer, Bench, Known, PathElement
from rfcal.measurement.deembedding import Cable
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.instrument import usual_doubt
from rfcal.measurement.model import Inputs
from rfcal.models.line import Line
from rfcal.models.standards import Standard, Tabulated
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.readings.typed import display_effects, polar_effects
from rfcal.uncertainty.quantity import Effect

EXTRA: Mapping[str, Standard] = {
    "25 ohm": Standard("load", 25.0),
    "100 ohm": Standard("load", 100.0),
    "offset open": Standard("open", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
    "offset short": Standard("short", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
}
"""Standards that can be added: resistors of 1 %, and ends behind an eighth of a wave of line."""


@dataclass(frozen=True, eq=False)
class Length:
    """A line, adapter or fixture between calibration plane and device, and how it will be known.

    Parameters
    ----------
    name : str
        Name, for the budget.
    cable : Cable
        What it is, at the plan's frequencies.
    deviations : mapping of str to float
        Standard uncertainties: of a cable as in `Cable.quantities`; of the others ``"far end"``
        (reflection of its open and short [1]) or ``"adapter"`` (scattering parameters [1]). Those
        of `usual_doubt` stand in, as in a record.
    kind : str
        What tells about it: ``"cable"`` its figures, ``"measured"`` sweeps of the line itself
        with its far end open and short, ``"fixture"`` such sweeps of a fixture, ``"adapter"`` a
        two-port file.
    """

    name: str
    cable: Cable
    deviations: Mapping[str, float] = field(default_factory=dict)
    kind: str = "cable"

    def doubt(self) -> dict[str, float]:
        """The standard uncertainties, with the defaults for those that are not stated.

        Returns
        -------
        dict of str to float
            Keys as in `usual_doubt`.
        """
        return {**usual_doubt(self.cable.line), **self.deviations}

    def bilinear(self) -> Bilinear:
        """What it is, as a map.

        Returns
        -------
        Bilinear
            From its far end to its near end.
        """
        return self.cable.bilinear([q.value for q in self.cable.quantities(self.doubt(), "")])


@dataclass(frozen=True, eq=False)
class Setup:
    """What will be used for a measurement.

    Where nothing is stated the same is taken as in a record that states nothing.

    Parameters
    ----------
    frequency : ndarray, shape (F,)
        Frequencies [Hz].
    standards : mapping of str to Standard or Tabulated
        Three or more, or none with `residual`; one without stated uncertainty has its kind's
        default.
    noise : float
        Standard deviation of each axis of one raw reading [1].
    connection : float
        Standard deviation of each axis of one connection [1].
    drift : float
        As for `drift_effects` [1].
    lines : tuple of Length
        What lies between plane and device, from the plane outward.
    z_ref : float
        Reference impedance [ohm].
    directivity, source_match, tracking : complex
        The analyzer's error terms before any correction [1]. They leave what the standards do to
        the answer alone, but noise, drift and display step are divided by the tracking.
    typed : bool
        Whether R and X are typed off a display, rather than saved in files.
    resolution_ohm : float
        Step of that display [ohm].
    typed_steps : tuple of float, optional
        Steps of magnitude [1] and angle [degree], where a reflection is typed instead.
    residual : mapping of str to float, optional
        Of an instrument that corrects itself, in place of standards and error terms: sizes as
        for `self_correcting`; those of `defaults.RESIDUAL` stand in.
    inside : tuple of Length
        Lines from the analyzer to the calibration plane, as part of the error box.
    extra : mapping of str to Standard
        Standards that could be added. An open or short is put behind an eighth of a wave at the
        middle of the frequencies, known as well as its ``"delay"`` says.
    """

    frequency: Real
    standards: Mapping[str, Standard | Tabulated] = field(default_factory=dict)
    noise: float = defaults.ANALYZER["noise"]
    connection: float = defaults.ANALYZER["connection"]
    drift: float = defaults.ANALYZER["drift"]
    lines: tuple[Length, ...] = ()
    z_ref: float = 50.0
    directivity: complex = 0.0
    source_match: complex = 0.0
    tracking: complex = 1.0
    typed: bool = False
    resolution_ohm: float = defaults.ANALYZER["resolution_ohm"]
    typed_steps: tuple[float, float] | None = None
    residual: Mapping[str, float] | None = None
    inside: tuple[Length, ...] = ()
    extra: Mapping[str, Standard] = field(default_factory=lambda: EXTRA)

    def at(self, frequency: Real) -> "Setup":
        """The same set-up at other frequencies.

        Parameters
        ----------
        frequency : ndarray, shape (F,)
            Frequencies [Hz].

        Returns
        -------
        Setup
            With its lines there too.
        """
        lines, inside = (
            tuple(replace(v, cable=replace(v.cable, frequency=frequency)) for v in several)
            for several in (self.lines, self.inside)
        )
        return replace(self, frequency=frequency, lines=lines, inside=inside)

    def inputs(self, reflection: Complex) -> Inputs:
        """The measurement as it will be.

        Parameters
        ----------
        reflection : ndarray, shape (F,)
            Reflection of the device expected [1].

        Returns
        -------
        Inputs
            For `propagate`.

        Raises
        ------
        CalibrationError
            Standards that fix nothing, or both standards and residual errors.
        """
        bench = self.bench()
        calibration = bench.calibration(self.frequency)
        path = bench.steps(calibration, [self._element(v, calibration) for v in self.lines])
        for step in reversed(path):
            reflection = step.through(calibration.error_box).apply(reflection)
        raw = calibration.error_box.apply(reflection)
        return bench.inputs(calibration, self.read("device", raw), path)

    def box(self) -> Bilinear:
        """What lies between the calibration plane and the reading.

        Returns
        -------
        Bilinear
            Analyzer, then the lines inside the calibration.
        """
        ones = np.ones(np.shape(self.frequency), complex)
        terms = (self.directivity, self.source_match, self.tracking)
        box = Bilinear.from_error_terms(*(ones * term for term in terms))
        for line in self.inside:
            box = box @ line.bilinear()
        return box

    def read(self, label: str, raw: Complex) -> Sweep:
        """What the display makes of a raw reflection [1], shape (F,)."""
        value = np.broadcast_to(raw, np.shape(self.frequency)).astype(complex)
        effects: tuple[Effect, ...] = ()
        if self.typed_steps is not None:
            effects = polar_effects(label, self.typed_steps, value)
        elif self.typed:
            effects = display_effects(label, self.resolution_ohm, value, self.z_ref)
        return Sweep(self.frequency, value, self.z_ref, label, effects=effects)

    def bench(self) -> Bench:
        """The analyzer with the standards as they will be read."""
        analyzer = Analyzer(self.noise, self.connection, self.drift, self.residual)
        box, f, z_ref = self.box(), self.frequency, self.z_ref
        return Bench(
            analyzer,
            tuple(
                Known(name, item, self.read(name, box.apply(item.reflection(f, z_ref=z_ref))))
                for name, item in self.standards.items()
            ),
            z_ref,
        )

    def _element(self, line: Length, calibration: Calibration) -> PathElement:
        """One element of the path, with what will tell about it."""
        known_by: Line | TwoPortSweep | tuple[Sweep, ...] = line.cable.line
        if line.kind != "cable":
            box = line.bilinear()
            seen = calibration.error_box @ box
        if line.kind == "adapter":
            passing = np.sqrt(box.reflection_tracking)  # both ways alike
            s = np.array([[box.directivity, passing], [passing, box.source_match]])
            known_by = TwoPortSweep(self.frequency, s.transpose(2, 0, 1), self.z_ref, line.name)
        elif line.kind != "cable":
            known_by = tuple(
                self.read(f"{line.name}, {what}", seen.apply(np.asarray(end, complex)))
                for what, end in (("open", 1.0), ("short", -1.0))
            )
        fixture = line.kind == "fixture"
        return PathElement(line.name, known_by, fixture=fixture, deviations=line.doubt())
