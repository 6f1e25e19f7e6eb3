"""A session in Python gives what a record of the same gives, and nothing is lost on the way."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skrf

import rfcal
from rfcal.errors import CalibrationError, ReadingError, RfcalError
from rfcal.readings.sweep import TwoPortSweep

DEMO = Path(__file__).parents[2] / "data" / "demo"
BEACON, TOWER = DEMO / "beacon-antenna", DEMO / "tower-line"


def beacon_standards(read):
    return {
        rfcal.Standard("short", inductance=0.35e-9, uncertainty={"reflection": 0.002}): read(
            "short"
        ),
        rfcal.Standard("open", capacitance=60e-15, uncertainty={"reflection": 0.002}): read("open"),
        rfcal.Standard("load", 49.9, uncertainty={"resistance": 0.15, "reflection": 0.0}): read(
            "load"
        ),
    }


def swept(name):
    return rfcal.read(BEACON / "raw" / f"{name}.s1p")


def network(name):
    return skrf.Network(BEACON / "raw" / f"{name}.s1p")


@pytest.fixture(scope="module")
def calibrated():
    return rfcal.calibrate(beacon_standards(swept), analyzer=rfcal.Analyzer(drift=0.0))


@pytest.fixture(scope="module")
def device(calibrated):
    return calibrated.correct(swept("antenna"))


@pytest.fixture
def recorded(computed):
    return computed("beacon-antenna").device("antenna")


def test_it_gives_what_the_record_gives(device, recorded):
    assert device.impedance.value == pytest.approx(recorded.impedance.value, rel=1e-9)
    assert device.interval == pytest.approx(recorded.interval, rel=1e-9)
    assert device.frequency is device.raw.frequency
    assert device.plane == recorded.plane
    shares, theirs = device.reflection.by_source(), recorded.reflection.by_source()
    assert set(shares) == set(theirs)


@pytest.mark.parametrize("read", [swept, network])
def test_networks_go_in_as_sweeps_do(read, device):
    there = rfcal.calibrate(beacon_standards(read), analyzer=rfcal.Analyzer(drift=0.0))
    same = there.correct(read("antenna"))
    assert same.reflection.value == pytest.approx(device.reflection.value, abs=1e-12)
    assert same.name == "antenna"
    assert same.frequency == pytest.approx(device.frequency)


def test_an_answer_is_said_with_the_digits_of_its_uncertainty(device):
    said = device.at(70.2e6)
    assert str(said).startswith(f"R {said.resistance}, X {said.reactance}, SWR 1.6")
    assert str(said).endswith("at 70.2 MHz")
    assert " ± " in str(said.resistance)
    assert said.resistance.low < said.resistance.value < said.resistance.high
    at = int(np.argmin(np.abs(device.frequency - 70.2e6)))
    assert [said.reactance.low, said.reactance.high] == list(device.interval[at, 1])
    assert device.at(70.2049e6).frequency == device.frequency[at]


def test_an_answer_is_that_of_the_nearest_measured_point(device):
    asked = device.at(70.2069e6)
    assert asked.frequency == device.frequency[80] == pytest.approx(70.2e6)
    assert asked.resistance.low == device.interval[80, 0, 0]
    # numbers that are the sweep's end but for rounding
    assert device.at(device.frequency[-1] * (1 + 1e-9)).frequency == device.frequency[-1]


@pytest.mark.parametrize(
    ("of", "words"),
    [
        (lambda short, opened, load: (opened, short, load), "short and open are exchanged"),
        (lambda *all_of: [np.conj(x) for x in all_of], "all readings are conjugated"),
    ],
)
def test_what_three_standards_cannot_contradict_and_a_band_shows_is_said(of, words):
    names = ("short", "open", "load")
    sweeps = [swept(name) for name in names]
    known = {
        rfcal.Standard(name): replace(sweep, reflection=values)
        for name, sweep, values in zip(
            names, sweeps, of(*(sweep.reflection for sweep in sweeps)), strict=True
        )
    }
    grid = r"corrected with it, .* points? from [\d.]+ to [\d.]+ MHz, is not sure yet"
    with pytest.warns(UserWarning, match=f"{words}; what is {grid}"):
        rfcal.calibrate(known)


def test_error_terms_are_there_over_frequency(calibrated):
    raw = swept("antenna").reflection
    e00, e11 = calibrated.directivity, calibrated.source_match
    x = calibrated.correct(swept("antenna")).reflection.value
    seen = e00 + calibrated.reflection_tracking * x / (1 - e11 * x)
    assert seen == pytest.approx(raw, abs=1e-12)
    assert calibrated.frequency.shape == e00.shape


def test_a_line_is_removed_as_a_record_removes_it(tmp_path):
    """The tower line by its sweeps, and a cable by its type, against the record's own words."""
    for words, element in (
        ('line = "RG-213"\nlength_m = 3.0\n', rfcal.cable("RG-213", 3.0)),
        (
            'line = "mine"\nlength_m = 3.0\nlength_uncertainty_m = 0.002\nvelocity_factor = 0.8\n'
            "z0_ohm = 75.0\nloss_db_per_100m = [[100, 6.0]]\n",
            rfcal.Line(3.0, 0.8, 75.0, conductor_db=0.6, uncertainty={"length": 0.002}),
        ),
    ):
        text = (BEACON / "record.toml").read_text().split("[match]")[0]
        folder = tmp_path / words[8:12]
        (folder / "raw").mkdir(parents=True)
        for file in (BEACON / "raw").iterdir():
            (folder / "raw" / file.name).write_bytes(file.read_bytes())
        (folder / "record.toml").write_text(f"{text}\n[[measurement.between]]\n{words}")
        theirs = rfcal.compute(folder).device("antenna")
        at_plane = rfcal.calibrate(
            beacon_standards(swept), analyzer=rfcal.Analyzer(drift=0.0)
        ).correct(swept("antenna"))
        ours = at_plane.remove(element)
        assert ours.impedance.value == pytest.approx(theirs.impedance.value, rel=1e-9)
        assert ours.interval == pytest.approx(theirs.interval, rel=1e-9)
        assert ours.plane == theirs.plane
        assert ours.path_loss.loss_db == pytest.approx(theirs.path_loss.loss_db)
        assert ours.frequency == pytest.approx(swept("antenna").frequency)
        assert at_plane.between == ()


