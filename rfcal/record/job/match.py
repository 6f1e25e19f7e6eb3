"""Networks that match a corrected device, of parts that can be bought and cut."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from rfcal import defaults
from rfcal.errors import MatchingError
from rfcal.feedline.power import loss_of, whole_map
from rfcal.findings import Finding, span_mhz
from rfcal.matching.bode_fano import Limit, bode_fano, fit_load
from rfcal.matching.goal import Candidate, Goal, judge, step_needed
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Stub
from rfcal.matching.ranking import NO_NETWORK, Group, Ranking, by_merit, effort
from rfcal.matching.tolerance import (
    as_built,
    least_lost_db,
    load_share,
    margin,
    production_yield,
    raw_range,
    sensitivity,
)
from rfcal.matching.trim.verdict import trim
from rfcal.matching.winding import wound
from rfcal.maths.circles import RESISTANCE
from rfcal.maths.reflection import Complex, from_impedance, swr, to_impedance
from rfcal.measurement.deembedding import LineByFigures, Step
from rfcal.measurement.propagate import Inputs, beyond, propagate, region
from rfcal.models.interpolation import SAME
from rfcal.record.findings.catalogue.match import MATCH_UNKNOWN
from rfcal.record.findings.devices import largest_sources
from rfcal.record.findings.match import better_read, narrower, without_reactance
from rfcal.record.format.match import MatchRequest
from rfcal.record.results import AfterBuilding, Device, MatchResult, Proposal
from rfcal.uncertainty.intervals import interval
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.words import share_words

SHOWN = 6
"""Networks that are worked out in full: the best of so many topologies."""
OTHER = "name network {} of the list in `built`, for it reads as that one"
SET_EFFORT = 0.5
"""What it takes to set a part, in coils and capacitors [1] (common practice, no source)."""


def matched(
    request: MatchRequest, device: Device, built: Quantity | None, doubt: str
) -> MatchResult | Finding:
    """Networks for a device, but none where its answer cannot carry them; or why there are none.

    `built` is what the standards' plane saw after building, `doubt` why the answer is doubted.
    """
    before, behind = _parted(request, device.inputs)
    load, z_ref = propagate(before), device.z_ref
    if unknown := _unknown_resistance(request, device, before, load):
        return unknown
    goal, ranking = _ranked(request, device, load)
    loads = _drawn(before, device, goal)
    work_out = partial(_proposal, request, goal, loads, device.seed)
    proposals = _offered(request, ranking, work_out, bool(built))
    step_hz, (share, counted) = step_needed(goal, load), load_share(goal, loads)
    limit, widest_hz = _limit(goal, loads)
    found = MatchResult(
        request,
        goal,
        ranking,
        (),
        limit,
        load,
        raw_range(goal, loads),
        path_db=_path_db(request, device, before, behind),
        step_hz=step_hz,
        z_ref=z_ref,
        load_share=share,
        share_uncertainty=counted,
        widest_hz=None if doubt or step_hz else widest_hz,
    )
    doubt = doubt and f"{doubt}, so no network can rest on this answer; mend that first"
    found = replace(found, doubt=doubt or _uncarried(found))
    if built:
        found = replace(found, after=_after(found, work_out, proposals, beyond(built, before)))
    nothing = ranking.nothing_needed
    if found.doubt or not (proposals or nothing):
        return found
    best = NO_NETWORK if nothing else proposals[0].candidate.network
    plane = _plane_swr(before, goal, best, z_ref)
    return replace(found, proposals=tuple(proposals), plane_swr=plane)


def _offered(
    request: MatchRequest,
    ranking: Ranking,
    work_out: Callable[[Candidate], Proposal],
    built: bool,
) -> list[Proposal]:
    """The networks to choose of, worked out, by merit."""
    # without its name it is the first of all that was built
    every = built and not request.built_network
    worth = [c for c in ranking.short() if every or ranking.worth(c)]
    return by_merit(map(work_out, worth[:SHOWN]), partial(_standing, ranking))


def _drawn(before: Inputs, device: Device, goal: Goal) -> Complex:
    """What the load may be in the band [ohm], shape (N, B)."""
    fitting = defaults.MOST_DRAWN // device.frequency.size
    draws = min(defaults.YIELD_DRAWS, max(defaults.FEWEST_DRAWS, fitting))
    drawn = to_impedance(before.draw(np.random.default_rng(device.seed), draws), device.z_ref)
    return goal.load_at(goal.in_band()[0], drawn)


def _uncarried(found: MatchResult) -> str:
    """Why too little is known of a load to build anything on it; mostly nothing."""
    if found.step_hz is not None:
        finer = f"measure it in steps of {found.step_hz / 1e6:.2g} MHz or less"
        return f"the load moves too far from one point of the sweep to the next; {finer}"
    if found.load_share >= defaults.LEAST_KNOWN:
        return ""
    most = largest_sources(found.load, found.goal.inside)
    if narrow := narrower(found):
        return f"{narrow}; and too little is known of the load, most for {most}"
    share = share_words(found.load_share, found.share_uncertainty)
    even = f"even a network that fits it exactly holds the target for {share} of what it may be"
    cure = better_read(found) or "measure it better"
    return f"{cure}; too little is known of the load, most for {most} ({even})"


def _ranked(request: MatchRequest, device: Device, load: Quantity) -> tuple[Goal, Ranking]:
    """What is wanted of the load [1], and the networks that come near it."""
    try:
        ohm = to_impedance(load.value, device.z_ref)
        target = request.target_ohm, request.target_swr
        goal = Goal(device.frequency, ohm, request.centre_hz, request.band_hz, *target)
        return goal, request.ranked(goal)
    except MatchingError as error:
        raise request.table.fail("", str(error)) from error


def _unknown_resistance(
    request: MatchRequest, device: Device, before: Inputs, load: Quantity
) -> Finding | None:
    """Where a resistance cannot be told from zero, for a match to it would be made up."""
    (low, high), frequency, z_ref = request.band_hz, device.frequency, device.z_ref
    lost = interval(RESISTANCE, load, region=region(before, load))[0] <= 0
    inside = (frequency >= low * (1 - SAME)) & (frequency <= high * (1 + SAME))
    lost &= inside
    if not np.any(lost):
        return None
    at = int(np.abs(np.where(lost, frequency, np.inf) - request.centre_hz).argmin())
    here = load.at_points(np.array([at]))
    away = without_reactance(float(frequency[at]), here, z_ref, request.stock.power_w)
    return MATCH_UNKNOWN(
        device=request.measurement,
        where=span_mhz(frequency[inside], lost[inside]),
        first=away or "measure it better, and look whether it is connected",
    )


def _limit(goal: Goal, loads: Complex) -> tuple[Limit | None, float | None]:
    """What no network without loss can beat, None where there is no band; and the widest that can.

    That is None unless it is beyond the target whatever the load may be, `loads` [ohm], (N, B).
    """
    low, high = band = goal.band_hz
    if low == high or goal.frequency.size < 3:
        return None, None
    model = fit_load(*goal.in_band(), z_ref=goal.target_ohm)
    best = model.at_best(goal.in_band()[1], loads)
    beyond = best and bode_fano(best, band).swr > goal.target_swr
    widest_hz = model.widest_hz(goal.target_swr, goal.centre_hz) if beyond else None
    return bode_fano(model, band), widest_hz


def _proposal(
    request: MatchRequest, goal: Goal, loads: Complex, seed: int, candidate: Candidate
) -> Proposal:
    """A candidate worked out; `loads` are impedances [ohm] that the load may have, (N, B)."""
    network, rng = candidate.network, np.random.default_rng([seed, 1])
    band, power_w = goal.in_band(), request.stock.power_w
    volt, ampere = (np.max(p, axis=-1) for p in network.stress(*band, power_w=power_w))
    joint = float(np.abs([at for at, _ in network.states(*band, power_w)]).max())
    parts = [*enumerate(network.elements)]
    wound_h = [k for k, e in parts if e.unit == "H" and wound(float(e.value), ampere[k])]
    # a stub is trimmed in any case, and a capacitor set more easily than a coil
    easy = [k for k, e in parts if isinstance(e.part, Capacitor | Stub)]
    able = sorted(easy, key=lambda k: network.elements[k].unit, reverse=True) + wound_h
    stock, draws = request.stock, len(loads)
    production = production_yield(goal, network, stock, rng, draws=draws, loads=loads, able=able)
    moved = sensitivity(goal, network)
    spare = margin(network, moved, stock, production.adjustable)
    found = Proposal(candidate, production, volt, ampere, moved, joint, margin=spare)
    # of what misses the target none is built as it is drawn, and some suffer more from that
    made = network if found.holds else as_built(network, stock, rng, defaults.FEWEST_DRAWS)
    return replace(found, lost_db=least_lost_db(goal, made, production.adjustable))


def _after(
    found: MatchResult,
    work_out: Callable[[Candidate], Proposal],
    listed: list[Proposal],
    seen: Quantity,
) -> AfterBuilding | None:
    """What was built against what was promised; `seen` at the network's input [1]."""
    goal, z_ref, made = found.goal, found.z_ref, next(iter(listed), None)
    if named := found.request.built_network:
        named = found.request.stock.wound(named, *goal.in_band())
        made = work_out(judge(goal, named, named))
    if made is None:
        return None
    numbered = enumerate([] if found.doubt else listed, start=1)
    trimming = trim(
        made.candidate.network,
        goal.frequency,
        found.load,
        seen,
        z_ref=z_ref,
        goal=goal,
        stock=found.request.stock,
        ampere=made.ampere,
        adjustable=made.production.adjustable,
        others={OTHER.format(number): one.candidate.network for number, one in numbered},
    )
    built = from_impedance(to_impedance(seen.value, z_ref), goal.target_ohm)
    return AfterBuilding(made, trimming, swr(built))


