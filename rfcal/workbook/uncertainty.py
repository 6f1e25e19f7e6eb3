"""The notebook about uncertainty: panels with a slider for each source, and the blind map."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from rfcal import defaults
from rfcal.maths.arguments import frequencies
from rfcal.maths.reflection import Real, from_impedance
from rfcal.measurement.propagate import ellipse_of, figures_of, impedance, propagate
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.standards import Standard, StandardKind, Tabulated, with_default_uncertainty
from rfcal.planning.plan import PLAIN, Blind, Length, Setup
from rfcal.readings.display import DISPLAY_ROUNDING, step_effects
from rfcal.readings.sweep import TwoPortSweep
from rfcal.record.results import Device
from rfcal.report.figures import chart, style
from rfcal.uncertainty import words
from rfcal.uncertainty.coverage import budget
from rfcal.workbook.panel import Panel, Slider, place_of, started

KINDS: tuple[StandardKind, ...] = ("short", "open", "load")
READING = ("noise", "connection", "display step", "drift")
LOAD = tuple(f"load: {part}" for part in ("resistance", "inductance", "residual reflection"))
PATH = "path"
STANDARDS = (*READING, "short", "open", *LOAD)
RESIDUAL = (*READING, *(f"residual {name.replace('_', ' ')}" for name in defaults.RESIDUAL))
LINE = ("length", "velocity factor", "impedance", "loss", "skin effect", "before the line")
"""Sources as the panels show them: a source's name holds one of these words, or is of the last."""

DOUBTS: dict[str, tuple[StandardKind, str, float]] = {
    **{kind: (kind, "reflection", 1.0) for kind in KINDS},
    "load_ohm": ("load", "resistance", 1.0),
    "load_nh": ("load", "inductance", 1e-9),
}
"""What a slider moves: the kind of standards, what is uncertain of them, and the slider's unit."""

TYPE = "RG-213"
"""Cable of the panel about a line."""

DRAWS = 1000
"""Draws that the region in a panel is held against."""

FREQUENCY = Slider("frequency", "frequency", "MHz", 1.0, 150.0, 0.1, 70.2)
PLACE = (
    Slider("r", "device R", "ohm", 1.0, 3000.0, 1.0, 30.0),
    Slider("x", "device X", "ohm", -500.0, 500.0, 1.0, -20.0),
)


def usual_setup(frequency_hz: float) -> Setup:
    """A set-up of short, open and load, as of a record that says nothing else."""
    return Setup(frequencies([frequency_hz]), PLAIN)


def own_setup(device: Device) -> Setup:
    """The set-up that a device was measured with, at the frequency of its answer."""
    at, z_ref, bench = device.answer, device.z_ref, device.bench
    inputs = device.inputs.at(np.array([at]))
    box, raw = inputs.calibration.error_box, inputs.reading.value
    # one ohm on the display, and what its step changed
    ohm, *_ = step_effects("", raw, z_ref, {"R": 1.0})
    steps = [e.change[at] for e in device.raw.effects if e.source.endswith(DISPLAY_ROUNDING)]
    lines = []
    for number, (element, step) in enumerate(zip(device.between, inputs.path, strict=True), 1):
        known = element.known_by
        kind = "adapter" if isinstance(known, TwoPortSweep) else "measured"
        kind = "cable" if isinstance(known, Line) else "fixture" if element.fixture else kind
        line = known if isinstance(known, Line) else Line(0.0)
        seen = step.through(box)
        more = (element.deviations, kind, seen, element.embed)
        lines.append(Length(f"{PATH} {number}", line, *more))
    analyzer, here = bench.analyzer, device.frequency[[at]]
    moved = max((float(one.drift(here)[0]) for one in bench.moved), default=0.0)
    return Setup(
        here,
        {f"{k} {s.model.kind}": s.model for k, s in enumerate(bench.standards, 1)},
        *(analyzer.noise, analyzer.connection, float(np.hypot(analyzer.drift, moved))),
        lines=tuple(lines),
        z_ref=z_ref,
        directivity=complex(box.directivity[0]),
        source_match=complex(box.source_match[0]),
        tracking=complex(box.reflection_tracking[0]),
        resolution_ohm=float(abs(steps[0] / ohm.change[0])) if steps else 0.0,
        residual=analyzer.residual,
    )


def usual_line(line_m: float, **stated: float) -> Length:
    """A line of RG-213 to the device, known by its figures, for the lines of a `Setup`.

    Standard uncertainties by their names, the loss in parts of it; as in a record where not stated.
    """
    kind = CABLES[TYPE]
    return Length("line", kind.line(line_m), {"loss": kind.loss_doubt} | stated)


