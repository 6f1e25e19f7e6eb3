"""What a match table came to, in words."""

import numpy as np

from rfcal import defaults
from rfcal.findings import swr_words
from rfcal.matching.bode_fano import Limit
from rfcal.matching.goal import Bandwidth, Candidate
from rfcal.matching.network import Network
from rfcal.matching.ranking import Group
from rfcal.record.findings.match import narrower
from rfcal.record.results import Advice, MatchResult, Proposal
from rfcal.report.text.build import BUILDS, build_lines
from rfcal.report.text.remarks import cut_from, half_q, lossy, unstated_power
from rfcal.uncertainty.words import about, digits, mhz, share_words

NEARLY_ONE = 1.005
"""A limit below this SWR is none that anybody could measure."""
NONE_NEAR = (
    "nothing is offered: without a network {} of the power arrives, and of these parts none comes "
    "half-way to what SWR {:g} would bring"
)
ADDED = (
    f"leads of up to {1e3 * defaults.LEAD_M:g} mm and strays of up to {1e12 * defaults.STRAY_F:g} "
    "pF on each coil and capacitor"
)
NEARLY = (
    "it misses SWR {:g} by a hair, with {} at worst, and the network that brings most would bring "
    "{:.2f} dB"
)
TAKEN = (
    "{} is taken to be what was built, for it is the first of the list today: if it was another, "
    "name that one by `topology` and `parts` in `built`"
)
CHECKED = (
    "when it stands, read it at its input as the device was read, at the same frequencies, and put "
    "this line into [match], for the report then says what to set (off a display with typed = "
    "[[MHz, R, X], ...] in place of reading; of another network with its own name and parts)"
)
NOT_WORTH = f"no network would bring {defaults.POWER_STEP_DB:g} dB more to it"


def _title(network: Network) -> str:
    """A network's name, such as ``"L, series part at load, low-pass"``."""
    return ", ".join(filter(None, (network.topology, network.form)))


def match_first(result: MatchResult) -> str:
    """Why nothing should be built, or not yet; mostly empty."""
    target, raw, advice = result.request.target_swr, result.ranking.raw_worst_swr, result.advice
    if advice is Advice.MEND:
        return f"{'change' if result.after else 'build'} nothing yet: {result.doubt}"
    if advice is Advice.NONE:
        none_near = NONE_NEAR.format(_percent(result.ranking.raw_lost_db), target)
        return "; ".join(filter(None, (narrower(result), none_near)))
    low, high = min(result.raw_swr[0], raw), max(result.raw_swr[1], raw)
    places = int(np.clip(digits((high - low) / 2), 0, 3))
    known = f"{raw:.{places}f} ({low:.{places}f} to {high:.{places}f})"
    if advice is Advice.LEAVE:
        return _leave(result, NEARLY.format(target, known, result.gain_db))
    then = "what follows would only lower it" if result.proposals else NOT_WORTH
    said = "nothing is needed: as it is the load has SWR"
    return {
        Advice.NOTHING: f"{said} {raw:.2f} at worst, where {target:g} was asked; {then}",
        Advice.PROBABLY_NOTHING: f"probably {said} {known} at worst, so it may lie beyond the "
        f"{target:g} that was asked; {then}",
        Advice.PERHAPS_NOTHING: f"perhaps {said} {known} at worst, so it may hold the {target:g} "
        "that was asked: measure it better before you build",
    }.get(advice, "")


def _leave(result: MatchResult, why: str) -> str:
    """To leave a load that misses by a hair, or what little would do for it."""
    do, more, (added, left) = "leave it", "", result.goal.retuned()
    if left <= result.request.target_swr:
        do = "leave it, or retune it"
        less = f"about {about(abs(added))} ohm {'more' if added > 0 else 'less'} X"
        more = f"; {less} at {mhz(result.goal.centre_hz)} would do, for SWR {left:.2f}"
    return f"{do}: {why}{more}"


def match_head(result: MatchResult) -> list[str]:
    """What to do, in a sentence, and what it brings."""
    if said := [text for text in (match_first(result), *match_after(result)) if text]:
        return said
    best = result.proposals[0]
    row, do = match_row(best, result.limit), match_do(result, "this")
    parts = row["parts"].replace(", ", ", then ")
    return [
        f"{do}, from the transmitter's end: {parts} ({row['network']}){_set_last(best)}",
        _brings(result, row),
    ]


def match_do(result: MatchResult, first: str) -> str:
    """What to do with the first network, as it is called."""
    best, target = result.proposals[0], result.request.target_swr
    build = f"build {first}"
    if result.advice is Advice.MISSED:
        bought = " as bought" if best.to_set else ""
        return f"none of these networks holds SWR {target:g}{bought}; if you build one, {build}"
    if result.advice is Advice.CLOSER:
        share, known = share_words(*best.production.told), result.load_share >= defaults.SURE_YIELD
        do = "use closer parts (`tolerance`)" if known else "measure the load better"
        return (
            f"build nothing yet: {do} or ask for a narrower band, for {share} of the best of these "
            f"networks would hold SWR {target:g}; if you build one, {build}"
        )
    return build


