"""Figures of matching networks: schematic, walk on the chart, SWR over frequency."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rfcal.matching.element import SERIES, NetworkElement
from rfcal.matching.goal import Goal
from rfcal.matching.network import Network
from rfcal.matching.parts import Capacitor, Stub
from rfcal.maths.reflection import Complex, Real, from_impedance, swr
from rfcal.record.results import MatchResult, Proposal
from rfcal.report.figures import chart, style

ELEMENT_WIDTH = 2.2
"""Width of one element in the schematic's own units; wires are 1.5 apart from rail to rail."""
RAIL, GROUND = 1.5, 0.0
_WIRE: dict[str, Any] = {"color": style.TEXT, "linewidth": 1.4, "solid_capstyle": "round"}


def proposal_figure(result: MatchResult, proposal: Proposal) -> Figure:
    """One network: its schematic above, the walk on the chart and the SWR below."""
    figure = style.new_figure(7.5, 6.4)
    places = figure.subplot_mosaic(
        [["net", "net"], ["walk", "swr"]], height_ratios=(1, 2.1), width_ratios=(1.15, 1)
    )
    draw_schematic(places["net"], proposal.candidate.network)
    _draw_walk(places["walk"], result, proposal.candidate.network)
    made = {"ideal parts": proposal.candidate.ideal_swr, "parts that exist": proposal.candidate.swr}
    _draw_swr(places["swr"], result.goal, made)
    style.add_legend(figure, places["walk"], places["swr"])
    return figure


def draw_schematic(ax: Axes, network: Network) -> Axes:
    """A network in plain lines, the transmitter's side on the left, the load on the right."""
    ax.set_axis_off()
    width = ELEMENT_WIDTH * (len(network.elements) + 1)
    ax.set(xlim=(-1.9, width + 1.9), ylim=(-0.7, 2.6), aspect="equal")
    _wire(ax, (-0.6, RAIL), (0.4, RAIL))
    _words(ax, -0.75, (RAIL + GROUND) / 2, "to the\ntransmitter", ha="right", va="center")
    at = 0.4
    for element in network.elements:
        middle = at + ELEMENT_WIDTH / 2
        _draw_element(ax, element, at, middle)
        at += ELEMENT_WIDTH
    # round through the load, whose box lies on the wire
    _wire(ax, (at, RAIL), (width + 0.1, RAIL), (width + 0.1, GROUND), (-0.6, GROUND))
    ax.add_patch(_box(width - 0.12, GROUND + 0.4, 0.44, RAIL - GROUND - 0.8))
    _words(ax, width + 0.5, (RAIL + GROUND) / 2, "load", ha="left", va="center")
    return ax


def _draw_element(ax: Axes, element: NetworkElement, at: float, middle: float) -> None:
    """One element between `at` and one step further, its name and value beside it."""
    label = f"{element.name}\n{element.in_words()}".replace(" of ", "\nof ")
    end = at + ELEMENT_WIDTH
    if element.place == "section":
        _wire(ax, (at, RAIL), (end, RAIL))
        ax.add_patch(_box(middle - 0.7, RAIL - 0.14, 1.4, 0.28))
        _words(ax, middle, RAIL + 0.25, label, ha="center", va="bottom")
    elif element.place == SERIES:
        _wire(ax, (at, RAIL), (middle - 0.5, RAIL))
        _wire(ax, (middle + 0.5, RAIL), (end, RAIL))
        _symbol(ax, element, (middle, RAIL), upright=False)
        _words(ax, middle, RAIL + 0.35, label, ha="center", va="bottom")
    else:
        _wire(ax, (at, RAIL), (end, RAIL))
        _wire(ax, (middle, RAIL), (middle, RAIL / 2 + 0.5))
        _wire(ax, (middle, GROUND), (middle, RAIL / 2 - 0.5))
        ax.plot([middle, middle], [RAIL, GROUND], "o", color=style.TEXT, markersize=3)
        _symbol(ax, element, (middle, RAIL / 2), upright=True)
        _words(ax, middle + 0.42, RAIL / 2, label, ha="left", va="center")


