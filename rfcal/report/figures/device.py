"""Figures from results: the reflection chart, R and X over frequency, the error terms."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse
from numpy.typing import NDArray

from rfcal.feedline.faults.echoes import bounces
from rfcal.maths.reflection import Complex, Real
from rfcal.measurement.propagate import linear_region
from rfcal.record.findings.line.band import may_ring, rings
from rfcal.record.findings.line.verdict import places
from rfcal.record.results import Device, LineState
from rfcal.report.figures import chart, style
from rfcal.uncertainty.words import mhz

MOST_TURNS = 6.0
"""Turns of the raw reading round the chart that can still be followed by eye."""
SMALL = 0.1
"""A region less wide than this hides under its mark, and is drawn once more, enlarged [1]."""
COLUMNS = 1000
"""Upright strips that a band is drawn in at most: no screen shows more."""


def device_chart(device: Device) -> Figure:
    """Raw and corrected reflection of a device on the reflection chart."""
    figure = style.new_figure(6.4, 6.4)
    ax = chart.draw_grid(figure.add_subplot(), z_ref=device.z_ref)
    raw, at = device.raw.quantity(device.z_ref).value, device.answer
    turns = np.sum(np.abs(np.diff(np.unwrap(np.angle(raw))))) / (2 * np.pi)
    label = "raw reading"
    if turns > MOST_TURNS:
        # a long line winds it into a tangle: only what is near the answer can be read
        near = np.abs(device.frequency - device.frequency[at]) <= 0.1 * device.frequency[at]
        raw, label = raw[near], "raw reading near there"
    chart.draw_trace(ax, raw, role="raw", label=label)
    for one, role, label, there in answer_traces(device):
        marks = {at: mhz(device.frequency[at])} if there[at] else {}
        value = np.where(there, one.reflection.value, np.nan)
        chart.draw_trace(ax, value, role=role, label=label, marks=marks)
    if device.other and device.two_answers[at]:
        _draw_region(ax, device.other, at)
    ellipse = _draw_region(ax, device, at, "95 % region there")
    if ellipse.width < SMALL:
        chart.draw_enlarged(ax, ellipse, device.reflection.value[at], role="corrected")
    return style.add_legend(figure)


def _draw_region(ax: Axes, device: Device, at: int, label: str = "") -> Ellipse:
    """Its region at one point, to the size that its own probability asks for."""
    of = device.assessed.region if device.assessed else linear_region(device.reflection)
    return chart.draw_ellipse(ax, of.centre[at], of.covariance[at], of.radius[at], label=label)


def answer_traces(device: Device) -> list[tuple[Device, str, str, NDArray[np.bool_]]]:
    """What a device is, and what it may be as well: its role and label, and where it differs."""
    found = [(device, "corrected", "corrected", np.ones(device.frequency.shape, bool))]
    if device.other:
        found.append((device.other, "other", "or this", device.two_answers))
    return found


def device_bands(device: Device) -> Figure:
    """Resistance and reactance of a device over frequency, each with its 95 % interval."""
    figure, upper, lower = style.rows(7.5, 6.0, "frequency [MHz]", "R [ohm]", "X [ohm]")
    megahertz = device.frequency / 1e6
    for column, ax in enumerate((upper, lower)):
        drawn = [_band(ax, column, *answer) for answer in answer_traces(device)]
        if megahertz.size > 1:
            _set_limits(ax, *np.concatenate(drawn, axis=1))
            at = megahertz[device.answer]
            ax.axvline(at, color=style.MUTED, linewidth=0.8, linestyle=(0, (2, 3)))
            # from end to end: the page's script finds a frequency by its place
            ax.set_xlim(*megahertz[[0, -1]])
    if lower.get_ylim()[0] < 0 < lower.get_ylim()[1]:
        lower.axhline(0, color=style.MUTED, linewidth=0.8)
    _one_tick(lower, megahertz)
    return style.add_legend(figure)


def _one_tick(ax: Axes, megahertz: Real) -> None:
    """Where there is one frequency only, make it the one that the axis names."""
    if megahertz.size == 1:
        ax.set_xticks(megahertz, [f"{megahertz[0]:.10g}"])


def _band(
    ax: Axes, column: int, device: Device, role: str, label: str, there: NDArray[np.bool_]
) -> Real:
    """R or X and its interval: a band with edges, or a bar where there is one point only.

    Value, low and high end as they were drawn, shape (3, F).
    """
    megahertz, interval = device.frequency / 1e6, device.interval[:, column]
    z = device.impedance.value
    value = np.where(there, (z.real, z.imag)[column], np.nan)
    finite = np.isfinite(value) & np.isfinite(interval).all(axis=-1)
    # what nothing bounds, or no passive device has, would only stretch the axis
    told = finite & (interval[:, 0] <= value) & (value <= interval[:, 1])
    known = told if value.size > 1 and told.any() else np.isfinite(value)
    value = np.where(known, value, np.nan)
    low, high = np.where(finite, interval.T, np.nan)
    first = role == "corrected"
    named = "95 % interval" if first else ""
    if value.size > 1:
        style.draw_band(ax, *_strips(megahertz, low, high), label=named)
    elif finite[0]:
        # two bars may lie over each other: the other answer's is thin, with wider ends
        wide, color = (2.4, "uncertainty") if first else (1.2, role)
        look: dict[str, Any] = {"fmt": "none", "elinewidth": wide, "capthick": wide}
        look |= {"capsize": 7 if first else 12, "ecolor": style.COLORS[color], "label": named}
        ax.errorbar(megahertz, value, np.abs([low - value, high - value]), **look)
    style.draw_curve(ax, megahertz, value, role, label)
    return np.array([value, low, high])


def _set_limits(ax: Axes, value: Real, low: Real, high: Real) -> None:
    """Give an axis room for its curves, and their bands as far as these are known."""
    if not np.isfinite(low).any():
        return
    shown, whole = (
        [*np.nanquantile(value, [0, 1]), np.nanquantile(low, p), np.nanquantile(high, 1 - p)]
        for p in (0.2, 0.0)
    )
    # where hardly anything is known the band leaves the picture, so that the rest can be read
    shown = whole if np.ptp(whole) < 2 * np.ptp(shown) else shown
    margin = 0.05 * np.ptp(shown)
    if margin > 0:
        ax.set_ylim(min(shown) - margin, max(shown) + margin)
        style.mark_beyond(ax)


def _strips(megahertz: Real, low: Real, high: Real) -> tuple[Real, Real, Real]:
    """Frequency, low and high end of a band in no more strips than a screen can show.

    A strip is as high as all of its points together, so that none is lost; matplotlib thins lines
    by itself, but no outline.
    """
    starts = np.unique(np.linspace(0, low.size, COLUMNS + 1)[:-1].astype(int))
    at = megahertz[starts]
    at[-1] = megahertz[-1]
    return at, np.fmin.reduceat(low, starts), np.fmax.reduceat(high, starts)


def error_terms_figure(
    frequency: Real, directivity: Complex, source_match: Complex, reflection_tracking: Complex
) -> Figure:
    """The three error terms [1] over frequency [Hz], and the phase of the tracking.

    In grey, because the colours mean something else; nothing is drawn below -80 dB.
    """
    names = ("frequency [MHz]", "magnitude [dB]", "phase of tracking [degree]")
    figure, upper, lower = style.rows(7.5, 5.6, *names, ratios=(1.5, 1))
    megahertz = frequency / 1e6
    terms = (reflection_tracking, source_match, directivity)
    for order, name in enumerate(("reflection tracking", "source match", "directivity")):
        size = 20 * np.log10(np.maximum(np.abs(terms[order]), 1e-4))
        style.draw_curve(upper, megahertz, size, order, name)
    style.draw_curve(lower, megahertz, np.degrees(np.unwrap(np.angle(reflection_tracking))), 0)
    _one_tick(lower, megahertz)
    return style.add_legend(figure)


def line_figure(line: LineState) -> Figure:
    """Size of reflection over distance, now and in the baseline, from the noise up."""
    figure, ax = style.rows(7.5, 4.0, "distance [m]", "size of reflection [1]")
    now, place = line.now, line.now.distance_m
    told = [m for m in places(line) if m != line.end]
    last = float(place[told].max(initial=0.0))
    end = line.length_m or float(place.max(initial=0.0))
    # all that is told of, and of the rest no more than surely lies there
    far = min(3 * line.length_m or np.inf, 10 * now.band.resolution)
    whole = max(now.band.range / 2, min(1.1 * line.length_m, now.band.range))
    reach = max(min(max(1.6 * end, far), whole), 1.1 * last)
    near = now.band.grid <= reach + now.band.grid[1]
    floor = max(now.echoes.noise, 1e-5)
    for events, role, label in ((line.before, 1, "baseline"), (now, "corrected", "now")):
        if events is not None:
            size = np.maximum(events.magnitude[near], floor)
            style.draw_curve(ax, now.band.grid[near], size, role, label)
    at_end = np.arange(place.size) == line.end
    late, early, bounced = rings(line), may_ring(line), now.bounces_m
    # between places alone: what the end does by itself later on, it does without any fault
    off = np.abs(bounced[:, None] - bounces(place[~late])[1])
    made = np.any(off < now.band.near, axis=1)
    behind = bounced[~made & (bounced > place[~late].max(initial=0.0))]
    for label, there, marker, face in (
        ("place that reflects", place[told], "v", style.TEXT),
        ("the line's end", place[at_end], "s", style.TEXT),
        ("ringing, no place", np.r_[place[late & ~early], behind], "v", style.WHITE),
        ("ringing, or a place", place[early], "^", style.WHITE),
        ("bounce, no place", bounced[made], "D", style.WHITE),
    ):
        there = there[there <= reach]
        if there.size:
            at = 1.25 * np.interp(there, now.band.grid, now.magnitude)
            marks: dict[str, Any] = {"marker": marker, "facecolor": face, "edgecolor": style.TEXT}
            ax.scatter(there, at, label=label, s=40, zorder=4, **marks)
    ax.set(yscale="log", xlim=(0, reach), ylim=(floor, 2.0))
    return style.add_legend(figure)
