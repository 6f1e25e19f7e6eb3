"""``[line_check]`` in a record: events with distances, and what changed since a baseline."""

import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import RfcalError
from rfcal.feedline.faults.end import RINGING
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.record.job import compute
from rfcal.report.page import page
from rfcal.report.summary import summary_lines
from rfcal.report.text.line import line_lines
from tests.record.conftest import BOX, bend, touchstone
from tests.unit.test_line_state import clauses

FREQUENCY = np.linspace(1e6, 160e6, 401)
LINE = Line(40.0, 0.85, 50.0, 0.8)


def seen(shunt_ohm=None, at=23.4):
    """Reflection of a line ended by 60 ohm, with or without a shunt on its way."""
    end = np.full(401, from_impedance(60.0))
    if shunt_ohm is None:
        return LINE.two_port(FREQUENCY).bilinear().apply(end)
    z = to_impedance(LINE.two_port(FREQUENCY, 40.0 - at).bilinear().apply(end))
    z = 1 / (1 / z + 1 / shunt_ohm)
    return LINE.two_port(FREQUENCY, at).bilinear().apply(from_impedance(z))


@pytest.fixture
def tower(filed):
    """The record of files on a wide grid, with a line check and a baseline."""
    for name, value in (("short", -1), ("open", 1), ("load", 0), ("device", 0.3)):
        text = touchstone(FREQUENCY, BOX.apply(np.array([complex(value)])))
        (filed / f"raw/{name}.s1p").write_text(text)
    for name, reflection in (("now", seen(120.0)), ("then", seen())):
        (filed / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, BOX.apply(reflection)))
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[line_check]\nreading = "raw/now.s1p"\nbaseline = "raw/then.s1p"\n'
            "velocity_factor = 0.85\n"
        )
    return filed


def test_fault_and_end_are_found_and_the_change_is_the_fault(tower):
    results = compute.compute(tower)
    line = results.line
    assert min(abs(line.now.distance_m - 23.4)) < 0.1
    assert min(abs(line.now.distance_m - 40.0)) < 0.1
    first = line.comparison.changes[0]
    assert first.distance_m == pytest.approx(23.4, abs=0.1)
    assert (first.what, first.kind) == ("new", "shunt resistance")
    (note,) = (f.message for f in results.findings if f.code == "defaults")
    assert "line check: velocity_factor_uncertainty 0.01" in note


@pytest.mark.parametrize("ends", [(1.0, -1.0), (1.0,), (-1.0,)])
@pytest.mark.parametrize("known", ["velocity_factor = 0.85", "length_m = 40.0"])
def test_the_line_by_its_own_sweeps(tower, ends, known):
    lines = []
    for end in ends:
        name = "open" if end > 0 else "short"
        through = LINE.two_port(FREQUENCY).bilinear()
        text = touchstone(FREQUENCY, BOX.apply(through.apply(np.full(401, complex(end)))))
        (tower / f"raw/far-{name}.s1p").write_text(text)
        lines.append(f'far_end_{name} = "raw/far-{name}.s1p"\n')
    text = (tower / "record.toml").read_text().replace("velocity_factor = 0.85", known)
    (tower / "record.toml").write_text(text + "".join(lines))
    line = compute.compute(tower).line
    assert line.length_m == pytest.approx(40.0, abs=0.02)
    assert line.now.velocity_factor == pytest.approx(0.85, rel=1e-3)
    assert line.properties.line.z0 == pytest.approx(50.0, abs=0.3)
    loss, doubt = line.properties.loss_db(np.array([100e6]))
    true = LINE.loss_db_per_100m(100e6) * 0.4
    assert abs(loss[0] - true) < 3 * doubt[0] + 0.01
    assert line.comparison.changes[0].distance_m == pytest.approx(23.4, abs=0.1)
    assert line.now.kind[-1] != "unknown"


def test_what_the_calibration_leaves_is_no_event(tower):
    """A thousandth of directivity, as the load's uncertainty makes it, on a matched line."""
    for name in ("now", "then"):
        text = touchstone(FREQUENCY, BOX.apply(np.full(401, 0.001 + 0j)))
        (tower / f"raw/{name}.s1p").write_text(text)
    line = compute.compute(tower).line
    assert line.now.kind == line.before.kind == ()
    assert line.comparison.changes == ()


