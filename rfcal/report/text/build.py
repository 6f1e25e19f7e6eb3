"""What to buy, to wind and to cut for a network, part by part from the transmitter's end."""

import numpy as np

from rfcal import defaults
from rfcal.matching.network import SECTION, SERIES, NetworkElement, part_value
from rfcal.matching.parts import Capacitor, Inductor, Stub, preferred, preferred_below
from rfcal.matching.stock import Stock
from rfcal.matching.tolerance import MOST_TOLERANCE, Sensitivity
from rfcal.matching.winding import wound
from rfcal.record.format.match import MatchRequest
from rfcal.record.results import MatchResult, Proposal
from rfcal.uncertainty.words import about

BUILDS = 3
"""Networks of a match table that are drawn, and told how to build."""
FLOATS = (
    "it floats, so its shield must touch nothing: hang it free and put ferrite cores over it at "
    "the joint"
)
"""What a stub in series needs, of which neither conductor is at ground."""
WITH_PLUGS_M, MOST_CHECKED_HZ = 0.1, 1e9
"""A shorter piece has no plugs, which are as long [m]; and of instruments that see a quarter wave
beyond this frequency there are few [Hz] (common practice, no source)."""
PLACE = {
    SERIES: "in the inner conductor",
    "shunt": "across the line, inner conductor to ground",
    SECTION: "in the line",
}


def build_lines(result: MatchResult, proposal: Proposal) -> list[str]:
    """One line for each part, the transmitter's end first."""
    elements = proposal.candidate.network.elements
    ends = [""] * len(elements)
    if elements[1:]:
        ends[0], ends[-1] = ", at the transmitter's end", ", at the load's end"
    return [
        f"{element.name}, {PLACE[element.place]}{ends[k]}: {_part(result, proposal, k)}"
        for k, element in enumerate(elements)
    ]


def _part(result: MatchResult, proposal: Proposal, k: int) -> str:
    """How to come by one part."""
    element = proposal.candidate.network.elements[k]
    volt, ampere = float(proposal.volt[k]), float(proposal.ampere[k])
    close = ""
    if proposal.loose and element.line is None:
        room = proposal.sensitivities[k].room[1]
        # of what is set, that much is taken back
        room = max(room, defaults.TRIM_SPAN) if k in proposal.production.adjustable else room
        close = _close(element, room, result.goal.centre_hz)
    if k in proposal.production.adjustable:
        close = f"; set it last, to the lowest SWR over the band{close}"
    elif element.line is None:
        off = result.request.stock.off(element)
        alone = _room(proposal.sensitivities[k].room, MOST_TOLERANCE * off)
        drawn = f" with {proposal.to_set} as drawn" if alone and proposal.to_set else ""
        close = f"{alone}{drawn}{close}"
    if isinstance(element.part, Capacitor):
        needed = defaults.VOLT_MARGIN * volt
        rated = next((f"{at} V or more" for at in defaults.VOLT_CLASSES if at >= needed), None)
        words = element.in_words()
        if k in proposal.production.adjustable:
            words = adjustable(element.value, result.request.stock.series, needed)
        if ampere > defaults.CAPACITOR_A:
            together = f"several that make {element.in_words()} together"
            close = f": mica or C0G (NP0), {together}{close}"
        return (
            f"buy {words}, for {rated or f'{needed:.2g} V: several, or in vacuum'} "
            f"({volt:.0f} V and {ampere:.2g} A peak at {power_words(result.request)}){close}"
        )
    if isinstance(element.part, Inductor):
        return f"{_coil(element, ampere)}{close}"
    return f"{_piece(element, proposal.sensitivities[k], result.goal.centre_hz)}{close}"


def _room(room: tuple[float, float], most: float) -> str:
    """How far a value alone may be off, below and above, where that is less than `most` [1]."""
    ends = zip(room, ("smaller", "larger"), strict=True)
    # rounded down, for it is a limit
    near = [f"{np.floor(1e3 * one) / 10:.2g} % {way}" for one, way in ends if one < most]
    return f"; alone it may be {' or '.join(near)} and still hold the target" if near else ""


def tolerance_words(stock: Stock) -> str:
    """How far parts are taken to be off."""
    wound_to = stock.wound_tolerance
    by_hand = f" (coils wound by hand {wound_to:.0%})" if wound_to is not None else ""
    return f"{stock.tolerance:.0%}{by_hand}"


