"""The panel about one cable: why it turns a capacitor into an inductor."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from rfcal import defaults
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.line import Line
from rfcal.record.results import Device
from rfcal.report.figures import chart, style
from rfcal.uncertainty import words
from rfcal.workbook.panel import ONE_OHM, POINTS, Panel, Slider, chart_and_axes, place_of, started

SLIDERS = (
    Slider("frequency", "frequency", "MHz", 1.0, 200.0, 1.0, 52.0),
    Slider("length", "cable length", "m", 0.0, 3.0, 0.01, 0.6),
    Slider("velocity_factor", "velocity factor", "", 0.5, 1.0, 0.01, 0.66),
    Slider("z0", "cable impedance", "ohm", 25.0, 300.0, 1.0, 50.0),
    Slider("loss", "loss", "dB per 100 m", 0.0, 300.0, 1.0, 5.0),
    Slider("r", "device R", "ohm", 0.0, 200.0, 0.5, 4.0),
    Slider("x", "device X", "ohm", -200.0, 200.0, 0.5, -30.0),
)

MOST_OHM = 60.0
"""Where the axis of R and X ends at least: the first flip of the device at the start fills it."""


def cable_panel(own: Device | None = None) -> Panel:
    """A device through a cable: the walk round the chart, and R and X along the way."""
    sliders = started(SLIDERS, place_of(own))
    most = max([MOST_OHM, *(2 * abs(s.start) for s in sliders if s.unit == "ohm" and own)])
    figure, left, right = chart_and_axes()
    walk = chart.draw_trace(left, np.zeros(POINTS), role="model", label="along the cable")
    device = chart.draw_trace(left, 0.0, role="truth", label="device")
    seen = chart.draw_trace(left, 0.0, role="raw", label="seen through the cable")
    r_line, x_line = _r_and_x(right, most)
    style.add_legend(figure, left, right)

    def update(frequency, length, velocity_factor, z0, loss, r, x):
        # the loss said is the loss at this frequency: all of it as conductor loss
        line = Line(length, velocity_factor, z0, conductor_db=loss / frequency**0.5)
        f = np.full(POINTS, frequency * 1e6)
        through = line.two_port(f, np.linspace(0, length, POINTS)).bilinear()
        reflection = through.apply(from_impedance(np.full(POINTS, r + 1j * x)))
        z = to_impedance(reflection)
        walk.set_data(reflection.real, reflection.imag)
        device.set_data(reflection[:1].real, reflection[:1].imag)
        seen.set_data(reflection[-1:].real, reflection[-1:].imag)
        r_line.set_ydata(z.real)
        x_line.set_ydata(z.imag)
        return cable_words(frequency * 1e6, r + 1j * x, complex(z[-1]), line)

    return Panel(figure, sliders, update, moving=[walk, device, seen, r_line, x_line], swept=True)


def _r_and_x(ax: Axes, most: float) -> list[Line2D]:
    """Axes for R and X over the share of the cable passed, and the two curves."""
    style.dress(ax, "way along the cable, from the device [%]", "R and X [ohm]")
    ax.set(xlim=(0, 100), ylim=(-most, most))
    ax.axhline(0.0, color=style.TEXT, linewidth=0.8)
    look, share = style.line_look("model", POINTS), np.linspace(0, 100, POINTS)
    lines = ax.plot(share, share, label="R along the cable", **look | {"linestyle": "-"})
    lines += ax.plot(share, share, label="X along the cable", **look | {"linestyle": (0, (3, 2))})
    return lines


def cable_words(frequency_hz: float, impedance: complex, z: complex, line: Line) -> str:
    """What a cable does to a reading of an impedance [ohm], and why its sign flips or not."""
    waves = line.length_m / float(line.wavelength_m(frequency_hz))
    first, last = _nature(impedance), _nature(z)
    chart_of = "The" if line.z0 == defaults.REFERENCE_OHM else f"On a chart of {line.z0:g} ohm the"
    turned = f"{chart_of} reflection has turned {720 * waves:.0f} degrees clockwise, there and back"
    crossed = first != last and bool(impedance.imag * z.imag < 0)
    across = ", across the chart's level axis" if crossed else ""
    still = "still " if first == last else ""
    return (
        f"At {words.mhz(frequency_hz)}, {words.complex_ohm(impedance, ONE_OHM)} through "
        f"{line.length_m:.2f} m ({waves:.3f} wavelengths) reads "
        f"{words.complex_ohm(z, ONE_OHM)}. {turned}{across}: what is {first} {still}reads {last}."
    )


def _nature(z: complex) -> str:
    if abs(z.imag) <= 0.02 * abs(z):
        return "nearly a plain resistance"
    return "inductive" if z.imag > 0 else "capacitive"