def uncertainty_panel(own: Device | None = None) -> Panel:
    """The region of a device and its uncertainty by source: the analyzer and each standard.

    Of a reader's own device it starts from what the device was measured with.
    """
    base = own_setup(own) if own else usual_setup(FREQUENCY.start * 1e6)
    if not base.standards:
        base = replace(base, standards=PLAIN, residual=None)
    down_db = float(-20 * np.log10(abs(base.tracking)))
    starts = {name: _doubt(base, *of) for name, of in DOUBTS.items()}
    sliders = [
        *([] if own else [FREQUENCY]),
        *_reading(base),
        Slider("down_db", "tracking, below 1", "dB", 0.0, 20.0, 0.5, down_db),
        *(Slider(k, f"residual of the {k}", "", 0.0, 0.02, 0.0005, starts[k]) for k in KINDS),
        Slider("load_ohm", "load's resistance", "ohm", 0.0, 2.0, 0.01, starts["load_ohm"]),
        Slider("load_nh", "load's inductance", "nH", 0.0, 5.0, 0.01, starts["load_nh"]),
    ]
    starts = {s.name: s.start for s in started(sliders, {})}

    def setup(frequency, *, down_db, step_ohm, noise, connection, drift, **doubts):
        more = {of: doubts[name] - starts[name] for name, of in DOUBTS.items()}
        return replace(
            base,
            frequency=np.array([frequency]),
            standards={name: _less_known(one, more) for name, one in base.standards.items()},
            tracking=base.tracking * 10 ** ((starts["down_db"] - down_db) / 20),
            resolution_ohm=step_ohm,
            **{"noise": noise, "connection": connection, "drift": drift},
        )

    groups = (PATH, *STANDARDS) if base.lines else STANDARDS
    return _panel(groups, sliders, setup, own)


def _doubt(setup: Setup, kind: StandardKind, what: str, unit: float) -> float:
    """The largest doubt about standards of a kind, in that unit."""
    known = (with_default_uncertainty(one) for one in setup.standards.values() if one.kind == kind)
    return max((one.uncertainty.get(what, 0.0) / unit for one in known), default=0.0)


def _less_known(
    model: Standard | Tabulated, more: dict[tuple[StandardKind, str, float], float]
) -> Standard | Tabulated:
    """A standard with so much more doubt about it, where it is of the kind."""
    doubt = dict(with_default_uncertainty(model).uncertainty)
    for (kind, what, unit), size in more.items():
        if kind == model.kind:
            doubt[what] = max(doubt.get(what, 0.0) + size * unit, 0.0)
    return replace(model, uncertainty=doubt)


def residual_panel(own: Device | None = None) -> Panel:
    """The same of an instrument that corrects itself, known by what its correction leaves."""
    base = own_setup(own) if own else usual_setup(FREQUENCY.start * 1e6)
    sliders = [
        Slider(key, f"residual {key.replace('_', ' ')}", "", 0.0, 0.1, 0.001, size)
        for key, size in {**defaults.RESIDUAL, **(base.residual or {})}.items()
    ]

    def setup(frequency, *, step_ohm, **stated):
        left = {key: stated.pop(key) for key in defaults.RESIDUAL}
        stated |= {"resolution_ohm": step_ohm, "z_ref": base.z_ref}
        return replace(usual_setup(frequency), standards={}, residual=left, **stated)

    return _panel(RESIDUAL, [*_reading(base), *sliders], setup, own)


def path_panel(own: Device | None = None) -> Panel:
    """The same behind a line that is known by its figures, read and calibrated as usual."""
    usual, percent = defaults.PATH, 100 * CABLES[TYPE].loss_doubt
    sizes = (
        ("length", "m", 0.2, 0.002, usual["length"]),
        ("velocity factor", "", 0.03, 0.0005, usual["velocity factor"]),
        ("impedance", "ohm", 5.0, 0.1, 50 * usual["impedance"]),
        ("loss", "%", 50.0, 1.0, percent),
        ("skin effect", "", 1.0, 0.05, defaults.SKIN_EFFECT),
    )
    length = Slider("line_m", f"line of {TYPE}", "m", 0.0, 30.0, 0.1, 2.0)
    doubts = (Slider(n, f"doubt of {n}", unit, 0.0, *rest) for n, unit, *rest in sizes)

    def setup(frequency, *, line_m, loss, **stated):
        line = usual_line(line_m, loss=loss / 100, **stated)
        return replace(usual_setup(frequency), lines=(line,), z_ref=_reference(own))

    return _panel(LINE, [FREQUENCY, length, *doubts], setup, own)


