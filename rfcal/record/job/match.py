"""Networks that match a corrected device, of parts that can be bought and cut."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rfcal.errors import MatchingError, RecordError
from rfcal.findings import Finding, span_mhz
from rfcal.matching.bode_fano import Limit, bode_fano, fit_load
from rfcal.matching.goal import Candidate, Goal, step_needed
from rfcal.matching.network import Network
from rfcal.matching.place import at_point
from rfcal.matching.ranking import Ranking, rank
from rfcal.matching.tolerance import (
    Sensitivity,
    Tolerance,
    Yield,
    production_yield,
    sensitivity,
)
from rfcal.matching.trim import Trim, trim
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.measurement.model import Inputs, beyond, impedance_half_widths
from rfcal.models.interpolation import SAME
from rfcal.models.line import Line
from rfcal.record.format.keys import FILE
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.path import Between
from rfcal.record.job.match_path import before, path_db, plane_swr
from rfcal.uncertainty.quantity import Quantity

SHOWN = 6
"""Networks that are worked out in full: the best of so many topologies."""
DRAWS = 400
"""Draws of parts and of the measured load for the yield."""
SPOILT = 1.05
"""A SWR at the plane that is larger than the network's by less is the same."""
CAUTION_VOLT, CAUTION_WATT = 50.0, 10.0
"""From here on the page warns of voltages and heat (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Proposal:
    """One network with all that is to be known before it is built.

    Parameters
    ----------
    candidate : Candidate
        Network and what it does over the sweep.
    production : Yield
        By tolerances and by the doubt of the measurement.
    volt, ampere : ndarray, shape (K,)
        Largest peak of each part in the band at the stated power [V], [A].
    sensitivities : tuple of Sensitivity
        What each part moves.
    """

    candidate: Candidate
    production: Yield
    volt: Real
    ampere: Real
    sensitivities: tuple[Sensitivity, ...]


@dataclass(frozen=True, eq=False)
class MatchResult:
    """What a match table came to.

    Parameters
    ----------
    request : MatchRequest
        What was asked for.
    goal : Goal
        Load, band and target, where the network goes.
    ranking : Ranking
        All candidates.
    proposals : tuple of Proposal
        The best of each topology, in order of merit.
    limit : Limit, optional
        What no network without loss can beat over the band; None at a single frequency.
    trimming : Trim, optional
        What the sweep after building says of the first proposal.
    path_db : float, optional
        What the path between plane and device loses at the design frequency with this match [dB]:
        matched where the network is at the device, else with the device's standing waves; nan
        where that cannot be told.
    plane_swr : float, optional
        Largest SWR in the band at the standards' plane with the first network in its place [1];
        None where nothing lies between.
    step_hz : float, optional
        Step that the sweep should have in the band [Hz]; None where its own is small enough.
    z_ref : float
        Reference impedance of that SWR [ohm].
    """

    request: MatchRequest
    goal: Goal
    ranking: Ranking
    proposals: tuple[Proposal, ...]
    limit: Limit | None
    trimming: Trim | None
    path_db: float | None = None
    plane_swr: float | None = None
    step_hz: float | None = None
    z_ref: float = 50.0

    @property
    def spoilt(self) -> bool:
        """Whether the plane sees a clearly worse SWR than the first network's input."""
        if self.plane_swr is None:
            return False
        return self.plane_swr > SPOILT * self.proposals[0].candidate.worst_swr


def require_place(request: MatchRequest, path: Sequence[Between]) -> None:
    """Refuse a place that the device's path does not allow.

    Parameters
    ----------
    request : MatchRequest
        What is asked for.
    path : sequence of Between
        What lies between plane and device.

    Raises
    ------
    RecordError
        Something was added to the device.
    """
    if request.place != "calibration plane" and any(item.embed for item in path):
        raise RecordError(
            FILE,
            f"{request.place_in_record} place",
            f"something was added to '{request.measurement}', so its answer is not that of the "
            "device: take out add = true for a match",
        )


