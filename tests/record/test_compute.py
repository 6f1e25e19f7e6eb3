"""A record computed: known truth recovered, findings made, grids bridged."""

import json
import re
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rfcal.cli import main
from rfcal.maths.reflection import from_impedance
from rfcal.measurement.bench import BETWEEN
from rfcal.readings.sweep import read_sweep
from rfcal.readings.touchstone import touchstone_text
from rfcal.record import export
from rfcal.record.job import compute
from tests.record.conftest import BOX, DEVICE_OHM, bend, touchstone

EVEN_FINER = np.linspace(50.5e6, 59.5e6, 7)


def codes(results) -> list[str]:
    return [finding.code for finding in results.findings]


def test_starting_record_computes(typed):
    results = compute.compute(typed)
    (device,) = results.devices
    # the numbers in the starting record were made for this impedance, then rounded
    assert abs(device.impedance.value[0] - (9.8 - 14.5j)) < 0.3
    assert results.checks[0].agrees
    assert codes(results) == ["typed-unseen"]  # of one row nothing judges


def test_known_truth_is_recovered(filed):
    device = compute.compute(filed).device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-9)
    assert np.all(device.expanded_uncertainty() > 0)


def test_reference_other_than_50_ohm(filed):
    bend(filed, "date = 2026-05-16", "date = 2026-05-16\nreference_ohm = 75.0")
    results = compute.compute(filed)
    device = results.device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-9)
    assert device.reflection.value == pytest.approx(from_impedance(np.full(11, DEVICE_OHM), 75.0))
    back = device.touchstone("; record of it")
    assert " R 75.0" in back.upper()


def test_file_with_a_reference_of_its_own(filed):
    """The same raw readings written in 75 ohm say the same."""
    path = filed / "raw/device.s1p"
    raw = BOX.apply(np.full(11, from_impedance(DEVICE_OHM)))
    z = 50 * (1 + raw) / (1 - raw)
    frequency = np.linspace(50e6, 60e6, 11)
    path.write_text(touchstone(frequency, from_impedance(z, 75.0)).replace("R 50", "R 75"))
    device = compute.compute(filed).device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-9)


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("frequency_hz,re,im", lambda f, g, z: f"{f},{g.real:.15g},{g.imag:.15g}"),
        ("frequency_khz,r_ohm,x_ohm", lambda f, g, z: f"{f / 1e3},{z.real:.15g},{z.imag:.15g}"),
        ("Frequency_MHz, R_ohm, X_ohm", lambda f, g, z: f"{f / 1e6},{z.real:.15g},{z.imag:.15g}"),
    ],
)
def test_csv(filed, header, row):
    raw = BOX.apply(np.full(11, from_impedance(DEVICE_OHM)))
    z = 50 * (1 + raw) / (1 - raw)
    rows = [row(*v) for v in zip(np.linspace(50e6, 60e6, 11), raw, z, strict=True)]
    (filed / "raw/device.csv").write_text("\n".join([header, *rows, ""]))
    bend(filed, "raw/device.s1p", "raw/device.csv")
    device = compute.compute(filed).device("device")
    assert device.impedance.value == pytest.approx(np.full(11, DEVICE_OHM), abs=1e-9)


def test_typed_reflection_takes_the_step_from_the_digits(typed):
    bend(typed, "typed = [[14.1, 12.2, -4.6]]", "typed_reflection = [[14.1, 0.62, -168.7]]")
    sweep = compute.compute(typed).device("device").raw
    assert sweep.reflection == pytest.approx([0.62 * np.exp(-1j * np.radians(168.7))])
    size, turn = (abs(effect.change[0]) for effect in sweep.effects)
    assert size == pytest.approx(0.01 / np.sqrt(12))
    assert turn == pytest.approx(0.62 * np.radians(0.1) / np.sqrt(12))


def test_device_between_the_standards_points(filed):
    raw = BOX.apply(np.full(EVEN_FINER.size, from_impedance(DEVICE_OHM)))
    (filed / "raw/device.s1p").write_text(touchstone(EVEN_FINER, raw))
    results = compute.compute(filed)
    device = results.device("device")
    assert device.frequency == pytest.approx(EVEN_FINER)
    assert device.impedance.value == pytest.approx(np.full(7, DEVICE_OHM), abs=1e-6)
    assert "interpolated" in codes(results)


