"""Panels about a record's device: other standards, another line taken away, a match, a part."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from rfcal.components.circuits import CIRCUITS
from rfcal.findings import swr_words
from rfcal.matching.goal import Goal
from rfcal.matching.ranking import rank
from rfcal.matching.tolerance import as_built, production_yield
from rfcal.maths.reflection import Complex, Real, from_impedance, swr, to_impedance
from rfcal.measurement import propagate
from rfcal.measurement.deembedding import LineByFigures
from rfcal.models.line import Line
from rfcal.record.format.match import MatchRequest
from rfcal.record.job.whatif import corrected_with
from rfcal.record.results import Device, MatchResult, Part, Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.match import draw_walk
from rfcal.uncertainty import words
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.workbook.panel import Panel, Slider, chart_and_axes

SLIDERS = (
    Slider("load", "loads off by", "ohm", -10.0, 10.0, 0.1, 4.0),
    Slider("capacitance", "opens off by", "fF", -50.0, 500.0, 10.0, 0.0),
    Slider("inductance", "shorts off by", "nH", -0.3, 3.0, 0.1, 0.0),
)


def standards_panel(results: Results, name: str) -> Panel:
    """A corrected device, and what it would be if the standards were otherwise."""

    def moved(load, capacitance, inductance):
        strays = {"open_farad": capacitance * 1e-15, "short_henry": inductance * 1e-9}
        return corrected_with(results, name, load_ohm=load, **strays)

    labels = "standards as recorded", "standards as the sliders say"
    return _panel(results.device(name), slice(None), labels, SLIDERS, moved)


def plane_panel(results: Results, name: str, line: Line) -> Panel:
    """A device behind a line taken away by its own sweeps, and by figures that start from `line`.

    The measurement of that name must have a path.
    """
    device = results.device(name)
    inputs, f, at = device.inputs, device.frequency, device.answer
    near = np.flatnonzero(np.abs(f - f[at]) <= NEAR * f[at])
    part = slice(int(near[0]), int(near[-1]) + 1)
    seen = propagate.at_plane(inputs.calibration, inputs.reading, inputs.connection).value[part]
    cable = LineByFigures(f[part], line, device.z_ref)
    place, speed, ohm = round(line.length_m, 2), round(line.velocity_factor, 3), round(line.z0, 1)
    fastest = min(speed + 0.05, 1.0)
    sliders = (
        # a start that is off shows what a length does
        Slider("length", "length", "m", max(place - 0.5, 0.0), place + 0.5, 0.01, place + 0.1),
        Slider("velocity_factor", "velocity factor", "", speed - 0.05, fastest, 0.001, speed),
        Slider("z0", "impedance", "ohm", ohm - 6.0, ohm + 6.0, 0.1, ohm),
        Slider("loss", "loss, of stated", "%", 50.0, 150.0, 1.0, 100.0),
    )

    def moved(length, velocity_factor, z0, loss):
        figures: list[Any] = [length, velocity_factor, z0, loss / 100, line.skin]
        return cable.bilinear(figures).correct(seen)

    labels = "line taken away by its own sweeps", "line taken away by figures"
    return _panel(device, part, labels, sliders, moved)


NEAR = 0.1
"""How far from the answer's frequency `plane_panel` shows a sweep, in parts of it."""
ROOM = 0.2
"""Room above and below R and X, in parts of the largest impedance."""


def _panel(
    device: Device,
    part: slice,
    labels: tuple[str, str],
    sliders: Sequence[Slider],
    moved: Callable[..., Complex],
) -> Panel:
    """Part of a device's sweep, and beside it what `moved` makes of its reflection."""
    megahertz, at, z = device.frequency[part] / 1e6, device.answer, device.impedance.value
    half, shown = device.expanded_uncertainty()[at], z[part]
    figure = style.new_figure(8.4, 4.4)
    places = figure.subplot_mosaic([["chart", "R"], ["chart", "X"]], width_ratios=(1.1, 1))
    chart.draw_grid(places["chart"], z_ref=device.z_ref)

    def curves(role, label, reflection, z):
        chart.draw_trace(places["chart"], reflection, role=role, label=label)
        for name, size in (("R", z.real), ("X", z.imag)):
            style.draw_curve(places[name], megahertz, size, role, f"{name}, {label}")

    curves("corrected", labels[0], device.reflection.value[part], shown)
    room = ROOM * np.max(np.abs(shown)) + 2
    for name, size, below in (("R", shown.real, ""), ("X", shown.imag, "frequency [MHz]")):
        style.dress(places[name], below, f"{name} [ohm]")
        places[name].set_ylim(np.floor(size.min() - room), np.ceil(size.max() + room))
    places["R"].tick_params(labelbottom=False)

    def draw(**values):
        reflection = moved(**values)
        there = to_impedance(reflection, device.z_ref)
        curves("model", labels[1], reflection, there)
        off = there[at - (part.start or 0)] - z[at]
        moves = f"R moves by {off.real:+.2f} ohm and X by {off.imag:+.2f} ohm"
        known = f"the 95 % half-widths are {half[0]:.2g} and {half[1]:.2g} ohm"
        return f"At {words.mhz(device.frequency[at])}, {moves}; {known}."

    return Panel(figure, sliders, draw, legend=[places["chart"]], swept=True)


PANEL_DRAWS = 100
"""Draws for the yield that the panel states: enough for the feel of it."""

LARGE = 10.0
"""Where the axis of SWR ends at most."""


