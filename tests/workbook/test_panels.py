"""Panels without a browser: every slider over its range, errors said, the same twice."""

import base64
import io
import re
from dataclasses import replace
from pathlib import Path

import ipywidgets
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from rfcal import workbook
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.line import Line
from rfcal.record.job.compute import compute
from rfcal.report.figures import style
from rfcal.workbook import lesson
from rfcal.workbook.panel import Panel, Slider, started
from rfcal.workbook.pointer import pointer_layer
from tests.looked_at import faults

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(scope="module")
def beacon(computed):
    return computed("beacon-antenna")


@pytest.fixture(
    scope="module",
    params=[
        *("cable", "standards", "loss", "plane", "standing wave", "fault", "match"),
        *("uncertainty", "residual", "path", "coil"),
    ],
)
def shared(request, beacon, computed):
    """A panel that all tests move, one after the other."""
    tower = computed("tower-line")
    line = tower.line.properties.line
    return {
        "cable": workbook.cable_panel,
        "standards": lambda: workbook.standards_panel(beacon, "antenna"),
        "loss": workbook.loss_panel,
        "plane": lambda: workbook.plane_panel(tower, "antenna", line),
        "standing wave": workbook.standing_wave_panel,
        "fault": workbook.fault_panel,
        "uncertainty": workbook.uncertainty_panel,
        "residual": workbook.residual_panel,
        "path": workbook.path_panel,
        "coil": lambda: workbook.coil_panel(computed("trap-parts").parts[0]),
        "match": lambda: workbook.match_panel(beacon, beacon.matches[0]),
    }[request.param]()


@pytest.fixture
def panel(shared, monkeypatch):
    monkeypatch.setattr(Panel, "_guarded", lambda self, action: action())
    yield shared
    shared.move(**shared.starts)


ANY = pytest.mark.parametrize("shared", ["cable", "standards"], indirect=True, scope="module")
"""What no panel does by itself is tried on two: sliders from above zero and from below it."""


def controls(panel, kind):
    found, queue = [], [panel]
    while queue:
        widget = queue.pop(0)
        queue += getattr(widget, "children", ())
        found += [widget] if isinstance(widget, kind) else []
    return found


def test_every_slider_over_its_whole_range(panel):
    for slider, widget in zip(panel.sliders, controls(panel, ipywidgets.FloatSlider), strict=True):
        for value in np.linspace(slider.low, slider.high, 4)[1:3]:  # the ends: below
            widget.value = value
            says_numbers(panel)
        widget.value = slider.start


def says_numbers(panel):
    assert "nan" not in panel.sentence
    assert "inf" not in panel.sentence.replace("inform", "")


def test_a_slider_moves_picture_and_words_and_reset_brings_them_back(panel):
    picture, sentence = panel.png, panel.sentence
    for slider in panel.sliders:
        assert panel.move(**{slider.name: slider.high}) == panel.sentence
        assert panel.png != picture
        assert panel.sentence != sentence
        controls(panel, ipywidgets.Button)[0].click()
        assert (panel.png, panel.sentence) == (picture, sentence)


@ANY
def test_exact_values_follow_and_lead_the_slider(panel):
    slider = controls(panel, ipywidgets.FloatSlider)[0]
    exact = controls(panel, ipywidgets.Text)[0]
    exact.value = f"{slider.max:g}"
    assert slider.value == slider.max
    slider.value = slider.min
    assert float(exact.value) == slider.min


@ANY
def test_a_decimal_comma_counts(panel):
    first = panel.sliders[0]
    exact = controls(panel, ipywidgets.Text)[0]
    exact.value = f"{first.start + first.step:.6f}".replace(".", ",")
    assert panel.values[first.name] == pytest.approx(first.start + first.step)
    assert "," not in exact.value


@ANY
@pytest.mark.parametrize("typed", ["1e9", "-1e9", "", "12 m", "nan", "<b>"])
def test_what_cannot_be_taken_is_said_aloud(panel, typed):
    first, sentence, picture = panel.sliders[0], panel.sentence, panel.png
    exact = controls(panel, ipywidgets.Text)[0]
    exact.value = typed
    (words,) = [w.value for w in controls(panel, ipywidgets.HTML) if "<svg" not in w.value]
    assert 'role="alert"' in words
    assert f"from {first.low:g} to {first.high:g}" in words
    assert "<b><b>" not in words
    assert float(exact.value) == panel.values[first.name] == first.start
    assert (panel.sentence, panel.png) == (sentence, picture)


