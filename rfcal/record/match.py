"""``[match]``: networks that match a corrected device, of parts that can be bought and cut."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from rfcal.errors import MatchingError, RecordError
from rfcal.findings import Finding, span_mhz
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.models.between import SAME
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.parts import SERIES
from rfcal.models.quantity import Quantity
from rfcal.record.keys import FILE, Keys
from rfcal.tasks.delivery import loss_db, loss_of
from rfcal.tasks.matching.band import Candidate, Goal
from rfcal.tasks.matching.limits import Limit, bode_fano, fit_load
from rfcal.tasks.matching.network import Network
from rfcal.tasks.matching.place import at_point
from rfcal.tasks.matching.ranking import TOPOLOGIES, Ranking, rank
from rfcal.tasks.matching.stock import Stock
from rfcal.tasks.matching.tolerance import (
    Sensitivity,
    Tolerance,
    Yield,
    production_yield,
    sensitivity,
)
from rfcal.tasks.matching.trim import Trim, trim
from rfcal.tasks.uncertainty import Inputs, impedance_half_widths

SHOWN = 6
"""Networks that are worked out in full: the best of so many topologies."""
DRAWS = 400
"""Draws of parts and of the measured load for the yield."""
CAUTION_VOLT, CAUTION_WATT = 50.0, 10.0
"""From here on the page warns of voltages and heat (common practice, no source)."""


@dataclass(frozen=True)
class MatchRequest:
    """One table ``[match]``.

    Parameters
    ----------
    place_in_record : str
        Where it stands, for errors.
    measurement : str
        Name of the measurement.
    centre_hz : float
        Design frequency [Hz].
    band_hz : tuple of (float, float)
        Band [Hz].
    power_w : float
        Power [W] at which volts and amperes are stated.
    target_ohm, target_swr : float
        What is wanted [ohm], [1].
    stock : Stock
        Parts that exist.
    tolerance : float
        Of coils and capacitors [1].
    topologies : tuple of str
        Which are tried.
    place : str or float
        ``"device"``, ``"calibration plane"``, or metres from the device on the line between.
    built : str, optional
        File of the sweep after building.
    """

    place_in_record: str
    measurement: str
    centre_hz: float
    band_hz: tuple[float, float]
    power_w: float
    target_ohm: float
    target_swr: float
    stock: Stock
    tolerance: float
    topologies: tuple[str, ...]
    place: str | float
    built: str | None


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
        matched where the network is at the device, else with the device's standing waves.
    """

    request: MatchRequest
    goal: Goal
    ranking: Ranking
    proposals: tuple[Proposal, ...]
    limit: Limit | None
    trimming: Trim | None
    path_db: float | None = None


def read_match(top: Keys, reference_ohm: float, names: Mapping[str, float | None]) -> tuple:
    """All match tables of a record.

    Parameters
    ----------
    top : Keys
        The record's top level.
    reference_ohm : float
        Its reference impedance [ohm].
    names : mapping of str to float
        Measurements, and where each quotes its answer [Hz] or None.

    Returns
    -------
    tuple of MatchRequest
        Empty where there is none.

    Raises
    ------
    RecordError
        Names the key at fault.
    """
    table = top.table.get("match", [])
    tables = table if isinstance(table, list) else [table]
    if not all(isinstance(t, dict) for t in tables):
        raise top.fail("match", "expected a table headed [match]")
    return tuple(
        _request(Keys(t, f"[match] {i}", top.folder), reference_ohm, names)
        for i, t in enumerate(tables, start=1)
    )


def _request(keys: Keys, reference_ohm: float, names: Mapping[str, float | None]) -> MatchRequest:
    keys.only(
        (
            *("measurement", "frequency_mhz", "band_mhz", "power_w", "target_ohm", "target_swr"),
            *("series", "inductor_q", "capacitor_q", "tolerance_percent", "topologies", "place"),
            "built",
        )
    )
    name = keys.choice("measurement", names, next(iter(names)))
    centre, band = _band(keys, names[name])
    return MatchRequest(
        keys.place,
        name,
        centre,
        band,
        keys.number("power_w", 1.0, low=1e-6, high=1e6),
        keys.number("target_ohm", reference_ohm, low=1e-3, high=1e6),
        keys.number("target_swr", 1.5, low=1.0, above=True, high=100.0),
        Stock(
            series=keys.choice("series", SERIES, "E24"),
            inductor_q=keys.number("inductor_q", 100.0, low=1.0, high=1e6),
            capacitor_q=keys.number("capacitor_q", 1000.0, low=1.0, high=1e6),
            lines=_usual_lines(),
        ),
        keys.number("tolerance_percent", 5.0, low=0.0, high=50.0) / 100,
        _topologies(keys),
        _place(keys),
        keys.path("built") if "built" in keys.table else None,
    )


def _usual_lines() -> tuple[Line, ...]:
    """A line of 50 ohm and one of 75 ohm with the loss of the usual 10 mm cable."""
    usual = CABLES["RG-213"].line(1.0)
    return usual, replace(usual, z0=75.0)