def test_a_standard_read_once_more_tells_what_moved(calibrated, device):
    load, antenna = swept("load"), swept("antenna")
    still = calibrated.reread("load", replace(load, reflection=load.reflection + 1e-4))
    assert np.array_equal(still.correct(antenna).interval, device.interval)
    moved = calibrated.reread("load", replace(load, reflection=load.reflection + 0.02))
    found = moved.correct(antenna)
    assert np.array_equal(found.impedance.value, device.impedance.value)
    assert np.all(np.ptp(found.interval, axis=-1) > 1.5 * np.ptp(device.interval, axis=-1))
    # once it moved, another that did not takes nothing back
    short = swept("short")
    again = replace(short, reflection=short.reflection + 1e-5)
    both = moved.reread("short", again).correct(antenna)
    assert np.array_equal(both.interval, found.interval)


def test_a_reading_is_not_read_once_more_by_being_handed_in_twice(calibrated):
    for once_more in (swept("load"), swept("load").quantity(50.0).value):
        if not isinstance(once_more, rfcal.Sweep):  # of no file, as a network's
            once_more = rfcal.Sweep(swept("load").frequency, once_more)
        with pytest.raises(CalibrationError, match="the one that 'load' has already"):
            calibrated.reread("load", once_more)


def test_what_no_standard_is_called_is_not_read_once_more(calibrated):
    with pytest.raises(RfcalError, match="is 'lod', and one of 'short', 'open', 'load'"):
        calibrated.reread("lod", swept("load"))
    load = swept("load")
    with pytest.raises(CalibrationError, match="read it again at those"):
        calibrated.reread("load", rfcal.Sweep(load.frequency[:-1] + 3e3, load.reflection[:-1]))


def test_what_is_removed_and_added_again_is_gone(device):
    line = rfcal.Line(2.0, 0.7, conductor_db=0.4, uncertainty=dict.fromkeys(("length",), 0.0))
    back = device.remove(line).add(line)
    assert back.reflection.value == pytest.approx(device.reflection.value, abs=1e-9)
    assert "line 1' was taken away and after 'antenna: line 2' was added" in back.plane