def matched(
    request: MatchRequest,
    inputs: Inputs,
    reflection: Quantity,
    near: Quantity,
    line: Line | None,
    built: Quantity | None,
    z_ref: float,
    rng: np.random.Generator,
) -> MatchResult:
    """Networks for one request.

    Parameters
    ----------
    request : MatchRequest
        What is asked for.
    inputs : Inputs
        The device's reading and all it depends on.
    reflection, near : Quantity
        Corrected reflection of the device, and at the standards' plane [1].
    line : Line, optional
        The line between, where the record gives its figures.
    built : Quantity, optional
        Corrected reflection after building, at the standards' plane [1].
    z_ref : float
        Reference impedance of the reflections [ohm].
    rng : numpy.random.Generator
        Where the randomness comes from.

    Returns
    -------
    MatchResult
        Ranked proposals.

    Raises
    ------
    RecordError
        A band outside the sweep, or a load that nothing matches, naming the table.
    """
    load = near if request.place == "calibration plane" else reflection
    try:
        goal, load, drawn = _placed(request, inputs, load, line, z_ref, rng)
        ranking = rank(
            goal,
            stock=request.stock,
            topologies=request.topologies,
            q=request.section_q,
            phase_rad=None if request.phase_deg is None else np.radians(request.phase_deg),
        )
    except MatchingError as error:
        raise RecordError(FILE, request.place_in_record, str(error)) from error
    proposals = tuple(_proposal(request, goal, c, drawn, rng) for c in ranking.short()[:SHOWN])
    trimming: Trim | None = None
    if built is not None and proposals:
        at_input = beyond(built, before(request, inputs))
        best = proposals[0].candidate.network
        trimming = trim(best, goal.frequency, load, at_input, z_ref=z_ref)
    plane = None
    if proposals:
        plane = plane_swr(request, inputs, goal, proposals[0].candidate.network, z_ref)
    return MatchResult(
        request,
        goal,
        ranking,
        proposals,
        _limit(goal),
        trimming,
        path_db(request, inputs, reflection, z_ref),
        plane,
        step_needed(goal, load),
        z_ref,
    )


def _placed(
    request: MatchRequest,
    inputs: Inputs,
    load: Quantity,
    line: Line | None,
    z_ref: float,
    rng: np.random.Generator,
) -> tuple[Goal, Quantity, Complex]:
    """Goal, reflection of the load and draws of its impedance, where the network goes."""
    frequency = inputs.calibration.frequency
    _require_resistance(request, frequency, load, z_ref)
    goal = Goal(
        frequency,
        to_impedance(load.value, z_ref),
        request.centre_hz,
        request.band_hz,
        request.target_ohm,
        request.target_swr,
    )
    known = replace(inputs, path=()) if request.place == "calibration plane" else inputs
    drawn = to_impedance(known.draw(rng, DRAWS), z_ref)
    if not isinstance(request.place, float):
        return goal, load, drawn
    if line is None:
        raise MatchingError(
            "a point on the line needs the line's figures: one [[measurement.between]] with line = "
            "a type and length_m"
        )
    piece = line.two_port(frequency, np.array(request.place))
    through = piece.bilinear(z_ref)
    moved = load.through(through.apply(load.value), through.derivative(load.value))
    return at_point(goal, line, request.place), moved, piece.input_impedance(drawn)


def _limit(goal: Goal) -> Limit | None:
    """What no network without loss can beat; None where there is no band."""
    low, high = goal.band_hz
    if low == high or goal.frequency.size < 3:
        return None
    return bode_fano(fit_load(*goal.in_band(), z_ref=goal.target_ohm), goal.band_hz)


def _require_resistance(
    request: MatchRequest, frequency: Real, load: Quantity, z_ref: float
) -> None:
    """Refuse a load whose resistance cannot be told from zero: a match for it would be made up."""
    low, high = request.band_hz
    resistance = to_impedance(load.value, z_ref).real
    lost = resistance <= impedance_half_widths(load, z_ref)[:, 0]
    lost &= (frequency >= low * (1 - SAME)) & (frequency <= high * (1 + SAME))
    if np.any(lost):
        raise MatchingError(
            f"the resistance of '{request.measurement}' cannot be told from zero or from an "
            f"active load's {span_mhz(frequency, lost)}, so nothing is known to match it: measure "
            "it better first"
        )


