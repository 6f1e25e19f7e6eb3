"""Paths between plane and device in a record: every kind removed, added, and in the budget."""

import numpy as np
import pytest
import skrf

from rfcal.errors import RfcalError
from rfcal.maths.reflection import from_impedance
from rfcal.maths.twoport import TwoPort
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.job import compute
from rfcal.report.text.device import path_words
from tests.record.conftest import BOX, DEVICE_OHM, touchstone

FREQUENCY = np.linspace(50e6, 60e6, 11)
DEVICE = np.full(11, from_impedance(DEVICE_OHM))
LINE = Line(14.2, 0.83, 48.6, conductor_db=0.9)


def put(folder, name, two_port, reflection):
    """A raw sweep of something seen through a two-port."""
    seen = BOX.apply(two_port.bilinear(50.0).apply(reflection))
    (folder / "raw" / f"{name}.s1p").write_text(touchstone(FREQUENCY, seen))


def append(folder, *tables):
    with (folder / "record.toml").open("a") as file:
        for table in tables:
            file.write(f"[[measurement.between]]\n{table}\n")


def ends(folder, two_port, name="line"):
    for end, value in (("open", 1.0), ("short", -1.0)):
        put(folder, f"{name}-{end}", two_port, np.full(11, value, complex))


def write_adapter(folder, s, z_ref=50):
    frequency = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    text = skrf.Network(frequency=frequency, s=s, z0=z_ref).write_touchstone(
        "adapter.s2p", return_string=True, form="ri"
    )
    (folder / "raw/adapter.s2p").write_text(text)


MEASURED = (
    'line = "measured"\nfar_end_open = "raw/line-open.s1p"\nfar_end_short = "raw/line-short.s1p"'
)
CABLE = 'line = "RG-213"\nlength_m = 12.4\nlength_uncertainty_m = 0.02'


def test_measured_line(filed):
    through = LINE.two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "device", through, DEVICE)
    append(filed, MEASURED)
    results = compute.compute(filed)
    device = results.device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-6)
    assert "line 1'" not in device.plane
    assert "'device: measured 1' was taken away" in device.plane
    assert "device: measured 1, open: far end" in device.impedance.by_source()
    assert {s.origin.file for s in results.sweeps} >= {"raw/line-open.s1p", "raw/line-short.s1p"}


def test_calibrating_at_the_far_end_and_removing_a_measured_line_agree(filed, tmp_path):
    """Two routes to the same plane, each with its own noise: within their uncertainties."""
    rng = np.random.default_rng(9)
    through = LINE.two_port(FREQUENCY)

    def noisy(folder, name, reflection):
        noise = 0.0005 * (rng.standard_normal(11) + 1j * rng.standard_normal(11))
        (folder / "raw" / f"{name}.s1p").write_text(touchstone(FREQUENCY, reflection + noise))

    for name, value in (("line-open", 1.0), ("line-short", -1.0), ("device", DEVICE[0])):
        seen = BOX.apply(through.bilinear(50.0).apply(np.full(11, value, complex)))
        noisy(filed, name, seen)
    append(filed, MEASURED)
    bottom = compute.compute(filed).device("device").impedance
    for name, value in (("short", -1.0), ("open", 1.0), ("load", 0.0)):
        seen = BOX.apply(through.bilinear(50.0).apply(np.full(11, value, complex)))
        noisy(filed, name, seen)
    text = (filed / "record.toml").read_text()
    (filed / "record.toml").write_text(text[: text.index("[[measurement.between]]")])
    top = compute.compute(filed).device("device").impedance
    total = np.sqrt(np.diagonal(top.covariance() + bottom.covariance(), axis1=1, axis2=2))
    difference = top.value - bottom.value
    assert np.all(np.abs(difference.real) < 3 * total[:, 0])
    assert np.all(np.abs(difference.imag) < 3 * total[:, 1])


