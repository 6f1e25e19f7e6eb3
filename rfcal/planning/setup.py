"""What will be used for a measurement: analyzer, standards and what lies between, with doubts."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from rfcal import defaults
from rfcal.errors import CalibrationError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.deembedding import Adapter, Cable, Element, Fixture, Measured, Step
from rfcal.measurement.error_terms import Calibration, calibrate
from rfcal.measurement.instrument import (
    adapter_parameters,
    drift_effects,
    end_effects,
    self_correcting,
    usual_doubt,
)
from rfcal.measurement.model import Inputs, behind_path
from rfcal.models.standards import Standard, Tabulated, with_default_uncertainty
from rfcal.readings.typed import display_effects, polar_effects
from rfcal.uncertainty.quantity import Quantity, both_axes

EXTRA: Mapping[str, Standard] = {
    "25 ohm": Standard("load", 25.0),
    "100 ohm": Standard("load", 100.0),
    "offset open": Standard("open", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
    "offset short": Standard("short", uncertainty={"delay": defaults.OWN_OFFSET_DELAY_S}),
}
"""Standards that can be added: resistors of 1 %, and ends behind an eighth of a wave of line."""

SWEPT: Mapping[str, Element] = {"measured": Measured(), "fixture": Fixture()}
"""Elements that are known by sweeps with their far end open and short."""


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
        calibration = self._calibration()
        path = tuple(self._step(line, calibration) for line in self.lines)
        for step in reversed(path):
            read = [calibration.error_box.correct(r.value) for r, _ in step.readings]
            box = step.element.bilinear([*read, *(p.value for p in step.parameters)])
            reflection = box.apply(reflection)
        reading = self._later("device", reflection, calibration)
        connection = both_axes("device: connection", self.connection)
        zero = Quantity(np.zeros_like(reading.value), connection)
        inputs = Inputs(calibration, reading, zero, path)
        if not path:
            return inputs
        # the device has a connection of its own
        own = both_axes("device: connection", self.connection, slope=behind_path(inputs))
        return replace(inputs, connection=zero.plus(*own))

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

    def read(self, label: str, raw: Complex) -> Quantity:
        """A raw reading with what noise and display make of it.

        Parameters
        ----------
        label : str
            What it is of, for the budget.
        raw : ndarray, shape (F,)
            Reflection as the analyzer sees it [1].

        Returns
        -------
        Quantity
            With effects that are new at every frequency.
        """
        value = np.broadcast_to(raw, np.shape(self.frequency)).astype(complex)
        reading = Quantity(value, both_axes(f"{label}: noise", self.noise, per_point=True))
        if self.typed_steps is not None:
            return reading.plus(*polar_effects(label, self.typed_steps, value))
        if self.typed:
            step = display_effects(label, self.resolution_ohm, value, self.z_ref)
            return reading.plus(*step)
        return reading

    def _later(self, label: str, true: Complex, calibration: Calibration) -> Quantity:
        """A raw reading of something at the plane after the calibration, the analyzer drifting."""
        reading = self.read(label, calibration.error_box.apply(true))
        return reading.plus(*drift_effects(calibration, reading.value, self.drift))

    def _calibration(self) -> Calibration:
        if self.residual is not None:
            if self.standards:
                raise CalibrationError(
                    "an instrument that corrects itself has no standards: leave out one of the two"
                )
            return self_correcting(self.frequency, **{**defaults.RESIDUAL, **self.residual})
        names, box = list(self.standards), self.box()
        known = [
            with_default_uncertainty(standard)
            .quantity(self.frequency, z_ref=self.z_ref, name=name)
            .plus(*both_axes(f"{name}: connection", self.connection))
            for name, standard in self.standards.items()
        ]
        seen = [self.read(name, box.apply(k.value)) for name, k in zip(names, known, strict=True)]
        return calibrate(self.frequency, names, known, seen)

    def _step(self, line: Length, calibration: Calibration) -> Step:
        """One element of the path, with what will tell about it."""
        doubt = line.doubt()
        if line.kind == "cable":
            return Step(line.cable, parameters=tuple(line.cable.quantities(doubt, line.name)))
        box = line.bilinear()
        if line.kind == "adapter":
            rows = (box.directivity, box.reflection_tracking, box.source_match)
            passing = 2 * np.sqrt(np.abs(rows[1]))  # both ways alike
            parameters = adapter_parameters(line.name, rows, doubt["adapter"], passing)
            return Step(Adapter(self.z_ref, self.z_ref), parameters=parameters)
        element = SWEPT[line.kind]
        ends = {"open": 1.0, "short": -1.0}
        seen = [box.apply(np.full(self.frequency.shape, end, complex)) for end in ends.values()]
        through, pairs = element.bilinear(seen), []
        for (what, end), value in zip(ends.items(), seen, strict=True):
            label = f"{line.name}, {what}"
            effects = end_effects(label, through, end, self.connection, doubt["far end"])
            zero = Quantity(np.zeros_like(value), effects)
            pairs.append((self._later(label, value, calibration), zero))
        return Step(element, readings=tuple(pairs))