def test_a_sentence_for_other_values_leaves_the_panel_to_its_reader(panel):
    first = panel.sliders[0]
    mine = panel.move(**{first.name: first.low})
    picture = panel.png
    other = panel.at(**{first.name: first.high})
    assert other != mine
    assert (panel.sentence, panel.png, panel.values[first.name]) == (mine, picture, first.low)
    assert panel.refresh() == mine
    assert panel.png == picture


def test_a_move_that_is_seen_changes_the_words(panel):
    for slider in panel.sliders:
        step = (slider.high - slider.low) / 20
        for start in (slider.start, (slider.low + slider.high) / 2):
            other = start + step if start + step <= slider.high else start - step
            said = [panel.at(**{slider.name: value}) for value in (start, other)]
            assert said[0] != said[1], (slider.name, start)


@ANY
def test_an_exact_value_between_two_steps_stays(panel):
    """The browser's slider shows the nearest step and sends it back."""
    slider = controls(panel, ipywidgets.FloatSlider)[0]
    exact = controls(panel, ipywidgets.Text)[0]
    first = panel.sliders[0]
    exact.value = f"{first.start + 0.2 * first.step:.10g}"
    sentence = panel.sentence
    slider.value = first.start
    assert float(exact.value) == pytest.approx(first.start + 0.2 * first.step)
    assert panel.sentence == sentence
    slider.value = first.start + first.step * (1 - 1e-14)
    assert float(exact.value) == pytest.approx(first.start + first.step, rel=1e-12)


def test_artists_are_drawn_in_the_order_of_a_whole_redraw():
    figure = style.new_figure(2, 2)
    ax = figure.add_subplot()
    ax.set(xlim=(0, 1), ylim=(0, 1))

    def draw(y):
        for colour, zorder in (("#000000", 5), ("#0072B2", 4)):
            ax.plot([0, 1], [0.5, 0.5], color=colour, linewidth=20, zorder=zorder)
        return ""

    panel = Panel(figure, [Slider("y", "y", "", 0, 1, 1, 0)], draw)
    colours = Image.open(io.BytesIO(panel.png)).convert("RGB").getcolors(256)
    assert (0, 0, 0) in [colour for _, colour in colours]
    assert sum(n for n, colour in colours if colour == (0, 114, 178)) == 0


def test_no_curve_is_cut_and_no_words_cover_or_are_covered(panel):
    rng = np.random.default_rng(5)
    steps = [round((s.high - s.low) / s.step) for s in panel.sliders]
    places = [{}, *({s.name: end} for s in panel.sliders for end in (s.low, s.high))]
    for _ in range(5):
        at = zip(panel.sliders, steps, strict=True)
        places.append({s.name: round(s.low + rng.integers(n + 1) * s.step, 9) for s, n in at})
    for values in places:
        panel.move(**panel.starts | values)
        assert faults(panel._canvas.figure) == [], values
        says_numbers(panel)


def test_what_goes_on_beyond_the_axes_is_said_in_the_picture():
    panel = workbook.standing_wave_panel()
    said = [ax.get_title(loc="right") for ax in panel._canvas.figure.axes]
    assert said == [" ", " "]
    panel.move(frequency=1.8, length=0.1, loss=0, r=5, x=-300)
    said = [ax.get_title(loc="right") for ax in panel._canvas.figure.axes]
    assert said == ["▲ beyond 300", " "]
    (mark,) = [c for c in panel._canvas.figure.axes[0].lines if c.get_marker() == "^"]
    assert list(mark.get_ydata()) == [300]


SAID = r"<(\w+) ([^>]*)><title>(.*?)</title>"
"""Shape, attributes and words of what the pointer can find."""


def told(panel):
    (layer,) = [w.value for w in controls(panel, ipywidgets.HTML) if "<svg" in w.value]
    assert 'aria-hidden="true"' in layer
    return re.findall(SAID, layer, re.DOTALL)