def test_a_length_that_leaves_the_end_out_is_doubted_and_hides_nothing(tower):
    with (tower / "record.toml").open("a") as file:
        file.write("length_m = 35.0\n")
    results = compute.compute(tower)
    assert RINGING not in results.line.now.kind
    assert max(results.line.now.distance_m) > 39
    (warning,) = (f for f in results.findings if f.code == "line-length")
    assert "35 m long" in warning.message
    assert "40.0 m" in warning.message


def test_line_check_in_page_and_json(tower, tmp_path, capsys):
    assert main(["report", str(tower), "--output", str(tmp_path / "o")]) == 0
    assert "changed since the baseline" in capsys.readouterr().out
    assert "The line" in (tmp_path / "o/report.html").read_text()
    found = json.loads((tmp_path / "o/results.json").read_text())["line_check"]
    assert found["resolution_m"] == pytest.approx(0.85 * 299792458 / 2 / 159e6)
    keys = {"distance_m", "distance_uncertainty_m", "reflection", "kind", "fits"}
    assert keys == set(found["events"][0])
    assert found["changes"][0]["what"] == "new"
    assert main(["unpack", str(tmp_path / "o/report.html"), str(tmp_path / "back")]) == 0
    assert (tmp_path / "back/raw/then.s1p").is_file()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("velocity_factor = 0.85", "", "velocity_factor"),
        ("velocity_factor = 0.85", "velocity_factor = 1.5", "faster than light"),
        ("velocity_factor = 0.85", 'line = "RG-999"', "none of RG-58A"),
        ("velocity_factor = 0.85", "velocity = 0.85", "'velocity_factor'"),
        ("raw/then.s1p", "raw/none.s1p", "no file"),
        ("velocity_factor = 0.85", "velocity_factor = 0.8\nloss_db_per_100m = [[1, 0]]", "no row"),
        (
            "velocity_factor = 0.85",
            'velocity_factor = 0.8\nlength_m = 40\nfar_end_open = "raw/now.s1p"',
            "no meaning",
        ),
    ],
)
def test_bad_line_checks(tower, old, new, words):
    text = (tower / "record.toml").read_text()
    (tower / "record.toml").write_text(text.replace(old, new))
    with pytest.raises(RfcalError, match=words):
        compute.compute(tower)


def test_sweeps_that_do_not_compare(tower):
    (tower / "raw/then.s1p").write_text(touchstone(FREQUENCY[:200], np.array([0.1])))
    with pytest.raises(RfcalError, match="same frequencies"):
        compute.inspect(tower)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "velocity_factor = 0.85",
            "length_m = 40.0\nvelocity_factor_uncertainty = 0.1",
            "no meaning",
        ),
        ("velocity_factor = 0.85", "velocity_factor = 0.85\nz0_ohm = 75.0", "no meaning"),
        (
            "velocity_factor = 0.85",
            "velocity_factor = 0.85\nloss_db_per_100m = [[10.0, 1.0]]",
            "no meaning",
        ),
        (
            "velocity_factor = 0.85",
            "velocity_factor = 0.85\nlength_uncertainty_m = 0.1",
            "nothing without length_m",
        ),
    ],
)
def test_keys_without_effect_are_refused(tower, old, new, words):
    with_far_open(tower)
    text = (tower / "record.toml").read_text()
    (tower / "record.toml").write_text(text.replace(old, new))
    with pytest.raises(RfcalError, match=words):
        compute.compute(tower)