def _symbol(
    ax: Axes, element: NetworkElement, centre: tuple[float, float], *, upright: bool
) -> None:
    """A coil, a capacitor or a stub one unit long, lying or standing."""
    if isinstance(element.part, Stub):
        box = (0.4, 1.0) if upright else (1.0, 0.4)
        ax.add_patch(_box(centre[0] - box[0] / 2, centre[1] - box[1] / 2, *box))
        turn = 90 if upright else 0
        _words(ax, *centre, element.part.end, ha="center", va="center", rotation=turn, size=8)
        return
    if isinstance(element.part, Capacitor):
        # a lead and a plate, and the same on the other side
        lead, plate = ([-0.5, -0.09], [0.0, 0.0]), ([-0.09, -0.09], [-0.3, 0.3])
        pieces = [sign * np.array(piece) for piece in (lead, plate) for sign in (1, -1)]
    else:
        along = np.linspace(-0.5, 0.5, 60)
        pieces = [np.array([along, 0.22 * np.abs(np.sin(4 * np.pi * (along + 0.5)))])]
    for piece in pieces:
        x, y = piece[::-1] if upright else piece
        ax.plot(x + centre[0], y + centre[1], **_WIRE)


def _wire(ax: Axes, *corners: tuple[float, float]) -> None:
    ax.plot(*np.transpose(corners), **_WIRE)


def _box(x: float, y: float, width: float, height: float):
    from matplotlib.patches import Rectangle

    return Rectangle(
        (x, y), width, height, facecolor=style.WHITE, edgecolor=style.TEXT, linewidth=1.4, zorder=3
    )


def _words(ax: Axes, x: float, y: float, text: str, *, size: float = 10.0, **how: Any) -> None:
    ax.text(x, y, text, fontsize=size, color=style.TEXT, zorder=4, linespacing=1.25, **how)


def walk(network: Network, frequency_hz: float, load: complex, z_ref: float) -> list[Complex]:
    """Reflections on the way from a load [ohm] to the input, each element growing from nothing.

    One array of shape (41,) for each element, in `z_ref` [ohm], the load's end first.
    """
    f, share = np.array([frequency_hz]), np.linspace(0, 1, 41)
    ways, z = [], load
    for element in reversed(network.elements):
        if element.place == "section":
            assert element.line is not None
            here = element.line.two_port(np.full(41, frequency_hz), share * element.value)
            along = here.input_impedance(z)
        elif element.place == SERIES:
            along = z + share * element.part.impedance(f)[0]
        else:
            along = 1 / (1 / z + share / element.part.impedance(f)[0])
        ways.append(from_impedance(along, z_ref))
        z = complex(along[-1])
    return ways


def _draw_walk(ax: Axes, result: MatchResult, network: Network) -> None:
    target = result.request.target_ohm
    chart.draw_grid(ax, z_ref=target)
    load = result.goal.centre_load()
    way = np.concatenate(walk(network, result.goal.centre_hz, load, target))
    chart.draw_trace(ax, way, role="model", label="through the parts")
    chart.draw_trace(ax, way[0], role="corrected", label="load")
    chart.draw_trace(ax, way[-1], role="truth", label="seen by the transmitter")


def built_figure(result: MatchResult) -> Figure:
    """The SWR that was promised, and the one that was measured after building."""
    figure = style.new_figure(6.5, 4.0)
    ax, after = figure.subplots(), result.after
    assert after is not None
    _draw_swr(ax, result.goal, {"promised": after.promised_swr, "built": after.found_swr})
    style.add_legend(figure, ax)
    return figure


def _draw_swr(ax: Axes, goal: Goal, with_network: Mapping[str, Real]) -> None:
    """SWR over the band and about it: without a network, as designed, and as it is."""
    style.dress(ax, "frequency [MHz]", "SWR [1]")
    low, high = goal.band_hz
    near = np.abs(goal.frequency - goal.centre_hz) <= max(1.5 * (high - low), 0.02 * high)
    if near.sum() < 3:
        near[:] = True
    megahertz = goal.frequency[near] / 1e6
    ways = {"no network": swr(from_impedance(goal.load, goal.target_ohm)), **with_network}
    raw, made = (style.line_look(role, near.size) for role in ("raw", "corrected"))
    looks = (raw, style.plain_look(1, near.size), made)
    for (label, values), look in zip(ways.items(), looks, strict=True):
        ax.plot(megahertz, np.minimum(values[near], 99), label=label, **look)
    if high > low:
        ax.axvspan(low / 1e6, high / 1e6, facecolor=style.GRID, alpha=0.4, zorder=0)
    ax.axhline(goal.target_swr, color=style.MUTED, linewidth=0.9, linestyle=(0, (2, 3)))
    ax.set_ylim(1, max(3.0, min(float(values[near].max()) * 1.2, 10.0)))
    style.Beyond(ax).show()
