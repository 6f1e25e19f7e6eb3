"""What is to be known beside a list of networks: for what power, of which lines and coils."""

from dataclasses import replace

from rfcal import defaults
from rfcal.matching.goal import judge
from rfcal.matching.parts import Inductor
from rfcal.record.results import MatchResult
from rfcal.report.text.build import BUILDS, FLOATS, power_words
from rfcal.uncertainty.words import about


def unstated_power(result: MatchResult) -> list[str]:
    """For what power volts and amperes are, where none is stated and there are any."""
    if "power_w" in result.request.table or not result.proposals:
        return []
    return [
        f"volts, amperes and wire are for {power_words(result.request)}; at "
        f"{100 * defaults.POWER_W:g} W volts and amperes are ten times as large"
    ]


def cut_from(result: MatchResult) -> list[str]:
    """Which lines stubs and sections are cut from, where there are any."""
    networks = [p.candidate.network for p in result.proposals]
    if not any(e.line is not None for n in networks for e in n.elements):
        return []
    centre = result.goal.centre_hz
    said = (
        f"{line.z0:g} ohm, velocity factor {line.velocity_factor:g}, "
        f"{float(line.loss_db_per_100m(centre)):.2g} dB per 100 m"
        for line in result.request.stock.lines
    )
    floating = [str(i) for i, one in enumerate(networks, start=1) if i > BUILDS and one.floats]
    return [
        f"stubs and sections are cut from: {'; '.join(said)} (the key `lines` says which "
        "there are; measure yours, for a length is right for its velocity factor only)",
        *[f"the stub in series of network {' and '.join(floating)}: {FLOATS}"][: len(floating)],
    ]


def lossy(result: MatchResult) -> list[str]:
    """Which networks turn much of the power into heat."""
    numbered = enumerate((p.candidate.loss_db for p in result.proposals), start=1)
    lossy = [(i, loss) for i, loss in numbered if loss > defaults.NOTED_LOSS_DB]
    if not lossy:
        return []
    (first, most), *others = lossy
    power_w = result.request.stock.power_w
    more = "".join(f"; network {i} loses {loss:.1f} dB" for i, loss in others)
    return [
        f"network {first} loses {most:.1f} dB in its parts: of {power_w:g} W into it "
        f"{about(power_w * 10 ** (-most / 10))} W go on to the load, the rest heats them{more}"
    ]


def half_q(result: MatchResult) -> list[str]:
    """What coils of half the Q would do to the first network, where that decides."""
    if result.ranking.nothing_needed or not result.proposals:
        return []
    first, q = result.proposals[0].candidate, result.request.stock.inductor_q
    elements = (
        e.with_part(q=e.part.q / 2) if isinstance(e.part, Inductor) else e
        for e in first.network.elements
    )
    worse = judge(result.goal, replace(first.network, elements=tuple(elements)), first.ideal)
    spoilt = first.meets and not worse.meets
    if worse.lost_db - first.lost_db < defaults.POWER_STEP_DB and not spoilt:
        return []
    missed = f" and miss the target by its SWR of {worse.worst_swr:.2f}" if spoilt else ""
    return [
        f"coils are taken to have a Q of {q:g}: of {q / 2:g} the first network would lose "
        f"{worse.loss_db:.2g} dB in its parts in place of {first.loss_db:.2g} dB{missed}; state "
        "inductor_q as your coils have it"
    ]
