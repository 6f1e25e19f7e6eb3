"""What a record comes to: frozen dataclasses that every face shows."""

import platform
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from hashlib import sha256
from pathlib import PurePosixPath

import numpy as np

from rfcal import defaults
from rfcal.components.fit import Verdict
from rfcal.feedline.changes.comparison import Comparison
from rfcal.feedline.changes.loss import Lost
from rfcal.feedline.faults.events import Events
from rfcal.feedline.fit import LineProperties
from rfcal.findings import Finding
from rfcal.library.device import Device
from rfcal.matching.bode_fano import Limit
from rfcal.matching.goal import Candidate, Goal
from rfcal.matching.network import Network
from rfcal.matching.ranking import Ranking
from rfcal.matching.tolerance import Sensitivity, Yield
from rfcal.matching.trim.verdict import Trim
from rfcal.maths.arguments import choice
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.bench import Bench, Moved
from rfcal.measurement.error_terms import Calibration
from rfcal.measurement.propagate import Inputs
from rfcal.models.line import Line
from rfcal.readings.sweep import Sweep, TwoPortSweep
from rfcal.record.format.component import ComponentRequest
from rfcal.record.format.keys import FILE
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.schema import Record
from rfcal.uncertainty.curved_regions import Region
from rfcal.uncertainty.derived import Figure
from rfcal.uncertainty.quantity import Quantity


class Advice(Enum):
    """What is to be done about a match: headline, warnings, list and page follow it."""

    MEND = "first what makes the answer carry no network"
    BUILT = "look at what was built"
    NOTHING = "the load holds the target, by all of its interval"
    PROBABLY_NOTHING = "it does, but for a part of its interval"
    LEAVE = "it misses the target by a hair"
    PERHAPS_NOTHING = "it misses the target, but for a part of its interval"
    NONE = "no network is worth to be built"
    MISSED = "none holds the target"
    CLOSER = "the first holds it, and too few of such networks would"
    BUILD = "the first"


SATISFIED = (Advice.NOTHING, Advice.PROBABLY_NOTHING, Advice.LEAVE)
"""With which the load as it is will do."""
SPOILT = 1.05
"""A SWR at the plane that is larger than the network's by less is the same."""


@dataclass(frozen=True, eq=False)
class Check:
    """An artefact that took no part in the solution, measured against what it is."""

    name: str
    frequency: Real  # [Hz]
    measured: Quantity  # corrected reflection coefficient [1]
    region: Region  # in which it is
    expected: Quantity  # by its definition [1]
    inside: np.ndarray  # where the difference lies in its own 95 % region
    agrees: bool  # as a whole: no more is outside than chance makes of one sound sweep
    inputs: Inputs  # that it was corrected from
    at: str | None = None  # the device in whose place it was read


@dataclass(frozen=True, eq=False)
class RereadCheck:
    """What was read again after the devices."""

    moved: Moved
    agrees: bool  # whether what was stated explains how far it moved


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
    end: int | None  # which event of `now` is the line's end, where its length is known
    lost: Lost | None  # what it loses more than is stated of it or of its type
    since: Lost | None  # and than by its far end's sweeps, where there is no baseline
    loss_known: bool  # or only guessed
    stated: Line | None = None  # of its type, where its own sweeps tell it
    # the velocity factor stated, where the baseline's end shows another, which places rest on, and
    # the standard uncertainty of that
    misstated: tuple[float, float] | None = None
    unfollowed: bool = False  # whether its steps leave open by how many ranges it is longer
    answer_hz: float | None = None  # where the record's answer is quoted, if it says so

    @property
    def ends(self) -> bool:
        """Whether it is known where the line ends."""
        return bool(self.length_m) and self.beyond_m is None


