"""Figures of matching networks: schematic, walk on the chart, SWR over frequency."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from rfcal.matching.goal import Goal
from rfcal.matching.network import SECTION, SERIES, Network, NetworkElement
from rfcal.matching.parts import Capacitor, Inductor, Stub
from rfcal.maths.reflection import Complex, Real, from_impedance, swr
from rfcal.record.results import MatchResult, Proposal
from rfcal.report.figures import chart, style

ELEMENT_WIDTH = 2.2
"""Width of one element in the schematic's own units."""
RAIL = 1.5j
"""Where the inner conductor lies: places are x + jy, ground at 0."""
_WIRE: dict[str, Any] = {"color": style.TEXT, "linewidth": 1.4, "solid_capstyle": "round"}


def proposal_figure(result: MatchResult, proposal: Proposal) -> Figure:
    """One network: its schematic above, the walk on the chart and the SWR below."""
    figure = style.new_figure(7.5, 6.4)
    places = figure.subplot_mosaic(
        [["net", "net"], ["walk", "swr"]], height_ratios=(1, 2.1), width_ratios=(1.15, 1)
    )
    draw_schematic(places["net"], proposal.candidate.network)
    ohm = result.request.target_ohm
    chart.draw_grid(places["walk"], z_ref=ohm)
    draw_walk(places["walk"], proposal.candidate.network, result.goal, ohm)
    made = {"ideal parts": proposal.candidate.ideal_swr, "parts that exist": proposal.candidate.swr}
    _draw_swr(places["swr"], result.goal, made)
    return style.add_legend(figure)


def draw_schematic(ax: Axes, network: Network) -> None:
    """A network in plain lines, the transmitter's side on the left, the load on the right."""
    ax.set_axis_off()
    width = ELEMENT_WIDTH * (len(network.elements) + 1)
    ax.set(xlim=(-1.9, width + 1.9), ylim=(-0.7, 2.6), aspect="equal")
    _wire(ax, -0.6 + RAIL, 0.4 + RAIL)
    _words(ax, -0.75 + RAIL / 2, "to the\ntransmitter", ha="right", va="center")
    at = 0.4
    for element in network.elements:
        _draw_element(ax, element, at)
        at += ELEMENT_WIDTH
    # round through the load, whose box lies on the wire
    _wire(ax, at + RAIL, width + 0.1 + RAIL, width + 0.1, -0.6)
    _box(ax, width + 0.1 + RAIL / 2, 0.22 + 0.35j)
    _words(ax, width + 0.5 + RAIL / 2, "load", ha="left", va="center")


def _draw_element(ax: Axes, element: NetworkElement, at: float) -> None:
    """One element from `at` to one step further, its name and value beside it."""
    label = f"{element.name}\n{element.in_words()}".replace(" of ", "\nof ")
    middle, section = at + ELEMENT_WIDTH / 2, element.place == SECTION
    if section or element.place == SERIES:
        centre, turn, reach = middle + RAIL, 1 + 0j, ELEMENT_WIDTH / 2
        _words(ax, centre + (0.25j if section else 0.35j), label, ha="center", va="bottom")
    else:
        centre, turn, reach = middle + RAIL / 2, -1j, RAIL.imag / 2
        _wire(ax, at + RAIL, at + ELEMENT_WIDTH + RAIL)
        ax.plot([middle, middle], [0, RAIL.imag], "o", color=style.TEXT, markersize=3)
        _words(ax, centre + 0.42, label, ha="left", va="center")
    for side in (turn, -turn):
        _wire(ax, *(centre + side * np.array([0.5, reach])))
        if isinstance(element.part, Capacitor):  # a lead and a plate
            _wire(ax, *(centre + side * np.array([0.5, 0.09, 0.09 + 0.3j, 0.09 - 0.3j])))
    if section:
        _box(ax, centre, 0.7 + 0.14j)
    elif isinstance(element.part, Stub):
        _box(ax, centre, turn * (0.5 + 0.2j))
        how = {"rotation": 0 if turn == 1 else 90, "fontsize": 8}
        _words(ax, centre, element.part.end, ha="center", va="center", **how)
    elif isinstance(element.part, Inductor):
        along = np.linspace(-0.5, 0.5, 60)
        _wire(ax, *(centre + turn * (along + 0.22j * np.abs(np.sin(4 * np.pi * (along + 0.5))))))


