"""What the pictures of several panels share: a chart with axes, one curve kept and one moving."""

from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from rfcal import defaults
from rfcal.maths.reflection import Complex, Real, to_impedance
from rfcal.record.results import Device
from rfcal.report.figures import chart, style

POINTS = 401
"""Points of a curve that is reckoned, not measured."""

ONE_OHM = np.ones(2)
"""Half-widths of R and X [ohm] that print both with one decimal."""


LEAST_OHM = 0.1
"""A slider of R starts at this at least: no device gives power."""


def place_of(device: Device | None) -> dict[str, float]:
    """Frequency [MHz], R and X [ohm] from which sliders start for a device; none without one."""
    if device is None or not np.isfinite(z := complex(device.impedance.value[device.answer])):
        return {}
    megahertz = float(device.frequency[device.answer]) / 1e6
    return {"frequency": megahertz, "r": max(z.real, LEAST_OHM), "x": z.imag}


def chart_and_axes(z_ref: float = defaults.REFERENCE_OHM) -> tuple[Figure, Axes, Axes]:
    """A figure with an empty chart on the left and empty axes on the right."""
    figure = style.new_figure(8.4, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    chart.draw_grid(left, z_ref=z_ref)
    return figure, left, right


def comparison(
    frequency: Real, reflection: Complex, z_ref: float, labels: tuple[str, str], margins: Real
) -> tuple[Figure, list[Line2D], Callable[[Complex], Complex]]:
    """A device on the chart and its R and X over frequency, and beside each a curve that moves.

    Labels are of what stays and of what moves, margins the room above R and X [ohm]. What comes
    third moves the curves to another reflection and gives its impedance [ohm].
    """
    figure = style.new_figure(8.4, 4.4)
    places = figure.subplot_mosaic([["chart", "R"], ["chart", "X"]], width_ratios=(1.1, 1))
    chart.draw_grid(places["chart"], z_ref=z_ref)
    stays, moves = labels
    chart.draw_trace(places["chart"], reflection, role="corrected", label=stays)
    moving = [chart.draw_trace(places["chart"], reflection, role="model", label=moves)]
    megahertz, z = frequency / 1e6, to_impedance(reflection, z_ref)
    for name, part, margin in zip("RX", (z.real, z.imag), margins, strict=True):
        ax = style.dress(places[name], "", f"{name} [ohm]")
        ax.plot(megahertz, part, **style.line_look("corrected", part.size))
        moving += ax.plot(megahertz, part, **style.line_look("model", part.size))
        ax.set_ylim(np.floor(np.min(part) - margin), np.ceil(np.max(part) + margin))
    places["X"].set_xlabel("frequency [MHz]", fontsize=style.SIZE_LABEL, color=style.TEXT)
    places["R"].tick_params(labelbottom=False)
    style.add_legend(figure, places["chart"])

    def move(reflection: Complex) -> Complex:
        impedance = to_impedance(reflection, z_ref)
        for line, part in zip(moving[1:], (impedance.real, impedance.imag), strict=True):
            line.set_data(megahertz, part)
        moving[0].set_data(reflection.real, reflection.imag)
        return impedance

    return figure, moving, move
