"""How every picture looks: one colour, line style and marker for one meaning; greys; sizes.

The colours are the members of the Okabe-Ito colour-blind-safe set that keep a contrast of 3:1
on white. Nothing here touches matplotlib's global settings: looks are given artist by artist.
"""

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import ArrayLike

from rfcal.maths.reflection import Real

WHITE, GRID, MUTED, TEXT = "#FFFFFF", "#CFCFCF", "#595959", "#222222"
DPI = 100
SIZE_LABEL, SIZE_SMALL = 11.0, 10.0
SMALL: dict[str, Any] = {"fontsize": SIZE_SMALL, "color": MUTED}
FINE = 0.3
"""By so much [1/72 inch] a curve of many points may pass by one of them, which nobody can see."""
FEW_POINTS = 30
"""Up to so many points a trace carries a marker on each."""


_PARTS = ("color", "linestyle", "marker", "linewidth", "zorder")
_ALL = {"markersize": 7.0, "markeredgewidth": 1.6, "solid_capstyle": "round"}
ROLES: dict[str | int, dict[str, Any]] = {
    role: _ALL | dict(zip(_PARTS, look, strict=True))
    for role, *look in (
        ("raw", "#D55E00", (0, (5, 2)), "s", 1.6, 3.0),
        ("corrected", "#0072B2", "-", "o", 2.0, 3.2),
        ("other", "#595959", (0, (2, 2)), "D", 1.8, 3.15),
        ("truth", "#000000", (0, (1, 1.6)), "x", 1.8, 3.4),
        ("uncertainty", "#CC79A7", "-", "d", 1.2, 2.6),
        ("model", "#009E73", (0, (6, 2, 1, 2)), "^", 1.8, 3.1),
        (0, TEXT, "-", "o", 1.8, 2.0),
        (1, TEXT, (0, (5, 2)), "s", 1.8, 2.0),
        (2, TEXT, (0, (1, 1.4)), "x", 1.8, 2.0),
    )
}
"""As read; after correction; the other answer where two are left; known truth of a demo;
uncertainty; calculated, not measured; and, by numbers, what has none of these meanings: each as
keyword arguments of a line."""
COLORS = {role: look["color"] for role, look in ROLES.items() if isinstance(role, str)}


def line_look(role: str | int, points: int, marked: Collection[int] = ()) -> dict[str, Any]:
    """Keyword arguments of a trace of that meaning; one of few points has a marker on each."""
    if points <= FEW_POINTS:
        return ROLES[role]
    return ROLES[role] | ({"markevery": [*marked]} if marked else {"marker": ""})


@contextmanager
def own_settings() -> Iterator[None]:
    """Matplotlib as it comes, whatever its user has set; also to decorate what draws."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams["path.simplify_threshold"] = FINE
        yield


def new_figure(width: float = 7.5, height: float = 5.0) -> Figure:
    """White figure of that size [inch] that arranges its axes itself, without any window."""
    return Figure(figsize=(width, height), dpi=DPI, facecolor=WHITE, layout="constrained")


def dress(ax: Axes, x_label: str = "", y_label: str = "") -> Axes:
    """Give axes the common look: quiet frame, light grey grid, plain numbers."""
    ax.set_facecolor(WHITE)
    ax.grid(True, color=GRID, linewidth=0.8, linestyle="-")
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    ax.spines[["left", "bottom"]].set_color(MUTED)
    ax.tick_params(labelsize=SIZE_SMALL, colors=MUTED, labelcolor=TEXT)
    ax.ticklabel_format(useOffset=False, style="plain")
    ax.set_xlabel(x_label, fontsize=SIZE_LABEL, color=TEXT)
    ax.set_ylabel(y_label, fontsize=SIZE_LABEL, color=TEXT)
    return ax


def rows(
    width: float, height: float, x_label: str, *y_labels: str, ratios: Sequence[float] | None = None
) -> tuple[Any, ...]:
    """A figure and its dressed axes, one below the other over the same x."""
    figure = new_figure(width, height)
    places = figure.subplots(len(y_labels), sharex=True, height_ratios=ratios, squeeze=False)[:, 0]
    for ax, label in zip(places, y_labels, strict=True):
        dress(ax, x_label if ax is places[-1] else "", label)
    return figure, *places


def draw_curve(
    ax: Axes, x: Real, y: Real, role: str | int, label: str | None = None, **look: Any
) -> None:
    """Draw a curve with the look of its role, or another one in part."""
    ax.plot(x, y, label=label, **line_look(role, x.size) | look)


def draw_band(ax: Axes, x: ArrayLike, low: Real, high: Real, *, label: str | None = None) -> None:
    """Draw the range between two curves, with its edges."""
    color = COLORS["uncertainty"]
    ax.fill_between(x, low, high, facecolor=(color, 0.35), edgecolor=color, label=label)
    ax.plot(x, np.transpose([low, high]), color=color, linewidth=0.8)


def mark_beyond(ax: Axes) -> Text:
    """Mark where each curve goes farthest beyond the ends of axes; what says so above them."""
    curves = [
        np.asarray(c.get_data(), float) for c in ax.lines if c.get_transform() == ax.transData
    ]
    (left, right), ends, said = ax.get_xlim(), ax.get_ylim(), []
    look: dict[str, Any] = {"linestyle": "none", "color": TEXT, "clip_on": False}
    for end, sign, marker, way in zip(ends[::-1], (1, -1), "^v", "▲▼", strict=True):
        places = []
        for x, y in curves:
            far = np.where((x >= left) & (x <= right) & np.isfinite(y), sign * y, -np.inf)
            places += [x[far.argmax()]] if far.max() > sign * end else []
        if places:
            ax.plot(places, np.full(len(places), end), marker, in_layout=False, **look)
            said.append(f"{way} beyond {float(f'{end:.3g}'):g}")
    words = "  ".join(said).replace("-", "−") or " "
    return ax.set_title(words, loc="right", fontsize=SIZE_SMALL, color=TEXT)


def add_legend(figure: Figure, *sources: Axes) -> Figure:
    """The figure with one legend of what it shows under it, where it can cover nothing.

    Of all its axes, if none are named; what has the same label in two of them stands there once.
    """
    found = (ax.get_legend_handles_labels() for ax in sources or figure.axes)
    shown = {label: handle for pair in found for handle, label in zip(*pair, strict=True)}
    look: dict[str, Any] = {"fontsize": SIZE_SMALL, "labelcolor": TEXT, "frameon": False}
    columns = min(len(shown), 3, int(figure.get_figwidth() // 2))
    place: dict[str, Any] = {"loc": "outside lower center", "ncols": columns}
    if shown:
        figure.legend([*shown.values()], [*shown], handlelength=3.2, **place, **look)
    return figure