def test_the_pointer_finds_words_that_fit_the_picture(panel):
    """On a chart or over a frequency, at most a hundred places, which move with the picture."""
    first = told(panel)
    assert 1 <= len(first) <= 100
    assert not [said for _, _, said in first if "nan" in said or "inf" in said]
    panel.move(**{s.name: s.high for s in panel.sliders})
    assert told(panel) != first


def test_the_pointer_on_a_mark_reads_what_is_drawn():
    panel = workbook.cable_panel()
    size = abs((4 - 30j - 50) / (4 - 30j + 50))
    swr = (1 + size) / (1 - size)
    ((where, said),) = [(at, said) for _, at, said in told(panel) if said.startswith("device")]
    assert said == f"device: 4.00 - j30.0 ohm, SWR {swr:.1f}"
    x, y = (int(float(v)) for v in re.findall(r"[\d.]+", where)[:2])
    # its mark is a black cross
    picture = Image.open(io.BytesIO(panel.png)).convert("RGB")
    assert picture.getpixel((x, y)) == (0, 0, 0)


def test_the_pointer_beside_the_chart_reads_every_curve(beacon):
    panel, device = workbook.standards_panel(beacon, "antenna"), beacon.devices[0]
    rows = [(at, said.splitlines()) for shape, at, said in told(panel) if shape == "rect"]
    z = device.impedance.value[-1]
    assert rows[-1][1][0] == f"{device.frequency[-1] / 1e6:.2f} MHz"
    assert f"X, standards as recorded: {z.imag:.1f} ohm" in rows[-1][1]
    on_chart = [said for shape, _, said in told(panel) if shape == "path" and "recorded" in said]
    assert on_chart[-1].startswith(
        f"{rows[-1][1][0]}\nstandards as recorded: {z.real:.1f} + j{z.imag:.1f} ohm, SWR "
    )


def test_an_error_leaves_nothing_under_the_pointer():
    panel = workbook.cable_panel()
    panel._guarded(lambda: failing(0))
    assert not [w for w in controls(panel, ipywidgets.HTML) if "<svg" in w.value]


def test_controls_say_quantity_and_unit(panel):
    for slider, widget in zip(panel.sliders, controls(panel, ipywidgets.Text), strict=True):
        assert slider.label in widget.description
        assert not slider.unit or f"[{slider.unit}]" in widget.description


def test_picture_is_what_a_whole_redraw_gives():
    """Moving artists on the kept background, against the figure drawn from nothing."""
    figure = style.new_figure(4, 3)
    ax = style.dress(figure.add_subplot(), "x [m]", "y [ohm]")
    ax.set(xlim=(0, 1), ylim=(0, 1))

    def draw(y):
        ax.plot([0, 1], [y, y], **style.line_look("corrected", 2))
        return f"{y:.1f} ohm"

    panel = Panel(figure, [Slider("y", "height", "ohm", 0.0, 1.0, 0.1, 0.0)], draw)
    panel.move(y=0.5)
    moved = np.asarray(Image.open(io.BytesIO(panel.png)).convert("RGB"), int)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    whole = np.asarray(canvas.buffer_rgba())[..., :3].astype(int)
    assert np.abs(moved - whole).max() <= 70
    assert np.abs(moved - whole).mean() < 1


def test_a_notebook_stores_picture_and_sentence(panel):
    data = panel._repr_mimebundle_()
    assert data["text/plain"].split() == panel.sentence.split()
    assert max(map(len, data["text/plain"].splitlines())) < 100
    assert base64.b64decode(data["image/png"]) == panel.png


def test_a_panel_is_the_same_when_it_is_made_again():
    again, first = workbook.cable_panel(), workbook.cable_panel()
    assert (again.png, again.sentence) == (first.png, first.sentence)


def failing(y):
    raise ZeroDivisionError(f"nothing at <{y}>")


def test_an_error_in_a_callback_is_said_in_the_panel():
    figure = style.new_figure(3, 2)
    ax = figure.add_subplot()

    def draw(y):
        ax.plot([0, 1], [0, 1], color="#0072B2")
        return failing(y) if y > 0.5 else "fine"

    panel = Panel(figure, [Slider("y", "height", "", 0.0, 1.0, 0.1, 0.0)], draw)
    widget = controls(panel, ipywidgets.FloatSlider)[0]
    picture = panel.png
    widget.value = 0.8
    assert panel._repr_mimebundle_()["text/plain"] == panel.sentence != "fine"
    said = controls(panel, ipywidgets.HTML)[0].value
    assert "This cannot be shown: nothing at &lt;0.8&gt;" in said
    assert panel.png != picture, "an old picture beside new slider values"
    widget.value = 0.2
    assert panel.png == picture
    assert "fine" in controls(panel, ipywidgets.HTML)[0].value
    with pytest.raises(ZeroDivisionError):
        panel.move(y=0.9)


