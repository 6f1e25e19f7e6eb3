"""What is to be known of a match before it is built, and whether it can be trusted."""

from rfcal.findings import Finding, swr_words
from rfcal.maths.reflection import from_impedance, swr
from rfcal.record.findings import catalogue
from rfcal.record.results import MatchResult

CAUTION_VOLT, CAUTION_WATT = 50.0, 10.0
"""From here on the page warns of voltages and heat (common practice, no source)."""


def about_match(result: MatchResult) -> list[Finding]:
    """What there is to say about the networks for one device."""
    request, device = result.request, result.request.measurement
    found = []
    volt = max((float(p.volt.max(initial=0.0)) for p in result.proposals), default=0.0)
    if volt >= CAUTION_VOLT or request.power_w >= CAUTION_WATT:
        found.append(catalogue.MATCH_VOLTAGE(device=device, power_w=request.power_w, volt=volt))
    if result.proposals and not any(p.candidate.meets for p in result.proposals):
        best = swr_words(min(p.candidate.worst_swr for p in result.proposals))
        target = request.target_swr
        found.append(catalogue.MATCH_TARGET(device=device, target=target, best=best))
    bare = swr(from_impedance(result.goal.in_band()[1], request.target_ohm)).max()
    if not result.proposals and bare > request.target_swr:
        found.append(catalogue.MATCH_NONE(device=device))
    if result.step_hz is not None:
        found.append(catalogue.MATCH_STEP(device=device, step_mhz=result.step_hz / 1e6))
    plane = result.plane_swr
    if result.spoilt and plane is not None and plane > request.target_swr:
        found.append(
            catalogue.MATCH_PLANE(
                device=device,
                swr=swr_words(plane),
                z_ref=result.z_ref,
                target_ohm=request.target_ohm,
            )
        )
    return found
