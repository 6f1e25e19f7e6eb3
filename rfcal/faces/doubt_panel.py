"""The notebook about uncertainty: a panel with a slider for each source, and the blind map."""

import numpy as np
from matplotlib.figure import Figure

from rfcal.faces import chart, style, words
from rfcal.faces.panels import Panel, Slider
from rfcal.maths import levels
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.cables import CABLES
from rfcal.models.standards import Standard
from rfcal.tasks import intervals
from rfcal.tasks.assessment import region_of
from rfcal.tasks.path import Cable
from rfcal.tasks.planning import Blind
from rfcal.tasks.setup import Length, Setup
from rfcal.tasks.uncertainty import budget, impedance, propagate

GROUPS = ("noise", "connection", "definition", "load: resistance", "drift", "line")
"""Sources as the panel shows them; every source's name holds one of these words."""

DRAWS = 1000
"""Draws that the region in the panel is held against."""


def setup_of(
    frequency_hz: float,
    *,
    noise: float = 0.0005,
    connection: float = 0.001,
    definition: float = 0.002,
    load_ohm: float = 0.15,
    drift: float = 0.0005,
    line_m: float = 0.0,
) -> Setup:
    """A plain set-up: short, open, load, and perhaps a known line of RG-213 to the device.

    Parameters
    ----------
    frequency_hz : float
        Frequency [Hz].
    noise, connection, drift : float
        Of the analyzer and its connector [1].
    definition : float
        Of short and open [1], besides 0.1 nH and 25 fF.
    load_ohm : float
        Of the load's resistance [ohm].
    line_m : float
        Length of the line [m]; none where 0. Its length is known to 1 cm, its velocity factor to
        0.005, its impedance to 1 ohm and its loss to a tenth.

    Returns
    -------
    Setup
        For `rfcal.plan` and the panel.
    """
    frequency = np.array([frequency_hz])
    standards = {
        "short": Standard("short", uncertainty={"reflection": definition, "inductance": 1e-10}),
        "open": Standard("open", uncertainty={"reflection": definition, "capacitance": 25e-15}),
        "load": Standard("load", uncertainty={"reflection": 0.0, "resistance": load_ohm}),
    }
    doubt = {"length": 0.01, "velocity factor": 0.005, "impedance": 1.0, "loss": 0.1}
    cable = Cable(frequency, CABLES["RG-213"].line(line_m), 50.0)
    lines = (Length("line", cable, doubt),) if line_m > 0 else ()
    return Setup(frequency, standards, noise, connection, drift, lines)


