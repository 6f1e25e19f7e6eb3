"""Panels of the notebooks about lines: loss, moving the plane, standing waves, faults."""

from dataclasses import replace
from typing import Any

import numpy as np

from rfcal.feedline.faults import find_events
from rfcal.feedline.power import along, loss_db
from rfcal.maths.reflection import (
    Complex,
    Real,
    from_impedance,
    impedance_circle,
    to_impedance,
)
from rfcal.maths.twoport import TwoPort
from rfcal.measurement import model
from rfcal.measurement.deembedding import Cable
from rfcal.models.line import Line
from rfcal.record.results import Results
from rfcal.report.figures import chart, style
from rfcal.report.text import numbers as words
from rfcal.uncertainty import coverage
from rfcal.workbook.panel import Panel, Slider

POINTS = 401


def blind_panel() -> Panel:
    """What a lossy line leaves of a device: its region on the chart, and what R and X are worth.

    Returns
    -------
    Panel
        Sliders for the line's loss, the doubt about one reading, and the device's R and X.
    """
    figure = style.new_figure(8.4, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    chart.draw_grid(left)
    region = chart.draw_ellipse(left, 0.0, np.eye(2) * 1e-4, label="95 % region of the device")
    device = chart.draw_trace(left, 0.0, role="truth", label="device")
    seen = chart.draw_trace(left, 0.0, role="raw", label="seen through the line, its turn undone")
    style.dress(right, "matched loss of the line, one way [dB]", "half-width of R and X [ohm]")
    right.set(xlim=(0, 15), ylim=(0.1, 1000), yscale="log")
    losses = np.linspace(0, 15, POINTS)
    (curve,) = right.plot(losses, losses + 1, **style.line_look("uncertainty", POINTS))
    (here,) = right.plot([0], [1], color=style.TEXT, marker="o", linestyle="none")
    style.add_legend(figure, left)

    def update(loss, doubt, r, x):
        reflection = from_impedance(r + 1j * x)
        axis = coverage.K_AXIS * doubt
        half = impedance_circle(reflection, axis * 10 ** (2 * losses / 20))[1]
        at = 10 ** (2 * loss / 20)
        radius = coverage.K_ELLIPSE * doubt * at
        device.set_data([reflection.real], [reflection.imag])
        seen.set_data([reflection.real / at], [reflection.imag / at])
        region.set(center=(reflection.real, reflection.imag), width=2 * radius, height=2 * radius)
        curve.set_data(losses, half)
        here.set_data([loss], [impedance_circle(reflection, axis * at)[1]])
        if radius >= abs(1 - reflection):
            known = "R and X have no bound: the region reaches an open"
        else:
            known = "R = {} and X = {} ohm".format(*_known(r, x, axis * at))
        return (
            f"A line of {loss:.1f} dB takes {2 * loss:.1f} dB there and back, so a doubt of "
            f"{doubt:g} about the reading is one of {doubt * at:.2g} about the device: {known}; "
            f"without the line, R = {_known(r, x, axis)[0]} ohm."
        )

    sliders = [
        Slider("loss", "matched loss, one way", "dB", 0.0, 15.0, 0.1, 6.0),
        Slider("doubt", "doubt of one reading", "", 0.0005, 0.02, 0.0005, 0.005),
        Slider("r", "device R", "ohm", 1.0, 500.0, 1.0, 30.0),
        Slider("x", "device X", "ohm", -300.0, 300.0, 1.0, -20.0),
    ]
    return Panel(figure, sliders, update, moving=[region, device, seen, curve, here])


def _known(r: float, x: float, radius: float) -> tuple[str, str]:
    """R and X of a passive device whose reflection is known to so much in every direction."""
    centre, reach = impedance_circle(from_impedance(r + 1j * x), radius)
    (r_low, r_high), (x_low, x_high) = (
        (float(part - reach), float(part + reach)) for part in (centre.real, centre.imag)
    )
    return (
        words.value_words(r, max(r_low, 0.0), r_high, least=0.0),
        words.value_words(x, x_low, x_high),
    )


def plane_panel(results: Results, name: str, line: Line) -> Panel:
    """A device behind a line that was taken away by its own sweeps, and by figures instead.

    Parameters
    ----------
    results : Results
        A computed record whose measurement has a path.
    name : str
        Name of the measurement.
    line : Line
        What the figures start from.

    Returns
    -------
    Panel
        Sliders for the line's length, velocity factor, impedance and loss.
    """
    device = results.device(name)
    inputs, f = device.inputs, device.frequency
    near = model.at_plane(inputs.calibration, inputs.reading, inputs.connection).value
    figure = style.new_figure(8.4, 4.4)
    places = figure.subplot_mosaic([["chart", "R"], ["chart", "X"]], width_ratios=(1.1, 1))
    chart.draw_grid(places["chart"], z_ref=device.z_ref)
    part = _around(f, device.answer)
    reflection, z = device.reflection.value[part], device.impedance.value[part]
    by_sweeps, by_figures = "line taken away by its own sweeps", "line taken away by figures"
    chart.draw_trace(places["chart"], reflection, role="corrected", label=by_sweeps)
    other = chart.draw_trace(places["chart"], reflection, role="model", label=by_figures)
    megahertz, lines = f[part] / 1e6, []
    for label, values in (("R", z.real), ("X", z.imag)):
        ax = style.dress(places[label], "", f"{label} [ohm]")
        ax.plot(megahertz, values, **style.line_look("corrected", values.size))
        lines += ax.plot(megahertz, values, **style.line_look("model", values.size))
        margin = 0.3 * np.ptp(values) + 10
        ax.set_ylim(values.min() - margin, values.max() + margin)
    places["X"].set_xlabel("frequency [MHz]", fontsize=style.SIZE_LABEL, color=style.TEXT)
    places["R"].tick_params(labelbottom=False)
    style.add_legend(figure, places["chart"])
    middle, place = device.answer - part.start, round(line.length_m, 2)
    half = device.expanded_uncertainty()[device.answer]
    cable = Cable(f[part], line, device.z_ref)

    def update(length, velocity_factor, z0, loss):
        figures: list[Any] = [length, velocity_factor, z0, loss / 100, line.skin]
        moved = cable.bilinear(figures).correct(near[part])
        z_moved = to_impedance(moved, device.z_ref)
        other.set_data(moved.real, moved.imag)
        lines[0].set_data(megahertz, z_moved.real)
        lines[1].set_data(megahertz, z_moved.imag)
        off = z_moved[middle] - z[middle]
        return (
            f"At {words.mhz(f[device.answer])} the figures give R {off.real:+.1f} ohm and X "
            f"{off.imag:+.1f} ohm beside the line's own sweeps, whose 95 % half-widths are "
            f"{half[0]:.2g} and {half[1]:.2g} ohm."
        )

    sliders = [
        Slider("length", "length", "m", place - 0.5, place + 0.5, 0.01, place),
        Slider("velocity_factor", "velocity factor", "", 0.8, 0.9, 0.001, line.velocity_factor),
        Slider("z0", "impedance", "ohm", 45.0, 57.0, 0.1, round(line.z0, 1)),
        Slider("loss", "loss, of what it is said to be", "%", 50.0, 150.0, 1.0, 100.0),
    ]
    return Panel(figure, sliders, update, moving=[other, *lines])


def _around(frequency: Real, at: int) -> slice:
    """The part of a sweep within a tenth of one frequency."""
    near = np.flatnonzero(np.abs(frequency - frequency[at]) <= 0.1 * frequency[at])
    return slice(int(near[0]), int(near[-1]) + 1)


def standing_panel() -> Panel:
    """Voltage and current along a feed line, and what of the power arrives.

    Returns
    -------
    Panel
        Sliders for frequency, length, loss, and the antenna's R and X, at 100 W.
    """
    figure = style.new_figure(8.4, 4.4)
    upper, lower = figure.subplots(2, 1, sharex=True)
    distance = np.zeros(POINTS)
    drawn = []
    for ax, label, most in ((upper, "volts, rms [V]", VOLTS), (lower, "amperes, rms [A]", AMPERES)):
        style.dress(ax, "", label)
        ax.set(xlim=(0, 60), ylim=(0, most))
        drawn += ax.plot(distance, distance, **style.line_look("model", POINTS))
    lower.set_xlabel("distance from the antenna [m]", fontsize=style.SIZE_LABEL, color=style.TEXT)

    def update(frequency, length, loss, r, x):
        line = Line(length, 0.85, conductor_db=loss / frequency**0.5)
        found = along(line, frequency * 1e6, r + 1j * x, power_w=100.0)
        drawn[0].set_data(found.distance_m, found.volts)
        drawn[1].set_data(found.distance_m, found.amps)
        # rounding must not make a line without loss a source
        lost = max(float(loss_db(line, np.array([frequency * 1e6]), r + 1j * x)[0]), 0.0) + 0.0
        matched, arrives = loss * length / 100, 100 * 10 ** (-lost / 10)
        load = words.complex_ohm(r + 1j * x, ONE)
        beyond = found.volts.max() > VOLTS or found.amps.max() > AMPERES
        axes = f" (the axes end at {VOLTS:g} V and {AMPERES:g} A)" if beyond else ""
        return (
            f"At {frequency:g} MHz the line would lose {matched:.2f} dB if matched; with {load} "
            f"at its end it loses {lost:.2f} dB, so of 100 W into it {arrives:.0f} W arrive. "
            f"At most {found.volts.max():.0f} V and {found.amps.max():.1f} A stand on it{axes}."
        )

    sliders = [
        Slider("frequency", "frequency", "MHz", 1.8, 150.0, 0.1, 28.5),
        Slider("length", "length", "m", 0.1, 60.0, 0.1, 40.0),
        Slider("loss", "matched loss at this frequency", "dB per 100 m", 0.0, 20.0, 0.1, 3.0),
        Slider("r", "antenna R", "ohm", 5.0, 500.0, 1.0, 20.0),
        Slider("x", "antenna X", "ohm", -300.0, 300.0, 1.0, -60.0),
    ]
    return Panel(figure, sliders, update, moving=drawn)


VOLTS, AMPERES = 300.0, 6.0
"""Where the axes of `standing_panel` end [V, A]."""

ONE = np.array([1.0, 1.0])
"""Half-widths that print whole ohms with one decimal."""


def fault_panel() -> Panel:
    """A fault on a line of 40 m, and what a sweep shows of it.

    Returns
    -------
    Panel
        Sliders for the fault's place and resistance, the highest frequency swept, and the
        velocity factor that is believed; the true one is 0.85.
    """
    figure = style.new_figure(8.4, 4.0)
    ax = style.dress(figure.subplots(), "distance [m]", "size of reflection [1]")
    ax.set(xlim=(0, 60), ylim=(1e-4, 2), yscale="log")
    zero = np.ones(2)
    (trace,) = ax.plot(zero, zero, label="sweep", **style.line_look("corrected", POINTS))
    truth = ax.axvline(1.0, label="fault", **style.line_look("truth", POINTS))
    (marks,) = ax.plot(
        zero, zero, label="found", color=style.TEXT, marker="v", linestyle="none", markersize=7
    )
    style.add_legend(figure, ax)
    rng = np.random.default_rng(4)
    noise = 0.0005 * (rng.standard_normal(POINTS) + 1j * rng.standard_normal(POINTS))

    def update(place, ohm, stop, velocity_factor):
        frequency = np.linspace(1e6, stop * 1e6, POINTS)
        found = find_events(
            frequency,
            _line_with_fault(frequency, place, ohm) + noise,
            replace(FAULTY, velocity_factor=velocity_factor),
        )
        trace.set_data(found.grid_m, found.magnitude)
        truth.set_xdata([place, place])
        marks.set_data(
            found.distance_m, 1.25 * np.interp(found.distance_m, found.grid_m, found.magnitude)
        )
        rows = zip(found.distance_m, found.kind, np.abs(found.reflection), strict=True)
        said = "; ".join(
            f"{d:.2f} m ({kind}, reflects {size:.2g})"
            for d, kind, size in rows
            if d > FOOT * found.resolution_m
        )
        return (
            f"A sweep up to {stop:.0f} MHz tells places apart from "
            f"{1.5 * found.resolution_m:.2g} m on and sees {found.range_m:.0f} m far. Found: "
            f"{said or 'nothing'}."
        )

    sliders = [
        Slider("place", "place of the fault", "m", 1.0, 39.0, 0.1, 23.4),
        Slider("ohm", "shunt resistance of the fault", "ohm", 10.0, 2000.0, 10.0, 120.0),
        Slider("stop", "highest frequency swept", "MHz", 20.0, 200.0, 1.0, 160.0),
        Slider("velocity_factor", "velocity factor believed", "", 0.6, 0.95, 0.01, 0.85),
    ]
    return Panel(figure, sliders, update, moving=[trace, truth, marks])


FOOT = 0.1
"""What `fault_panel` finds within this part of the resolution is the connector at the foot."""

FAULTY = Line(40.0, 0.85, 50.0, 0.4)
"""The line of `fault_panel`; 60 ohm end it."""


def _line_with_fault(frequency: Real, place: float, ohm: float) -> Complex:
    near, far = FAULTY.two_port(frequency, place), FAULTY.two_port(frequency, 40.0 - place)
    whole = near @ TwoPort.shunt(np.full(frequency.size, 1 / ohm)) @ far
    return whole.bilinear().apply(np.full(frequency.size, from_impedance(60.0)))
