"""Panels of the notebooks about lines: one cable, loss, standing waves, faults."""

from dataclasses import replace

import numpy as np

from rfcal import defaults
from rfcal.feedline.faults.events import Events, find_events
from rfcal.feedline.power import along
from rfcal.maths.reflection import Complex, Real, from_impedance, impedance_circle, to_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.line import Line
from rfcal.record.results import Device, LineState, Results
from rfcal.report.figures import chart, style
from rfcal.uncertainty import coverage, words
from rfcal.workbook.panel import ONE_OHM, PLOTTED, Panel, Slider, chart_and_axes, place_of, started

CABLE_SLIDERS = (
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


NOTHING = 1e-6
"""A reflection of this size has no angle [1]."""


def cable_panel(own: Device | None = None) -> Panel:
    """A device through a cable: the walk round the chart, and R and X along the way."""
    sliders = started(CABLE_SLIDERS, place_of(own))
    most = max([MOST_OHM, *(2 * abs(s.start) for s in sliders if s.unit == "ohm" and own)])
    labels = "way along the cable, from the device [%]", "R and X [ohm]"
    figure, left, right = chart_and_axes(*labels)
    right.set(xlim=(0, 100), ylim=(-most, most))
    right.axhline(0.0, color=style.TEXT, linewidth=0.8)
    share = np.linspace(0, 100, PLOTTED)

    def draw(frequency, length, velocity_factor, z0, loss, r, x):
        # the loss said is the loss at this frequency: all of it as conductor loss
        line = Line(length, velocity_factor, z0, conductor_db=loss / frequency**0.5)
        f = np.full(PLOTTED, frequency * 1e6)
        through = line.two_port(f, np.linspace(0, length, PLOTTED))
        reflection, own = (
            through.bilinear(ohm).apply(np.full(PLOTTED, from_impedance(r + 1j * x, ohm)))
            for ohm in (defaults.REFERENCE_OHM, z0)
        )
        z = to_impedance(reflection)
        chart.draw_trace(left, reflection, role="model", label="along the cable")
        chart.draw_trace(left, reflection[0], role="truth", label="device")
        chart.draw_trace(left, reflection[-1], role="raw", label="seen through the cable")
        for name, part, dashes in (("R", z.real, "-"), ("X", z.imag, (0, (3, 2)))):
            label = f"{name} along the cable"
            style.draw_curve(right, share, part, "model", label, linestyle=dashes)
        return cable_words(frequency * 1e6, r + 1j * x, complex(z[-1]), line, own)

    return Panel(figure, sliders, draw, swept=True)


def cable_words(
    frequency_hz: float, impedance: complex, z: complex, line: Line, reflection: Complex
) -> str:
    """What a cable does to a reading of an impedance [ohm], and why its sign flips or not.

    The reflection [1] along the way is that on a chart of the cable's own impedance.
    """
    angle = line.length_m * float(line.propagation(frequency_hz).imag)
    waves, turn = angle / (2 * np.pi), np.degrees(2 * angle)
    if np.abs(reflection[0]) > NOTHING:
        # of much loss the cable's impedance is complex, which turns by a few degrees more
        first, *_, last = np.degrees(np.unwrap(np.angle(reflection)))
        turn = first - last
    before, after = _nature(impedance), _nature(z)
    chart_of = "The" if line.z0 == defaults.REFERENCE_OHM else f"On a chart of {line.z0:g} ohm the"
    turned = f"{chart_of} reflection has turned {turn:.0f} degrees clockwise, there and back"
    crossed = before != after and bool(impedance.imag * z.imag < 0)
    across = ", across the chart's level axis" if crossed else ""
    still = "still " if before == after else ""
    return (
        f"At {words.mhz(frequency_hz)}, {words.complex_ohm(impedance, ONE_OHM)} through "
        f"{line.length_m:.2f} m ({waves:.3f} wavelengths) reads "
        f"{words.complex_ohm(z, ONE_OHM)}. {turned}{across}: what is {before} {still}reads {after}."
    )


def _nature(z: complex) -> str:
    if abs(z.imag) <= 0.02 * abs(z):
        return "nearly a plain resistance"
    return "inductive" if z.imag > 0 else "capacitive"


LOSS_SLIDERS = (
    Slider("loss", "loss, one way", "dB", 0.0, 15.0, 0.1, 10.0),
    Slider("uncertainty", "doubt of one reading", "", 0.0005, 0.02, 0.0005, 0.005),
    Slider("r", "device R", "ohm", 1.0, 500.0, 1.0, 30.0),
    Slider("x", "device X", "ohm", -300.0, 300.0, 1.0, -20.0),
)


def loss_panel(own: Device | None = None) -> Panel:
    """What a lossy line leaves of a device: its region on the chart, and what R and X are worth."""
    labels = "matched loss of the line, one way [dB]", "half-width of R and X [ohm]"
    figure, left, right = chart_and_axes(*labels)
    right.set(xlim=(0, 15), ylim=(0.1, 1000), yscale="log")
    losses = np.linspace(0, 15, PLOTTED)

    def draw(loss, uncertainty, r, x):
        reflection = complex(from_impedance(r + 1j * x))
        # the wave pays the loss there and back: a voltage ratio of 10^(2 L / 20)
        grown, at = 10 ** (2 * losses / 20), 10 ** (2 * loss / 20)
        axis, spread = coverage.K_AXIS * uncertainty, np.eye(2) * (uncertainty * at) ** 2
        region = chart.draw_ellipse(left, reflection, spread, label="95 % region of the device")
        chart.draw_trace(left, reflection, role="truth", label="device")
        undone = "seen through the line, its turn undone"
        chart.draw_trace(left, reflection / at, role="raw", label=undone)
        halves, half = (impedance_circle(reflection, axis * ratio)[1] for ratio in (grown, at))
        style.draw_curve(right, losses, halves, "uncertainty", "half-width of R and X")
        right.plot([loss], [half], "o", color=style.TEXT, label="behind this line")
        known = "R and X have no bound: the region reaches an open"
        if region.width / 2 < abs(1 - reflection):
            known = "R {} and X {}".format(*_known(r, x, axis * at))
            known += (
                f" (half of each interval, as drawn, is {half:.2g} ohm; ± is to the farther end)"
            )
        return (
            f"Behind a line of {loss:.1f} dB: {known}; without the line: R "
            f"{_known(r, x, axis)[0]}. The wave loses {2 * loss:.1f} dB there and back, so a "
            f"reading that is known to {uncertainty:g}, as one standard deviation, tells the "
            f"device's reflection to {uncertainty * at:.2g}."
        )

    return Panel(figure, started(LOSS_SLIDERS, place_of(own)), draw)


def _known(r: float, x: float, radius: float) -> tuple[str, str]:
    """R and X of a passive device whose reflection is known to so much in every direction."""
    centre, reach = impedance_circle(from_impedance(r + 1j * x), radius)
    low, high = complex(centre - reach * (1 + 1j)), complex(centre + reach * (1 + 1j))
    return (
        words.value_words(r, max(low.real, 0.0), high.real, "ohm", least=0.0),
        words.value_words(x, low.imag, high.imag, "ohm"),
    )


ROOM = 2.0
"""How high the axes of `standing_wave_panel` reach, in parts of what stands on the line first."""

STANDING_SLIDERS = (
    Slider("frequency", "frequency", "MHz", 1.8, 150.0, 0.1, 28.5),
    Slider("length", "length", "m", 0.1, 60.0, 0.1, 40.0),
    Slider("loss", "loss", "dB per 100 m", 0.0, 20.0, 0.1, 3.0),
    Slider("r", "antenna R", "ohm", 5.0, 500.0, 1.0, 20.0),
    Slider("x", "antenna X", "ohm", -300.0, 300.0, 1.0, -60.0),
)


def standing_wave_panel(results: Results | None = None) -> Panel:
    """Voltage and current along a feed line at 100 W, and what of the power arrives.

    It starts from a record's line, as far as its own sweeps tell, and from its first device.
    """
    line = own_line(results.line if results else None) or Line(40.0, 0.85)
    own = place_of(results.devices[0] if results and results.devices else None)
    loss = float(line.loss_db_per_100m(1e6 * own.get("frequency", STANDING_SLIDERS[0].start)))
    own |= {"length": line.length_m} | ({"loss": loss} if loss else {})
    sliders = started(STANDING_SLIDERS, own)
    labels = "distance from the antenna [m]", "volts, rms [V]", "amperes, rms [A]"
    figure, *places = style.rows(8.4, 4.4, *labels)
    places[1].set_xlim(0, sliders[1].high)

    def waves(frequency, length, loss, load):
        here = Line(length, line.velocity_factor, line.z0, conductor_db=loss / frequency**0.5)
        return along(here, frequency * 1e6, load, power_w=100.0)

    def draw(frequency, length, loss, r, x):
        found, matched = (waves(frequency, length, loss, load) for load in (r + 1j * x, line.z0))
        way = found.distance_m
        pairs = (found.volts, matched.volts), (found.amps, matched.amps)
        for ax, (size, plain) in zip(places, pairs, strict=True):
            style.draw_curve(ax, way, size, "model", "with this antenna", linestyle="-")
            style.draw_curve(ax, way, plain, 1, "with a matched one")
        # rounding must not make a line without loss a source
        arrives = min(found.watts[0], 100.0)
        load = words.complex_ohm(r + 1j * x, ONE_OHM)
        return (
            f"Of 100 W into the line {arrives:.0f} W arrive, at {frequency:g} MHz: with {load} at "
            f"its end it loses {10 * np.log10(100 / arrives):.2f} dB, and would lose "
            f"{loss * length / 100:.2f} dB if matched. At most {found.volts.max():.0f} V and "
            f"{found.amps.max():.1f} A stand on it."
        )

    start = {slider.name: slider.start for slider in sliders}
    first = waves(load=complex(start.pop("r"), start.pop("x")), **start)
    for ax, size in zip(places, (first.volts, first.amps), strict=True):
        ax.set_ylim(0, float(f"{ROOM * size.max():.1g}"))
    return Panel(figure, sliders, draw)


def own_line(state: LineState | None) -> Line | None:
    """A line as its own sweeps found it; nothing where there are none."""
    found = state and state.properties
    return replace(found.line, length_m=state.length_m) if state and found else None


FAULT_SLIDERS = (
    Slider("place", "place of the fault", "m", 1.0, 39.0, 0.1, 23.4),
    Slider("ohm", "fault, shunt", "ohm", 10.0, 2000.0, 10.0, 120.0),
    Slider("stop", "swept up to", "MHz", 20.0, 200.0, 1.0, 160.0),
    Slider("velocity_factor", "velocity factor believed", "", 0.6, 0.95, 0.01, 0.85),
)

FAULTY = Line(40.0, 0.85, 50.0, 0.4)
"""The line of `fault_panel` where a record has none; 60 ohm end it."""

FLOOR = 1e-4
"""What reflects less is drawn as this [1]."""

AT_FOOT = 0.1
"""What `fault_panel` finds within this part of the resolution is the connector at the foot."""


def fault_panel(own: LineState | None = None) -> Panel:
    """A fault on a line, and what a sweep shows of it at the velocity factor believed.

    The line is a record's own as far as its sweeps tell, the fault where its first change is.
    """
    line = own_line(own) or FAULTY
    changes = own.comparison.changes if own and own.comparison else ()
    place = changes[0].distance_m if changes else 0.6 * line.length_m
    least = min(1.0, line.length_m / 10)
    sliders = started(
        [replace(FAULT_SLIDERS[0], low=least, high=line.length_m - least), *FAULT_SLIDERS[1:]],
        {"place": round(place, 2), "velocity_factor": line.velocity_factor},
    )
    figure, ax = style.rows(8.4, 4.0, "distance [m]", "size of reflection [1]")
    ax.set(xlim=(0, 1.5 * line.length_m), ylim=(FLOOR, 2), yscale="log")
    rng = np.random.default_rng(4)
    noise = 0.0005 * (rng.standard_normal(PLOTTED) + 1j * rng.standard_normal(PLOTTED))

    def draw(place, ohm, stop, velocity_factor):
        frequency = np.linspace(1e6, stop * 1e6, PLOTTED)
        swept = _with_fault(line, frequency, place, ohm) + noise
        found = find_events(frequency, swept, replace(line, velocity_factor=velocity_factor))
        size = np.maximum(found.magnitude, FLOOR)
        style.draw_curve(ax, found.band.grid, size, "corrected", "sweep")
        ax.axvline(place, label="fault", **style.line_look("truth", PLOTTED))
        above = 1.25 * np.interp(found.distance_m, found.band.grid, found.magnitude)
        ax.plot(found.distance_m, above, "v", markersize=7, color=style.TEXT, label="found")
        return (
            f"Found: {_places(found)}. A sweep up to {stop:.0f} MHz tells places apart from "
            f"{found.band.near:.2g} m on and sees {found.band.range - found.band.near:.0f} m far. "
            "The ± is what the sweep leaves open at the velocity factor believed."
        )

    return Panel(figure, sliders, draw)


def _places(found: Events) -> str:
    half = coverage.K_AXIS * found.distance_uncertainty_m
    rows = zip(found.distance_m, half, found.kind, np.abs(found.reflection), strict=True)
    beyond = (row for row in rows if row[0] > AT_FOOT * found.band.resolution)
    said = (
        f"{words.plus_minus(place, off)} m ({kind}, reflects {size:.2g})"
        for place, off, kind, size in beyond
    )
    return "; ".join(said) or "nothing"


def _with_fault(line: Line, frequency: Real, place: float, ohm: float) -> Complex:
    near, far = (line.two_port(frequency, way) for way in (place, line.length_m - place))
    whole = near @ TwoPort.shunt(np.full(frequency.size, 1 / ohm)) @ far
    return whole.bilinear().apply(np.full(frequency.size, from_impedance(60.0)))
