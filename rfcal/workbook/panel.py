"""Sliders and a picture that follows them fast enough to teach.

The still part of the figure is drawn once and kept; a move draws only the artists that move,
codes the picture with the fixed colours of `rfcal.report.figures.render`, and hands it to one image
widget. The sentence under the picture carries the numbers, for those who cannot see it too.
"""

import base64
import math
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from traitlets import Unicode

from rfcal import defaults
from rfcal.record.results import Device
from rfcal.report.figures import chart, style
from rfcal.report.figures.render import fast_png, fix_layout
from rfcal.workbook.pointer import pointer_layer


@dataclass(frozen=True)
class Slider:
    """One quantity that the reader moves."""

    name: str  # argument of the panel's update function
    label: str
    unit: str  # empty for a plain number
    low: float  # this and what follows in that unit
    high: float
    step: float
    start: float


def started(sliders: Sequence[Slider], starts: Mapping[str, float]) -> list[Slider]:
    """Sliders that start elsewhere, each with ends as far as its start."""
    found = []
    for slider in sliders:
        start = float(f"{starts.get(slider.name, slider.start):.4g}")
        low, high = min(slider.low, start), max(slider.high, start)
        found.append(replace(slider, low=low, high=high, start=start))
    return found


def place_of(device: Device | None) -> dict[str, float]:
    """Frequency [MHz], R and X [ohm] from which sliders start for a device; none without one."""
    if device is None or not np.isfinite(z := complex(device.impedance.value[device.answer])):
        return {}
    megahertz = float(device.frequency[device.answer]) / 1e6
    return {"frequency": megahertz, "r": max(z.real, LEAST_OHM), "x": z.imag}


def chart_and_axes(
    x_label: str, y_label: str, z_ref: float = defaults.REFERENCE_OHM
) -> tuple[Figure, Axes, Axes]:
    """A figure with an empty chart on the left and empty axes on the right."""
    figure = style.new_figure(8.4, 4.4)
    left, right = figure.subplots(1, 2, width_ratios=(1.1, 1))
    return figure, chart.draw_grid(left, z_ref=z_ref), style.dress(right, x_label, y_label)


PLOTTED = 401
"""Points of a curve that is reckoned, not measured."""

ONE_OHM = np.ones(2)
"""Half-widths of R and X [ohm] that print both with one decimal."""

LEAST_OHM = 0.1
"""A slider of R starts at this at least: no device gives power."""

LABEL, BOX, TRACK = "11rem", "min(98%, 20rem)", "9rem"
"""Widths of a control's name, of the box with it, and the least of its track."""
LEAST = "36rem"
"""Width below which a picture's labels cannot be read."""
COLUMNS = "repeat(auto-fit, minmax(min(100%, 31rem), 1fr))"
"""As many columns of controls as there is room for."""


class _Image(widgets.Image):
    """An image with a name; the library sets one only beside a description."""

    description = Unicode("").tag(sync=True)


class Pictured(widgets.VBox):
    """Widgets around one picture and its words: both are stored with a notebook, and compared."""

    sentence = ""
    """What the words say."""

    def __init__(self) -> None:
        # never wider than its column, and never blown up to fill it
        size = widgets.Layout(max_width="100%", align_self="flex-start")
        self._image = _Image(format="png", layout=size, tooltip="the words beside it say the same")
        self._words = widgets.HTML()
        super().__init__()

    @property
    def png(self) -> bytes:
        """The picture as it stands."""
        return bytes(self._image.value)

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """Live where widgets are, else a picture and its sentence."""
        live = super()._repr_mimebundle_(**kwargs)
        data = dict(live[0] if isinstance(live, tuple) else live)
        data["text/plain"] = textwrap.fill(self.sentence, 96)
        data["image/png"] = base64.b64encode(self.png).decode("ascii")
        return data


