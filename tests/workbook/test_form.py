"""The form for typed readings, without a browser."""

import json
import re

import numpy as np
import pytest
from matplotlib.lines import Line2D

import rfcal
from rfcal import workbook
from rfcal.report.figures.device import device_bands, device_chart
from rfcal.report.page import page

READ = {
    "short": "2.7 9,4",
    "open": "20.5 -294.1",
    "load": "51.8 3.2",
    "load_ohm": "49.9",
    "check": "35.5 7.1",
    "check_ohm": "33",
    "device": "12.1 -4.7",
    "short_again": "2.7 9.4",
}


@pytest.fixture
def form(tmp_path):
    return workbook.ReadingForm(tmp_path / "typed")


def fill(form, megahertz, name="device", **cells):
    """Type into the boxes: frequency, device's name, readings by kind, ``load_ohm``.

    It is judged once, when the last one is left.
    """
    judge, form.judge = form.judge, lambda: None
    for step, typed in {"frequency": megahertz, "name": name, **cells}.items():
        form._boxes[step.replace("_", " ")].value = typed
    form.judge = judge
    form.judge()


def test_it_says_what_is_still_to_be_read(form):
    assert form.sentence == "Type the frequency, then what the display shows of each."
    empty = form.png
    form._boxes["frequency"].value = "14.1"  # which is judged as soon as it is left
    assert form.sentence == "Still to be read: short, open, load, device."
    fill(form, "14.1", short=READ["short"])
    assert form.sentence == "Still to be read: open, load, device."
    assert form.png != empty
    fill(form, "14.1", **{k: READ[k] for k in ("open", "load", "load_ohm")})
    assert form.sentence.splitlines()[-1] == "Still to be read: device."


def test_the_answer_is_that_of_the_record_it_writes(form, tmp_path):
    fill(form, "14.1", "coil", **READ)
    form._write()
    assert "Wrote" in form._words.value
    device = rfcal.compute(tmp_path / "typed").device("coil")
    assert f"R {device.at(14.1e6).resistance}, X " in form.sentence
    assert "check '33 ohm' agrees" in form.sentence
    assert "'short', read again, stayed where it was" in form.sentence
    form._write()
    assert "already there and was not touched" in form._words.value
    assert "Wrote" not in form._words.value


def test_what_comes_next_can_be_typed_in_the_clones_folder(tmp_path, monkeypatch):
    (tmp_path / "notebooks").mkdir()
    monkeypatch.chdir(tmp_path / "notebooks")
    form = workbook.ReadingForm()
    fill(form, "14.1", **READ)
    form._write()
    assert "in the clone&#x27;s folder: " in form._words.value
    assert "rfcal report my-reading --output my-reading-report" in form._words.value


def test_each_reading_is_judged_beside_its_box(form):
    fill(form, "14.1", short="51 3", open="20", check="35 7")
    assert "it reflects 0.03 of what arrives" in form._said["short"].value
    assert "two numbers, R and X, are expected" in form._said["open"].value
    assert form._said["check"].value == "type its ohms above first"
    fill(form, "14.1", short="2.7 9.4", load_ohm="0")
    assert form._said["short"].value == "taken"
    assert "a number of ohms above zero" in form._said["load"].value


def test_nothing_is_written_before_there_is_an_answer(form, tmp_path):
    fill(form, "14.1", short=READ["short"])
    form._write()
    assert "Nothing was written. Still to be read: open, load, device." in form._words.value
    assert not (tmp_path / "typed").exists()


def test_a_display_without_signs_keeps_both_answers(form, monkeypatch):
    drawn = []
    monkeypatch.setattr("rfcal.workbook.form.png_bytes", lambda figure: drawn.append(figure) or b"")
    form._boxes["shows"].value = "R and X without its sign"
    fill(form, "14.1", "coil", **{k: v.replace("-", "") for k, v in READ.items()})
    assert "Two answers remain for 'coil'" in form.sentence
    device = form.found.devices[0]
    z = np.array([device.impedance.value[0], device.other.impedance.value[0]])
    for figure in (drawn[-1], device_chart(device), device_bands(device)):
        handles = figure.legends[0].legend_handles
        look = {
            h.get_label(): (h.get_color(), h.get_marker()) for h in handles if isinstance(h, Line2D)
        }
        assert not set(look["corrected"]) & set(look["or this"])
    raw = [line for line in drawn[-1].axes[0].lines if line.get_marker() == "s"]
    assert len(raw) == 5  # three standards, and the device by either sign
    for ax, value in zip(device_bands(device).axes, (z.real, z.imag), strict=True):
        shown = [line.get_ydata()[0] for line in ax.lines if line.get_marker() in ("o", "D")]
        assert shown == pytest.approx(value)
    written = page(form.found)
    # of one frequency there is nothing to slide
    assert "<label hidden>frequency, 14.1 to 14.1 MHz" in written
    assert re.search(r"<label>cable, up to [\d.]+ m <input", written)
    assert json.loads(re.search(r'id="curves"[^>]*>(.*?)</script>', written)[1])[0]["other"]["re"]


def test_a_display_of_sizes_is_judged_and_computed(form):
    form._boxes["shows"].value = "|Z| and SWR"
    sizes = {"short": "9.7 19.90", "open": "295.0 86.92", "load": "52.0 1.07"}
    fill(form, "14.1", "coil", **sizes, load_ohm="49.9", device="13.0 4.14")
    assert "Two answers remain for 'coil'" in form.sentence
    assert not any("label" in said.value for said in form._said.values())


def test_text_is_only_text(form):
    fill(form, "14.1", "<b>coil</b>", **READ)
    assert "<b>coil" not in form._words.value
    fill(form, "<i>", "coil", short="<i> 3")
    assert "<i>" not in form._words.value + form._said["short"].value


def test_an_unlikely_unit_and_a_poor_check_are_doubted(form):
    fill(form, "14100", "coil", **{**READ, "check_ohm": "3.3 ohm"})
    assert "if it was read in kHz, it is 14.1 MHz" in form.sentence
    assert "3.3 ohm is not within 10 to 200" in form._said["check"].value
    fill(form, "14.1", "coil", **{**READ, "device": "43.4 - j19", "check_ohm": "33 ohm"})
    assert "kHz" not in form.sentence
    assert "check '33 ohm' agrees" in form.sentence
