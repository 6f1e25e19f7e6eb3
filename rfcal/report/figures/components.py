"""Pictures of a part: its fit and what that leaves, its methods, and how records of it compare."""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter

from rfcal import defaults
from rfcal.components.agreement import Agreement
from rfcal.components.throughs import METHODS, Ports, doubt_of
from rfcal.maths.arguments import reference
from rfcal.maths.reflection import to_impedance
from rfcal.measurement.bench import Analyzer
from rfcal.record.results import Part
from rfcal.report.figures import style
from rfcal.uncertainty.coverage import K_AXIS


def part_figure(part: Part) -> Figure:
    """Size of impedance with the fit, and the residuals beside what is known of the sweep."""
    names = ("frequency [MHz]", "|Z| [ohm]", "reflection left [1]")
    figure, upper, lower = style.rows(7.5, 6.4, *names, ratios=(1.6, 1))
    verdict, size = part.verdict, part.equivalents["impedance_magnitude"]
    megahertz, z_ref = verdict.sweep.frequency / 1e6, verdict.sweep.z_ref
    finite = np.isfinite(size.low) & np.isfinite(size.high)
    low = np.where(finite, np.maximum(size.low, size.value / 100), np.nan)
    high = np.where(finite, size.high, np.nan)
    style.draw_band(upper, megahertz, low, high, label="95 % interval")
    style.draw_curve(upper, megahertz, size.value, "corrected", "measured")
    shown = size.value[np.isfinite(size.value) & (size.value > 0)]
    if megahertz.size > 1 and shown.size:
        upper.set(xscale="log", yscale="log", ylim=(shown.min() / 2, shown.max() * 2))
        for axis in (upper.yaxis, lower.xaxis):
            axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
            axis.set_major_formatter("{x:g}")
            axis.set_minor_formatter(NullFormatter())
    if chosen := verdict.chosen:
        modelled = np.abs(to_impedance(verdict.sweep.reflection.value - chosen.left, z_ref))
        style.draw_curve(upper, megahertz, modelled, "model", f"fitted: {chosen.name}", zorder=4.0)
        half = K_AXIS * np.sqrt(verdict.sweep.reflection.variance())
        style.draw_band(lower, megahertz, -half, half)
        style.draw_curve(lower, megahertz, chosen.left.real, 0, "real part")
        style.draw_curve(lower, megahertz, chosen.left.imag, 1, "imaginary part")
    lower.axhline(0, color=style.MUTED, linewidth=0.8)
    style.mark_beyond(upper)
    return style.add_legend(figure)


def methods_figure(z_ref: float = defaults.REFERENCE_OHM) -> Figure:
    """How well a resistance is known by each method, so that it shows which one wins where."""
    reference(z_ref)
    figure, ax = style.rows(7.5, 4.4, "|Z| [ohm]", "95 % uncertainty of |Z| [%]")
    ohm = np.geomspace(0.1, 1e5, 241)
    for order, method in enumerate(METHODS):
        doubt = doubt_of(ohm, method, Ports(Analyzer()), z_ref)
        style.draw_curve(ax, ohm, 100 * K_AXIS * doubt, order, method)
    ax.set(xscale="log", yscale="log", ylim=(0.5, 1000))
    style.mark_beyond(ax)
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter("{x:g}")
    return style.add_legend(figure)


def agreement_figure(name: str, found: Agreement) -> Figure:
    """En of R and of X over frequency, and the range in which two answers agree."""
    figure, ax = style.rows(7.5, 4.0, "frequency [MHz]", f"En of {name} [1]")
    megahertz = found.frequency / 1e6
    ax.axhspan(-1, 1, color=style.GRID, alpha=0.6, linewidth=0, label="agree")
    for order, (letter, values) in enumerate(zip("RX", found.normalised_error.T, strict=True)):
        style.draw_curve(ax, megahertz, values, order, letter)
    most = 1.15 * min(float(np.nanmax(np.abs(found.normalised_error), initial=1.0)), 20) + 0.2
    ax.set_ylim(-most, most)
    style.mark_beyond(ax)
    return style.add_legend(figure)


def values_figure(parts: Sequence[tuple[str, Part]]) -> Figure:
    """The leading value of a part in several records, each with its interval."""
    value = next(iter(parts[0][1].verdict.figures))
    shown = [(title, p.verdict.figures[value]) for title, p in parts if value in p.verdict.figures]
    label = f"{value.replace('_', ' ')} [{shown[0][1].unit or 1}]"
    figure, ax = style.rows(7.5, 4.0, "", label)
    ax.ticklabel_format(axis="y", style="sci", scilimits=(-2, 3))
    middle = np.array([f.value[0] for _, f in shown])
    ends = np.array([[f.low[0], f.high[0]] for _, f in shown]).T
    ends = np.where(np.isfinite(ends), ends, middle)
    colors = {"color": style.COLORS["corrected"], "ecolor": style.COLORS["uncertainty"]}
    ax.errorbar(range(len(shown)), middle, np.abs(ends - middle), fmt="o", capsize=6, **colors)
    ax.set_xticks(range(len(shown)), [title for title, _ in shown], rotation=15)
    return figure
