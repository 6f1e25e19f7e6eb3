"""What is to be known of a match before it is built, and whether it can be trusted."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rfcal.defaults import CAPACITOR_A, NOTED_LOSS_DB, SURE_YIELD
from rfcal.findings import Finding, listed, quoted, swr_words
from rfcal.matching.designs import reactance
from rfcal.matching.goal import Candidate, Goal, bandwidth
from rfcal.matching.network import SERIES, NetworkElement
from rfcal.maths.circles import RESISTANCE
from rfcal.maths.reflection import to_impedance
from rfcal.record.findings.catalogue import match as say
from rfcal.record.findings.devices import largest_sources
from rfcal.record.results import SATISFIED, Advice, MatchResult
from rfcal.uncertainty.intervals import interval
from rfcal.uncertainty.quantity import Quantity
from rfcal.uncertainty.words import about, mhz, share_words

CAUTION_VOLT, CAUTION_WATT = 50.0, 10.0
"""From here on the page warns of voltages and heat (common practice, no source)."""
REACTANCE = 100.0
"""That the danger of what is part of a device is told of [ohm]."""

LARGE_X = 1.0
"""Reactance in reference impedances beside which a resistance is read badly (common practice, no
source)."""


def about_matches(results: Sequence[MatchResult]) -> list[Finding]:
    """What there is to say about all match tables of a record."""
    return _voltage(results) + [said for one in results for said in about_match(one)]


def about_match(result: MatchResult) -> list[Finding]:
    """What there is to say about the networks for one device."""
    request, device, found = result.request, result.request.measurement, []
    advice, limited = result.advice, result.widest_hz is not None
    if advice in (Advice.NONE, Advice.MISSED) or (limited and advice is Advice.MEND):
        found.append(_missed(result))
    if result.load_share < SURE_YIELD and not (limited or _decided(result)):
        found.append(_unknown_load(result))
    if result.step_hz is not None:
        low, high = request.band_hz
        where = "in the band" if low < high else f"around {low / 1e6:.10g} MHz"
        step_mhz = result.step_hz / 1e6
        before = _before(result)
        found.append(say.MATCH_STEP(device=device, where=where, step_mhz=step_mhz, before=before))
    plane = result.plane_swr
    if plane is not None and result.plane_beyond and (result.spoilt or advice != Advice.MISSED):
        found.append(
            say.MATCH_PLANE(
                device=device,
                swr=swr_words(plane),
                z_ref=result.z_ref,
                target_ohm=request.target_ohm,
                matched=result.as_matched,
            )
        )
    return found


def _before(result: MatchResult) -> str:
    """That something is to be done before anything is built, unless it was or need not be."""
    return "" if result.after or result.advice in SATISFIED else " before you build"


def _decided(result: MatchResult) -> bool:
    """Whether what is said first would not change if more were known of the load."""
    if result.advice is Advice.BUILD:
        return not result.proposals[0].loose
    # what no network holds none would hold for a load that is better known
    return result.advice in (Advice.NOTHING, Advice.MISSED)


def without_reactance(frequency_hz: float, load: Quantity, z_ref: float, power_w: float) -> str:
    """What makes a resistance beside a large reactance readable, at one point; mostly nothing."""
    ohm = complex(to_impedance(load.value, z_ref)[0])
    low, high = (z_ref * float(end[0]) for end in interval(RESISTANCE, load))
    if abs(ohm.imag) < LARGE_X * z_ref:
        return ""
    element = NetworkElement("", SERIES, reactance(frequency_hz, -ohm.imag))
    words = element.in_words(2)
    kind, most, danger = "about", ohm.real, ""
    if low <= 0:
        kind, most = "over", high
    if 0 < most < np.inf:
        # I = sqrt(2 P / R)
        ampere = np.sqrt(2 * power_w / most)
        volt = ampere * abs(ohm.imag)
        volts = f"{about(volt)} V" if volt < 1e3 else f"{about(volt / 1e3)} kV"
        danger = f", which will carry {kind} {volts} and {about(ampere)} A peak at {power_w:g} W"
    return (
        f"take its X of about {about(ohm.imag)} ohm away first, by {words} in series with it"
        f"{danger}, and measure both together as the device"
    )


def better_read(result: MatchResult) -> str:
    """What makes the load's resistance readable; mostly nothing."""
    frequency, request = result.goal.frequency, result.request
    at = np.array([np.abs(frequency - request.centre_hz).argmin()])
    load, power_w = result.load.at_points(at), request.stock.power_w
    return without_reactance(float(frequency[at[0]]), load, result.z_ref, power_w)