def match_panel(results: Results, asked: MatchResult) -> Panel:
    """The best L section for a match of a record, of its parts; its sliders start from there."""
    request, device = asked.request, results.device(asked.request.measurement)
    f, z = device.frequency, device.impedance.value
    figure, left, right = chart_and_axes("frequency [MHz]", "SWR [1]", device.z_ref)
    _draw_without(right, f / 1e6, swr(from_impedance(z, device.z_ref)))

    def draw(q, target, tolerance, frequency=f[0] / 1e6, half_band=0.0):
        centre, reach = frequency * 1e6, half_band * 1e3
        goal = Goal(f, z, centre, (max(centre - reach, f[0]), min(centre + reach, f[-1])), target)
        stock = replace(
            request.stock, inductor_q=q, tolerance=tolerance / 100, wound_tolerance=None
        )
        best = rank(goal, stock=stock, topologies=("L",)).candidates[0]
        rng = np.random.default_rng(1)
        made = production_yield(goal, best.network, stock, rng, draws=PANEL_DRAWS)
        share = words.share_words(made.both, made.standard_uncertainty)
        many = swr(as_built(best.network, stock, rng, PANEL_DRAWS).seen(f, z, z_ref=target))
        draw_walk(left, best.network, goal, device.z_ref)
        worst = np.quantile(many, 0.95, axis=0)
        style.draw_curve(right, f / 1e6, best.swr, "model", "with it")
        style.draw_curve(right, f / 1e6, worst, "uncertainty", "one network in twenty is above")
        for at in goal.band_hz:
            right.axvline(at / 1e6, color=style.MUTED, linewidth=0.9)
        parts = ", ".join(f"{e.place} {e.in_words()}" for e in best.network.elements)
        beside = f" and {half_band:g} kHz on both sides" if half_band else ""
        return (
            f"For {words.mhz(centre)}{beside}, to {target:g} ohm: "
            f"{parts}, from the transmitter's side. Worst SWR {swr_words(best.worst_swr)}, "
            f"loss {best.loss_db:.2g} dB; with parts within {tolerance:g} %, {share} of "
            "such networks hold SWR 1.5."
        )

    return Panel(figure, _sliders(request, f), draw)


def _draw_without(ax: Axes, megahertz: Real, raw: Real) -> None:
    """SWR of a device without a network, and room for that with one."""
    beside = 0.0 if megahertz.size > 1 else 0.1  # of a single point
    ax.set(
        xlim=(megahertz[0] - beside, megahertz[-1] + beside),
        ylim=(1, np.clip(np.ceil(raw.max()), 3, LARGE)),
    )
    style.draw_curve(ax, megahertz, raw, "raw", "device without network")


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


FLOOR = 1e-4
"""No residual is drawn below this [1]."""


def coil_panel(part: Part) -> Panel:
    """A coil's measured impedance, and that of inductance, own capacitance and loss by sliders."""
    sweep, own = part.verdict.sweep, part.verdict.sweep.scale
    megahertz, measured = sweep.frequency / 1e6, sweep.reflection.value
    half = K_AXIS * np.sqrt(sweep.reflection.variance())
    size = np.abs(to_impedance(measured, sweep.z_ref))
    figure = style.new_figure(9.0, 4.4)
    left, right = figure.subplots(1, 2)
    style.dress(left, "frequency [MHz]", "|Z| [ohm]")
    style.dress(right, "frequency [MHz]", "reflection left [1]")
    style.draw_curve(left, megahertz, size, "corrected", "measured")
    left.set(yscale="log", ylim=(size.min() / 2, size.max() * 3))
    style.draw_curve(right, megahertz, half, "uncertainty", "95 % of one axis")
    right.set(yscale="log", ylim=(FLOOR, 2.0))

    def draw(microhenry, picofarad, loss):
        x = own.middle * microhenry * 1e-6 / own.z_ref
        b = own.middle * picofarad * 1e-12 * own.z_ref
        # skin resistance goes with the root of frequency
        p = np.array([x, b, loss / np.sqrt(own.answer) / own.z_ref])
        reflection = CIRCUITS["coil"].reflection(sweep.u, p)
        residual, size = np.abs(reflection - measured), np.abs(to_impedance(reflection, own.z_ref))
        style.draw_curve(left, megahertz, size, "model", "by the sliders")
        style.draw_curve(right, megahertz, np.maximum(residual, FLOOR), 0, "left by the sliders")
        at = 1 / (2 * np.pi * np.sqrt(microhenry * picofarad * 1e-18)) / 1e6
        within = np.mean(residual <= np.sqrt(2) * half)
        return (
            f"{microhenry:.3g} µH with {picofarad:.3g} pF resonates at {at:.3g} MHz; with "
            f"{loss:.2g} ohm at {megahertz[sweep.answer]:.4g} MHz it leaves "
            f"{np.sqrt(np.mean(residual**2)):.2g} of the reflection; {within:.0%} of the points "
            "fit within their own uncertainty."
        )

    found = {k: float(v.value[0]) for k, v in part.verdict.figures.items()}
    ohm, farad = round(found["resistance"], 1), found["self_capacitance"]
    sliders = [
        Slider("microhenry", "inductance", "µH", *_around(found["inductance"] * 1e6, 0.01)),
        Slider("picofarad", "own capacitance", "pF", *_around(farad * 1e12, 0.02)),
        Slider("loss", "loss resistance", "ohm", 0.0, max(20.0, 2 * ohm), 0.1, ohm),
    ]
    return Panel(figure, sliders, draw)


def _around(value: float, step: float) -> tuple[float, float, float, float]:
    """Low end, high end, step and start of a slider about a value."""
    start = round(value / step) * step
    return round(start / 2 / step) * step, round(start * 2 / step) * step, step, start
