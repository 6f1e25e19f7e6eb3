"""Panels about a corrected device: with other standards, or with another line taken away."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from rfcal.maths.reflection import Complex, to_impedance
from rfcal.measurement import propagate
from rfcal.measurement.deembedding import LineByFigures
from rfcal.models.line import Line
from rfcal.record.job.whatif import corrected_with
from rfcal.record.results import Device, Results
from rfcal.report.figures import chart, style
from rfcal.uncertainty import words
from rfcal.workbook.panel import Panel, Slider

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
    curves = []
    for role, label in zip(("corrected", "model"), labels, strict=True):
        value = device.reflection.value[part]
        curves = [chart.draw_trace(places["chart"], value, role=role, label=label)]
        for name, size in (("R", shown.real), ("X", shown.imag)):
            look = style.line_look(role, size.size) | {"label": f"{name}, {label}"}
            curves += places[name].plot(megahertz, size, **look)
    room = ROOM * np.max(np.abs(shown)) + 2
    for name, size, below in (("R", shown.real, ""), ("X", shown.imag, "frequency [MHz]")):
        style.dress(places[name], below, f"{name} [ohm]")
        places[name].set_ylim(np.floor(size.min() - room), np.ceil(size.max() + room))
    places["R"].tick_params(labelbottom=False)
    style.add_legend(figure, places["chart"])

    def update(**values):
        reflection = moved(**values)
        there = to_impedance(reflection, device.z_ref)
        curves[0].set_data(reflection.real, reflection.imag)
        curves[1].set_data(megahertz, there.real)
        curves[2].set_data(megahertz, there.imag)
        off = there[at - (part.start or 0)] - z[at]
        return (
            f"At {words.mhz(device.frequency[at])}, R moves by {off.real:+.2f} ohm and X by "
            f"{off.imag:+.2f} ohm; the 95 % half-widths are {half[0]:.2g} and "
            f"{half[1]:.2g} ohm."
        )

    return Panel(figure, sliders, update, moving=curves, swept=True)