def _standing(
    ranking: Ranking, proposal: Proposal
) -> tuple[Group, float, float, tuple[float, ...]]:
    """Its group, what it loses [dB], how many hold [1], its parts set, and then what decides.

    That is what takes least until one holds, then more margin, then less voltage.
    """
    made = proposal.production
    group = ranking.group(replace(proposal.candidate, meets=proposal.holds))
    if not proposal.sure:
        group = max(group, Group.BY_A_HAIR)
    once = effort(proposal.candidate.network) + SET_EFFORT * len(made.adjustable)
    # what the noise of the draws alone tells apart is the same
    least = round(once / max(made.told[0], 1e-3), 2), -proposal.margin, proposal.highest_volt
    return group, proposal.lost_db, made.told[0], least


def _parted(request: MatchRequest, inputs: Inputs) -> tuple[Inputs, Inputs]:
    """The path up to the network, from the standards' plane, and the path behind it."""
    bare, place = replace(inputs, path=()), request.place
    if place == "calibration plane":
        return bare, inputs
    if any(step.embed for step in inputs.path):
        why = f"something was added to '{request.measurement}': its answer is not the device's"
        raise request.table.fail("place", f"{why}, so take out add = true for a match")
    if not isinstance(place, float):
        return inputs, bare
    if len(inputs.path) != 1 or not isinstance(cable := inputs.path[0].element, LineByFigures):
        needed = "one [[measurement.between]] with line = a type and length_m"
        raise request.table.fail("place", f"a point on the line needs the line's figures: {needed}")
    if not 0 <= place <= (whole := cable.line.length_m):
        why = f"a point {place:.4g} m from the load is not on a line of {whole:.4g} m"
        raise request.table.fail("place", why)
    near, far = (_piece(inputs.path[0], cable, length) for length in (whole - place, place))
    return replace(inputs, path=(near,)), replace(inputs, path=(far,))