def test_an_adapter_comes_as_a_network(device):
    media = skrf.media.DefinedGammaZ0(
        skrf.Frequency.from_f(device.frequency, unit="hz"), z0=75.0, gamma=0.01 + 2j, z0_port=50
    )
    adapter = media.line(0.5, "m", name="adapter")
    seen = device.add(adapter).reflection.value
    whole = adapter ** device.to_network()
    assert seen == pytest.approx(whole.s[:, 0, 0], abs=1e-9)


def test_a_line_known_by_its_own_sweeps(device, calibrated):
    box = rfcal.Line(1.0, 0.7, 50.0, 0.5).two_port(device.frequency).bilinear()
    ends = []
    for end in (1.0, -1.0):
        raw = calibrated.terms.error_box.apply(box.apply(np.full(device.frequency.size, end)))
        ends.append(rfcal.Sweep(device.frequency, raw, label="line"))
    there = device.remove((ends[0], ends[1]), uncertainty={"far end": 0.001})
    assert there.reflection.value == pytest.approx(box.correct(device.reflection.value), abs=1e-9)
    assert "measured 1' was taken away" in there.plane
    assert "antenna: measured 1, open: far end" in there.reflection.by_source()
    networks = [skrf.Network(f=end.frequency, f_unit="hz", s=end.reflection, z0=50) for end in ends]
    same = device.remove(tuple(networks), uncertainty={"far end": 0.001})
    assert same.reflection.value == pytest.approx(there.reflection.value, abs=1e-12)


def test_what_is_saved_is_read_again(device, tmp_path):
    device.save(tmp_path / "antenna.s1p")
    kept = (tmp_path / "antenna.s1p").read_bytes()
    with pytest.raises(ReadingError, match=r"File exists.; force=True writes over what is there"):
        device.add(rfcal.Line(1.0)).save(tmp_path / "antenna.s1p")
    assert (tmp_path / "antenna.s1p").read_bytes() == kept
    device.save(tmp_path / "antenna.s1p", force=True)
    back = rfcal.read(tmp_path / "antenna.s1p")
    assert back.frequency.tolist() == device.frequency.tolist()
    assert back.reflection == pytest.approx(device.reflection.value, abs=1e-15)
    out = device.to_network()
    assert out.f == pytest.approx(device.frequency)
    assert out.s[:, 0, 0] == pytest.approx(device.reflection.value)
    assert out.z0[0, 0] == device.z_ref
    assert out.name == "antenna"
    kept = rfcal.Sweep.from_network(out)
    assert kept.label == "antenna"
    assert kept.frequency == pytest.approx(device.frequency)


def test_a_network_in_another_impedance_is_renormalised(calibrated, device):
    other = network("antenna")
    other.renormalize(75.0)
    assert calibrated.correct(other).raw.z_ref == 75.0
    assert calibrated.correct(other).reflection.value == pytest.approx(device.reflection.value)
    varying = network("antenna")
    varying.renormalize(np.linspace(40, 80, varying.f.size))
    assert calibrated.correct(varying).reflection.value == pytest.approx(device.reflection.value)
    low = rfcal.calibrate(
        beacon_standards(swept), analyzer=rfcal.Analyzer(drift=0.0), z_ref=75.0
    ).correct(swept("antenna"))
    assert low.impedance.value == pytest.approx(device.impedance.value)
    assert low.z_ref == 75.0


def test_repeats_count_as_scatter(tmp_path):
    rng, files = np.random.default_rng(4), []
    for i in range(4):
        clean = swept("antenna")
        noise = 0.001 * (rng.standard_normal((2, clean.frequency.size)).T @ [1, 1j])
        files.append(tmp_path / f"{i}.s1p")
        skrf.Network(
            f=clean.frequency, f_unit="hz", s=clean.reflection + noise, z0=50
        ).write_touchstone(str(files[-1]))
    mean = rfcal.read(*files, name="antenna")
    assert len(mean.parts) == 4
    assert mean.label == "antenna"