@ANY
def test_moves_out_of_range_or_by_a_wrong_name_are_refused(panel):
    name = panel.sliders[0].name
    with pytest.raises(ValueError, match="outside"):
        panel.move(**{name: panel.sliders[0].high + 1})
    with pytest.raises(ValueError, match="no slider is named"):
        panel.move(nothing=1.0)


def test_the_pointer_says_no_ratio_where_all_is_reflected():
    figure = style.new_figure(4, 3)
    ax = style.dress(figure.subplots(), "frequency [MHz]", "SWR [1]")
    ax.plot([1.0, 2.0], [1.2, 400.0], label="device")
    ax.set_ylim(1, 10)
    said = pointer_layer(figure, swept=False)
    assert "device: SWR 1.20" in said
    assert "device: SWR above 100" in said


def test_words_about_a_cable():
    panel = workbook.cable_panel()
    quarter = float(Line(1.0, 0.66).wavelength_m(52e6)) / 4
    said = panel.at(length=quarter, loss=0, r=10, x=20)
    assert "reads 50.0 - j100.0 ohm" in said
    assert "what is inductive reads capacitive" in said
    assert "still reads capacitive" in panel.at(length=0.01, r=5, x=-30)
    assert "nearly a plain resistance" in panel.at(length=0.3, r=50, x=0)
    assert "capacitive" not in panel.at(length=0, r=0, x=0)
    for loss, z0, degrees in ((0, 50, 1572), (100, 50, 1616), (300, 50, 1710), (0, 75, 1572)):
        said = panel.at(frequency=144, length=3, loss=loss, z0=z0, r=4, x=-30)
        assert f"reflection has turned {degrees} degrees" in said
    # its place on the chart: the angle of 65.3 - j9.8 ohm is that of 4 - j30 ohm, so much turned
    first, last = np.degrees(np.angle(from_impedance(np.array([4 - 30j, 65.256 - 9.814j]))))
    assert (first - last) % 360 == pytest.approx(1710 % 360, abs=0.5)
    assert "turned 114 degrees" in panel.at(loss=0, r=50, x=0)


def test_exercises_say_why():
    said = {
        answer: lesson.judged(answer, 2.0, "m", "Because.", {"slipped.": 4.0})
        for answer in (2.01, 4.0, 3.0, 1.0)
    }
    assert said[2.01] == "Right: 2 m. Because."
    assert said[4.0] == "Not 4 m: slipped."
    assert lesson.judged(4.0, 2.0, "", "Because.", {"why": 4.0}) == "Not 4: why"
    assert "too large" in said[3.0]
    assert "too small" in said[1.0]
    usual = {-2.0: "sign", 2e-6: "MHz or Hz", 2000.0: "m or mm", 0.0349: "radians"}
    for answer, reason in usual.items():
        assert reason in lesson.judged(answer, 2.0, "m", "Because.", {})


def test_real_readings_have_no_known_truth(beacon, tmp_path):
    assert "Simulated" in workbook.against_truth(beacon)
    real = Path(__file__).parents[1] / "reference" / "radio_astronomy_oneport"
    assert "No truth is recorded" in workbook.against_truth(compute(real))


def test_the_mark_of_the_loss_panel_is_named_and_said():
    panel = workbook.loss_panel()
    figure = panel._canvas.figure
    (mark,) = (line for line in figure.axes[1].lines if line.get_label() == "behind this line")
    assert f"half of each interval, as drawn, is {mark.get_ydata()[0]:.2g} ohm" in panel.sentence
    assert "behind this line" in [text.get_text() for text in figure.legends[0].get_texts()]


