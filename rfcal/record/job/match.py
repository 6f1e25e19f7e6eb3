"""Networks that match a corrected device, of parts that can be bought and cut."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rfcal.errors import MatchingError, RecordError
from rfcal.findings import span_mhz
from rfcal.matching.bode_fano import Limit, bode_fano, fit_load
from rfcal.matching.goal import Candidate, Goal, step_needed
from rfcal.matching.network import Network
from rfcal.matching.place import at_point
from rfcal.matching.ranking import rank
from rfcal.matching.tolerance import (
    Tolerance,
    production_yield,
    sensitivity,
)
from rfcal.matching.trim import Trim, trim
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.measurement.model import Inputs, beyond, impedance_half_widths
from rfcal.models.interpolation import SAME
from rfcal.models.line import Line
from rfcal.record.format.keys import FILE
from rfcal.record.format.match import MatchRequest
from rfcal.record.format.path import Between
from rfcal.record.job.match_path import before, path_db, plane_swr
from rfcal.record.results import MatchResult, Proposal
from rfcal.uncertainty.quantity import Quantity

SHOWN = 6
"""Networks that are worked out in full: the best of so many topologies."""
DRAWS = 400
"""Draws of parts and of the measured load for the yield."""


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