def _wire(ax: Axes, *corners: complex) -> None:
    ax.plot(np.real(corners), np.imag(corners), **_WIRE)


def _box(ax: Axes, centre: complex, half: complex) -> None:
    """A box about a point, with its half width and height."""
    size = np.abs([half.real, half.imag])
    box = Rectangle((centre.real - size[0], centre.imag - size[1]), *2 * size, zorder=3)
    box.set(facecolor=style.WHITE, edgecolor=style.TEXT, linewidth=1.4)
    ax.add_patch(box)


def _words(ax: Axes, at: complex, text: str, **how: Any) -> None:
    look: dict[str, Any] = {"fontsize": 10, "color": style.TEXT, "zorder": 4, "linespacing": 1.25}
    ax.text(at.real, at.imag, text, **look | how)


def walk(network: Network, frequency_hz: float, load: complex, z_ref: float) -> list[Complex]:
    """Reflections on the way from a load [ohm] to the input, each element growing from nothing.

    One array of shape (41,) for each element, in `z_ref` [ohm], the load's end first.
    """
    f, share = np.array([frequency_hz]), np.linspace(0, 1, 41)[:, None]
    joints = pairwise(network.states(f, np.array([load])))
    ways = []
    for element, (near, far) in zip(network.elements, joints, strict=True):
        if element.place == SECTION:
            volt, ampere = element.with_value(share * element.value).source_side(f, far)
        else:
            volt, ampere = (b + share * (a - b) for a, b in zip(near, far, strict=True))
        ways.append(((volt - z_ref * ampere) / (volt + z_ref * ampere))[:, 0])
    return ways[::-1]


def draw_walk(ax: Axes, network: Network, goal: Goal, z_ref: float) -> None:
    """The way of a goal's load through a network, on the chart of a reference impedance [ohm]."""
    way = np.concatenate(walk(network, goal.centre_hz, goal.centre_load(), z_ref))
    chart.draw_trace(ax, way, role="model", label="through the parts")
    chart.draw_trace(ax, way[0], role="corrected", label="load")
    chart.draw_trace(ax, way[-1], role="truth", label="seen by the transmitter")


def built_figure(result: MatchResult) -> Figure:
    """The SWR that was promised, and the one that was measured after building."""
    figure = style.new_figure(6.5, 4.0)
    ax, after = figure.subplots(), result.after
    assert after is not None
    _draw_swr(ax, result.goal, {"promised": after.made.candidate.swr, "built": after.found_swr})
    return style.add_legend(figure)


def _draw_swr(ax: Axes, goal: Goal, with_network: Mapping[str, Real]) -> None:
    """SWR over the band and about it: without a network, as designed, and as it is."""
    style.dress(ax, "frequency [MHz]", "SWR [1]")
    (low, high), near = goal.band_hz, goal.near
    megahertz = goal.frequency[near] / 1e6
    ways = {"no network": swr(from_impedance(goal.load, goal.target_ohm)), **with_network}
    roles: tuple[str | int, ...] = ("raw", 1, "corrected")
    for role, (label, values) in zip(roles, ways.items(), strict=True):
        style.draw_curve(ax, megahertz, np.minimum(values[near], 99), role, label)
    if high > low:
        ax.axvspan(low / 1e6, high / 1e6, facecolor=style.GRID, alpha=0.4, zorder=0)
    ax.axhline(goal.target_swr, color=style.MUTED, linewidth=0.9, linestyle=(0, (2, 3)))
    ax.set_ylim(1, max(3.0, min(float(values[near].max()) * 1.2, 10.0)))
    for curve in ax.lines:
        if np.min(curve.get_ydata()) > ax.get_ylim()[1]:
            curve.set_label("_beyond")  # of what is not drawn the legend says nothing
    style.mark_beyond(ax)
