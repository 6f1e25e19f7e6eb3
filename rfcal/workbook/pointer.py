"""What the pointer finds in a panel's picture: values of curves, and impedances on a chart."""

from collections.abc import Iterator
from html import escape

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from rfcal.findings import swr_words
from rfcal.maths.reflection import Real
from rfcal.uncertainty import words

MOST = 25
"""Places on one trace, or across one pair of axes, that have words under the pointer."""
NEAR = 7.0
"""How far off a trace, or beyond its end, the pointer may be [pixel]."""


def pointer_layer(figure: Figure, swept: bool) -> str:
    """What is under the pointer: an SVG of which only native tooltips are seen.

    It fits the figure; `swept`: traces on its chart have the points of the axes beside.

    Whatever holds it is hidden, which its marks are not: all else stays the picture's.
    """
    width, height = figure.bbox.size
    marks = "".join(
        f"<{shape}><title>{escape(said)}</title></{shape.split()[0]}>"
        for ax in figure.axes
        for shape, said in (_across(ax) if ax.axison else _along(ax, swept))
    )
    return (
        f'<svg viewBox="0 0 {width:g} {height:g}" style="display:block;width:100%" '
        f'aria-hidden="true"><g visibility="visible" fill="none" stroke-width="{2 * NEAR:g}" '
        f'stroke-linecap="round">{marks}</g></svg>'
    )


def _named(ax: Axes) -> list[Line2D]:
    """Curves in the legend's words, the lowest first; neither marks nor straight lines across."""
    found = (c for c in ax.lines if not str(c.get_label()).startswith("_"))
    found = (c for c in found if c.get_transform() == ax.transData)
    return sorted((c for c in found if c.get_linestyle() != "None"), key=Line2D.get_zorder)


def _across(ax: Axes) -> Iterator[tuple[str, str]]:
    """Columns over axes, and the value of every curve in each."""
    curves = _named(ax)
    x = np.asarray(curves[0].get_xdata(), float) if curves else np.empty(0)
    x = x[(x >= ax.get_xlim()[0]) & (x <= ax.get_xlim()[1])]
    if not x.size:
        return
    x = x[np.unique(np.linspace(0, x.size - 1, MOST).round().astype(int))]
    name, _, unit = ax.get_ylabel().rstrip("]").partition(" [")
    digits = swr_words if name == "SWR" else lambda value: words.rounded(value, abs(value) / 10)
    before, after = (f"{name} ", "") if unit == "1" else ("", f" {unit}")
    at = _pixels(ax, x, np.full(x.size, ax.get_ylim()[0]))[:, 0]
    edges = [at[0] - NEAR, *(at[1:] + at[:-1]) / 2, at[-1] + NEAR]
    top = ax.figure.bbox.height - ax.bbox.y1
    upright = f'y="{top:.1f}" height="{ax.bbox.height:.1f}" pointer-events="fill"'
    data = ((curve.get_label(), np.asarray(curve.get_data(), float)) for curve in curves)
    rows = [(label, np.interp(x, *points)) for label, points in data]
    for k, place in enumerate(_places(ax, x)):
        values = ((label, digits(y[k])) for label, y in rows)
        said = [place, *(f"{label}: {before}{value}{after}" for label, value in values)]
        shape = f'rect x="{edges[k]:.1f}" width="{edges[k + 1] - edges[k]:.1f}" {upright}'
        yield shape, "\n".join(said)


def _along(ax: Axes, swept: bool) -> Iterator[tuple[str, str]]:
    """Pieces of the traces on a chart, and the impedance in the middle of each."""
    beside = np.asarray(_named(ax.figure.axes[-1])[0].get_xdata() if swept else (), float)
    for curve in _named(ax):
        x, y = np.asarray(curve.get_data(), float)
        middle = np.unique(np.linspace(0, x.size - 1, MOST).round().astype(int))
        ends = np.concatenate([[0], (middle[1:] + middle[:-1]) // 2, [x.size - 1]])
        places = _places(ax, beside[middle]) if beside.size == x.size else [""] * middle.size
        pixels = _pixels(ax, x, y)
        for k, (at, place) in enumerate(zip(middle, places, strict=True)):
            way = " ".join(f"{p:.1f},{q:.1f}" for p, q in pixels[[ends[k], at, ends[k + 1]]])
            said = f"{curve.get_label()}: {ax.format_coord(x[at], y[at])}"
            yield f'path d="M{way}" pointer-events="stroke"', f"{place}\n{said}".lstrip()


def _pixels(ax: Axes, x: Real, y: Real) -> Real:
    """Places in the picture, from its upper left corner, shape (points, 2)."""
    at = ax.transData.transform(np.column_stack([x, y]))
    return np.column_stack([at[:, 0], ax.figure.bbox.height - at[:, 1]])


def _places(ax: Axes, x: Real) -> list[str]:
    """Such as "7.1 MHz": the lowest axes have the label of all above them, or beside."""
    label = ax.get_xlabel() or ax.figure.axes[-1].get_xlabel()
    unit = label.rstrip("]").partition(" [")[2]
    return [f"{words.rounded(v, np.ptp(x) / 10)} {unit}" for v in x]
