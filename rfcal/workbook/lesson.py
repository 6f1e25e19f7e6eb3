"""What the notebooks use besides the library: panels with sliders, exercises, truth of the demo."""

import json
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.line import Line
from rfcal.record.files import write_files
from rfcal.record.job.whatif import corrected_with
from rfcal.record.results import Results
from rfcal.report.figures import chart, style
from rfcal.report.figures.render import Picture
from rfcal.report.page import output_files
from rfcal.report.text import numbers as words
from rfcal.workbook.panel import Panel, Slider

POINTS = 401


def cable_panel() -> Panel:
    """One device through one cable: the walk round the chart, and R and X along the way.

    Returns
    -------
    Panel
        Sliders for frequency, length, velocity factor, loss, and the device's R and X.
    """
    figure = style.new_figure(8.4, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    chart.draw_grid(left)
    walk = chart.draw_trace(left, np.zeros(POINTS), role="model", label="along the cable")
    device = chart.draw_trace(left, 0.0, role="truth", label="device")
    seen = chart.draw_trace(left, 0.0, role="raw", label="seen through the cable")
    style.dress(right, "distance from the device [m]", "R and X [ohm]")
    right.set(xlim=(0, 3), ylim=(-200, 200))
    distance = np.zeros(POINTS)
    look = style.line_look("model", POINTS)
    (r_line,) = right.plot(distance, distance, label="R", **look | {"linestyle": "-"})
    (x_line,) = right.plot(distance, distance, label="X", **look | {"linestyle": (0, (3, 2))})
    right.legend(loc="upper right", frameon=False, fontsize=style.SIZE_SMALL)
    style.add_legend(figure, left)

    def update(frequency, length, velocity_factor, loss, r, x):
        # the loss said is the loss at this frequency: all of it as conductor loss
        line = Line(length, velocity_factor, conductor_db=loss / frequency**0.5)
        along, reflection = walk_along(frequency * 1e6, r + 1j * x, line)
        z = to_impedance(reflection)
        walk.set_data(reflection.real, reflection.imag)
        device.set_data(reflection[:1].real, reflection[:1].imag)
        seen.set_data(reflection[-1:].real, reflection[-1:].imag)
        r_line.set_data(along, z.real)
        x_line.set_data(along, z.imag)
        return cable_words(frequency * 1e6, r + 1j * x, line)

    sliders = [
        Slider("frequency", "frequency", "MHz", 1.0, 200.0, 1.0, 52.0),
        Slider("length", "cable length", "m", 0.0, 3.0, 0.01, 0.6),
        Slider("velocity_factor", "velocity factor", "", 0.5, 1.0, 0.01, 0.66),
        Slider("loss", "matched loss", "dB per 100 m", 0.0, 300.0, 1.0, 5.0),
        Slider("r", "device R", "ohm", 0.0, 200.0, 0.5, 4.0),
        Slider("x", "device X", "ohm", -200.0, 200.0, 0.5, -30.0),
    ]
    return Panel(figure, sliders, update, moving=[walk, device, seen, r_line, x_line])


def walk_along(
    frequency_hz: float, impedance: complex, line: Line
) -> tuple[np.ndarray, np.ndarray]:
    """What is seen of a device at places along a cable.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].
    impedance : complex
        Impedance of the device at the cable's far end [ohm].
    line : Line
        The cable.

    Returns
    -------
    distance : ndarray, shape (401,)
        Distance from the device [m].
    reflection : ndarray, shape (401,)
        Reflection coefficient seen there [1], in 50 ohm.
    """
    distance = np.linspace(0, line.length_m, POINTS)
    frequency = np.full(POINTS, frequency_hz)
    through = line.two_port(frequency, distance).bilinear()
    return distance, through.apply(from_impedance(np.full(POINTS, impedance)))


def cable_words(frequency_hz: float, impedance: complex, line: Line) -> str:
    """What a cable does to a reading, and why its sign flips or not.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].
    impedance : complex
        Impedance of the device at the cable's far end [ohm].
    line : Line
        The cable.

    Returns
    -------
    str
        Two sentences with the numbers.
    """
    _, reflection = walk_along(frequency_hz, impedance, line)
    z = complex(to_impedance(reflection[-1]))
    waves = line.length_m / float(line.wavelength_m(frequency_hz))
    first, last = _nature(impedance), _nature(z)
    turned = f"The reflection has turned {720 * waves:.0f} degrees clockwise, there and back"
    if first == last:
        flip = f"{turned}: what is {first} still reads {last}."
    elif impedance.imag * z.imag < 0:
        flip = f"{turned}, across the chart's level axis: what is {first} reads {last}."
    else:
        flip = f"{turned}: what is {first} reads {last}."
    return (
        f"At {words.mhz(frequency_hz)}, {_ohm(impedance)} through {line.length_m:.2f} m "
        f"({waves:.3f} wavelengths) reads {_ohm(z)}. {flip}"
    )


def _nature(z: complex) -> str:
    if abs(z.imag) <= 0.02 * abs(z):
        return "nearly a plain resistance"
    return "inductive" if z.imag > 0 else "capacitive"


def _ohm(z: complex) -> str:
    # adding zero takes the sign off a rounded -0
    r, x = round(z.real, 1) + 0.0, round(z.imag, 1)
    return f"{r:.1f} {'-' if x < 0 else '+'} j{abs(x):.1f} ohm"


def standards_panel(results: Results, name: str) -> Panel:
    """A corrected device, and what it would be if the standards were otherwise.

    Parameters
    ----------
    results : Results
        A computed record.
    name : str
        Name of the measurement.

    Returns
    -------
    Panel
        Sliders for what loads, opens and shorts are off from what the record says.
    """
    device = results.device(name)
    figure = style.new_figure(8.4, 4.4)
    places = figure.subplot_mosaic([["chart", "R"], ["chart", "X"]], width_ratios=(1.1, 1))
    chart.draw_grid(places["chart"], z_ref=device.z_ref)
    reflection, z = device.reflection.value, device.impedance.value
    recorded, moved_to = "standards as recorded", "standards as the sliders say"
    chart.draw_trace(places["chart"], reflection, role="corrected", label=recorded)
    other = chart.draw_trace(places["chart"], reflection, role="model", label=moved_to)
    megahertz = device.frequency / 1e6
    lines = []
    for name_of_part, part in (("R", z.real), ("X", z.imag)):
        ax = style.dress(places[name_of_part], "", f"{name_of_part} [ohm]")
        ax.plot(megahertz, part, **style.line_look("corrected", part.size))
        lines += ax.plot(megahertz, part, **style.line_look("model", part.size))
        margin = 0.15 * np.max(np.abs(z)) + 2
        ax.set_ylim(part.min() - margin, part.max() + margin)
    places["X"].set_xlabel("frequency [MHz]", fontsize=style.SIZE_LABEL, color=style.TEXT)
    places["R"].tick_params(labelbottom=False)
    style.add_legend(figure, places["chart"])
    at, half = device.answer, device.expanded_uncertainty()[device.answer]

    def update(load, capacitance, inductance):
        moved = corrected_with(
            results,
            name,
            load_ohm=load,
            open_farad=capacitance * 1e-15,
            short_henry=inductance * 1e-9,
        )
        z_moved = to_impedance(moved, device.z_ref)
        other.set_data(moved.real, moved.imag)
        lines[0].set_data(megahertz, z_moved.real)
        lines[1].set_data(megahertz, z_moved.imag)
        off = z_moved[at] - z[at]
        return (
            f"At {words.mhz(device.frequency[at])} R moves by {off.real:+.2f} ohm and X by "
            f"{off.imag:+.2f} ohm; the record's own 95 % half-widths are {half[0]:.2f} and "
            f"{half[1]:.2f} ohm."
        )

    sliders = [
        Slider("load", "every load is off by", "ohm", -10.0, 10.0, 0.1, 0.0),
        Slider("capacitance", "every open is off by", "fF", -50.0, 500.0, 10.0, 0.0),
        Slider("inductance", "every short is off by", "nH", -0.3, 3.0, 0.1, 0.0),
    ]
    return Panel(figure, sliders, update, moving=[other, *lines])


def against_truth(results: Results) -> str:
    """Compare the answers with the truth, where the data are simulated and it is known.

    Parameters
    ----------
    results : Results
        A computed record.

    Returns
    -------
    str
        One sentence: how often the intervals hold the truth, or that nobody knows it.
    """
    path = Path(results.record.folder) / "truth.json"
    if not path.is_file():
        return "No truth is recorded here, as with all real readings: only a [[check]] can speak."
    truth = json.loads(path.read_text())
    device = results.devices[0]
    true = np.array(truth["impedance_ohm"])
    found = np.stack([device.impedance.value.real, device.impedance.value.imag], axis=-1)
    inside = np.abs(found - true) <= device.expanded_uncertainty()
    raw = to_impedance(device.raw.reflection, device.raw.z_ref)
    at = device.answer
    return (
        f"Simulated, so the truth is known: at {words.mhz(device.frequency[at])} it is "
        f"{_ohm(complex(*true[at]))}, the raw reading {_ohm(complex(raw[at]))}, corrected "
        f"{_ohm(complex(device.impedance.value[at]))}. The 95 % interval holds the true R at "
        f"{inside[:, 0].mean():.0%} and the true X at {inside[:, 1].mean():.0%} of the points."
    )


def show(figure: Figure, alt: str) -> Picture:
    """A figure for a notebook, with words for those who cannot see it.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure.
    alt : str
        What it says.

    Returns
    -------
    Picture
        To stand last in a cell.
    """
    return Picture(figure, alt)


def save_report(results: Results, output: str | Path) -> list[str]:
    """Write a record's page and data files, in place of earlier ones of the same names.

    Parameters
    ----------
    results : Results
        A computed record.
    output : str or Path
        Folder to write to.

    Returns
    -------
    list of str
        Names of the files.
    """
    files = output_files(results)
    write_files(Path(output), files, force=True)
    return list(files)


def check(answer: float, true: float, *, unit: str, why: str, slips: dict[str, float]) -> str:
    """Judge a reader's number, with the reason.

    Parameters
    ----------
    answer : float
        What the reader typed.
    true : float
        The right value.
    unit : str
        Unit of both.
    why : str
        Why the right value is right.
    slips : dict of str to float
        What one gets by usual mistakes, keyed by the sentence that explains each.

    Returns
    -------
    str
        The verdict and its reason.
    """
    if abs(answer - true) <= 0.02 * abs(true):
        return f"Right: {true:.3g} {unit}. {why}"
    for reason, value in slips.items():
        if abs(answer - value) <= 0.02 * abs(value):
            return f"Not {answer:g} {unit}: {reason}"
    size = "too large" if answer > true else "too small"
    return f"Not {answer:g} {unit}, which is {size}. {why}"
