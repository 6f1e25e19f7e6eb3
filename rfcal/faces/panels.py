"""Sliders and a picture that follows them fast enough to teach.

The still part of the figure is drawn once and kept; a move draws only the artists that move,
codes the picture with the fixed colours of `rfcal.faces.picture`, and hands it to one image
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

from rfcal.faces.picture import fast_png, settle


@dataclass(frozen=True)
class Slider:
    """One quantity that the reader moves.

    Parameters
    ----------
    name : str
        Argument of the panel's update function.
    label : str
        Words beside the slider.
    unit : str
        Unit, empty for a plain number.
    low, high, step, start : float
        Range, step and first value, in that unit.
    slow : bool
        True to update only when the slider is let go.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    start: float
    slow: bool = False


class Panel(widgets.VBox):
    """A picture, a sentence and the sliders that move them.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The whole picture; its axes' limits must not depend on the sliders.
    sliders : sequence of Slider
        What can be moved.
    update : callable
        Takes every slider's value by name, sets the data of the moving artists, and returns the
        sentence.
    moving : sequence of matplotlib.artist.Artist
        Artists that `update` changes.
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
        self.sliders, self._update, self._moving = tuple(sliders), update, tuple(moving)
        for artist in self._moving:
            artist.set_animated(True)
        settle(figure)
        self._canvas = FigureCanvasAgg(figure)
        self._canvas.draw()
        self._still = self._canvas.copy_from_bbox(figure.bbox)
        self._image = widgets.Image(format="png", layout=widgets.Layout(max_width="100%"))
        self._words = widgets.HTML()
        self._controls = {s.name: self._control(s) for s in self.sliders}
        self._held = False
        reset = widgets.Button(description="Reset", tooltip="all sliders back to the start")
        reset.on_click(lambda _: self._guarded(self.reset))
        rows = [widgets.HBox(pair) for pair in self._pairs]
        controls = widgets.HBox([*rows, reset], layout=widgets.Layout(flex_flow="row wrap"))
        self.sentence = ""
        self.refresh()
        super().__init__([self._image, self._words, controls])

    @property
    def png(self) -> bytes:
        """The picture as it stands."""
        return bytes(self._image.value)

    def _control(self, slider: Slider) -> widgets.FloatSlider:
        unit = f" [{slider.unit}]" if slider.unit else ""
        bounds = {"min": slider.low, "max": slider.high, "step": slider.step}
        control = widgets.FloatSlider(
            value=slider.start,
            description=f"{slider.label}{unit}",
            style={"description_width": "initial"},
            layout=widgets.Layout(width="26rem"),
            readout=False,
            continuous_update=not slider.slow,
            **bounds,
        )
        exact = widgets.BoundedFloatText(
            value=slider.start, layout=widgets.Layout(width="6rem"), **bounds
        )
        widgets.link((control, "value"), (exact, "value"))
        control.observe(lambda _: None if self._held else self._guarded(self.refresh), "value")
        self._pairs = [*getattr(self, "_pairs", []), (control, exact)]
        return control

    def refresh(self) -> str:
        """Update the sentence and the picture to the sliders.

        Returns
        -------
        str
            The sentence.
        """
        self.sentence = self._update(**{name: c.value for name, c in self._controls.items()})
        self._words.value = f'<p aria-live="polite">{escape(self.sentence)}</p>'
        self._canvas.restore_region(self._still)
        for artist in self._moving:
            artist.draw(self._canvas.get_renderer())
        self._image.value = fast_png(np.asarray(self._canvas.buffer_rgba()))
        return self.sentence

    def move(self, **values: float) -> str:
        """Move sliders as a reader would, all at once.

        Parameters
        ----------
        **values : float
            Values by the sliders' names, within their ranges.

        Returns
        -------
        str
            The sentence.

        Raises
        ------
        ValueError
            No slider has the name, or the value is outside its range.
        """
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
                self._controls[name].value = value
        finally:
            self._held = False
        return self.refresh()

    def reset(self) -> str:
        """Put every slider back to its start.

        Returns
        -------
        str
            The sentence.
        """
        return self.move(**{s.name: s.start for s in self.sliders})

    def _guarded(self, action: Callable[[], Any]) -> None:
        """Run a callback; JupyterLab shows nothing of an error, so say it in the panel."""
        try:
            action()
        except Exception as error:
            self._words.value = f"<p><b>This cannot be shown: {escape(str(error))}</b></p>"
            if self.raising:
                raise

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """Live where widgets are, else a picture and its sentence."""
        live = super()._repr_mimebundle_(**kwargs)
        data = dict(live[0] if isinstance(live, tuple) else live)
        data["text/plain"] = self.sentence
        data["image/png"] = base64.b64encode(self.png).decode("ascii")
        return data