def with_far_open(tower, reflection=1.0):
    """The record with one more sweep, of the line's far end."""
    seen = LINE.two_port(FREQUENCY).bilinear().apply(np.full(401, complex(reflection)))
    (tower / "raw/far.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen)))
    with (tower / "record.toml").open("a") as file:
        file.write('far_end_open = "raw/far.s1p"\n')


@pytest.mark.parametrize("length", ["", "\nlength_m = 40.0"])
def test_a_lines_type_stands_beside_what_its_far_end_tells(tower, length):
    """To compare with, whether length or velocity factor is what is measured."""
    with_far_open(tower)
    bend(tower, "velocity_factor = 0.85", f'line = "RG-58A"{length}')
    line = compute.compute(tower).line
    (said,) = (text for text in line_lines(line) if "matched loss" in text)
    usual = CABLES["RG-58A"].line(line.length_m).loss_db_per_100m(np.array([80.5e6]))[0]
    assert said.endswith(f"at 80.5 MHz, where its type has {usual * line.length_m / 100:.1f} dB")


def test_a_far_end_of_a_line_with_a_fault_is_refused_with_what_to_give(tower):
    with_far_open(tower)
    behind = to_impedance(LINE.two_port(FREQUENCY, 16.6).bilinear().apply(np.ones(401)))
    fault = from_impedance(1 / (1 / behind + 1 / 120))
    far = LINE.two_port(FREQUENCY, 23.4).bilinear().apply(fault)
    (tower / "raw/far.s1p").write_text(touchstone(FREQUENCY, BOX.apply(far)))
    with pytest.raises(RfcalError, match=r"or the line has a fault: then give both, one with its"):
        compute.compute(tower)


def test_far_ends_that_are_something_else(tower):
    """An antenna left on in place of the open end, and a real short: no uniform line gives both."""
    with_far_open(tower, from_impedance(60.0))
    seen = LINE.two_port(FREQUENCY).bilinear().apply(np.full(401, -1.0 + 0j))
    (tower / "raw/far-short.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen)))
    with (tower / "record.toml").open("a") as file:
        file.write('far_end_short = "raw/far-short.s1p"\n')
    (warning,) = (f for f in compute.compute(tower).findings if f.code == "line-misfit")
    assert "really open or short" in warning.message


def test_a_stated_length_is_as_long_as_its_uncertainty_lets_it_be(tower):
    with (tower / "record.toml").open("a") as file:
        file.write("length_m = 35.0\nlength_uncertainty_m = 3.0\n")
    # the end stays an end, and what bounces between it and the fault is no event; of what kind the
    # end is needs the loss
    assert compute.compute(tower).line.now.kind == ("shunt resistance", "unknown")


def test_a_line_of_no_stated_speed_may_be_told_by_its_type(tower):
    bend(tower, "velocity_factor = 0.85", "length_m = 40.0")
    with pytest.raises(RfcalError, match=r"velocity_factor: .* or the cable's type as line, is"):
        compute.compute(tower)


def test_refusals_name_the_table(tower):
    for name in ("now", "then"):
        (tower / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY[::40], np.full(11, 0.1)))
    with pytest.raises(RfcalError, match=r"record.toml, \[line_check\]: .* 16 points or more"):
        compute.compute(tower)


def test_a_line_longer_than_the_steps_show(tower):
    """Its end is placed by its length; what else is found may be farther, and is said to be."""
    bend(tower, "velocity_factor = 0.85", "velocity_factor = 0.85\nlength_m = 359.7")
    results = compute.compute(tower)
    (warning,) = (f.message for f in results.findings if f.code == "line-steps")
    assert re.search(
        r"below 0.33\d MHz \(\d+ points\): .* show 321 m of this line's 359.7 m", warning
    )
    line = results.line
    assert line.now.distance_m[line.end] == pytest.approx(360.5, abs=1)
    places = [text for text in line_lines(line) if text.startswith("  23.4")]
    assert "or 321 m farther" in places[0]


def test_a_line_of_unknown_length_may_be_longer_than_the_steps_show(tower):
    for name in ("short", "open", "load", "device"):
        value = {"short": -1, "open": 1, "load": 0, "device": 0.3}[name]
        text = touchstone(FREQUENCY[::8], BOX.apply(np.array([complex(value)])))
        (tower / f"raw/{name}.s1p").write_text(text)
    for name, reflection in (("now", seen(120.0)), ("then", seen())):
        text = touchstone(FREQUENCY[::8], BOX.apply(reflection[::8]))
        (tower / f"raw/{name}.s1p").write_text(text)
    results = compute.compute(tower)
    (warning,) = (f for f in results.findings if f.code == "line-folded")
    assert "beyond 40 m appears nearer" in warning.message
    assert "connected (or 40 m farther), 0." in line_lines(results.line)[0]
    bend(tower, "velocity_factor = 0.85", "velocity_factor = 0.85\nlength_m = 30")
    assert "line-folded" not in [f.code for f in compute.compute(tower).findings]


def test_far_ends_in_steps_that_cannot_be_followed(tower):
    """Nothing is refused: the fault is told, and that its distance may be folded."""
    with_far_open(tower)
    for path in (tower / "raw").iterdir():
        rows = path.read_text().splitlines()
        data = [row for row in rows if row[:1].isdigit()]
        head = [row for row in rows if not row[:1].isdigit()]
        path.write_text("\n".join([*head, *data[::6]]) + "\n")
    results = compute.compute(tower)
    (warning,) = (f for f in results.findings if f.code == "line-unfollowed")
    assert "may be folded" in warning.message
    assert results.line.length_m == pytest.approx(40, abs=0.1)
    assert re.search(
        r"New reflection at 23\.\d+ ± .* m from where [a-z ]+, 0\.1", line_lines(results.line)[0]
    )


def without_device(folder):
    path = folder / "record.toml"
    text = path.read_text()
    device = '[[measurement]]\nname = "device"\nreading = "raw/device.s1p"\n'
    assert device in text
    path.write_text(text.replace(device, ""))


def test_a_line_check_by_itself_is_a_whole_record(tower, tmp_path, capsys):
    """Page and terminal open with the line's state, in one sentence that can be acted on."""
    without_device(tower)
    assert main(["check", str(tower)]) == 0
    capsys.readouterr()
    assert main(["report", str(tower), "--output", str(tmp_path / "o")]) == 0
    second = capsys.readouterr().out.splitlines()[1]
    assert re.match(
        r"the line's state: New reflection at 23\.\d+ ± 0\.\d+ m from where [a-z ]+, 0\.1\d? \("
        r"\d\d dB return loss\), a leak across the line.*otherwise as it was\.$",
        second,
    )
    page = (tmp_path / "o/report.html").read_text()
    assert page.index('class="state"') < page.index("Can this be trusted?")
    (fault,) = (f for f in compute.compute(tower).findings if f.code == "line-fault")
    assert fault.severity == "warning"
    assert fault.message == second.removeprefix("the line's state: ")


def test_purpose_says_what_comes_first(tower):
    assert summary_lines(compute.compute(tower))[1].startswith("device at ")
    bend(tower, "date = 2026-05-16", 'date = 2026-05-16\npurpose = "line"')
    results = compute.compute(tower)
    assert summary_lines(results)[1].startswith("the line's state: New reflection")
    said = page(results)
    assert said.index('class="state"') < said.index('class="big"')


def test_an_instrument_that_corrects_itself_reads_a_line_alone(tower):
    without_device(tower)
    text = (tower / "record.toml").read_text()
    standards = text[text.index("[[standard]]") : text.index("[line_check]")]
    bend(tower, standards, "")
    bend(tower, "drift = 0.0", "drift = 0.0\nresidual_directivity = 0.01")
    for name, reflection in (("now", seen(120.0)), ("then", seen())):
        (tower / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, reflection))
    results = compute.compute(tower)
    assert results.line.comparison.changes[0].distance_m == pytest.approx(23.4, abs=0.1)
    assert not results.devices


