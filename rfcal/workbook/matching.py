"""The panel of the notebook about matching: one L section after the sliders."""

from dataclasses import replace

import numpy as np

from rfcal.matching.goal import Goal
from rfcal.matching.ranking import rank
from rfcal.matching.tolerance import Tolerance, production_yield
from rfcal.maths.reflection import from_impedance, swr
from rfcal.record.results import MatchResult, Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.match import walk
from rfcal.report.text import numbers as words
from rfcal.workbook.panel import Panel, Slider

DRAWS = 100
"""Draws for the yield that the panel states: enough for the feel of it."""


def match_panel(results: Results, asked: MatchResult) -> Panel:
    """The best L section for what a record asks to match, of its parts.

    Parameters
    ----------
    results : Results
        A computed record.
    asked : MatchResult
        One of its matches, whose sweep must have several points: where the sliders start.

    Returns
    -------
    Panel
        Sliders for frequency, half the band, Q of the coils, target and tolerance.
    """
    request = asked.request
    device = results.device(request.measurement)
    f, z = device.frequency, device.impedance.value
    figure = style.new_figure(8.4, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    chart.draw_grid(left, z_ref=device.z_ref)
    way = chart.draw_trace(left, np.zeros(82), role="model", label="through the parts")
    load = chart.draw_trace(left, 0.0, role="corrected", label="device")
    seen = chart.draw_trace(left, 0.0, role="truth", label="seen by the transmitter")
    style.dress(right, "frequency [MHz]", "SWR [1]")
    right.set(xlim=(f[0] / 1e6, f[-1] / 1e6), ylim=(1, 3))
    raw = swr(from_impedance(z, device.z_ref))
    right.plot(f / 1e6, raw, label="device without network", **style.line_look("raw", f.size))
    (curve,) = right.plot(f / 1e6, raw, label="with it", **style.line_look("model", f.size))
    look = style.line_look("uncertainty", f.size)
    (worse,) = right.plot(f / 1e6, raw, label="one network in twenty is above", **look)
    edges = [right.axvline(0, color=style.MUTED, linewidth=0.9) for _ in range(2)]
    style.add_legend(figure, right)

    def update(frequency, half_band, q, target, tolerance):
        centre = frequency * 1e6
        band = max(centre - half_band * 1e3, f[0]), min(centre + half_band * 1e3, f[-1])
        goal = Goal(f, z, centre, band, target)
        stock = replace(request.stock, inductor_q=q)
        best = rank(goal, stock=stock, topologies=("L",)).candidates[0]
        off, rng = Tolerance(tolerance / 100), np.random.default_rng(1)
        made = production_yield(goal, best.network, tolerance=off, rng=rng, draws=DRAWS)
        many = swr(off.draw(best.network, rng, DRAWS).seen(f, z, z_ref=target))
        worse.set_data(f / 1e6, np.minimum(np.quantile(many, 0.95, axis=0), 99))
        path = np.concatenate(walk(best.network, centre, goal.centre_load(), device.z_ref))
        way.set_data(path.real, path.imag)
        load.set_data(path[:1].real, path[:1].imag)
        seen.set_data(path[-1:].real, path[-1:].imag)
        curve.set_data(f / 1e6, np.minimum(best.swr, 99))
        for edge, at in zip(edges, band, strict=True):
            edge.set_xdata([at / 1e6, at / 1e6])
        parts = ", ".join(f"{e.place} {e.in_words()}" for e in best.network.elements)
        return (
            f"For {words.mhz(centre)} and {half_band:g} kHz on both sides, to {target:g} ohm: "
            f"{parts}, from the transmitter's side. Worst SWR {min(best.worst_swr, 99):.2f}, loss "
            f"{best.loss_db:.2f} dB; with parts within {tolerance:g} %, {made.parts:.0%} of such "
            "networks hold SWR 1.5."
        )

    low, high = np.round([f[0] / 1e6, f[-1] / 1e6], 3)
    width = max((high - low) * 1e3 / 2, 1.0)
    half = (request.band_hz[1] - request.band_hz[0]) / 2e3
    sliders = [
        Slider("frequency", "frequency", "MHz", low, high, 0.01, round(request.centre_hz / 1e6, 2)),
        Slider("half_band", "half the band", "kHz", 0.0, width, 10.0, round(half, -1)),
        Slider("q", "Q of the coils", "", 20.0, 500.0, 5.0, request.stock.inductor_q),
        Slider("target", "target", "ohm", 12.0, 200.0, 1.0, round(request.target_ohm)),
        Slider("tolerance", "tolerance of the parts", "%", 0.0, 20.0, 0.5, 100 * request.tolerance),
    ]
    return Panel(figure, sliders, update, moving=[way, load, seen, curve, worse, *edges])