@dataclass(frozen=True, eq=False)
class Proposal:
    """One network with all that is to be known before it is built."""

    candidate: Candidate  # the network and what it does over the sweep
    production: Yield  # by tolerances and by the doubt of the measurement
    volt: Real  # largest peak of each part in the band at the stated power [V], shape (K,)
    ampere: Real  # as `volt` [A]
    sensitivities: tuple[Sensitivity, ...]  # what each part moves
    joint_volt: float  # largest peak from a joint to ground, as `volt`
    # of the source's power where in the band it is most, parts set [dB]; where the target is
    # missed, what half of such networks lose at least
    lost_db: float = np.nan
    margin: float = 0.0  # tolerances that each part may be off alone, at least [1], as `margin`

    @property
    def highest_volt(self) -> float:
        """What its insulation stands: across a part, or from a joint to ground [V]."""
        return max(self.joint_volt, float(self.volt.max(initial=0.0)))

    @property
    def holds(self) -> bool:
        """Whether it holds the target, by its values or once parts of it are set."""
        likely = self.production.told[0] >= defaults.LEAST_YIELD
        return self.candidate.meets or (likely and bool(self.production.adjustable))

    @property
    def sure(self) -> bool:
        """Whether it holds the target, and so do enough of such networks."""
        return self.holds and self.production.told[0] >= defaults.LEAST_YIELD

    @property
    def loose(self) -> bool:
        """Whether many such networks miss the target unless a part is set."""
        return self.production.both < defaults.SURE_YIELD

    @property
    def to_set(self) -> str:
        """The names of the parts that are to be set once all is built, or none."""
        elements = self.candidate.network.elements
        return " and ".join(elements[k].name for k in sorted(self.production.adjustable))


@dataclass(frozen=True, eq=False)
class AfterBuilding:
    """What became of a network that was built."""

    made: Proposal  # as it was to be
    trimming: Trim  # what the sweep after building says of its parts
    found_swr: Real  # at its input over the sweep [1], in the target's reference

    @property
    def network(self) -> Network:
        """As it was to be."""
        return self.made.candidate.network


@dataclass(frozen=True, eq=False)
class MatchResult:
    """What a match table came to."""

    request: MatchRequest
    goal: Goal  # load, band and target, where the network goes
    ranking: Ranking
    proposals: tuple[Proposal, ...]  # by merit; none where the answer is doubted
    limit: Limit | None  # what no network without loss can beat; None at a single frequency
    load: Quantity  # its reflection, where the network goes [1]
    raw_swr: tuple[float, float]  # 95 % interval of the worst SWR in the band without any [1]
    after: AfterBuilding | None = None  # None where nothing was built yet
    # what the path loses at the design frequency, the network in its place [dB]; nan where that
    # cannot be told, None without a path
    path_db: float | None = None
    plane_swr: float | None = None  # the worst in the band at the standards' plane, behind a path
    step_hz: float | None = None  # that the sweep should have; None where its own is small enough
    z_ref: float = defaults.REFERENCE_OHM  # of `plane_swr` and `load` [ohm]
    doubt: str = ""  # why the answer cannot carry a network, and what to do; mostly nothing
    # width over which a network without loss could hold the target [Hz]; None unless that is surely
    # less than what was asked
    widest_hz: float | None = None
    load_share: float = 1.0  # of what the load may be, that an exact match to it holds [1]
    share_uncertainty: float = 0.0  # standard uncertainty of `load_share`, by the number of draws

    @property
    def spoilt(self) -> bool:
        """Whether the plane sees a clearly worse SWR than what stands before it."""
        if self.plane_swr is None:
            return False
        raw = self.ranking.raw_worst_swr
        here = raw if self.ranking.nothing_needed else self.proposals[0].candidate.worst_swr
        return self.plane_swr > SPOILT * here

    @property
    def as_matched(self) -> str:
        """With what the plane sees its SWR, in words."""
        return "as it is" if self.ranking.nothing_needed else "with the first network in its place"

    @property
    def advice(self) -> Advice:
        """What is to be done."""
        target, (low, high) = self.request.target_swr, self.raw_swr
        if self.doubt or self.after:
            return Advice.MEND if self.doubt else Advice.BUILT
        if self.ranking.nothing_needed:
            return Advice.NOTHING if high <= target else Advice.PROBABLY_NOTHING
        near = high - 1 <= defaults.NEAR_MISS * (target - 1)
        if near and (low <= target or self.gain_db < defaults.LITTLE_DB):
            return Advice.LEAVE
        if low <= target or not self.proposals:
            return Advice.PERHAPS_NOTHING if low <= target else Advice.NONE
        if not self.proposals[0].holds:
            return Advice.MISSED
        return Advice.BUILD if self.proposals[0].sure else Advice.CLOSER

    @property
    def gain_db(self) -> float:
        """What the network that brings most brings more than none [dB]."""
        raw = self.ranking.raw_lost_db
        return raw - min((p.lost_db for p in self.proposals), default=raw)

    @property
    def plane_beyond(self) -> bool:
        """Whether the plane sees more SWR than was asked for."""
        return self.plane_swr is not None and self.plane_swr > self.request.target_swr


