"""Pictures of a comparison: the normalised error, and values of a part in several records."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from rfcal.components.agreement import Agreement
from rfcal.record.results import Part
from rfcal.report.figures import style


def agreement_figure(name: str, found: Agreement) -> Figure:
    """En of R and of X over frequency, and the range in which two answers agree."""
    figure = style.new_figure(7.5, 4.0)
    ax = style.dress(figure.subplots(), "frequency [MHz]", f"En of {name} [1]")
    megahertz = found.frequency / 1e6
    ax.axhspan(-1, 1, color=style.GRID, alpha=0.6, linewidth=0, label="agree")
    for order, (letter, values) in enumerate(zip("RX", found.normalised_error.T, strict=True)):
        ax.plot(megahertz, values, label=letter, **style.plain_look(order, megahertz.size))
    most = float(np.nanmax(np.abs(found.normalised_error), initial=1.0))
    ax.set_ylim(-1.15 * min(most, 20) - 0.2, 1.15 * min(most, 20) + 0.2)
    style.Beyond(ax).show()
    style.add_legend(figure, ax)
    return figure


def values_figure(parts: Sequence[tuple[str, Part]], value: str) -> Figure:
    """One value of a part in several records, each with its interval."""
    figure = style.new_figure(7.5, 4.0)
    shown = [(title, p.verdict.figures[value]) for title, p in parts if value in p.verdict.figures]
    ax = style.dress(figure.subplots(), "", f"{value.replace('_', ' ')} [{shown[0][1].unit or 1}]")
    ax.ticklabel_format(axis="y", style="sci", scilimits=(-2, 3))
    middle = np.array([f.value[0] for _, f in shown])
    ends = np.array([[f.low[0], f.high[0]] for _, f in shown]).T
    ends = np.where(np.isfinite(ends), ends, middle)
    role, places = style.ROLES["corrected"], np.arange(len(shown))
    look: dict[str, Any] = {"ecolor": style.ROLES["uncertainty"].color, "capsize": 6}
    look |= {"fmt": role.marker, "color": role.color}
    ax.errorbar(places, middle, np.abs(ends - middle), **look)
    ax.set_xticks(places, [title for title, _ in shown], rotation=15)
    return figure