def _band(keys: Keys, answer_hz: float | None) -> tuple[float, tuple[float, float]]:
    """Design frequency and band [Hz]; each follows from the other where one is missing."""
    if "band_mhz" in keys.table:
        row = keys.table["band_mhz"]
        if not isinstance(row, list) or len(row) != 2:
            raise keys.fail("band_mhz", "expected two frequencies in MHz, such as [70.0, 70.5]")
        low, high = (keys.checked("band_mhz", v) * 1e6 for v in row)
        if not 0 < low < high:
            raise keys.fail("band_mhz", f"{low / 1e6:g} and {high / 1e6:g} do not ascend from 0")
        centre = keys.number("frequency_mhz", (low + high) / 2e6, low=0, above=True) * 1e6
        return centre, (low, high)
    if "frequency_mhz" not in keys.table and answer_hz is None:
        raise keys.fail("frequency_mhz", "say at which frequency, or in which band_mhz")
    default = None if answer_hz is None else answer_hz / 1e6
    centre = keys.number("frequency_mhz", default, low=0, above=True) * 1e6
    return centre, (centre, centre)


def _topologies(keys: Keys) -> tuple[str, ...]:
    value = keys.table.get("topologies", list(TOPOLOGIES))
    if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
        raise keys.fail("topologies", f"expected a list of {', '.join(TOPOLOGIES)}")
    for name in value:
        if name not in TOPOLOGIES:
            raise keys.fail("topologies", f"'{name}' is none of {', '.join(TOPOLOGIES)}")
    return tuple(value)


def _place(keys: Keys) -> str | float:
    value = keys.table.get("place", "device")
    if isinstance(value, str):
        return keys.choice("place", ("device", "calibration plane"), "device")
    if isinstance(value, list) and len(value) == 1:
        return keys.checked("place", value[0])
    raise keys.fail("place", "expected 'device', 'calibration plane' or [metres from the device]")


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
        Corrected reflection after building, at the network's input [1].
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
    at_plane = request.place == "calibration plane"
    load, frequency = near if at_plane else reflection, inputs.calibration.frequency
    try:
        _require_resistance(request, frequency, load, z_ref)
        goal = Goal(
            frequency,
            to_impedance(load.value, z_ref),
            request.centre_hz,
            request.band_hz,
            request.target_ohm,
            request.target_swr,
        )
        drawn = to_impedance(
            (replace(inputs, path=()) if at_plane else inputs).draw(rng, DRAWS), z_ref
        )
        if isinstance(request.place, float):
            if line is None:
                raise MatchingError(
                    "a point on the line needs the line's figures: one "
                    "[[measurement.between]] with line = a type and length_m"
                )
            piece = line.two_port(frequency, np.array(request.place))
            goal, drawn = at_point(goal, line, request.place), piece.input_impedance(drawn)
            through = piece.bilinear(z_ref)
            load = load.through(through.apply(load.value), through.derivative(load.value))
        ranking = rank(goal, stock=request.stock, topologies=request.topologies)
    except MatchingError as error:
        raise RecordError(FILE, request.place_in_record, str(error)) from error
    proposals = tuple(_proposal(request, goal, c, drawn, rng) for c in ranking.short()[:SHOWN])
    low, high = request.band_hz
    limit = None
    if high > low and frequency.size > 2:
        f, z = goal.in_band()
        limit = bode_fano(fit_load(f, z, z_ref=request.target_ohm), request.band_hz)
    trimming = None
    if built is not None and proposals:
        best = proposals[0].candidate.network
        trimming = trim(best, frequency, load, built, z_ref=z_ref)
    return MatchResult(
        request,
        goal,
        ranking,
        proposals,
        limit,
        trimming,
        _path_db(request, inputs, reflection, line, z_ref),
    )


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


def _path_db(
    request: MatchRequest, inputs: Inputs, reflection: Quantity, line: Line | None, z_ref: float
) -> float | None:
    """Loss of the path with the match in its place: matched before it, mismatched behind it."""
    frequency = inputs.calibration.frequency
    if isinstance(request.place, float):
        assert line is not None
        at = int(np.argmin(np.abs(frequency - request.centre_hz)))
        load = complex(to_impedance(reflection.value[at], z_ref))
        behind = loss_db(replace(line, length_m=request.place), frequency[[at]], load)[0]
        before = line.loss_db_per_100m(frequency[at]) * (line.length_m - request.place) / 100
        return float(behind + before)
    matched_there = request.place == "device"
    seen = np.zeros_like(reflection.value) if matched_there else reflection.value
    lost = loss_of(inputs, seen)
    return None if lost is None else float(np.interp(request.centre_hz, frequency, lost))


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


def findings(result: MatchResult) -> list[Finding]:
    """What there is to say about a match.

    Parameters
    ----------
    result : MatchResult
        Its networks.

    Returns
    -------
    list of Finding
        A caution from 50 V or 10 W on, and a warning where nothing meets the target.
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
    if not any(p.candidate.meets for p in result.proposals):
        best = min((p.candidate.worst_swr for p in result.proposals), default=float("inf"))
        message = (
            f"No network of these parts holds SWR {request.target_swr:g} over the band; the best "
            f"comes to {best:.3g}. Ask for a narrower band, finer values, or another place."
        )
        found.append(Finding("match-target", "warning", request.measurement, message))
    return found
