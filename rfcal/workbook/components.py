"""The panel of the notebook about parts: a coil's circuit beside what was measured."""

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from rfcal.components.circuits import CIRCUITS
from rfcal.maths.reflection import Real, to_impedance
from rfcal.record.results import Part
from rfcal.report.figures import style
from rfcal.uncertainty.coverage import K_AXIS
from rfcal.workbook.panel import Panel, Slider

FLOOR = 1e-4
"""No residual is drawn below this [1]."""


def coil_panel(part: Part) -> Panel:
    """A coil's measured impedance, and that of inductance, own capacitance and loss by sliders."""
    sweep, own = part.verdict.sweep, part.verdict.sweep.scale
    megahertz, measured = sweep.frequency / 1e6, sweep.reflection.value
    half = K_AXIS * np.sqrt(sweep.reflection.variance())
    figure, curve, off = _drawn(megahertz, np.abs(to_impedance(measured, sweep.z_ref)), half)

    def update(microhenry, picofarad, loss):
        x = own.middle * microhenry * 1e-6 / own.z_ref
        b = own.middle * picofarad * 1e-12 * own.z_ref
        # skin resistance goes with the root of frequency
        p = np.array([x, b, loss / np.sqrt(own.answer) / own.z_ref])
        reflection = CIRCUITS["coil"].reflection(sweep.u, p)
        residual = np.abs(reflection - measured)
        curve.set_data(megahertz, np.abs(to_impedance(reflection, sweep.z_ref)))
        off.set_data(megahertz, np.maximum(residual, FLOOR))
        at = 1 / (2 * np.pi * np.sqrt(microhenry * picofarad * 1e-18)) / 1e6
        within = np.mean(residual <= np.sqrt(2) * half)
        return (
            f"{microhenry:.3g} µH with {picofarad:.3g} pF resonates at {at:.3g} MHz; with "
            f"{loss:.2g} ohm at {megahertz[sweep.answer]:.4g} MHz it leaves "
            f"{np.sqrt(np.mean(residual**2)):.2g} of the reflection; {within:.0%} of the points "
            "fit within their own uncertainty."
        )

    found = {k: float(v.value[0]) for k, v in part.verdict.figures.items()}
    ohm = round(found["resistance"], 1)
    henry = _around(found["inductance"] * 1e6, 0.01)
    farad = _around(found["self_capacitance"] * 1e12, 0.02)
    sliders = [
        Slider("microhenry", "inductance", "µH", *henry),
        Slider("picofarad", "own capacitance", "pF", *farad),
        Slider("loss", "loss resistance", "ohm", 0.0, max(20.0, 2 * ohm), 0.1, ohm),
    ]
    return Panel(figure, sliders, update, moving=[curve, off])


def _drawn(megahertz: Real, size: Real, half: Real) -> tuple[Figure, Line2D, Line2D]:
    """The size of impedance, what the sliders leave, and the curve that moves in each."""
    figure = style.new_figure(9.0, 4.4)
    left, right = figure.subplots(1, 2)
    style.dress(left, "frequency [MHz]", "|Z| [ohm]")
    style.dress(right, "frequency [MHz]", "reflection left [1]")
    left.plot(megahertz, size, label="measured", **style.line_look("corrected", megahertz.size))
    look = style.line_look("model", megahertz.size)
    (curve,) = left.plot(megahertz, size, label="by the sliders", **look)
    left.set(yscale="log", ylim=(size.min() / 2, size.max() * 3))
    known = style.line_look("uncertainty", megahertz.size)
    right.plot(megahertz, half, label="95 % of one axis", **known)
    look = style.plain_look(0, megahertz.size)
    (off,) = right.plot(megahertz, half, label="left by the sliders", **look)
    right.set(yscale="log", ylim=(FLOOR, 2.0))
    style.add_legend(figure, left, right)
    return figure, curve, off


def _around(value: float, step: float) -> tuple[float, float, float, float]:
    """Low end, high end, step and start of a slider about a value."""
    start = round(value / step) * step
    return round(start / 2 / step) * step, round(start * 2 / step) * step, step, start
