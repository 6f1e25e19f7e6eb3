"""The reflection chart: reflection coefficients in their plane, over lines of R and X.

On the unit circle everything comes back, in its centre nothing. A line of constant resistance
is a circle through the point 1, a line of constant reactance an arc into the same point
(source: the definition of the reflection coefficient, solved for constant real or imaginary
part of the impedance).
"""

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Ellipse, PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import ArrayLike

from rfcal import defaults
from rfcal.findings import swr_words
from rfcal.maths.reflection import from_impedance, swr, to_impedance
from rfcal.report.figures import style
from rfcal.uncertainty.coverage import K_ELLIPSE
from rfcal.uncertainty.words import complex_ohm

GRID_LINES = (0.2, 0.5, 1.0, 2.0, 5.0)
"""Lines of the grid, in parts of the reference impedance."""
RIM = 0.85
"""Size of reflection beyond which words at a mark would cover the scale round the chart [1]."""
RULER = -1.2
"""Height below the chart at which the values of R stand."""
FRAME, HALF_FRAME = 1.35 - 0.96j, 0.24
"""Middle of the frame of an enlarged region, on the chart, and half its width [1]."""


def draw_grid(ax: Axes, *, z_ref: float = defaults.REFERENCE_OHM) -> Axes:
    """Draw the lines of constant R and X, labelled in ohm; the centre is `z_ref` [ohm]."""
    ax.set_axis_off()
    ax.set(xlim=(-1.24, 1.24), ylim=(RULER - 0.14, 1.2), aspect="equal")
    line: dict[str, Any] = {"fill": False, "edgecolor": style.GRID, "linewidth": 0.9, "zorder": 1.0}
    for step in GRID_LINES:
        ax.add_patch(Circle((step / (1 + step), 0.0), 1 / (1 + step), **line))
        for x in (step, -step):
            ax.add_patch(PathPatch(_reactance_arc(x), **line))
    ax.add_line(Line2D([-1, 1], [0, 0], color=style.GRID, linewidth=0.9, zorder=1.0))
    ax.add_patch(Circle((0, 0), 1.0, **(line | {"edgecolor": style.MUTED, "linewidth": 1.2})))
    _label_grid(ax, z_ref)
    ax.format_coord = partial(_place_words, z_ref=z_ref)  # type: ignore[method-assign]
    return ax


def _place_words(x: float, y: float, *, z_ref: float) -> str:
    """Impedance and SWR at a place, to three digits of the larger of R and X."""
    z, ratio = complex(to_impedance(complex(x, y), z_ref)), float(swr(complex(x, y)))
    half = np.maximum(np.abs([z.real, z.imag]), abs(z) / 10) / 10
    return f"{complex_ohm(z, half)}, SWR {swr_words(ratio)}"


def _reactance_arc(x: float) -> Path:
    """Return the arc of one normalised reactance, from the unit circle to the point 1."""
    # centre 1 + j/x, radius 1/|x|
    radius, end = 1 / abs(x), complex(from_impedance(1j * x, 1.0)) - complex(1, 1 / x)
    start, stop = sorted((np.degrees(np.angle(end)) % 360, 270.0 if x > 0 else 90.0))
    return Path.arc(start, stop).transformed(Affine2D().scale(radius).translate(1.0, 1 / x))


def _label_grid(ax: Axes, z_ref: float) -> None:
    """Write the values of the grid lines, and what they are."""
    look = style.SMALL | {"zorder": 1.5}
    # no number inside, where a trace would cover it or be covered: R stands below its place on the
    # level axis
    for r in (0.0, *GRID_LINES):
        at = (r - 1) / (r + 1)
        ax.plot([at, at], [0, RULER], color=style.GRID, linewidth=0.9, linestyle=(0, (1, 2)))
        ax.text(at, RULER - 0.02, f"{r * z_ref:g}", ha="center", va="top", **look)
    ax.text(-1.22, RULER - 0.02, "R", ha="left", va="top", **look)
    for x in GRID_LINES:
        edge = complex(from_impedance(1j * x, 1.0)) * (1.03 if x == 1 else 1.07)
        for sign, text in ((1, "+j"), (-1, "−j")):
            across = "left" if edge.real > 0.1 else "right" if edge.real < -0.1 else "center"
            along = "center" if across != "center" else "bottom" if sign > 0 else "top"
            place: dict[str, Any] = {"ha": across, "va": along}
            ax.text(edge.real, sign * edge.imag, f"{text}{x * z_ref:g}", **place, **look)
    ax.text(1.03, 0, "∞", ha="left", va="center", **look)
    ax.text(-1.22, 1.17, "inductive", ha="left", va="top", **look)
    ax.text(-1.22, -1.12, "capacitive", ha="left", va="bottom", **look)
    ax.text(1.22, 1.17, "R, jX in ohm", ha="right", va="top", **look)


