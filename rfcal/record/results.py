"""What a record comes to: frozen dataclasses that every face shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rfcal import defaults
from rfcal.feedline.changes import Comparison
from rfcal.feedline.faults import Events
from rfcal.feedline.fit import LineProperties
from rfcal.feedline.power import PathLoss
from rfcal.findings import Finding
from rfcal.matching.bode_fano import Limit
from rfcal.matching.goal import Candidate, Goal
from rfcal.matching.ranking import Ranking
from rfcal.matching.tolerance import Sensitivity, Yield
from rfcal.matching.trim import Trim
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement import model
from rfcal.measurement.assessment import Assessment, assess
from rfcal.measurement.bench import Bench, PathElement
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.model import Inputs
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.schema import Record
from rfcal.uncertainty import coverage
from rfcal.uncertainty.derived import Figure, derived
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.significance import active_points

SPOILT = 1.05
"""A SWR at the plane that is larger than the network's by less is the same."""


@dataclass(frozen=True, eq=False)
class Check:
    """An artefact that took no part in the solution, measured against what it is."""

    name: str
    frequency: Real  # [Hz]
    measured: Quantity  # corrected reflection coefficient [1]
    expected: Quantity  # by its definition [1]
    inside: np.ndarray  # where the difference lies in its own 95 % region
    agrees: bool  # as a whole, see `rfcal.record.findings.checks.agree`
    reading: Complex  # raw [1]
    calibration: Calibration  # that it was corrected with

    def expanded_uncertainty(self) -> Real:
        """95 % half-widths [1] of the difference's real and imaginary part, shape (F, 2)."""
        total = self.measured.covariance() + self.expected.covariance()
        return coverage.K_AXIS * coverage.standard_uncertainty(total)


@dataclass(frozen=True, eq=False)
class Device:
    """One corrected measurement."""

    name: str
    raw: Sweep  # what the analyzer showed
    inputs: Inputs  # the reading and all it depends on
    reflection: Quantity  # corrected reflection coefficient [1]
    z_ref: float  # its reference impedance [ohm]
    answer: int  # index of the frequency at which the answer in words is quoted
    plane: str = "the standards' plane"  # where the answer holds, in words
    path_loss: PathLoss | None = None  # of the path that was removed
    seed: int = defaults.SEED  # for random draws
    between: tuple[PathElement, ...] = ()  # from the standards' plane to it, as it is known

    @property
    def frequency(self) -> Real:
        """Frequencies [Hz], shape (F,)."""
        return self.raw.frequency

    @cached_property
    def impedance(self) -> Quantity:
        """Corrected impedance [ohm] with its effects."""
        return model.impedance(self.reflection, self.z_ref)

    @cached_property
    def budget(self) -> dict[str, Real]:
        """Each source's share of the variance of R and of X, shape (F, 2)."""
        return coverage.budget(self.impedance)

    @cached_property
    def interval(self) -> Real:
        """95 % intervals of R and of X, each by itself, shape (F, 2, 2): last axis low and high.

        They are right beside an open and at the edge of the chart too, where they are lopsided;
        infinite where nothing bounds them. A passive device's R is not below zero.
        """
        pair = (self.figures[name] for name in ("resistance", "reactance"))
        return np.stack([np.stack([f.low, f.high], axis=-1) for f in pair], axis=-2)

    def expanded_uncertainty(self) -> Real:
        """The larger side of each 95 % interval of R and of X [ohm], shape (F, 2)."""
        z = self.impedance.value
        middle = np.stack([z.real, z.imag], axis=-1)
        middle = np.where(np.isfinite(middle), middle, 0)  # an exact open has no bound anyway
        return np.max(np.abs(self.interval - middle[..., None]), axis=-1)

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """What is read off the reflection, each with its 95 % interval: SWR, L, C, Q and others."""
        return derived(
            self.frequency,
            self.reflection,
            z_ref=self.z_ref,
            region=model.region(self.inputs, self.reflection),
            passive=~active_points(self.reflection),
        )

    @cached_property
    def assessed(self) -> Assessment:
        """Monte Carlo beside the linear answer; some milliseconds a frequency when first asked."""
        return assess(self.inputs, self.z_ref, np.random.default_rng(self.seed))