def _unknown_load(result: MatchResult) -> Finding:
    """How little of the load is known, and what makes it so."""
    device, act, parts, cure = result.request.measurement, say.MEASURE_MORE, "", ""
    if result.advice is Advice.BUILD:
        parts = result.proposals[0].to_set
        act = say.SET_LAST if parts else say.MORE_HOLD
    elif result.advice != Advice.MEND:  # which says it itself
        cure = better_read(result)
    return say.MATCH_LOAD(
        device=device,
        act=act.format(device=device, before=_before(result), parts=parts),
        first=f". {cure[0].upper()}{cure[1:]}" if cure else "",
        share=share_words(result.load_share, result.share_uncertainty),
        sources=largest_sources(result.load, result.goal.inside),
    )


def _voltage(results: Sequence[MatchResult]) -> list[Finding]:
    """What a network of each list carries, and what is in series in its device, where that is much.

    That is of the one that was built, or of the first that carries so much, mostly number 1.
    """
    hot = []
    for one in (result for result in results if result.advice != Advice.NOTHING):
        watt, name = one.request.stock.power_w, one.request.measurement
        # into the device, all power arriving: I = sqrt(2 P / R)
        inside = float(np.sqrt(2 * watt / one.goal.in_band()[1].real.min()))
        offered = [(f"network {n}", p) for n, p in enumerate(one.proposals, start=1)]
        for which, p in [("the network built", one.after.made)] if one.after else offered:
            if max(p.highest_volt, REACTANCE * inside) >= CAUTION_VOLT or watt >= CAUTION_WATT:
                carried = watt, p.highest_volt, float(p.ampere.max()), inside
                hot.append((*carried, name, f"{which} for '{name}'"))
                break
    if not hot:
        return []
    *most, names, networks = zip(*hot, strict=True)
    watt, volt, ampere, inside = map(max, most)
    return [
        say.MATCH_VOLTAGE(
            devices=quoted(names),
            networks=listed([*dict.fromkeys(networks)]),
            power_w=watt,
            volt=volt,
            ampere=ampere,
            advice=say.ADVICE[volt >= CAUTION_VOLT or ampere > CAPACITOR_A],
            inside=inside,
            across=about(REACTANCE * inside),
        )
    ]


def _missed(result: MatchResult) -> Finding:
    """That no network does what is wanted, and what to ask for."""
    request, device = result.request, result.request.measurement
    listed = [p.candidate for p in result.proposals] or result.ranking.short()
    missing = [candidate for candidate in listed if not candidate.meets]
    if not missing:
        return say.MATCH_NONE(device=device)
    # not the one whose loss makes it low, where there is another
    best = [c for c in missing if c.loss_db <= NOTED_LOSS_DB] or missing
    low, high = request.band_hz
    return say.MATCH_TARGET(
        device=device,
        target=request.target_swr,
        bought=" as bought" if any(p.to_set for p in result.proposals) else "",
        over="over the band" if low < high else f"at {low / 1e6:.10g} MHz",
        best=swr_words(min(c.worst_swr for c in best)),
        far="" if result.proposals else ", too far off to be offered",
        remedy=_held(result, best),
    )


def narrower(result: MatchResult) -> str:
    """What to ask for where no network can hold the target, by its limit; mostly nothing."""
    if result.widest_hz is None:
        return ""
    return (
        f"ask for a band of less than about {mhz(float(f'{result.widest_hz:.2g}'))}: over more no "
        f"network without loss can hold SWR {result.request.target_swr:g} (limit of Bode and "
        "Fano), and one of few parts holds less"
    )


def _span(goal: Goal, networks: Sequence[Candidate]) -> tuple[float, float]:
    """The widest part of the band over which one of these holds the target; its centre if none."""
    limit, (low, high), at = goal.target_swr, goal.band_hz, goal.centre_hz
    # not by its loss, where another does so without
    sound = [c for c in networks if c.loss_db <= NOTED_LOSS_DB] or networks
    held = (bandwidth(goal.frequency, (c.swr - 1) / (c.swr + 1), limit, at) for c in sound)
    spans = ((max(b.low_hz, low), min(b.high_hz, high)) for b in held)
    return max(spans, key=lambda ends: ends[1] - ends[0], default=(at, at))


def _held(result: MatchResult, networks: Sequence[Candidate]) -> str:
    """What to ask for in place of a band that none of the networks holds."""
    goal, (low, high), made = result.goal, result.goal.band_hz, ""
    first, last = _span(goal, networks)
    if first == last and low < high:
        narrow = replace(goal, band_hz=(goal.centre_hz, goal.centre_hz))
        made = " made for less"
        first, last = _span(goal, result.request.ranked(narrow).short())
    if first == last:
        return "Ask for finer values, or another place"
    # both ends inward to round figures, yet about the centre
    step = 10 ** np.floor(np.log10((last - first) / 20))
    first = min(np.ceil(first / step) * step, goal.centre_hz)
    last = max(np.floor(last / step) * step, goal.centre_hz)
    return (
        f"One{made} holds it over {(last - first) / 1e3:.6g} kHz of the "
        f"{(high - low) / 1e3:.6g} kHz asked: ask for {first / 1e6:.10g} to {last / 1e6:.10g} MHz, "
        "or for another place"
    )