def power_words(request: MatchRequest) -> str:
    """The power that volts and amperes are told for, and that it is taken where none is stated."""
    unsaid = "" if "power_w" in request.table else ", as the record states no power_w"
    return f"{request.stock.power_w:g} W{unsaid}"


def _close(element: NetworkElement, room: float, centre_hz: float) -> str:
    """What leads and strays are kept to where they decide: half of what it may be larger.

    It may be so by `room` [1], nan where the target is missed anyway.
    """
    spare_m, spare_f, said = room * element.leads_m(centre_hz), room * float(element.value), ""
    if isinstance(element.part, Capacitor) and spare_f < 2 * defaults.STRAY_F:
        more = about(1e12 * spare_f)
        said = f"; keep wires and metal off it, for {more} pF more across it miss the target"
    if spare_m < 2 * defaults.LEAD_M:
        most = max(np.floor(1e3 * spare_m / 2), 1)
        said += f"; keep its leads under {most:g} mm in all"
    return said


def adjustable(capacitance_f: float, series: str, volt: float) -> str:
    """A capacitance that can be set to both sides, such as ``"47 pF and a trimmer of 20 pF"``."""
    span = 2 * defaults.TRIM_SPAN * capacitance_f / (1 - defaults.LEAST_OF_TRIMMER)
    trimmer = next((t for t in defaults.TRIMMERS_F if t >= span), None)
    if trimmer is None:
        return f"{part_value(capacitance_f, 'F')}, some of it in pieces to add and take off"
    middle = trimmer * (1 + defaults.LEAST_OF_TRIMMER) / 2
    small = trimmer < 101e-12 and volt <= defaults.MOST_OF_TRIMMER
    said = f"a {'trimmer' if small else 'variable capacitor'} of {part_value(trimmer, 'F')}"
    if capacitance_f - middle < defaults.SMALL_CAPACITOR_F:
        return said
    below = preferred_below(capacitance_f - middle, series)
    near = preferred(below + np.arange(2), series)
    fixed = float(near[np.abs(near - (capacitance_f - middle)).argmin()])
    return f"{part_value(fixed, 'F')} and {said}"


def _coil(element: NetworkElement, ampere: float) -> str:
    """Wind it in air where that can be done."""
    winding = wound(element.value, ampere)
    words = element.in_words()
    if winding is None:
        other = "" if element.value < 1e-6 else ", or wind it on a core"
        return f"buy {words} for {ampere:.2g} A peak{other}"
    turns = winding.turns
    return (
        f"wind {words}: {turns} turns of {1e3 * winding.wire_m:g} mm wire on "
        f"{1e3 * winding.inside_m:g} mm, drawn out to {winding.ruler_mm:g} mm from middle to "
        f"middle of the wire at its two ends ({winding.ruler_mm / turns:.3g} mm a turn); it "
        f"carries {ampere:.2g} A peak, and turns spread make it less, squeezed more"
    )


def _piece(element: NetworkElement, sensitivity: Sensitivity, centre_hz: float) -> str:
    """Cut it long, then shorten it; with the quarter wave that tells its length beforehand."""
    line, part = element.line, element.part
    assert line is not None
    length = float(element.value)
    quarter_hz = centre_hz * float(line.wavelength_m(centre_hz)) / 4 / length
    long = float(f"{max(length * (1 + defaults.CUT_LONG), length + 2e-3):.3g}")
    room = sensitivity.room_words(length)
    exact = f"{1e3 * length:.6g} mm of {line.z0:.3g} ohm{f' ({room})' if room else ''}"
    if isinstance(part, Stub):
        how = (
            f"cut {exact}, from the joint to the {part.end} end: first {1e3 * long:.0f} mm, then "
            f"{'shorten it' if part.end == 'open' else 'move the short inwards'} until the SWR "
            "over the band is as drawn"
        )
        if element.place == SERIES:
            how += f"; {FLOATS}"
    else:
        plugs = " with its plugs" if length > WITH_PLUGS_M else ""
        how = (
            f"cut {exact}, from shield end to shield end{plugs}: first {1e3 * long:.0f} mm, then "
            "shorten it before it is built in"
        )
    if quarter_hz > MOST_CHECKED_HZ:
        return how
    return (
        f"{how}; to check its length, leave its far end open: by itself it then reads as a short "
        f"circuit at {quarter_hz / 1e6:.4g} MHz"
    )