@dataclass(frozen=True, eq=False)
class LineState:
    """What a line check found."""

    now: Events
    before: Events | None  # of the baseline
    comparison: Comparison | None  # what differs from the baseline
    properties: LineProperties | None  # the line by its own sweeps
    length_m: float  # as measured or stated, 0 where neither is
    length_uncertainty_m: float  # standard uncertainty
    frequency: Real  # of the sweep [Hz]
    beyond_m: float | None  # where something beyond the stated end reflects more than the end does


@dataclass(frozen=True, eq=False)
class Proposal:
    """One network with all that is to be known before it is built."""

    candidate: Candidate  # the network and what it does over the sweep
    production: Yield  # by tolerances and by the doubt of the measurement
    volt: Real  # largest peak of each part in the band at the stated power [V], shape (K,)
    ampere: Real  # as `volt` [A]
    sensitivities: tuple[Sensitivity, ...]  # what each part moves


@dataclass(frozen=True, eq=False)
class MatchResult:
    """What a match table came to."""

    request: MatchRequest
    goal: Goal  # load, band and target, where the network goes
    ranking: Ranking
    proposals: tuple[Proposal, ...]  # the best of each topology, in order of merit
    limit: Limit | None  # what no network without loss can beat; None at a single frequency
    trimming: Trim | None  # what the sweep after building says of the first proposal
    # loss of the path between plane and device at the design frequency with this match [dB]:
    # matched where the network is at the device, else with the device's standing waves; nan where
    # that cannot be told, None where nothing was removed
    path_db: float | None = None
    # largest SWR in the band at the standards' plane with the first network in its place; None
    # where nothing lies between
    plane_swr: float | None = None
    step_hz: float | None = None  # that the sweep should have; None where its own is small enough
    z_ref: float = 50.0  # of `plane_swr` [ohm]

    @property
    def spoilt(self) -> bool:
        """Whether the plane sees a clearly worse SWR than the first network's input."""
        if self.plane_swr is None:
            return False
        return self.plane_swr > SPOILT * self.proposals[0].candidate.worst_swr


@dataclass(frozen=True, eq=False)
class Results:
    """Everything computed from one record."""

    record: Record
    sweeps: tuple[Sweep | TwoPortSweep, ...]  # everything that was read, in the record's order
    bench: Bench  # analyzer and standards, as they were read
    calibration: Calibration  # on the standards' grid
    checks: tuple[Check, ...]
    devices: tuple[Device, ...]
    findings: tuple[Finding, ...]  # warnings before notes
    software: Mapping[str, str]  # versions that computed this
    line: LineState | None = None
    matches: tuple[MatchResult, ...] = ()

    def device(self, name: str) -> Device:
        """The measurement of one name; a `KeyError` says which there are."""
        for device in self.devices:
            if device.name == name:
                return device
        raise KeyError(f"no measurement is named '{name}': {[d.name for d in self.devices]}")


@dataclass(frozen=True, eq=False)
class Inspection:
    """What was read and judged of a record, no device corrected."""

    sweeps: tuple[Sweep | TwoPortSweep, ...]  # every file and typed reading, in the record's order
    findings: tuple[Finding, ...]  # warnings before notes
    calibration: Calibration
    checks: tuple[Check, ...]
    solved: bool  # whether standards were read; else the instrument corrects itself


def error_terms(calibration: Calibration) -> dict[str, Complex]:
    """The three error terms [1] by name."""
    names = ("directivity", "source_match", "reflection_tracking")
    return {name: getattr(calibration.error_box, name) for name in names}
