"""Sliders and a picture that follows them fast enough to teach.

The still part of the figure is drawn once and kept; a move draws only the artists that move,
codes the picture with the fixed colours of `rfcal.report.figures.render`, and hands it to one image
widget. The sentence under the picture carries the numbers, for those who cannot see it too.
"""

import base64
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from rfcal.report.figures.render import fast_png, settle


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


class Panel(widgets.VBox):
    """A picture, a sentence and the sliders that move them.

    The limits of the figure's axes must not depend on the sliders: `update` takes every slider's
    value by name, sets the data of the `moving` artists, and returns the sentence.
    """

    raising = False
    """Whether an error in a callback is raised besides being shown; for tests."""

    def __init__(
        self,
        figure: Figure,
        sliders: Sequence[Slider],
        update: Callable[..., str],
        *,
        moving: Sequence[Artist],
    ):
        self.sliders, self._update = tuple(sliders), update
        # drawn in the order in which a whole redraw would draw them
        self._moving = sorted(moving, key=lambda artist: artist.get_zorder())
        for artist in self._moving:
            artist.set_animated(True)
        settle(figure)
        self._canvas = FigureCanvasAgg(figure)
        self._canvas.draw()
        self._still = self._canvas.copy_from_bbox(figure.bbox)
        # never wider than its column, and never blown up to fill it
        size = widgets.Layout(max_width="100%", align_self="flex-start")
        self._image = widgets.Image(format="png", layout=size)
        self._words = widgets.HTML()
        self._pairs = {s.name: self._control(s) for s in self.sliders}
        self._held = False
        reset = widgets.Button(description="Reset", tooltip="all sliders back to the start")
        reset.on_click(lambda _: self._guarded(self.reset))
        rows = [widgets.HBox(pair) for pair in self._pairs.values()]
        controls = widgets.HBox([*rows, reset], layout=widgets.Layout(flex_flow="row wrap"))
        self.sentence = ""
        self.refresh()
        super().__init__([self._image, self._words, controls])

    @property
    def png(self) -> bytes:
        """The picture as it stands."""
        return bytes(self._image.value)

    def _control(self, slider: Slider) -> tuple[widgets.FloatSlider, widgets.BoundedFloatText]:
        """Make a slider and the box of its exact value; the box holds what counts."""
        unit = f" [{slider.unit}]" if slider.unit else ""
        bounds = {"min": slider.low, "max": slider.high, "step": slider.step}
        control = widgets.FloatSlider(
            value=slider.start,
            description=f"{slider.label}{unit}",
            style={"description_width": "initial"},
            layout=widgets.Layout(width="26rem"),
            readout=False,
            **bounds,
        )
        exact = widgets.BoundedFloatText(
            value=slider.start, layout=widgets.Layout(width="6rem"), **bounds
        )
        control.observe(lambda change: self._slid(slider, exact, change.new), "value")
        exact.observe(lambda change: self._typed(control, change.new), "value")
        return control, exact

    def _slid(self, slider: Slider, exact: widgets.BoundedFloatText, value: float) -> None:
        """Follow the slider, but not where it only shows an exact value by its nearest step."""
        if abs(value - exact.value) > 0.501 * slider.step:
            steps = round((value - slider.low) / slider.step)
            # ten digits: a sum of steps such as 0.1 is not exact
            exact.value = float(f"{slider.low + steps * slider.step:.10g}")

    def _typed(self, control: widgets.FloatSlider, value: float) -> None:
        """Take an exact value, and let the slider show it unless it does already."""
        if abs(control.value - value) > 1e-6 * control.step:
            control.value = value
        if not self._held:
            self._guarded(self.refresh)

    def refresh(self) -> str:
        """Update the sentence and the picture to the sliders."""
        self.sentence = self._update(
            **{name: exact.value for name, (_, exact) in self._pairs.items()}
        )
        self._words.value = f'<p aria-live="polite">{escape(self.sentence)}</p>'
        self._canvas.restore_region(self._still)
        for artist in self._moving:
            artist.draw(self._canvas.get_renderer())
        self._image.value = fast_png(np.asarray(self._canvas.buffer_rgba()))
        return self.sentence

    def move(self, **values: float) -> str:
        """Move sliders as a reader would, all at once."""
        known = {s.name: s for s in self.sliders}
        for name, value in values.items():
            if name not in known:
                raise ValueError(f"no slider is named '{name}'; there are {', '.join(known)}")
            if not known[name].low <= value <= known[name].high:
                raise ValueError(
                    f"{name} = {value:g} is outside {known[name].low:g} to {known[name].high:g}"
                )
        self._held = True
        try:
            for name, value in values.items():
                self._pairs[name][1].value = value
        finally:
            self._held = False
        return self.refresh()

    def reset(self) -> str:
        """Put every slider back to its start."""
        return self.move(**{s.name: s.start for s in self.sliders})

    def _guarded(self, action: Callable[[], Any]) -> None:
        """Run a callback; JupyterLab shows nothing of an error, so say it in the panel."""
        try:
            action()
        except Exception as error:
            self.sentence = f"This cannot be shown: {str(error) or type(error).__name__}"
            self._words.value = f"<p><b>{escape(self.sentence)}</b></p>"
            # the last picture would belong to other values than the sliders show
            self._canvas.restore_region(self._still)
            self._image.value = fast_png(np.asarray(self._canvas.buffer_rgba()))
            if self.raising:
                raise

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """Live where widgets are, else a picture and its sentence."""
        live = super()._repr_mimebundle_(**kwargs)
        data = dict(live[0] if isinstance(live, tuple) else live)
        data["text/plain"] = self.sentence
        data["image/png"] = base64.b64encode(self.png).decode("ascii")
        return data