def test_cable_by_type_and_its_doubts(filed):
    put(filed, "device", CABLES["RG-213"].line(12.4).two_port(FREQUENCY), DEVICE)
    append(filed, CABLE)
    results = compute.compute(filed)
    device = results.device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-8)
    shares = device.impedance.by_source()
    note = next(f for f in results.findings if f.code == "defaults")
    taken = {
        "velocity factor": "velocity_factor_uncertainty 0.01",
        "impedance": "z0_uncertainty_ohm 1 ohm",
        "loss": "loss_uncertainty_percent 10 %",
        "skin effect": "skin_effect_uncertainty 0.3",
    }
    for source, said in taken.items():
        assert f"device: line 1: {source}" in shares
        assert said in note.message
    assert "device: line 1: length" in shares
    assert "length" not in note.message
    append(filed, CABLE.replace("length_uncertainty_m", "skin_effect_uncertainty"))
    first, second = compute.schema.load(filed).measurements[0].between
    assert (first.doubt["skin effect"], second.doubt["skin effect"]) == (0.3, 0.02)
    assert second.assumed == ("length", "velocity factor", "impedance", "loss")


def test_cable_of_ones_own(filed):
    own = (
        'line = "the old one"\nlength_m = 3.0\nvelocity_factor = 0.8\nz0_ohm = 75.0\n'
        "loss_db_per_100m = [[10.0, 2.0], [100.0, 7.0]]"
    )
    append(filed, own)
    line = compute.schema.load(filed).measurements[0].between[0].line
    assert (line.velocity_factor, line.z0) == (0.8, 75.0)
    assert line.loss_db_per_100m(np.array([10e6, 100e6])) == pytest.approx([2.0, 7.0], rel=0.1)


def scattering(part, z_ref=50.0):
    chain = np.array([[part.a, part.b], [part.c, part.d]]).transpose(2, 0, 1)
    return skrf.network.a2s(chain, z_ref)


def test_elements_are_taken_in_order(filed):
    """Adapter next to the plane, then a cable: the other way round is another device."""
    adapter = (
        TwoPort.series(3 + 5j) @ TwoPort.shunt(0.5e-3j) @ TwoPort.line(60.0, 0.3j * np.ones(11))
    )
    cable = CABLES["RG-213"].line(12.4).two_port(FREQUENCY)
    write_adapter(filed, scattering(adapter, 75.0), 75)
    put(filed, "device", adapter @ cable, DEVICE)
    append(filed, 'adapter = "raw/adapter.s2p"', CABLE)
    device = compute.compute(filed).device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-8)
    assert "device: adapter 1: definition" in device.impedance.by_source()


def test_an_adapter_of_too_few_points_is_to_be_given_anew(filed):
    few = np.array([40e6, 52e6, 70e6])
    s = scattering(TwoPort.line(50.0, 1j * few / 10e6))
    text = skrf.Network(frequency=skrf.Frequency.from_f(few, unit="hz"), s=s).write_touchstone(
        "adapter.s2p", return_string=True, form="ri"
    )
    (filed / "raw/adapter.s2p").write_text(text)
    append(filed, 'adapter = "raw/adapter.s2p"')
    with pytest.raises(RfcalError, match=r"adapter 1.* the file they come from") as refused:
        compute.compute(filed)
    assert "standards" not in str(refused.value)


def test_fixture_open_and_short(filed):
    fixture = TwoPort.series(np.full(11, 0.4 + 1.3j)) @ TwoPort.shunt(np.full(11, 0.7e-3j))
    ends(filed, fixture, "fixture")
    put(filed, "device", fixture, DEVICE)
    append(filed, 'fixture_open = "raw/fixture-open.s1p"\nfixture_short = "raw/fixture-short.s1p"')
    device = compute.compute(filed).device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-8)


def test_adding_a_cable_shows_what_the_shack_sees(filed):
    append(filed, CABLE + "\nadd = true")
    device = compute.compute(filed).device("device")
    expected = CABLES["RG-213"].line(12.4).two_port(FREQUENCY).input_impedance(DEVICE_OHM)
    assert device.impedance.value == pytest.approx(expected, rel=1e-9)
    assert "added" in device.plane