def test_loss_panel_reads_r_and_x_off_the_circle():
    """Against the region's own edge, and never below what a passive device has."""
    panel = workbook.loss_panel()
    said = panel.move(loss=12.7, uncertainty=0.0035, r=204, x=246)
    edge = from_impedance(204 + 246j) + 1.96 * 0.0035 * 10**1.27 * np.exp(
        1j * np.linspace(0, 2 * np.pi, 10_001)
    )
    r, x = (part(to_impedance(edge)) for part in (np.real, np.imag))
    found = [float(v) for v in re.findall(r"\((-?\d+) to (-?\d+)\)", said)[0]]
    assert found == pytest.approx([r.min(), r.max()], abs=11)
    found = [float(v) for v in re.findall(r"\((-?\d+) to (-?\d+)\)", said)[1]]
    assert found == pytest.approx([x.min(), x.max()], abs=11)
    assert "R below 89 ohm" in panel.move(loss=15, uncertainty=0.02, r=1, x=0)


def test_plane_panel_takes_a_short_line_in_air(computed):
    tower = computed("tower-line")
    line = replace(tower.line.properties.line, length_m=0.3, velocity_factor=0.97, z0=300.0)
    panel = workbook.plane_panel(tower, "antenna", line)
    for slider in panel.sliders:
        assert "ohm" in panel.at(**{slider.name: slider.low})
        assert "ohm" in panel.at(**{slider.name: slider.high})


def test_standing_wave_panel_gains_nothing():
    said = workbook.standing_wave_panel().move(frequency=1.8, length=0.1, loss=0, r=5, x=-300)
    assert "it loses 0.00 dB" in said
    assert "At most 1342 V and 4.6 A stand on it." in said


def test_panels_start_from_the_readers_own_device(beacon, computed):
    device, tower = beacon.devices[0], computed("tower-line")
    panels = (
        *(workbook.cable_panel(device), workbook.loss_panel(device)),
        *(workbook.uncertainty_panel(device), workbook.path_panel(device)),
    )
    for panel in (*panels, workbook.residual_panel(device)):
        assert (panel.values["r"], panel.values["x"]) == (31.11, 4.987)
        assert panel.values.get("frequency", 70.2) == 70.2
    wave, fault = workbook.standing_wave_panel(tower), workbook.fault_panel(tower.line)
    assert (wave.values["length"], wave.values["r"]) == (39.8, 35.79)
    assert "39.80 ± 0.35 m (mismatch" in fault.sentence
    assert fault.values["place"] == pytest.approx(23.4, abs=0.02)


@pytest.mark.parametrize(
    "demo", ["beacon-antenna", "sensor-coil", "tower-line", "car-whip", "tower-line-top"]
)
def test_the_uncertainty_panel_starts_from_what_the_device_was_measured_with(demo, computed):
    device = computed(demo).devices[0]
    told = device.at(device.frequency[device.answer])
    panel = workbook.uncertainty_panel(device)
    assert f"R {told.resistance}, largest" in panel.sentence
    assert f"X {told.reactance}, largest" in panel.sentence
    assert panel.at(load_nh=5.0) != panel.sentence
    added = device.add(Line(0.1, velocity_factor=0.66))
    told = added.at(device.frequency[device.answer])
    assert str(told.resistance) in workbook.uncertainty_panel(added).sentence


def test_a_start_beyond_a_sliders_ends_widens_them():
    (slider,) = started([Slider("r", "R", "ohm", 1.0, 500.0, 1.0, 30.0)], {"r": 4321.0})
    assert (slider.low, slider.high, slider.start) == (1.0, 4321.0, 4321.0)
    (slider,) = started([Slider("r", "R", "ohm", 1.0, 500.0, 1.0, 30.0)], {"x": 3.0})
    assert (slider.low, slider.high, slider.start) == (1.0, 500.0, 30.0)


def test_fault_panel_names_the_nearest_fault():
    panel = workbook.fault_panel()
    said = panel.move(place=3, ohm=10, stop=30, velocity_factor=0.85)
    assert re.match(r"Found: 3\.00* ± [\d.]+ m \(unknown, reflects 0\.7", said)
    # a wrong velocity factor leaves something at the connector, which is no fault
    assert "Found: 28.4 ± 1.8 m" in panel.move(place=39, ohm=2000, stop=20, velocity_factor=0.6)


def test_cable_panel_has_no_resistance_below_zero():
    said = workbook.cable_panel().move(
        frequency=1, length=3, velocity_factor=0.5, loss=0, r=0, x=200
    )
    assert "reads 0.0 + j417.4 ohm" in said