def test_what_is_known_exactly_has_no_interval():
    """The region of a reflection without doubt is a point, and no place beside it."""
    known = {
        rfcal.Standard(kind, uncertainty={"reflection": 0.0}): swept(kind)
        for kind in ("short", "open", "load")
    }
    exact = rfcal.calibrate(known, analyzer=rfcal.Analyzer(0.0, 0.0, 0.0))
    antenna = exact.correct(swept("antenna"))
    z = antenna.impedance.value
    assert antenna.interval[..., 0] == pytest.approx(np.stack([z.real, z.imag], axis=-1))
    assert antenna.interval[..., 1] == pytest.approx(antenna.interval[..., 0])
    assert str(antenna.at(70.2e6)).startswith("R 31.15")
    assert "±" not in str(antenna.at(70.2e6))
    for name in ("short", "open", "load"):
        assert len(str(exact.correct(swept(name)).at(70.2e6))) < 200


def test_a_device_between_the_standards_points_is_interpolated(calibrated):
    f = np.array([70.003e6, 70.008e6])
    found = calibrated.correct(rfcal.Sweep(f, [0.1, 0.1j], label="between"))
    assert "interpolation of the error terms: tracking" in found.reflection.by_source()


FLAT = rfcal.Sweep([1e6, 2e6], [0.1, 0.2])
SHORT, OPEN, LOAD = (rfcal.Standard(kind) for kind in ("short", "open", "load"))


def flat(value, label="reading"):
    return rfcal.Sweep([1e6, 2e6], [value, value], label=label)


GOOD = {SHORT: flat(-0.9), OPEN: flat(0.9), LOAD: flat(0.01)}
HERE = rfcal.calibrate(GOOD)
SEEN = HERE.correct(FLAT)


def two_port():
    return skrf.Network(f=[1e6, 2e6], f_unit="hz", s=np.zeros((2, 2, 2)), z0=50, name="t")


def through():
    s = np.tile([[0.0, 1.0], [1.0, 0.0]], (2, 1, 1))
    return skrf.Network(f=[1e6, 2e6], f_unit="hz", s=s, z0=50, name="t")


def lossy_reference():
    return skrf.Network(f=[1e6, 2e6], f_unit="hz", s=np.zeros((2, 1, 1)), z0=50 - 5j)