@dataclass(frozen=True, eq=False)
class Fixture:
    """What a fixture had added to a part."""

    share: Real  # in parts of its |Z| [1], shape (F,)
    series_h: float  # what it is in series, shorted, at the answer's frequency [H]
    across_f: float  # and across, open [F]


@dataclass(frozen=True, eq=False)
class Part:
    """What a component table came to."""

    request: ComponentRequest
    verdict: Verdict  # which circuit, and its values
    equivalents: Mapping[str, Figure]  # R, L, C and Q in series and in parallel at each frequency
    fixture: Fixture | None = None  # that was taken away


@dataclass(frozen=True, eq=False)
class Results:
    """Everything computed from one record; `compute` gives it.

    Parameters
    ----------
    record : Record
        The record.
    sweeps : tuple of Sweep or TwoPortSweep
        Everything that was read, in the record's order.
    bench : Bench
        Analyzer and standards, as they were read.
    calibration : Calibration
        The error terms on the standards' grid.
    checks : tuple of Check
        In the record's order.
    devices : tuple of Device
        In the record's order.
    findings : tuple of Finding
        What there is to say besides; warnings before notes.
    line : LineState, optional
        What a line check found.
    matches : tuple of MatchResult
        Networks, in the record's order.
    rereads : tuple of RereadCheck
        What was read again, in the record's order.
    parts : tuple of Part
        What the devices are that are parts, in the record's order.

    Examples
    --------
    >>> import rfcal
    >>> results = rfcal.compute("data/demo/beacon-antenna")
    >>> results
    <Results of 'Beacon antenna on 4 m, spring check': antenna>
    >>> print(results.device("antenna").at(70.2e6).reactance, sorted(results.files)[0])
    4.99 ± 0.22 ohm raw/75-ohm.s1p
    >>> [check.agrees for check in results.checks], "numpy" in results.software
    ([True], True)
    """

    record: Record
    sweeps: tuple[Sweep | TwoPortSweep, ...]
    bench: Bench
    calibration: Calibration
    checks: tuple[Check, ...]
    devices: tuple[Device, ...]
    findings: tuple[Finding, ...]
    line: LineState | None = None
    matches: tuple[MatchResult, ...] = ()
    rereads: tuple[RereadCheck, ...] = ()
    parts: tuple[Part, ...] = ()

    def __repr__(self) -> str:
        names = ", ".join(device.name for device in self.devices) or "no device"
        return f"<Results of '{self.record.title}': {names}>"

    @property
    def files(self) -> dict[str, bytes]:
        """All files of the record, by their path in it."""
        origins = (sweep.origin for sweep in self.sweeps)
        read = {str(PurePosixPath(origin.file)): origin.content for origin in origins if origin}
        return {FILE: self.record.content} | read

    @property
    def software(self) -> dict[str, str]:
        """Versions of what computes this, by name."""
        from importlib.metadata import version

        names = ("rfcal", "numpy", "scipy", "scikit-rf", "matplotlib")
        return {**{name: version(name) for name in names}, "python": platform.python_version()}

    def device(self, name: str) -> Device:
        """The measurement of one name.

        Parameters
        ----------
        name : str
            Name in the record.

        Returns
        -------
        Device
            The corrected measurement.

        Raises
        ------
        ArgumentError
            No measurement has this name.
        """
        choice(name, "the name of a measurement", (device.name for device in self.devices))
        return next(device for device in self.devices if device.name == name)


def error_terms(calibration: Calibration) -> dict[str, Complex]:
    """The three error terms [1] by name."""
    names = ("directivity", "source_match", "reflection_tracking")
    return {name: getattr(calibration.error_box, name) for name in names}


def fingerprint(files: Mapping[str, bytes]) -> str:
    """One fingerprint of all files of a record, which everything written about it carries."""
    rows = (f"{sha256(content).hexdigest()} {name}\n" for name, content in sorted(files.items()))
    return sha256("".join(rows).encode()).hexdigest()