def _set_last(proposal: Proposal) -> str:
    """That a part is to be set once all is built, or none."""
    return f"; set {proposal.to_set} last, to the lowest SWR over the band" * bool(proposal.to_set)


def _brings(result: MatchResult, row: dict[str, str]) -> str:
    """What a network brings; that none holds the target is not said where it is said of all."""
    none = row["yield"] == "0%" and not any(p.holds for p in result.proposals)
    held = "" if none else f"; {row['yield']} of such networks hold the target{row['set']}"
    return (
        f"worst SWR {row['swr']}, loss {row['loss']}, {row['delivered']} of the power arrives"
        f"{row['half']}{held}"
    )


def match_above(result: MatchResult, number: int) -> str:
    """What stands above a network of the list, counted from 0; mostly nothing."""
    groups = [result.ranking.group(p.candidate) for p in result.proposals[: number + 1]]
    if groups[-1] != Group.BELOW or Group.BELOW in groups[:-1]:
        return ""
    return (
        "from here on a network lowers the SWR and yet delivers less than none would: without one "
        f"{result.ranking.raw_lost_db:.2f} dB are lost by the mismatch"
    )


def match_row(proposal: Proposal, limit: Limit | None = None) -> dict[str, str]:
    """One line of the ranked table in words; with the limit, how close the network comes to it."""
    c, made = proposal.candidate, proposal.production
    parts = ", ".join(f"{e.place} {e.name} {e.in_words()}" for e in c.network.elements)
    arrives, half = _percent(c.lost_db), _percent(proposal.lost_db)
    less = "less" if proposal.lost_db > c.lost_db else "more"
    how = "once set" if proposal.holds else f"or {less} with half of those built"
    half = "" if half == arrives else f", {half} {how}"
    are = "are" if len(made.adjustable) > 1 else "is"
    unset = f" before {proposal.to_set} {are} set" if proposal.holds and not c.meets else ""
    return {
        "network": _title(c.network),
        "parts": parts,
        "swr": f"{c.worst_swr:.2f}{unset}" if c.worst_swr < 100 else "above 100",
        "limit": _reached(limit, c),
        "loss": f"{c.loss_db:.2f} dB",
        "delivered": arrives,
        "half": half,
        "band": _widths(c.at_1_5, c.at_2),
        "yield": share_words(*made.told),
        "set": f" with {proposal.to_set} set" if proposal.to_set else "",
        "volt": f"{proposal.highest_volt:.0f} V, {about(float(proposal.ampere.max()))} A",
    }


def sets_none(limit: Limit | None) -> bool:
    """Whether the load is known to set no limit that anybody could measure."""
    return limit is None or (limit.told and limit.swr < NEARLY_ONE)


def _percent(lost_db: float) -> str:
    """What is left of the power after a loss."""
    share = 10 ** (-lost_db / 10)
    return f"{share:.0%}" if 0.1 < share < 0.99 else f"{share:.1%}"


def _reached(limit: Limit | None, candidate: Candidate) -> str:
    if limit is None or sets_none(limit):
        return "no limit"
    if candidate.loss_db > defaults.SMALL_LOSS_DB:
        return "not told"
    share = limit.reached(candidate.worst_swr)
    return "not known" if share is None else f"{share:.0%}"


def _widths(*bands: Bandwidth) -> str:
    """Bandwidths in the unit of the widest."""
    most = max(band.width_hz for band in bands)
    scale, form, unit = (1e6, ".3g", "MHz") if most >= 1e6 else (1e3, ".0f", "kHz")
    told = (f"{'over ' if b.cut else ''}{b.width_hz / scale:{form}}" for b in bands)
    return f"{' and '.join(dict.fromkeys(told))} {unit}"


def match_parts(proposal: Proposal) -> list[tuple[str, ...]]:
    """Each part of a network: value, loss, stress and what it moves."""
    c = proposal.candidate
    return [
        (
            f"{e.place} {e.name}",
            e.in_words(),
            ideal.in_words(3),
            f"{c.losses_db[k]:.3f} dB",
            f"{proposal.volt[k]:.0f} V",
            f"{proposal.ampere[k]:.2f} A",
            proposal.sensitivities[k].in_words(),
        )
        for k, (e, ideal) in enumerate(zip(c.network.elements, c.ideal.elements, strict=True))
    ]


def match_check(result: MatchResult) -> tuple[str, str]:
    """How the first network is checked once it stands, and the record's line for that."""
    network = result.proposals[0].candidate.network
    parts = ", ".join(f'"{e.in_words()}"' for e in network.elements)
    named = f'topology = "{_title(network)}", parts = [{parts}]'
    return CHECKED, f'built = {{ {named}, reading = "raw/built.s1p" }}'