WRONG = {
    "a number for a record": (
        lambda: rfcal.compute(3),
        "record must be a Record or a text or a Path, found 3",
    ),
    "an unknown measurement": (
        lambda: rfcal.compute(DEMO / "sensor-coil").device("senser"),
        "'senser', and one of 'sensor'",
    ),
    "nothing to read": (lambda: rfcal.read(), "one file or more"),
    "a number to read": (lambda: rfcal.read(3), "files must be a text or a Path, found 3"),
    "no such file": (lambda: rfcal.read("nowhere.s1p"), "nowhere.s1p: cannot be read"),
    "no possible file": (lambda: rfcal.read("a\0b.s1p"), "cannot be read (embedded null"),
    "a file twice": (
        lambda: rfcal.read(*[DEMO / "beacon-antenna/raw/load.s1p"] * 2),
        "only new readings scatter",
    ),
    "no reference": (lambda: rfcal.read("x.s1p", z_ref=0), "from 0.001"),
    "two standards": (
        lambda: rfcal.calibrate({SHORT: flat(-1), OPEN: flat(1)}),
        "2 standards were given",
    ),
    "no standard": (lambda: rfcal.calibrate({}), "no standard is given"),
    "a list": (
        lambda: rfcal.calibrate([SHORT, OPEN, LOAD]),
        "a mapping, each a Sweep, as rfcal.read",
    ),
    "kinds as words": (lambda: rfcal.calibrate({"short": flat(-1)}), "found str"),
    "a file's name": (lambda: rfcal.calibrate({**GOOD, SHORT: "short.s1p"}), "rfcal.read"),
    "bare numbers": (lambda: rfcal.calibrate({**GOOD, SHORT: [-1.0, -1.0]}), "found [-1.0, -1.0]"),
    "one name twice": (
        lambda: rfcal.calibrate({**GOOD, rfcal.Standard("load", 25.0): flat(-0.3)}),
        "two standards are named 'load'",
    ),
    "other frequencies": (
        lambda: rfcal.calibrate({**GOOD, SHORT: rfcal.Sweep([1e6, 3e6], [-1, -1])}),
        "at the same frequencies",
    ),
    "one sweep for two": (
        lambda: rfcal.calibrate({**GOOD, OPEN: flat(-0.9)}),
        "'short' and 'open' were read alike",
    ),
    "one file for two": (
        lambda: rfcal.calibrate(
            {**beacon_standards(swept), rfcal.Standard("load", name="again"): swept("load")}
        ),
        "the reading of 'again' is that of 'load'",
    ),
    "one file for two of one name": (
        lambda: rfcal.calibrate(
            {**beacon_standards(swept), rfcal.Standard("load", 25.0): swept("load")}
        ),
        "two standards are named 'load'",
    ),
    "loads of two resistances": (
        lambda: rfcal.Standard("load", [49.0, 51.0]),
        "an array of draws, shape (N, 1), found shape (2,)",
    ),
    "two equal standards": (
        lambda: rfcal.calibrate(
            {SHORT: flat(-0.9), rfcal.Standard("short", name="s2"): flat(0.9), LOAD: flat(0)}
        ),
        "'short' and 's2' are defined alike",
    ),
    "an analyzer in words": (
        lambda: rfcal.calibrate(GOOD, analyzer="good"),
        "an Analyzer or None, found 'good'",
    ),
    "negative noise": (lambda: rfcal.Analyzer(noise=-1e-3), "noise of an analyzer"),
    "noise in decibels": (lambda: rfcal.Analyzer(noise=60.0), "from 0 to 1"),
    "a word of noise": (lambda: rfcal.Analyzer(noise="low"), "found 'low'"),
    "an instrument's own correction": (
        lambda: rfcal.calibrate({}, analyzer=rfcal.Analyzer(residual={"directivity": 0.01})),
        "write a record",
    ),
    "unknown residual": (lambda: rfcal.Analyzer(residual={"match": 0.01}), "'match', and one of"),
    "a two-port": (lambda: HERE.correct(two_port()), "such as network.s11"),
    "complex reference": (lambda: HERE.correct(lossy_reference()), "50-5j ohm"),
    "no reading": (lambda: HERE.correct(None), "network of scikit-rf, found None"),
    "named as a standard": (
        lambda: HERE.correct(flat(0.3, "load")),
        "'load' was read as a standard",
    ),
    "beyond the standards": (
        lambda: HERE.correct(rfcal.Sweep([1e6, 3e6], [0.1, 0.1])),
        "nothing is extrapolated",
    ),
    "megahertz for hertz": (lambda: SEEN.at(1.5), "frequencies are in Hz"),
    "short and load exchanged": (
        lambda: rfcal.calibrate(
            {
                rfcal.Standard("short"): flat(0.01, "short"),
                rfcal.Standard("open"): flat(0.95, "open"),
                rfcal.Standard("load"): flat(-0.95, "load"),
            }
        ),
        "which no sound one has",
    ),
    "outside the sweep": (lambda: SEEN.at(3e6), "3 MHz is outside the sweep"),
    "frequency in megahertz": (lambda: SEEN.at(1.5), "outside the sweep"),
    "frequency in words": (lambda: SEEN.at("1 MHz"), "found '1 MHz'"),
    "removing a length": (lambda: SEEN.remove(12.4), "Device.remove: element must be a Line or"),
    "removing one end": (lambda: SEEN.remove((FLAT,)), "a sequence of 2, each a Sweep"),
    "unknown uncertainty": (
        lambda: SEEN.remove(rfcal.Line(1.0), uncertainty={"lenght": 0.1}),
        "'lenght', and one of 'length'",
    ),
    "unknown of an adapter": (
        lambda: SEEN.add(through(), uncertainty={"length": 0.1}),
        "uncertain of 'reading: adapter 1' is 'length', and one of 'adapter'",
    ),
    "a bare uncertainty": (lambda: SEEN.add(through(), uncertainty=0), "a mapping from names"),
    "a line as a fixture": (
        lambda: SEEN.remove(rfcal.Line(1.0), fixture=True),
        "a fixture is known by two readings, and this is a line",
    ),
    "one end twice": (lambda: SEEN.remove((FLAT, FLAT)), "'reading: measured 1': its two sweeps"),
    "a two-port as an end": (lambda: SEEN.remove((two_port(), FLAT)), "such as network.s11"),
    "unknown of a line": (lambda: rfcal.Line(1.0, uncertainty={"delay": 1e-9}), "'delay'"),
    "unknown cable": (lambda: rfcal.cable("RG-59", 1.0), "'RG-59', and one of 'RG-58A'"),
    "cable of no length": (lambda: rfcal.cable("RG-213", "1 m"), "found '1 m'"),
    "removing after adding": (
        lambda: SEEN.add(rfcal.Line(1.0)).remove(rfcal.Line(1.0)),
        "remove first, then add",
    ),
    "nothing comes back": (
        lambda: SEEN.remove(rfcal.Line(1e4, conductor_db=5.0)),
        "nothing of the device comes back",
    ),
    "a number to save to": (lambda: SEEN.save(3), "file must be a text or a Path, found 3"),
    "another ending": (lambda: SEEN.save("device.csv"), "ends in .s1p"),
    "no such folder": (lambda: SEEN.save("nowhere/device.s1p"), "cannot be written"),
    "a sweep of two lengths": (lambda: rfcal.Sweep([1e6, 2e6], [0.1]), "(2,) and (1,)"),
    "a sweep that falls": (lambda: rfcal.Sweep([2e6, 1e6], [0.1, 0.1]), "must ascend"),
    "a sweep with a gap": (
        lambda: rfcal.Sweep([1e6, 2e6], [0.1, np.nan]),
        "point 2 is not a number",
    ),
    "a sweep from zero": (lambda: rfcal.Sweep([0, 1e6], [0.1, 0.1]), "above zero"),
    "a sweep in no reference": (lambda: rfcal.Sweep([1e6], [0.1], -50.0), "from 0.001"),
    "a sweep with a number for a label": (lambda: rfcal.Sweep([1e6], [0.1], label=3), "a text"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_meant_is_refused(case):
    call, words = WRONG[case]
    with pytest.raises(RfcalError) as caught:
        call()
    assert words in str(caught.value)
    assert len(str(caught.value)) < 400


def test_a_sweep_is_read_only_and_its_own():
    values = np.full(2, 0.1)
    sweep = rfcal.Sweep([1e6, 2e6], values)
    values[0] = 0.9
    assert sweep.reflection.tolist() == [0.1, 0.1]
    with pytest.raises(ValueError, match="read-only"):
        sweep.reflection[0] = 1.0
    assert isinstance(TwoPortSweep.from_network(two_port()).s, np.ndarray)
    assert issubclass(ReadingError, RfcalError)
    assert issubclass(CalibrationError, RfcalError)


def test_what_a_prompt_shows_is_one_line(recorded, computed):
    assert repr(recorded.raw) == "<Sweep antenna: 201 points from 69 to 72 MHz, in 50 ohm>"
    said = repr(computed("beacon-antenna"))
    assert said == "<Results of 'Beacon antenna on 4 m, spring check': antenna>"


def test_the_version_is_told():
    said = subprocess.run(
        [sys.executable, "-c", "from rfcal.cli import main; main(['--version'])"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert said == f"rfcal {rfcal.__version__}\n"


def test_completion_shows_all():
    assert set(rfcal.__all__) <= set(dir(rfcal))
    assert len(rfcal.__all__) <= 24
    with pytest.raises(AttributeError, match="no attribute 'plots'"):
        _ = rfcal.plots


def test_standards_that_contradict_each_other_are_refused():
    standards = beacon_standards(swept)
    check = swept("75-ohm")
    honest = rfcal.Standard("load", 75.0, name="75 ohm")
    rfcal.calibrate({**standards, honest: check})
    wrong = rfcal.Standard("load", 50.0, name="75 ohm")
    with pytest.raises(CalibrationError, match=r"contradict each other from .* MHz.*'75 ohm' by"):
        rfcal.calibrate({**standards, wrong: check})