def draw_trace(
    ax: Axes,
    reflection: ArrayLike,
    *,
    role: str,
    label: str | None = None,
    marks: Mapping[int, str] | None = None,
) -> Line2D:
    """Draw reflections [1], shape (F,) or (); `role` is their meaning, `marks` words by index."""
    values = np.atleast_1d(np.asarray(reflection, complex))
    look = style.line_look(role, values.size, marks or {})
    line = ax.add_line(Line2D(values.real, values.imag, label=label, **look))
    beside: dict[str, Any] = {"textcoords": "offset points", "zorder": 4.0}
    box = {"facecolor": style.WHITE, "edgecolor": "none", "alpha": 0.8, "pad": 1.0}
    plain: dict[str, Any] = {"fontsize": style.SIZE_SMALL, "color": style.TEXT, "bbox": box}
    for index, words in (marks or {}).items():
        at = values[index].real, values[index].imag
        # near the rim inward, where no scale stands
        x, y = (-7 if end > 0 and abs(values[index]) > RIM else 7 for end in at)
        beside |= {"ha": "right" if x < 0 else "left", "va": "top" if y < 0 else "baseline"}
        ax.annotate(words, at, (x, y), **beside, **plain)
    return line


def draw_ellipse(
    ax: Axes,
    centre: complex,
    covariance: ArrayLike,
    radius: float = K_ELLIPSE,
    *,
    label: str | None = None,
) -> Ellipse:
    """Draw the region of that radius of a complex value with that (2, 2) covariance.

    It is the 95 % region by default, of a value that is normal: its squared scale is
    ``-2 ln(1 - 0.95)``, 2.45 squared (JCGM 102:2011, 6.5.2).
    """
    variances, axes = np.linalg.eigh(np.asarray(covariance, float))
    minor, major = 2 * float(radius) * np.sqrt(np.maximum(variances, 0))
    turn = float(np.degrees(np.arctan2(axes[1, 1], axes[0, 1])))
    look: dict[str, Any] = {"label": label, "linewidth": 1.2, "zorder": 2.6}
    ellipse = Ellipse((centre.real, centre.imag), major, minor, angle=turn, **look)
    color = style.COLORS["uncertainty"]
    ellipse.set(facecolor=(color, 0.25), edgecolor=color)
    ax.add_patch(ellipse)
    if not ax.axison:
        # on a chart: no passive device lies beyond its edge
        ellipse.set_clip_path(Circle((0, 0), 1.0, transform=ax.transData))
    return ellipse


def draw_enlarged(ax: Axes, region: Ellipse, device: complex, *, role: str) -> None:
    """A region as large as a small frame beside the chart allows, with its scale in words.

    There is no frame where the region fills it without being enlarged.
    """
    ax.set_xlim(right=1.62)
    off = device - complex(*region.center)
    times = _round_below(0.8 * HALF_FRAME / max(region.width / 2, abs(off), 1e-9))
    if times <= 1:
        return
    corner, size = (FRAME.real - HALF_FRAME, FRAME.imag - HALF_FRAME), 2 * HALF_FRAME
    frame = ax.add_patch(Rectangle(corner, size, size, linewidth=0.8, zorder=2.5))
    frame.set(facecolor=style.WHITE, edgecolor=style.MUTED)
    large = draw_ellipse(ax, FRAME, np.eye(2))
    large.set_clip_path(None)
    large.set(width=times * region.width, height=times * region.height, angle=region.angle)
    draw_trace(ax, FRAME + times * off, role=role)
    look = {"ha": "center", "va": "bottom"} | style.SMALL
    above = FRAME + 1.12j * HALF_FRAME
    ax.text(above.real, above.imag, f"region, {times:g} times", **look)


def _round_below(value: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is not above a number."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * next(n for n in (5, 2, 1) if n * power <= value))