def _reading(setup: Setup) -> list[Slider]:
    """What one reading is worth, whatever it is of."""
    names = ("noise", "connection", "drift")
    sizes = (Slider(n, n, "", 0.0, 0.01, 0.0001, getattr(setup, n)) for n in names)
    return [*sizes, Slider("step_ohm", "display step", "ohm", 0.0, 2.0, 0.1, setup.resolution_ohm)]


def _panel(
    groups: tuple[str, ...],
    sliders: Sequence[Slider],
    setup_of: Callable[..., Setup],
    own: Device | None,
) -> Panel:
    """A device's region beside the shares of groups of sources, and the sliders that move them."""
    figure = style.new_figure(8.4, 4.6)
    left, right = figure.subplots(1, 2, width_ratios=(1.9, 1))
    z_ref, start = _reference(own), place_of(own).get("frequency", FREQUENCY.start)
    chart.draw_grid(left, z_ref=z_ref)
    middle, looks = np.arange(len(groups))[:, None], _bars(right, groups)

    def draw(r, x, frequency=start, **sources):
        seen = np.array([from_impedance(r + 1j * x, z_ref)])
        inputs = setup_of(frequency * 1e6, **sources).inputs(seen)
        reflection = propagate(inputs)
        drawn = inputs.draw(np.random.default_rng(1), DRAWS)
        found = ellipse_of(reflection, (drawn - reflection.value).T)[0]
        own_size = found.centre[0], found.covariance[0], found.radius[0]
        region = chart.draw_ellipse(left, *own_size, label="95 % region")
        chart.draw_trace(left, reflection.value, role="truth", label="device")
        chart.draw_enlarged(left, region, complex(reflection.value[0]), role="truth")
        shares = _grouped(budget(impedance(reflection, z_ref)), groups)
        for share, side, look in zip(shares.T, (-0.19, 0.19), looks, strict=True):
            # one artist for all bars, as each costs time to draw
            y, x = middle + side + [-0.17, 0.17, 0.17], np.outer(100 * share, [1, 1, np.nan])
            right.fill_betweenx(y.ravel(), x.ravel(), **look)
        figures, most = figures_of(inputs, reflection, z_ref), np.argmax(shares, axis=0)
        said = (
            f"{name} {words.figure_words(figures[key], 0)}, largest source {groups[row]} "
            f"({shares[row, k]:.1%})"
            for k, (name, key, row) in enumerate(
                zip("RX", ("resistance", "reactance"), most, strict=True)
            )
        )
        return f"{'; '.join(said)}; 95 %, each by itself."

    return Panel(figure, started([*PLACE, *sliders], place_of(own)), draw)


def _reference(own: Device | None) -> float:
    """Reference impedance of a panel's chart [ohm]."""
    return own.z_ref if own else defaults.REFERENCE_OHM


def _bars(ax: Axes, groups: tuple[str, ...]) -> list[dict[str, Any]]:
    """Axes for shares, and how the bars of R and of X look."""
    style.dress(ax, "share of the variance [%]", "")
    rows = len(groups)
    ax.set(xlim=(0, 100), ylim=(rows - 0.5, -0.5), yticks=range(rows), yticklabels=groups)
    looks: list[dict[str, Any]] = [
        {"facecolor": style.COLORS[role], "hatch": hatch}
        for role, hatch in (("corrected", ""), ("model", "//"))
    ]
    # above the bars, which may be as long as the axis
    place: dict[str, Any] = {"loc": "lower right", "bbox_to_anchor": (1.0, 1.0), "ncols": 2}
    named = [Patch(label=f"of {part}", **look) for part, look in zip("RX", looks, strict=True)]
    ax.legend(handles=named, **place, frameon=False, fontsize=style.SIZE_SMALL)
    return looks


def _grouped(shares: dict[str, Real], groups: tuple[str, ...]) -> Real:
    """Shares of groups of sources in R and X, shape (groups, 2)."""
    total = np.zeros((len(groups), 2))
    for source, share in shares.items():
        total[next((k for k, group in enumerate(groups) if group in source), -1)] += share[0]
    return total


def blind_figure(found: Blind) -> Figure:
    """Where on the chart a set-up sees little: crosses for R, rings for X."""
    figure = style.new_figure(6.0, 6.2)
    ax = chart.draw_grid(figure.subplots())
    for where, marker, size, label, role in (
        (found.resistance, "x", 6, "R not known to half of itself", "raw"),
        (found.reactance, "o", 8, "X not known to half of |Z|", "corrected"),
    ):
        at = found.reflection[where]
        look: dict[str, Any] = {"color": style.COLORS[role], "label": label}
        ax.plot(at.real, at.imag, marker, markersize=size, markerfacecolor="none", **look)
    return style.add_legend(figure)
