"""The panel of the notebook about matching: one L section after the sliders."""

from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from rfcal.findings import swr_words
from rfcal.matching.goal import Goal
from rfcal.matching.ranking import rank
from rfcal.matching.tolerance import as_built, production_yield
from rfcal.maths.reflection import Real, from_impedance, swr
from rfcal.record.format.match import MatchRequest
from rfcal.record.results import MatchResult, Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.match import walk
from rfcal.uncertainty import words
from rfcal.workbook.panel import Panel, Slider, chart_and_axes

DRAWS = 100
"""Draws for the yield that the panel states: enough for the feel of it."""

LARGE = 10.0
"""Where the axis of SWR ends at most."""


def match_panel(results: Results, asked: MatchResult) -> Panel:
    """The best L section for a match of a record, of its parts; its sliders start from there."""
    request, device = asked.request, results.device(asked.request.measurement)
    f, z = device.frequency, device.impedance.value
    figure, left, right = chart_and_axes(device.z_ref)
    way, load, seen = _way(left)
    curve, worse, *edges = _curves(right, f, swr(from_impedance(z, device.z_ref)))
    style.add_legend(figure, left, right)

    def update(q, target, tolerance, frequency=f[0] / 1e6, half_band=0.0):
        centre, reach = frequency * 1e6, half_band * 1e3
        goal = Goal(f, z, centre, (max(centre - reach, f[0]), min(centre + reach, f[-1])), target)
        stock = replace(request.stock, inductor_q=q, tolerance=tolerance / 100)
        best = rank(goal, stock=stock, topologies=("L",)).candidates[0]
        rng = np.random.default_rng(1)
        made = production_yield(goal, best.network, stock, rng, draws=DRAWS)
        share = words.share_words(made.both, made.standard_uncertainty)
        many = swr(as_built(best.network, stock, rng, DRAWS).seen(f, z, z_ref=target))
        worse.set_data(f / 1e6, np.quantile(many, 0.95, axis=0))
        path = np.concatenate(walk(best.network, centre, goal.centre_load(), device.z_ref))
        way.set_data(path.real, path.imag)
        load.set_data(path[:1].real, path[:1].imag)
        seen.set_data(path[-1:].real, path[-1:].imag)
        curve.set_data(f / 1e6, best.swr)
        for edge, at in zip(edges, goal.band_hz, strict=True):
            edge.set_xdata([at / 1e6, at / 1e6])
        parts = ", ".join(f"{e.place} {e.in_words()}" for e in best.network.elements)
        beside = f" and {half_band:g} kHz on both sides" if half_band else ""
        return (
            f"For {words.mhz(centre)}{beside}, to {target:g} ohm: "
            f"{parts}, from the transmitter's side. Worst SWR {swr_words(best.worst_swr)}, "
            f"loss {best.loss_db:.2g} dB; with parts within {tolerance:g} %, {share} of "
            "such networks hold SWR 1.5."
        )

    sliders = _sliders(request, f)
    return Panel(figure, sliders, update, moving=[way, load, seen, curve, worse, *edges])


def _way(ax: Axes) -> tuple[Line2D, Line2D, Line2D]:
    """On the chart: the way through the parts, where it begins, and where it ends."""
    return (
        chart.draw_trace(ax, np.zeros(82), role="model", label="through the parts"),
        chart.draw_trace(ax, 0.0, role="corrected", label="device"),
        chart.draw_trace(ax, 0.0, role="truth", label="seen by the transmitter"),
    )


def _curves(ax: Axes, frequency: Real, raw: Real) -> list[Line2D]:
    """SWR with the network, and of one in twenty built of worse parts; the edges of the band."""
    style.dress(ax, "frequency [MHz]", "SWR [1]")
    megahertz = frequency / 1e6
    beside = 0.0 if megahertz.size > 1 else 0.1  # of a single point
    ax.set(
        xlim=(megahertz[0] - beside, megahertz[-1] + beside),
        ylim=(1, np.clip(np.ceil(raw.max()), 3, LARGE)),
    )
    looks = {
        name: style.line_look(name, frequency.size) for name in ("raw", "model", "uncertainty")
    }
    ax.plot(megahertz, raw, label="device without network", **looks["raw"])
    lines = ax.plot(megahertz, raw, label="with it", **looks["model"])
    lines += ax.plot(megahertz, raw, label="one network in twenty is above", **looks["uncertainty"])
    return lines + [ax.axvline(0, color=style.MUTED, linewidth=0.9) for _ in range(2)]


def _sliders(request: MatchRequest, frequency: Real) -> list[Slider]:
    low, high = np.round([frequency[0] / 1e6, frequency[-1] / 1e6], 3)
    width = (high - low) * 1e3 / 2
    centre, half = request.centre_hz / 1e6, (request.band_hz[1] - request.band_hz[0]) / 2e3
    parts = 100 * request.stock.tolerance
    where = [
        Slider("frequency", "frequency", "MHz", low, high, 0.01, round(centre, 2)),
        Slider("half_band", "half the band", "kHz", 0.0, width, 10.0, round(half, -1)),
    ]
    return where * (frequency.size > 1) + [
        Slider("q", "Q of the coils", "", 20.0, 500.0, 5.0, request.stock.inductor_q),
        Slider("target", "target", "ohm", 12.0, 200.0, 1.0, round(request.target_ohm)),
        Slider("tolerance", "tolerance", "%", 0.0, 20.0, 0.5, parts),
    ]
