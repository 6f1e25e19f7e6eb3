"""What a reader would find wrong with a drawn figure, reckoned from its artists."""

import itertools

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure

from rfcal.report.figures.render import fix_layout

HAIR = 1.5
"""Two texts may come so near [pixels]."""


def faults(figure: Figure) -> list[str]:
    """Curves that leave their axes unsaid, and words over data, legends or other words."""
    canvas = figure.canvas
    if not isinstance(canvas, FigureCanvasAgg):
        fix_layout(figure)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
    renderer = canvas.get_renderer()
    axes = [ax for ax in figure.axes if ax.get_visible()]
    found = [said for ax in axes for said in _clipped(ax)]
    words = [
        (text.get_text(), tuple(map(float, text.get_window_extent(renderer).extents)))
        for ax in axes
        for text in _texts(ax)
        if text.get_visible() and text.get_text().strip()
    ]
    for (one, a), (other, b) in itertools.combinations(words, 2):
        if _overlap(a, b):
            found.append(f"'{one}' and '{other}' overlap")
    for ax in axes:
        points = _points(ax)
        if not ax.axison:
            # a chart's own numbers; where axes are on, words in them are annotations of a point
            for text in ax.texts:
                box = text.get_window_extent(renderer)
                if text.get_text() and text.get_bbox_patch() is None and box.count_contains(points):
                    found.append(f"'{text.get_text()}' is covered by data")
        legends = [*figure.legends, *([ax.get_legend()] if ax.get_legend() else [])]
        for legend in legends:
            box = legend.get_window_extent(renderer)
            if box.count_contains(points):
                found.append("a legend covers data")
            found += [f"a legend covers '{one}'" for one, a in words if _overlap(a, box.extents)]
    whole = figure.bbox.padded(HAIR)
    return found + [
        f"'{said}' leaves the picture"
        for said, box in words
        if not (whole.contains(*box[:2]) and whole.contains(*box[2:]))
    ]


def _texts(ax):
    ticks = [
        label
        for axis in (ax.xaxis, ax.yaxis)
        for tick in axis._update_ticks()
        for label in (tick.label1,)
    ]
    named = [ax.xaxis.label, ax.yaxis.label, *ticks] if ax.axison else []
    return [*ax.texts, *named, ax._right_title]


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    """Whether two boxes, left, foot, right and top, share more than a hair."""
    return min(a[2], b[2]) - max(a[0], b[0]) > HAIR and min(a[3], b[3]) - max(a[1], b[1]) > HAIR


def _points(ax):
    """Where the data of axes is seen, in pixels, with places between the points, shape (n, 2)."""
    seen = [np.zeros((0, 2))]
    for line in ax.lines:
        if line.get_transform() == ax.transData and line.get_label()[0] != "_":
            at = ax.transData.transform(np.column_stack([*map(_numbers, line.get_data())]))
            at = at[np.isfinite(at).all(axis=1)]
            share = np.linspace(0, 1, 5)[:, None, None]
            seen.append((at[:-1] + share * np.diff(at, axis=0)).reshape(-1, 2))
            seen.append(at)
    for marks in ax.collections:
        if isinstance(marks, PathCollection):
            seen.append(ax.transData.transform(marks.get_offsets()))
    points = np.concatenate(seen)
    box = ax.get_window_extent()
    inside = (points >= box.min - HAIR) & (points <= box.max + HAIR)
    return points[inside.all(axis=1)]


def _clipped(ax):
    """Curves that go on beyond the axes where the picture does not say so."""
    box, said = ax.get_window_extent(), ax._right_title.get_text()
    for line in ax.lines:
        if line.get_transform() != ax.transData or not line.get_clip_on():
            continue
        at = ax.transData.transform(np.column_stack([*map(_numbers, line.get_data())]))
        at = at[np.isfinite(at).all(axis=1) & (at[:, 0] >= box.x0 - 1) & (at[:, 0] <= box.x1 + 1)]
        for beyond, sign in ((at[:, 1] > box.y1 + 1, "▲"), (at[:, 1] < box.y0 - 1, "▼")):
            if beyond.any() and f"{sign} beyond" not in said:
                yield f"'{line.get_label()}' leaves the axes at {beyond.sum()} points unsaid"
    for curve in ax.collections if ax.axison else ():
        low, high = (
            curve.get_datalim(ax.transData).get_points()[:, 1] if curve.get_paths() else (0, 0)
        )
        ends = sorted(ax.get_ylim())
        for beyond, sign in ((high > ends[1], "▲"), (low < ends[0], "▼")):
            if beyond and f"{sign} beyond" not in said:
                yield f"'{curve.get_label()}' leaves the axes unsaid"


def _numbers(values):
    return np.asarray(values, float)