def test_error_terms_that_turn_too_fast_are_not_interpolated(filed):
    """A long cable inside the calibration, sampled too coarsely: refused with the step."""
    frequency = np.linspace(50e6, 60e6, 11)
    turn = np.exp(-2j * np.pi * frequency * 60e-9)  # 21.6 degrees a MHz and a way
    for name, value in (("short", -1), ("open", 1), ("load", 0)):
        text = touchstone(frequency, turn**2 * BOX.apply(np.array([value])))
        (filed / f"raw/{name}.s1p").write_text(text)
    (filed / "raw/device.s1p").write_text(touchstone(EVEN_FINER, np.array([0.1])))
    with pytest.raises(Exception, match=r"turn by .* degrees between .* MHz.*the standards"):
        compute.compute(filed)


def test_interpolation_is_in_the_budget_and_covers_its_error(filed):
    """A cable of 30 ns inside the calibration, 10.8 degrees a MHz and a way."""
    frequency = np.linspace(50e6, 60e6, 11)

    def cable(f):
        return np.exp(-4j * np.pi * f * 30e-9)

    for name, value in (("short", -1), ("open", 1), ("load", 0)):
        text = touchstone(frequency, cable(frequency) * BOX.apply(np.array([value])))
        (filed / f"raw/{name}.s1p").write_text(text)
    raw = cable(EVEN_FINER) * BOX.apply(np.full(7, from_impedance(DEVICE_OHM)))
    (filed / "raw/device.s1p").write_text(touchstone(EVEN_FINER, raw))
    device = compute.compute(filed).device("device")
    parts = device.impedance.by_source().items()
    own = sum(part for source, part in parts if source.startswith(BETWEEN))
    doubt = np.sqrt(np.diagonal(own, axis1=-2, axis2=-1))
    error = device.impedance.value - DEVICE_OHM
    assert np.all(np.abs(error.real) <= 2 * doubt[:, 0] + 1e-9)
    assert np.all(np.abs(error.imag) <= 2 * doubt[:, 1] + 1e-9)


def test_a_wrong_standard_is_contradicted_by_the_check(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    raw = BOX.apply(np.full(11, from_impedance(25.0)))
    (filed / "raw/check.s1p").write_text(touchstone(frequency, raw))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[[check]]\nname = "25"\nreading = "raw/check.s1p"\nresistance_ohm = 25.0\n'
            "uncertainty = 0.003\n"
        )
    assert compute.compute(filed).checks[0].agrees
    bend(filed, 'kind = "load"', 'kind = "load"\nresistance_ohm = 46.0')
    results = compute.compute(filed)
    assert not results.checks[0].agrees
    assert "check-disagrees" in codes(results)