def _proposal(
    request: MatchRequest,
    goal: Goal,
    candidate: Candidate,
    drawn: Complex,
    rng: np.random.Generator,
) -> Proposal:
    network: Network = candidate.network
    production = production_yield(
        goal,
        network,
        tolerance=Tolerance(request.tolerance, request.stock.step_m),
        rng=rng,
        draws=DRAWS,
        load_draws=drawn,
    )
    stress = network.stress(*goal.in_band(), power_w=request.power_w)
    return Proposal(
        candidate,
        production,
        np.max(stress.volt, axis=-1),
        np.max(stress.ampere, axis=-1),
        sensitivity(goal, network),
    )


def said_swr(ratio: float) -> str:
    """A SWR in words.

    Parameters
    ----------
    ratio : float
        SWR [1].

    Returns
    -------
    str
        With three digits, and none above 100.
    """
    return f"{ratio:.3g}" if ratio < 100 else "more than 100"


def _short(result: MatchResult) -> str:
    """What to do where no network meets the target."""
    if not result.proposals:
        return (
            "There is no network of these topologies and parts; what stands in the way of each is "
            "said with the match. Ask for other topologies, parts, or another place."
        )
    best = min(p.candidate.worst_swr for p in result.proposals)
    return (
        f"No network of these parts holds SWR {result.request.target_swr:g} over the band; the "
        f"best comes to {said_swr(best)}. Ask for a narrower "
        "band, finer values, or another place."
    )


def findings(result: MatchResult) -> list[Finding]:
    """What there is to say about a match.

    Parameters
    ----------
    result : MatchResult
        Its networks.

    Returns
    -------
    list of Finding
        A caution from 50 V or 10 W on; warnings where nothing meets the target or there is no
        network for a load that needs one, where the sweep is too coarse, and where the plane sees
        no match.
    """
    request, found = result.request, []
    volt = max((float(p.volt.max(initial=0.0)) for p in result.proposals), default=0.0)
    if volt >= CAUTION_VOLT or request.power_w >= CAUTION_WATT:
        message = (
            f"At {request.power_w:g} W these networks carry up to {volt:.0f} V peak: use parts "
            "that stand it, enclose them, switch the transmitter off and make sure before you "
            "touch, and keep to your regulator's exposure limits and local codes."
        )
        found.append(Finding("match-voltage", "warning", request.measurement, message))
    bare = swr(from_impedance(result.goal.in_band()[1], request.target_ohm)).max()
    met = any(p.candidate.meets for p in result.proposals)
    if not met and (result.proposals or bare > request.target_swr):
        found.append(Finding("match-target", "warning", request.measurement, _short(result)))
    return found + _trusted(result)


def _trusted(result: MatchResult) -> list[Finding]:
    """Whether the sweep and what lies between let the networks do what is said of them."""
    request, found = result.request, []
    if result.step_hz is not None:
        message = (
            "In the band the load moves so far from one point of the sweep to the next that its "
            "SWR between them is a guess, and so is which network is best. Measure the band in "
            f"steps of {result.step_hz / 1e6:.2g} MHz or less before you build."
        )
        found.append(Finding("match-step", "warning", request.measurement, message))
    if result.spoilt and result.plane_swr is not None and result.plane_swr > request.target_swr:
        message = (
            f"With the first network in its place the SWR at the standards' plane comes to "
            f"{said_swr(result.plane_swr)} in {result.z_ref:g} ohm: what lies between has another "
            f"impedance than the target of {request.target_ohm:g} ohm. Match at the calibration "
            "plane, or take the line's own impedance for target_ohm and match once more there."
        )
        found.append(Finding("match-plane", "warning", request.measurement, message))
    return found