def test_a_line_as_it_was_is_no_warning(tower):
    (tower / "raw/now.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen())))
    results = compute.compute(tower)
    assert "line-fault" not in [f.code for f in results.findings]
    assert (
        "The line is as it was: nothing reflects otherwise by 0.02 or more"
        in line_lines(results.line)[0]
    )


def test_a_repaired_line_is_no_warning(tower):
    """What was wrong in the baseline and is gone calls for nobody."""
    now, then = (tower / f"raw/{name}.s1p" for name in ("now", "then"))
    texts = now.read_text(), then.read_text()
    now.write_text(texts[1])
    then.write_text(texts[0])
    state = line_lines(compute.compute(tower).line)[0]
    assert re.search(
        r"The reflection at 23\.\d+ m from where [a-z ]+, 0\.1\d? \(\d\d dB return loss\), is gone",
        state,
    )


def test_a_sweep_is_no_baseline_of_itself(tower):
    bend(tower, "raw/then.s1p", "./raw/now.s1p")
    with pytest.raises(RfcalError, match=r"baseline: './raw/now\.s1p' is the reading itself"):
        compute.compute(tower)


def test_a_fault_without_a_baseline(tower):
    """Where the length is stated, what reflects before it; else which is the end is left open."""
    bend(tower, 'baseline = "raw/then.s1p"\n', "")
    (fault,) = (f for f in compute.compute(tower).findings if f.code == "line-fault")
    assert re.search(
        r"Reflection at 23\.\d+ ± 0\.\d+ m from .*[.;] [Rr]eflection at 40\.\d", fault.message
    )
    assert "hich of these is the line's end is not known: state length_m" in fault.message
    bend(tower, "velocity_factor = 0.85", "velocity_factor = 0.85\nlength_m = 40")
    (fault,) = (f for f in compute.compute(tower).findings if f.code == "line-fault")
    assert "that is before the line's end at 40." in clauses(fault.message)
    (tower / "raw/now.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen())))
    results = compute.compute(tower)
    assert "line-fault" not in [f.code for f in results.findings]
    state = line_lines(results.line)[0]
    assert "No place reflects 0.05 (26 dB return loss) or more before the line's end" in state
    bend(tower, "\nlength_m = 40", "")
    results = compute.compute(tower)
    assert "line-fault" not in [f.code for f in results.findings]
    assert "that may be the line's end" in clauses(line_lines(results.line)[0])


def test_what_a_record_for_a_line_needs(filed):
    bend(filed, "date = 2026-05-16", 'date = 2026-05-16\npurpose = "line"')
    with pytest.raises(RfcalError, match=r"no \[line_check\]"):
        compute.compute(filed)
    bend(filed, 'purpose = "line"', "")
    without_device(filed)
    with pytest.raises(RfcalError, match=r"no \[\[measurement\]\] and no \[line_check\]"):
        compute.compute(filed)


def test_a_match_needs_a_device(tower):
    without_device(tower)
    bend(tower, "[line_check]", "[match]\n[line_check]")
    with pytest.raises(RfcalError, match=r"there is no \[\[measurement\]\] to match"):
        compute.compute(tower)


def test_the_state_of_a_line_is_said_once(tower, tmp_path, capsys):
    """As the headline; ``results.json`` keeps it as a finding."""
    without_device(tower)
    assert main(["report", str(tower), "--output", str(tmp_path / "o")]) == 0
    said, page = capsys.readouterr().out, (tmp_path / "o/report.html").read_text()
    shown = page[: page.index("data-record")] if "data-record" in page else page
    for text in (said, shown):
        assert text.count("New reflection at 23.4") == 1
    codes = [f["code"] for f in json.loads((tmp_path / "o/results.json").read_text())["findings"]]
    assert "line-fault" in codes
    assert not re.search(r"by (0\.\d+): now \1", said)


def test_what_the_two_ends_of_a_wet_length_may_be_is_said(tower):
    """A wet length has two ends of one kind, and what it delays comes first."""
    wet = Line(2.0, 0.7, 41.0, 0.8).two_port(FREQUENCY)
    whole = LINE.two_port(FREQUENCY, 20.0) @ wet @ LINE.two_port(FREQUENCY, 18.0)
    now = whole.bilinear().apply(np.full(401, from_impedance(60.0)))
    (tower / "raw/now.s1p").write_text(touchstone(FREQUENCY, BOX.apply(now)))
    state = line_lines(compute.compute(tower).line)[0]
    assert re.search(
        r"state: From 20\.0 m on, counted from [a-z ]+, the line is 0\.4\d\d? ± 0\.0\d+ m longer",
        state,
    )
    for place in (20, 22):
        told = rf"; new reflection at {place}\.\d+ ± [^;]*, a stretch of lower impedance[, ]"
        assert re.search(told, clauses(state)), state


def test_a_shorted_end_is_told_beside_a_sound_line(tower):
    """Nothing before the end reflects, and yet no antenna would answer so."""
    seen_short = LINE.two_port(FREQUENCY).bilinear().apply(np.full(401, -1.0 + 0j))
    (tower / "raw/now.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen_short)))
    bend(tower, 'baseline = "raw/then.s1p"\n', "")
    stated = "length_m = 40\nloss_db_per_100m = [[1.0, 0.8], [100.0, 8.0]]"
    bend(tower, "velocity_factor = 0.85", f"velocity_factor = 0.85\n{stated}")
    state = line_lines(compute.compute(tower).line)[0]
    said = r"state: The line's end at 40\.\d.* reflects (1|0\.9\d?) .*, as a shorted line does"
    assert re.search(said, state)


def test_a_line_that_has_grown_lossier_is_reported_whole(tower, tmp_path):
    end = np.full(401, from_impedance(60.0))
    old = replace(LINE, conductor_db=2.0)
    for name, line in (("now", old), ("then", LINE)):
        reflection = line.two_port(FREQUENCY).bilinear().apply(end)
        (tower / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, BOX.apply(reflection)))
    assert main(["report", str(tower), "--output", str(tmp_path / "o")]) == 0
    found = json.loads((tmp_path / "o/results.json").read_text())["line_check"]
    more = 1.2 * np.sqrt(found["lost"]["at_hz"] / 1e6) * 0.4
    assert found["lost"]["more_db"] == pytest.approx(more, rel=0.06)
    assert found["state"].startswith("The line loses ")
    assert found["state"].endswith(". Nothing else has changed.")


def test_checking_a_line_with_its_far_ends_loads_nothing_heavy():
    code = "import sys; from rfcal.cli import main; main(sys.argv[1:]); print(*sys.modules)"
    asked = [sys.executable, "-c", code, "check", "data/demo/tower-line"]
    done = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert "New reflection at 23.4" in done.stdout
    assert not {"scipy", "matplotlib"} & set(done.stdout.split())


@pytest.mark.parametrize("read", ["line-spring", "again", "antenna"])
def test_a_device_seen_through_a_fault_that_its_far_ends_do_not_have(tmp_path, read):
    """The sweep with the damaged joint is not the antenna, nor another one through it."""
    folder = tmp_path / "tower"
    shutil.copytree("data/demo/tower-line", folder)
    shutil.copy(folder / "raw/line-spring.s1p", folder / "raw/again.s1p")
    text = (folder / "record.toml").read_text()
    (folder / "record.toml").write_text(text.replace("raw/antenna.s1p", f"raw/{read}.s1p"))
    said = [f.message for f in compute.inspect(folder).findings if f.code == "line-since"]
    assert len(said) == (read != "antenna")
    start = "The line has changed since its far end was swept. Mend it, or sweep its far end as it "
    assert all(one.startswith(f"{start}is now, before you trust R and X of 'a") for one in said)
    assert all("at 23.4 m too" in one for one in said)


def test_that_the_line_changed_stands_before_what_only_follows_from_that(tower):
    """Near a short on its way a line loses less than is removed, and the device seems active."""
    ends = ""
    for name, end in (("open", 1.0), ("short", -1.0)):
        through = LINE.two_port(FREQUENCY).bilinear().apply(np.full(401, complex(end)))
        (tower / f"raw/far-{name}.s1p").write_text(touchstone(FREQUENCY, BOX.apply(through)))
        ends += f'far_end_{name} = "raw/far-{name}.s1p"\n'
    (tower / "raw/now.s1p").write_text(touchstone(FREQUENCY, BOX.apply(seen(2.0, 5.0))))
    bend(tower, 'baseline = "raw/then.s1p"\nvelocity_factor = 0.85\n', "velocity_factor = 0.85\n")
    bend(tower, "raw/device.s1p", "raw/now.s1p")
    bend(tower, "[line_check]", f'[[measurement.between]]\nline = "measured"\n{ends}[line_check]')
    with (tower / "record.toml").open("a") as file:
        file.write(ends)
    codes = [finding.code for finding in compute.compute(tower).findings]
    assert codes.index("line-since") < codes.index("active")