def test_a_check_at_a_standards_place_does_not_see_the_others_exchanged(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    raw = BOX.apply(np.full(11, from_impedance(50.02)))
    (filed / "raw/check.s1p").write_text(touchstone(frequency, raw))
    with (filed / "record.toml").open("a") as file:
        file.write('[[check]]\nname = "load"\nreading = "raw/check.s1p"\nresistance_ohm = 50.0\n')
    bend(filed, 'name = "load"', 'name = "the load"')
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "if 'short' and 'open' were exchanged" in found["check-blind"]


def test_exchanged_sweeps_come_out_active(filed):
    short, load = filed / "raw/short.s1p", filed / "raw/load.s1p"
    first, second = short.read_text(), load.read_text()
    short.write_text(second)
    load.write_text(first)
    (filed / "raw/device.s1p").write_text(
        touchstone(np.linspace(50e6, 60e6, 11), BOX.apply(np.array([0.4])))
    )
    assert "active" in codes(compute.compute(filed))


def test_five_standards_and_one_that_lies(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    for name, ohm in (("25", 25.0), ("100", 100.0)):
        raw = BOX.apply(np.full(11, from_impedance(ohm)))
        (filed / f"raw/{name}.s1p").write_text(touchstone(frequency, raw))
        with (filed / "record.toml").open("a") as file:
            file.write(
                f'[[standard]]\nname = "{name} ohm"\nkind = "load"\nresistance_ohm = {ohm}\n'
                f'reading = "raw/{name}.s1p"\nuncertainty = 0.002\n'
            )
    results = compute.compute(filed)
    assert "standards-disagree" not in codes(results)
    assert np.abs(results.calibration.residuals()).max() < 1e-12
    bend(filed, "resistance_ohm = 100.0", "resistance_ohm = 110.0")
    results = compute.compute(filed)
    finding = next(f for f in results.findings if f.code == "standards-disagree")
    assert "All would agree if '100 ohm' were 100 ohm." in finding.message
    assert "'25 ohm'" not in finding.message


def test_of_four_standards_no_culprit_can_be_named(filed):
    """Any three of four fit exactly: only what each would have to be makes some likelier."""
    raw = BOX.apply(np.full(11, from_impedance(75.0)))
    (filed / "raw/75.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 11), raw))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[[standard]]\nname = "75 ohm"\nkind = "load"\nresistance_ohm = 75\n'
            'reading = "raw/75.s1p"\nuncertainty = 0.002\n'
        )
    assert "standards-disagree" not in codes(compute.compute(filed))
    bend(filed, 'kind = "load"', 'kind = "load"\nresistance_ohm = 55.0')
    found = {f.code: f.message for f in compute.compute(filed).findings}
    said = found["standards-disagree"]
    assert "Nothing here tells which." in said
    assert named(said) == ["load", "75 ohm", "short"]
    ohm = float(re.search(r"'load' were (\S+)", said)[1])
    assert ohm == pytest.approx(50, rel=0.01)
    # said to be less, it leaves a short that would have to give power
    bend(filed, "resistance_ohm = 55.0", "resistance_ohm = 44.0")
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert sorted(named(found["standards-disagree"])) == ["75 ohm", "load"]  # alike to rounding


def named(said):
    """What is suspected, in its order."""
    return re.findall(r"if '([^']*)' (?:were|had|lay)", said)


def test_exchanged_standards_are_named_where_they_explain_a_contradiction(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    for ohm in (15, 75, 200):
        raw = BOX.apply(np.full(11, from_impedance(float(ohm))))
        (filed / f"raw/{ohm}.s1p").write_text(touchstone(frequency, raw))
        with (filed / "record.toml").open("a") as file:
            file.write(
                f'[[standard]]\nname = "{ohm}"\nkind = "load"\nresistance_ohm = {ohm}\n'
                f'reading = "raw/{ohm}.s1p"\nuncertainty = 0.002\n'
            )
    exchanged(filed, "15", "75")
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "All would agree if '15' and '75' were exchanged." in found["standards-disagree"]


def test_definition_from_a_file(filed):
    """A known standard whose file has a coarser grid of its own, in another reference."""
    grid = np.linspace(45e6, 65e6, 5)
    true = 0.6 * np.exp(-2j * np.pi * grid * 0.5e-9)
    (filed / "raw/definition.s1p").write_text(touchstone(grid, true))
    frequency = np.linspace(50e6, 60e6, 11)
    seen = BOX.apply(0.6 * np.exp(-2j * np.pi * frequency * 0.5e-9))
    (filed / "raw/known.s1p").write_text(touchstone(frequency, seen))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[[standard]]\nname = "offset"\nkind = "known"\ndefinition = "raw/definition.s1p"\n'
            'reading = "raw/known.s1p"\nuncertainty = 0.002\n'
        )
    results = compute.compute(filed)
    assert np.abs(results.calibration.residuals()).max() < 1e-4
    assert results.device("device").impedance.value == pytest.approx(
        np.full(11, DEVICE_OHM), abs=1e-2
    )
    files = [entry["file"] for entry in export.inputs(results)]
    assert "raw/definition.s1p" in files


def test_defaults_that_were_used_are_said(filed):
    bend(filed, "noise = 0.0005\nconnection = 0.001\n", "")
    bend(filed, "uncertainty = 0.002\n", "")
    results = compute.compute(filed)
    said = {f.code: f.message for f in results.findings}
    note = said["defaults"]
    assert "[analyzer]: noise 0.0005, connection 0.001" in note
    assert (
        "'short': build \"connector\", uncertainty 0.002, inductance_uncertainty_h 0.1 nH" in note
    )
    assert "resolution" not in note
    assert not re.search(r"\de-\d", note)
    bend(filed, "uncertainty = 0.002\n", "")
    said = {f.code: f.message for f in compute.compute(filed).findings}
    taken = "'open': build \"connector\", uncertainty 0.002, capacitance_uncertainty_f 25 fF"
    assert taken in said["defaults"]


@pytest.mark.parametrize(("size", "noted"), [(1.02, False), (1.2, True)])
def test_raw_readings_far_above_one_are_a_note(filed, size, noted):
    raw = np.full(11, size + 0j)
    (filed / "raw/open.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 11), raw))
    results = compute.compute(filed)
    notes = [f for f in results.findings if f.code == "raw-above-one"]
    assert len(notes) == noted
    for note in notes:
        assert note.severity == "note"
        assert "'open' is" in note.message
        assert "up to 1.2 in magnitude from 50 to 60 MHz, which is much even for" in note.message


def test_several_readings_far_above_one_are_one_note(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    for name, size in (("open", 1.2), ("short", -1.3)):
        raw = np.where(frequency < 55e6, size + 0j, size / 1.2)
        (filed / f"raw/{name}.s1p").write_text(touchstone(frequency, raw))
    (note,) = [f for f in compute.compute(filed).findings if f.code == "raw-above-one"]
    assert "read of 'short' and 'open' is up to 1.3 in magnitude at 5 of 11 points" in note.message


ROW = "typed = [[14.1, -43.0, -19.0]]"


def test_a_reading_far_above_one_is_not_called_usual(filed):
    raw = BOX.apply(np.full(11, from_impedance(-30 - 20j)))
    (filed / "raw/device.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 11), raw))
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "look at the sign of R" in found["raw-above-one"]
    assert "'device' was read in another session" in found["active"]


def test_typed_readings_are_no_files(typed):
    text = (typed / "record.toml").read_text()
    first, last = text.split("[[measurement]]")
    (typed / "record.toml").write_text(
        f"{first.split('[[check]]')[0]}[[measurement]]{re.sub('typed = .*', ROW, last, count=1)}"
    )
    found = {f.code: f.message for f in compute.compute(typed).findings}
    assert "was read in another session" in found["active"]
    assert "file" not in found["active"]


def test_results_json_is_whole_and_strict(filed):
    results = compute.compute(filed)
    data = json.loads(b"".join(export.results_json(results)), parse_constant=pytest.fail)
    assert list(data) == [
        *("format", "record", "inputs", "software", "findings"),
        *("calibration", "checks", "measurements"),
    ]
    device = data["measurements"][0]
    assert np.array(device["impedance_ohm"]).shape == (11, 2)
    assert np.array(device["interval_ohm"]).shape == (11, 4)
    shares = np.sum([row["share_r"] for row in device["budget"]], axis=0)
    assert shares == pytest.approx(np.ones(11), abs=1e-3)
    assert {len(entry["sha256"]) for entry in data["inputs"]} == {64}


def test_an_open_device_gives_null_not_nan(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    (filed / "raw/device.s1p").write_text(touchstone(frequency, BOX.apply(np.array([1.0]))))
    written = b"".join(export.results_json(compute.compute(filed)))
    data = json.loads(written, parse_constant=pytest.fail)
    assert len(data["measurements"][0]["impedance_ohm"]) == 11


def test_what_is_written_reads_back(filed, tmp_path):
    device = compute.compute(filed).device("device")
    (tmp_path / "back.s1p").write_text(device.touchstone("; record of it"))
    back = read_sweep(tmp_path, "back.s1p", label="back")
    assert back.reflection == pytest.approx(device.reflection.value, abs=1e-14)
    assert back.frequency.tolist() == device.frequency.tolist()


@given(
    st.lists(st.floats(1e3, 1e10), min_size=1, max_size=20, unique_by=lambda f: round(f, 3)),
    st.floats(1, 1000),
    st.data(),
)
def test_touchstone_write_then_read(tmp_path_factory, frequencies, z_ref, data):
    """Any sweep comes back as it was, to the last digit that the file holds."""
    frequency = np.sort(frequencies)
    part = st.floats(-3, 3, allow_subnormal=False)
    values = [complex(data.draw(part), data.draw(part)) for _ in frequency]
    folder = tmp_path_factory.mktemp("written")
    (folder / "a.s1p").write_text(touchstone_text(frequency, np.array(values), z_ref, "a"))
    back = read_sweep(folder, "a.s1p", label="a")
    assert back.z_ref == z_ref
    assert back.frequency == pytest.approx(frequency, rel=1e-14)
    assert back.reflection == pytest.approx(np.array(values), rel=1e-14, abs=1e-300)


def test_answer_is_the_nearest_point(filed):
    bend(filed, 'name = "device"', 'name = "device"\nanswer_mhz = 57.4')
    assert compute.compute(filed).device("device").answer == 7


def test_beside_an_open_the_intervals_are_called_too_narrow(filed):
    frequency = np.linspace(50e6, 60e6, 11)
    (filed / "raw/device.s1p").write_text(touchstone(frequency, BOX.apply(np.array([0.995]))))
    assert "lopsided" in codes(compute.compute(filed))
    (filed / "raw/device.s1p").write_text(touchstone(frequency, BOX.apply(np.array([0.9]))))
    assert "lopsided" not in codes(compute.compute(filed))


def test_a_wide_answer_in_the_middle_of_the_chart_is_not_near_an_open(filed):
    """24 - j43 ohm behind a doubtful line: lopsided, and the budget says by what."""
    through = np.exp(-2j * np.pi * np.linspace(50e6, 60e6, 11) * 2 * 2 / (0.66 * 299792458))
    raw = BOX.apply(through * from_impedance(24 - 43j))
    (filed / "raw/device.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 11), raw))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[[measurement.between]]\nline = "mine"\nlength_m = 2\nvelocity_factor = 0.66\n'
            "z0_ohm = 50\nloss_db_per_100m = [[50, 1e-6]]\nvelocity_factor_uncertainty = 0.018\n"
        )
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "comes from 'device: line 1: velocity factor' (" in found["lopsided"]


def exchanged(filed, one, other):
    first, second = filed / f"raw/{one}.s1p", filed / f"raw/{other}.s1p"
    texts = first.read_text(), second.read_text()
    first.write_text(texts[1])
    second.write_text(texts[0])


def with_check(filed, ohm):
    frequency = np.linspace(50e6, 60e6, 11)
    raw = BOX.apply(np.full(11, from_impedance(ohm)))
    (filed / "raw/check.s1p").write_text(touchstone(frequency, raw))
    with (filed / "record.toml").open("a") as file:
        file.write(
            f'[[check]]\nname = "check"\nreading = "raw/check.s1p"\nresistance_ohm = {ohm}\n'
            "uncertainty = 0.003\n"
        )


def test_a_check_blind_to_exchanged_standards_is_told_so(filed):
    """With ideal standards 25 ohm stays where it is when short and load are exchanged (z to 1 - z).

    And 100 ohm when open and load are (z to z / (z - 1)); computed, no source.
    """
    with_check(filed, 25.0)
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert "'short' and 'load'" in found["check-blind"]
    assert found["check-blind"].startswith("Check with 33 ohm too: ")
    exchanged(filed, "short", "load")
    codes_then = codes(compute.compute(filed))
    assert "check-disagrees" not in codes_then
    assert "error-terms" in codes_then
    assert "error-terms" in [f.code for f in compute.inspect(filed).findings]


@pytest.mark.parametrize("pair", [("short", "load"), ("open", "load"), ("short", "open")])
def test_a_check_of_33_ohm_sees_every_exchange_and_names_it(filed, pair):
    with_check(filed, 33.0)
    assert "check-blind" not in codes(compute.compute(filed))
    exchanged(filed, *pair)
    found = {f.code: f.message for f in compute.compute(filed).findings}
    assert f"'{pair[0]}' and '{pair[1]}' were exchanged" in found["check-disagrees"]
    assert "check-disagrees" in [f.code for f in compute.inspect(filed).findings]


def test_check_loads_what_it_needs_and_no_more(filed):
    """A fit of a line or a verdict by a distribution loads scipy; three sound standards do not."""
    with_check(filed, 33.0)
    code = (
        "import sys; from rfcal.cli import main; main(sys.argv[1:]); "
        "print(*sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "check", str(filed)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "and device (raw/device.s1p)" in done.stdout
    loaded = set(done.stderr.split())
    assert not {"scipy.optimize", "scipy.special", "scipy.stats", "matplotlib", "jinja2"} & loaded


def test_check_says_what_it_found_good(filed, capsys):
    with_check(filed, 33.0)
    assert main(["check", str(filed)]) == 0
    said = capsys.readouterr().out
    # an error of the load goes as 1 - x^2 where short and open are -1 and 1: 2 at j and -j
    assert "an error in one of them is at most 2 times as large elsewhere" in said
    assert "good: the error terms are those of a sound analyzer: directivity up to 0.045" in said
    assert "good: check 'check' agrees" in said
    assert said.startswith("no warnings: go on to the report")
    assert said.count("11 points from 50 to 60 MHz: short (raw/short.s1p), open (raw") == 1
    exchanged(filed, "short", "load")
    assert main(["check", str(filed)]) == 0
    said = capsys.readouterr().out
    assert "check 'check' agrees" not in said
    assert "those of a sound analyzer" not in said
    assert said.startswith("warnings: ")
    assert said.splitlines()[1].startswith("warning: ")