def doubt_panel() -> Panel:
    """The region of a device and where its doubt comes from, a slider for each source.

    Returns
    -------
    Panel
        Sliders for the sources, the device and the frequency.
    """
    figure = style.new_figure(8.4, 4.6)
    left, right = figure.subplots(1, 2, width_ratios=(1.15, 1))
    chart.draw_grid(left)
    region = chart.draw_ellipse(left, 0.0, np.eye(2) * 1e-4, label="95 % region")
    device = chart.draw_trace(left, 0.0, role="truth", label="device")
    style.dress(right, "share of the variance [%]", "")
    right.set(xlim=(0, 100), yticks=range(len(GROUPS)), yticklabels=GROUPS)
    right.invert_yaxis()
    rows = np.arange(len(GROUPS))
    corrected, model = style.role_of("corrected"), style.role_of("model")
    bars = [
        *right.barh(rows - 0.19, 1, 0.34, color=corrected.color, label="of R"),
        *right.barh(rows + 0.19, 1, 0.34, color=model.color, hatch="//", label="of X"),
    ]
    # above the bars, which may be as long as the axis
    place = {"loc": "lower right", "bbox_to_anchor": (1.0, 1.0), "ncols": 2}
    right.legend(**place, frameon=False, fontsize=style.SIZE_SMALL)
    style.add_legend(figure, left)

    def update(frequency, r, x, line_m, **sources):
        setup = setup_of(frequency * 1e6, line_m=line_m, **sources)
        inputs = setup.inputs(np.array([from_impedance(r + 1j * x)]))
        reflection, readings = propagate(inputs), intervals.Readings(inputs)
        value = complex(reflection.value[0])
        device.set_data([value.real], [value.imag])
        drawn = inputs.draw(np.random.default_rng(1), DRAWS)
        found = region_of(reflection, (drawn - reflection.value).T)
        variances, axes = np.linalg.eigh(found.covariance[0])
        minor, major = 2 * float(found.radius[0]) * np.sqrt(np.maximum(variances, 0))
        turn = float(np.degrees(np.arctan2(axes[1, 1], axes[0, 1])))
        centre = complex(found.centre[0])
        region.set(center=(centre.real, centre.imag), width=major, height=minor, angle=turn)
        shares = _grouped(budget(impedance(reflection, 50.0)))
        for bar, share in zip(bars, [*shares[:, 0], *shares[:, 1]], strict=True):
            bar.set_width(100 * share)
        z = complex(to_impedance(value))
        said = []
        for part, level in ((z.real, levels.RESISTANCE), (z.imag, levels.REACTANCE)):
            ends = intervals.interval(level, reflection, readings=readings)
            low, high = (50 * float(end[0]) for end in ends)
            said.append(words.value_words(part, low, high, least=level.low))
        most = [GROUPS[int(np.argmax(shares[:, k]))] for k in (0, 1)]
        return (
            f"R = {said[0]} ohm, mostly by {most[0]}; X = {said[1]} ohm, mostly by {most[1]} "
            "(95 %)."
        )

    sliders = [
        Slider("r", "device R", "ohm", 1.0, 3000.0, 1.0, 30.0),
        Slider("x", "device X", "ohm", -500.0, 500.0, 1.0, -20.0),
        Slider("frequency", "frequency", "MHz", 1.0, 150.0, 0.1, 70.2),
        Slider("noise", "noise of one reading", "", 0.0, 0.01, 0.0001, 0.0005),
        Slider("connection", "connection", "", 0.0, 0.01, 0.0001, 0.001),
        Slider("definition", "definition of short and open", "", 0.0, 0.02, 0.0005, 0.002),
        Slider("load_ohm", "resistance of the load", "ohm", 0.0, 2.0, 0.01, 0.15),
        Slider("drift", "drift since the calibration", "", 0.0, 0.01, 0.0001, 0.0005),
        Slider("line_m", "line to the device", "m", 0.0, 30.0, 0.1, 0.0),
    ]
    return Panel(figure, sliders, update, moving=[region, device, *bars])


def _grouped(shares: dict[str, np.ndarray]) -> np.ndarray:
    """Shares of `GROUPS` in R and X, shape (6, 2)."""
    total = np.zeros((len(GROUPS), 2))
    for source, share in shares.items():
        name = source.replace("inductance", "definition").replace("capacitance", "definition")
        total[next(k for k, group in enumerate(GROUPS) if group in name)] += share[0]
    return total


def blind_figure(found: Blind) -> Figure:
    """Where on the chart a set-up sees little.

    Parameters
    ----------
    found : Blind
        As from `rfcal.tasks.planning.blind`.

    Returns
    -------
    matplotlib.figure.Figure
        Crosses where R, rings where X is not known to half of what it is.
    """
    figure = style.new_figure(6.0, 6.2)
    ax = chart.draw_grid(figure.subplots())
    for where, marker, label, role in (
        (found.resistance, "x", "R not known to half of itself", "raw"),
        (found.reactance, "o", "X not known to half of |Z|", "corrected"),
    ):
        at = found.reflection[where]
        look = style.role_of(role)
        ax.plot(
            at.real,
            at.imag,
            linestyle="none",
            marker=marker,
            markersize=6 if marker == "x" else 8,
            markerfacecolor="none",
            color=look.color,
            label=label,
        )
    style.add_legend(figure, ax)
    return figure
