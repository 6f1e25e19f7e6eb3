"""What-if: other values through the same job, and with none changed the record's own answer."""

from pathlib import Path

import numpy as np
import pytest

from rfcal.errors import RecordError
from rfcal.record.format import schema
from rfcal.record.job.compute import compute
from rfcal.record.job.whatif import changed, corrected_with

DEMO = Path(__file__).parents[2] / "data" / "demo"
BEACON = DEMO / "beacon-antenna"
DEMOS = ("beacon-antenna", "sensor-coil", "tower-line", "tower-line-top")


@pytest.mark.parametrize("name", DEMOS)
def test_with_nothing_changed_it_is_the_records_own_answer(name, computed):
    results = computed(name)
    again = compute(changed(results.record, "record"))
    assert again.findings == results.findings
    for device in results.devices:
        own = device.reflection
        quick = corrected_with(results, device.name)
        assert quick == pytest.approx(own.value, rel=1e-12, abs=1e-12)
        whole = again.device(device.name).reflection
        assert whole.value == pytest.approx(own.value, rel=1e-12, abs=1e-12)
        assert whole.covariance() == pytest.approx(own.covariance(), rel=1e-12, abs=1e-18)


@pytest.mark.parametrize("name", ["beacon-antenna", "tower-line"])
def test_quick_and_whole_agree_about_another_load(name, computed):
    results = computed(name)
    load = next(s for s in results.record.standards if s.model.kind == "load")
    device = results.devices[0].name
    told = compute(changed(results.record, load.name, resistance_ohm=load.model.resistance + 2))
    only = corrected_with(results, device, load_ohm=2.0)
    assert told.device(device).reflection.value == pytest.approx(only, rel=1e-12)
    all_three = corrected_with(results, device, load_ohm=2.0, open_farad=1e-13, short_henry=1e-9)
    assert np.abs(all_three - only).max() > 1e-4
    told = compute(changed(results.record, load.name, inductance=[1e-9]))
    only = corrected_with(results, device, load_henry=1e-9)
    assert told.device(device).reflection.value == pytest.approx(only, rel=1e-12)


def test_any_table_may_be_otherwise_begun_or_lose_a_key():
    assert changed(BEACON, "analyzer", noise=0.002).analyzer["noise"] == 0.002
    assert changed(BEACON, "match", band_mhz=[69.1, 71.9]).matches[0].band_hz == (69.1e6, 71.9e6)
    begun = changed(DEMO / "tower-line", "match", frequency_mhz=70.165, place="device")
    assert begun.matches[0].place == "device"
    assert "noise" in changed(BEACON, "analyzer", noise=None).assumed
    sheet = {"line": "RG-213", "length_m": 12.0, "add": True}
    moved = changed(BEACON, "antenna", between=[sheet], answer_mhz=70.0).measurements[0]
    assert moved.between[0].line.length_m == 12.0
    assert moved.between[0].embed


def test_a_table_may_have_another_name():
    assert changed(BEACON, "75 ohm resistor", name="check").checks[0].name == "check"


def test_texts_survive():
    told = changed(BEACON, "about", place='"a" \\ b\nc, äöü')
    assert told.about["place"] == '"a" \\ b\nc, äöü'
    assert schema.parse(BEACON, told.content).about == told.about


@pytest.mark.parametrize(
    ("name", "values", "message"),
    [
        ("lod", {"resistance_ohm": 50.0}, "no one table is named 'lod'.*'load'"),
        ("load", {"resistance": 50.0}, "resistance_ohm"),
        ("load", {"resistance_ohm": -1.0}, "resistance_ohm"),
        ("load", {"resistance_ohm": object()}, "object object at .* no text, number or list"),
    ],
)
def test_it_refuses_what_a_record_refuses(name, values, message):
    with pytest.raises(RecordError, match=message):
        changed(BEACON, name, **values)