def test_line_sweeps_at_other_frequencies_are_refused(filed):
    ends(filed, LINE.two_port(FREQUENCY))
    (filed / "raw/line-open.s1p").write_text(touchstone(FREQUENCY[:5], np.array([0.1])))
    append(filed, MEASURED)
    for run in (compute.compute, compute.inspect):
        with pytest.raises(RfcalError, match=r"line-open.s1p.*same points"):
            run(filed)


def test_a_one_port_file_is_no_adapter(filed):
    append(filed, 'adapter = "raw/open.s1p"')
    with pytest.raises(RfcalError, match="nine numbers"):
        compute.compute(filed)


def test_exchanged_far_ends_are_warned_of(filed):
    through = LINE.two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "device", through, DEVICE)
    exchanged = MEASURED.replace("line-open", "x").replace("line-short", "line-open")
    append(filed, exchanged.replace("raw/x", "raw/line-short"))
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "exchanged" in found["path-misfit"]
    assert "no-check-behind" not in found  # which would only say once more what may be


def test_an_antenna_left_on_the_far_end_is_warned_of(filed):
    through = LINE.two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "line-open", through, np.full(11, from_impedance(60 + 10j)))
    put(filed, "device", through, DEVICE)
    append(filed, MEASURED)
    (warning,) = (f for f in compute.compute(filed).findings if f.code == "path-misfit")
    assert "off those of a uniform line" in warning.message


def test_a_sound_measured_line_is_not_warned_of(filed):
    through = LINE.two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "device", through, DEVICE)
    append(filed, MEASURED)
    assert not [f for f in compute.compute(filed).findings if f.code == "path-misfit"]


def test_a_loss_within_its_uncertainty_is_a_limit(filed):
    """A short lead: its loss is none, as far as noise tells."""
    rng = np.random.default_rng(4)
    through = Line(0.7, 0.66, 50.0, 0.3).two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "device", through, from_impedance(30 + 20j) + 0.002 * rng.standard_normal(11))
    append(filed, MEASURED)
    device = compute.compute(filed).device("device")
    assert np.all(device.path_loss.loss_db >= 0)
    assert np.all(np.isfinite(device.path_loss.expanded_uncertainty_db))
    assert "the path loses less than" in path_words(device)


def test_what_is_known_of_a_far_end_can_be_stated(filed):
    through = LINE.two_port(FREQUENCY)
    ends(filed, through)
    put(filed, "device", through, DEVICE)
    append(filed, MEASURED + "\nuncertainty = 0.0")
    results = compute.compute(filed)
    assert not [f for f in results.findings if f.code == "defaults" and "device" in f.message]
    far = results.device("device").impedance.by_source()["device: measured 1, open: far end"]
    assert not np.any(far)


def test_the_device_has_a_connection_of_its_own_behind_what_is_removed(filed):
    """Through a pad of 6 dB there and back a connection behind it counts half at the plane."""
    put(filed, "device", TwoPort.line(50.0, np.full(11, 0.3466)), DEVICE)
    s = np.array([[0, np.sqrt(0.5)], [np.sqrt(0.5), 0]]) * np.ones((11, 1, 1))
    write_adapter(filed, s)
    before = compute.compute(filed).device("device").reflection.by_source()
    append(filed, 'adapter = "raw/adapter.s2p"')
    behind = compute.compute(filed).device("device").reflection.by_source()
    source = "device: connection"
    assert before[source][0, 0, 0] == pytest.approx(0.001**2)
    assert behind[source][0, 0, 0] == pytest.approx(0.002**2 + 0.001**2)


@pytest.mark.parametrize("back", [1.0, 0.99])
def test_the_passages_of_an_adapter_are_off_together(filed, back):
    passage = 0.5
    s = np.array([[0, passage * back], [passage, 0]]) * np.ones((11, 1, 1))
    write_adapter(filed, s)
    put(filed, "device", TwoPort.line(50.0, np.full(11, -np.log(passage))), DEVICE)
    append(filed, 'adapter = "raw/adapter.s2p"\nuncertainty = 0.001')
    device = compute.compute(filed).device("device")
    # a matched pad: what its passage squared is off turns up in the reflection behind it
    by_ends = 0.001 * np.hypot(1, (passage * abs(DEVICE[0])) ** 2) / passage**2
    by_passage = (1 + back) * 0.001 * passage * abs(DEVICE[0]) / passage**2
    found = np.sqrt(device.reflection.by_source()["device: adapter 1: definition"][0, 0, 0])
    assert found == pytest.approx(np.hypot(by_ends, by_passage), rel=0.02)