def _piece(step: Step, cable: LineByFigures, length_m: float) -> Step:
    """A piece of a line's step; all the doubt of the whole line's length is in it."""
    whole = step.parameters[0]
    length = Quantity(whole.value - cable.line.length_m + length_m, whole.effects)
    element = replace(cable, line=replace(cable.line, length_m=length_m))
    return replace(step, element=element, parameters=(length, *step.parameters[1:]))


def _path_db(request: MatchRequest, device: Device, before: Inputs, behind: Inputs) -> float | None:
    """Loss of the path with the match in its place, at the design frequency.

    That is the loss before the network with the target for a load, and behind it with the device
    [dB]; nan where it cannot be told, None where nothing was removed.
    """
    reflection = device.reflection.value
    target = np.full_like(reflection, from_impedance(request.target_ohm, device.z_ref))
    both = loss_of(before, target), loss_of(behind, reflection)
    lost = [np.interp(request.centre_hz, device.frequency, v) for v in both if v is not None]
    return float(sum(lost)) if lost else None


def _plane_swr(before: Inputs, goal: Goal, network: Network, z_ref: float) -> float | None:
    """Largest SWR in the band at the standards' plane; None where nothing lies between."""
    through = whole_map(before)
    if through is None:
        return None
    near = through.apply(network.seen(goal.frequency, goal.load, z_ref=z_ref))
    return float(swr(np.interp(goal.in_band()[0], goal.frequency, near)).max())