class Panel(Pictured):
    """A picture, a sentence and the sliders that move them.

    `draw` takes every slider's value by name, draws what goes by them into the figure's axes, whose
    limits must not depend on them, and returns the sentence. The legend is of these axes, or of
    all. Traces on the chart of a `swept` panel have the points of the last axes.
    """

    def __init__(
        self,
        figure: Figure,
        sliders: Sequence[Slider],
        draw: Callable[..., str],
        *,
        legend: Sequence[Axes] = (),
        swept: bool = False,
    ):
        self._swept = swept
        self.sliders, self._draw = tuple(sliders), draw
        self.starts = {s.name: s.start for s in self.sliders}
        self.values = dict(self.starts)
        self._canvas = FigureCanvasAgg(figure)
        self._kept = {artist for ax in figure.axes for artist in ax.get_children()}
        self._titles: list[Artist] = []
        self._redraw(self.starts)
        style.add_legend(figure, *legend)
        fix_layout(figure)
        self._clear()
        self._canvas.draw()
        self._still = self._canvas.copy_from_bbox(figure.bbox)
        super().__init__()
        self._pairs = {s.name: self._control(s) for s in self.sliders}
        reset = widgets.Button(description="Reset", tooltip="all sliders back to the start")
        reset.on_click(lambda _: self._guarded(lambda: self.move(**self.starts)))
        rows = [widgets.HBox(pair, layout=wrapping()) for pair in self._pairs.values()]
        grid = widgets.GridBox(rows, layout=widgets.Layout(grid_template_columns=COLUMNS))
        self._tips = widgets.HTML()
        self.refresh()
        self.children = (self._picture(figure.bbox.width), self._words, grid, reset)

    def _picture(self, width_px: float) -> widgets.GridBox:
        """The picture, and over it, of its size, what the pointer reads."""
        # in a narrow window it is moved sideways, not made too small to read
        place = {"max_width": "100%", "min_width": LEAST, "margin": "0", "grid_area": "1 / 1"}
        self._tips.layout = widgets.Layout(width=f"{width_px:g}px", visibility="hidden", **place)
        for name, value in place.items():
            setattr(self._image.layout, name, value)
        room = widgets.Layout(overflow="auto", padding="2px", grid_template_columns="100%")
        return widgets.GridBox([self._image, self._tips], layout=room)

    def _control(self, slider: Slider) -> tuple[widgets.Text, widgets.FloatSlider]:
        """Make the box of the exact value, which has the accessible name, and the slider."""
        unit = f" [{slider.unit}]" if slider.unit else ""
        box = text_box(f"{slider.label}{unit}", f"{slider.start:.10g}", label=LABEL, width=BOX)
        track = widgets.FloatSlider(
            value=_snapped(slider, slider.start),
            min=slider.low,
            max=slider.high,
            step=slider.step,
            readout=False,
            layout=widgets.Layout(width="auto", flex=f"1 1 {TRACK}", min_width=TRACK),
        )
        track.observe(lambda change: self._slid(slider, change.new), "value")
        box.observe(lambda change: self._typed(slider, change.new), "value")
        return box, track

    def _slid(self, slider: Slider, value: float) -> None:
        """Follow the slider, but not where it only shows an exact value by its nearest step."""
        if abs(value - self.values[slider.name]) > 0.501 * slider.step:
            steps = round((value - slider.low) / slider.step)
            value = min(slider.low + steps * slider.step, slider.high)
            self._guarded(lambda: self.move(**{slider.name: value}))

    def _typed(self, slider: Slider, text: str) -> None:
        """Take what was typed, or say aloud why not."""
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if slider.low <= value <= slider.high:
            if value != self.values[slider.name]:
                self._guarded(lambda: self.move(**{slider.name: value}))
            return
        self._show(slider)
        ends = f"{slider.low:g} to {slider.high:g} {slider.unit}".rstrip()
        self._words.value = (
            f'<p role="alert"><b>{escape(slider.label)} takes a number from {escape(ends)}: '
            f"{escape(text[:40])!r} was not taken.</b></p><p>{escape(self.sentence)}</p>"
        )

    def _show(self, slider: Slider) -> None:
        """Put the value that counts into box and slider."""
        box, track = self._pairs[slider.name]
        value = self.values[slider.name]
        box.value, track.value = f"{value:.10g}", _snapped(slider, value)

    def refresh(self) -> str:
        """Update the sentence and the picture to the sliders."""
        self.sentence = self._redraw(self.values)
        self._words.value = f'<p aria-live="polite">{escape(self.sentence)}</p>'
        self._show_picture()
        return self.sentence

    def _moving(self) -> list[Artist]:
        """What the last values drew, in the order in which a whole redraw would draw it."""
        found = (artist for ax in self._canvas.figure.axes for artist in ax.get_children())
        return sorted((a for a in found if a not in self._kept), key=Artist.get_zorder)

    def _clear(self) -> None:
        for artist in self._moving():
            artist.remove()
        for title in self._titles:
            title.set(text=" ")

    def _redraw(self, values: Mapping[str, float]) -> str:
        """Draw what goes by the sliders anew; the sentence."""
        self._clear()
        said = self._draw(**values)
        with_curves = (ax for ax in self._canvas.figure.axes if ax.axison and ax.lines)
        self._titles = [style.mark_beyond(ax) for ax in with_curves]
        return said

    def _show_picture(self) -> None:
        """Show the still part of the picture with what was drawn on it."""
        self._canvas.restore_region(self._still)
        moving = self._moving()
        for artist in (*moving, *self._titles):
            artist.draw(self._canvas.get_renderer())
        self._image.value = fast_png(np.asarray(self._canvas.buffer_rgba()))
        self._tips.value = pointer_layer(self._canvas.figure, self._swept) if moving else ""

    def at(self, **values: float) -> str:
        """The sentence for other values than at the start; the panel stays as its reader has it."""
        self._require(values)
        try:
            return self._redraw(self.starts | values)
        finally:
            self._redraw(self.values)

    def ends(self) -> None:
        """Try every slider at both ends, and fail where the panel does."""
        for slider in self.sliders:
            for value in (slider.low, slider.high):
                self.at(**{slider.name: value})

    def move(self, **values: float) -> str:
        """Move sliders as a reader would, all at once."""
        self._require(values)
        # ten digits, as its box has them: a sum of steps such as 0.1 is not exact
        self.values |= {name: float(f"{value:.10g}") for name, value in values.items()}
        for slider in self.sliders:
            self._show(slider)
        return self.refresh()

    def _require(self, values: Mapping[str, float]) -> None:
        """Refuse values of no slider, or beyond its ends."""
        known = {s.name: s for s in self.sliders}
        for name, value in values.items():
            if name not in known:
                raise ValueError(f"no slider is named '{name}'; there are {', '.join(known)}")
            low, high = known[name].low, known[name].high
            if not low <= value <= high:
                raise ValueError(f"{name} = {value:g} is outside {low:g} to {high:g}")

    def _guarded(self, action: Callable[[], Any]) -> None:
        """Run a callback; JupyterLab shows nothing of an error, so say it in the panel."""
        try:
            action()
        except Exception as error:
            self.sentence = f"This cannot be shown: {str(error) or type(error).__name__}"
            self._words.value = f"<p><b>{escape(self.sentence)}</b></p>"
            # the last picture would belong to other values than the sliders show
            self._clear()
            self._show_picture()


def text_box(name: str, value: str = "", *, label: str, width: str, hint: str = "") -> widgets.Text:
    """A box for text, which counts when the box is left."""
    return widgets.Text(
        value=value,
        description=name,
        placeholder=hint,
        continuous_update=False,
        style={"description_width": label},
        layout=widgets.Layout(width=width),
    )


def wrapping() -> widgets.Layout:
    """Of what stands beside each other, or in a narrow window below."""
    return widgets.Layout(flex_flow="row wrap", overflow="hidden")


def _snapped(slider: Slider, value: float) -> float:
    """A value as the browser's slider will have it, to the last bit.

    It reckons in percent of the track, and sends back what differs from what it was given: after
    two moves of one cell that answer was taken for a reader's move, to the older value.
    """
    if value >= slider.high:
        return slider.high
    span = slider.high - slider.low
    # its own order of rounding
    percent = (value + abs(slider.low) if slider.low < 0 else value - slider.low) * 100 / span
    step = slider.step * 100 / span
    percent = math.floor(percent / step + 0.5) * step
    return slider.high if percent >= 100 else percent * span / 100 + slider.low