def test_an_adapter_between_two_references_is_refused(filed):
    (filed / "raw/adapter.ts").write_text(
        "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n"
        "[Number of Frequencies] 2\n[Reference] 50 75\n[Network Data]\n"
        "50e6 0 0 1 0 1 0 0 0\n60e6 0 0 1 0 1 0 0 0\n[End]\n"
    )
    append(filed, 'adapter = "raw/adapter.ts"')
    with pytest.raises(RfcalError, match="50 and 75 ohm; one for all"):
        compute.compute(filed)


def test_a_device_behind_a_cable_is_no_open_where_its_reflection_is_known(filed):
    """Far from the reading the doubt's own spread is another one than beside it."""
    frequency = np.linspace(20e6, 105e6, 61)
    for name, value in (("open", 1.0), ("short", -1.0), ("load", 0.0)):
        (filed / f"raw/{name}.s1p").write_text(touchstone(frequency, BOX.apply(np.full(61, value))))
    ohm = 30 + 10j + 2j * np.pi * frequency * 100e-9
    seen = CABLES["RG-213"].line(1.0).two_port(frequency).bilinear(50.0).apply(from_impedance(ohm))
    (filed / "raw/device.s1p").write_text(touchstone(frequency, BOX.apply(seen)))
    append(filed, 'line = "RG-213"\nlength_m = 1.0')
    device = compute.compute(filed).device("device")
    assert np.all(device.figures["swr"].high < 7)
    assert np.all(np.isfinite(device.interval))
    assert np.all(np.diff(device.interval) < 60)


def test_what_is_added_first_stands_next_to_the_device(filed):
    near, far = TwoPort.series(np.full(11, 20 + 0j)), TwoPort.shunt(np.full(11, 0.01 + 0j))
    for name, part in (("near", near), ("far", far)):
        write_adapter(filed, scattering(part))
        (filed / "raw/adapter.s2p").rename(filed / f"raw/{name}.s2p")
    append(filed, *(f'adapter = "raw/{name}.s2p"\nadd = true' for name in ("near", "far")))
    found = compute.compute(filed).device("device").impedance.value
    expected = (far @ near).input_impedance(np.full(11, DEVICE_OHM))
    assert found == pytest.approx(expected, rel=1e-9)


def test_removing_after_adding_is_refused(filed):
    append(filed, CABLE + "\nadd = true", CABLE)
    with pytest.raises(RfcalError, match=r"between 2.*removed must stand before what is added"):
        compute.compute(filed)


def test_a_loss_table_may_lie_above_the_law_at_low_frequencies(filed):
    """A thin cable's table from 1 MHz on, as handbooks print them (value from memory)."""
    rows = "[[1.0, 6.2], [10.0, 10.8], [50.0, 19.0], [100.0, 27.6], [1000.0, 98.4]]"
    own = 'line = "thin"\nlength_m = 3.0\nvelocity_factor = 0.66\nz0_ohm = 50.0\n'
    append(filed, own + f"loss_db_per_100m = {rows}")
    assert compute.compute(filed).device("device").path_loss is not None


def test_a_loss_table_with_a_slip_is_refused(filed):
    rows = "[[10.0, 1.8], [50.0, 4.4], [100.0, 68.0], [1000.0, 24.5]]"
    own = 'line = "own"\nlength_m = 3.0\nvelocity_factor = 0.8\nz0_ohm = 75.0\n'
    append(filed, own + f"loss_db_per_100m = {rows}")
    with pytest.raises(RfcalError, match=r"\[100, 68\] does not go with the other rows"):
        compute.compute(filed)