def match_lines(result: MatchResult) -> list[str]:
    """A match table's outcome in lines for a terminal."""
    said = [f"match of '{result.request.measurement}' {match_where(result)}:"]
    if result.advice in (Advice.BUILD, Advice.CLOSER, Advice.MISSED):
        said.append(f"  {match_do(result, 'network 1')}{_set_last(result.proposals[0])}:")
    else:
        said += [f"  {text}" for text in match_head(result)]
    for i, proposal in enumerate(result.proposals):
        r = match_row(proposal, result.limit)
        said += filter(None, [f"  {match_above(result, i)}".rstrip()])
        said.append(
            f"  {i + 1}. {r['network']}: {r['parts']}; {_brings(result, r)}; up to {r['volt']}"
        )
        if i < BUILDS:
            said += [f"     {text}" for text in build_lines(result, proposal)]
        if not (i or result.after):
            said.append(f"     {': '.join(match_check(result))}")
    if result.proposals and result.goal.centre_hz >= defaults.SMALL_PARTS_HZ:
        said.append(f"  in the share of networks that hold the target are {ADDED}")
    return said + [f"  {text}" for text in match_remarks(result)]


def match_where(result: MatchResult) -> str:
    """Where and for what the networks are."""
    request = result.request
    low, high = request.band_hz
    place = (
        f"{request.place:g} m from the device on the line"
        if isinstance(request.place, float)
        else f"at the {request.place}"
    )
    wanted = f"SWR {request.target_swr:g}"
    span = f" from {mhz(low).removesuffix(' MHz')} to {mhz(high)}" if high > low else " there"
    chosen = ""
    if request.section_q is not None:
        chosen = f", pi and T of Q {request.section_q:g}"
    elif request.phase_deg is not None:
        chosen = f", pi and T of {request.phase_deg:g} degrees"
    at = f"{request.target_ohm:g} ohm at {mhz(request.centre_hz)}"
    ranking = result.ranking
    bare = (
        f"; without a network SWR {swr_words(ranking.raw_worst_swr)} at worst, "
        f"{_percent(ranking.raw_lost_db)} of the power arrives"
    )
    return f"{place}, to {at}, {wanted}{span}{chosen}{'' if ranking.nothing_needed else bare}"


def match_after(result: MatchResult) -> list[str]:
    """What was built, how it came out, and what to trim."""
    after, goal = result.after, result.goal
    if after is None:
        return []
    inside = goal.in_band()[0]
    promised, found = (
        float(np.interp(inside, goal.frequency, ratio).max())
        for ratio in (after.made.candidate.swr, after.found_swr)
    )
    parts = ", ".join(e.in_words() for e in after.network.elements)
    said = f"worst SWR {swr_words(found)} where {swr_words(promised)} was promised"
    network = f"{_title(after.network)} of {parts}"
    made = f"after building {network}: {said}"
    target = result.request.target_swr
    trimming = after.trimming
    taken = [] if result.request.built_network else [TAKEN.format(network)]
    nothing = trimming.idle
    more = "" if nothing or trimming.verdict == "other network" else "should you want more: "
    # what reads as the target is none to leave alone
    if found > target or swr_words(found) == swr_words(target):
        leave = "leave it as it is, or build another network: " if nothing else ""
        return [f"{leave}{trimming.message}", *taken, made]
    return [
        f"leave it as it is, it holds the SWR of {target:g} that was asked for: {made}",
        *taken,
        f"{more}{trimming.message}",
    ]


def match_remarks(result: MatchResult) -> list[str]:
    """The limit, what the line still loses, what was refused, and what to trim."""
    said = unstated_power(result) + cut_from(result)
    if result.path_db is not None:
        how = {
            "device": "with the match at the device",
            "calibration plane": "with the match before the line",
        }.get(str(result.request.place), "with the match on the line")
        said.append(
            f"{how} the path itself still loses {result.path_db:.2f} dB"
            if np.isfinite(result.path_db)
            else f"what the path itself still loses {how} cannot be told"
        )
    if (result.spoilt or result.plane_beyond) and result.plane_swr is not None:
        asked = f", where {result.request.target_swr:g} was asked" if result.plane_beyond else ""
        said.append(
            f"{result.as_matched} the standards' plane sees SWR {swr_words(result.plane_swr)} in "
            f"{result.z_ref:g} ohm{asked}"
        )
    said += lossy(result) + half_q(result)
    limit = result.limit
    if limit and limit.told and not sets_none(limit) and (result.proposals or result.widest_hz):
        first = next((p.candidate for p in result.proposals), None)
        near = first and first.loss_db <= defaults.SMALL_LOSS_DB
        said.append(
            f"no network without loss can hold a lower SWR over this band than {limit.swr:.2f} "
            "(limit of Bode and Fano, both conditions, by the load's series or parallel model)"
            f"{f'; the first comes {_reached(limit, first)} of the way' if first and near else ''}"
        )
    if result.proposals or not (result.ranking.nothing_needed or result.doubt):
        names: dict[str, list[str]] = {}
        for name, why in result.ranking.refused.items():
            names.setdefault(why, []).append(name)
        said += [f"{'; '.join(of_one)}: {why}" for why, of_one in names.items()]
    return said
