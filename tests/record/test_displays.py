"""Displays that show less than R and X, from record to page, terminal and results."""

import json
import re
from functools import partial

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import RfcalError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.measurement.deembedding import LineByFigures
from rfcal.models.cables import CABLES
from rfcal.models.line import Line
from rfcal.models.standards import Standard
from rfcal.record.format.start import starting_record
from rfcal.record.job.compute import compute
from rfcal.report.page import page
from rfcal.report.summary import summary_lines

UNSIGNED = 'x_sign = "unknown"'
MODELS = {
    "short": Standard("short", inductance=(0.3e-9,)),
    "open": Standard("open", capacitance=(50e-15,)),
    "load": Standard("load"),
}
SAID = {
    "short": 'kind = "short"\ninductance = [0.3e-9]',
    "open": 'kind = "open"\ncapacitance = [50e-15]',
    "load": 'kind = "load"\nresistance_ohm = 50.0\nresistance_uncertainty_ohm = 0.1',
}


def analyzer(frequency):
    """A modest one, whose plane lies behind 15 cm of lead."""
    turn = np.exp(-4j * np.pi * frequency * 0.15 / 2e8)
    return Bilinear.from_error_terms(0.03 + 0.02j + 0 * turn, 0.04 - 0.03j + 0 * turn, 0.95 * turn)


def readings(devices, mhz, open_ohm=None):
    """What is seen of standards and devices [ohm], by name; a device is its impedance.

    The analyzer may be one that reads the open as stated.
    """
    f = np.array(mhz) * 1e6
    true = {name: model.reflection(f, z_ref=50.0) for name, model in MODELS.items()}
    box = analyzer(f)
    if open_ohm is not None:
        seen = [box.apply(true["short"]), from_impedance(open_ohm, 50.0) + 0j * f]
        box = Bilinear.fit(list(true.values()), [*seen, box.apply(true["load"])])
    true |= {name: from_impedance(np.array(z) + 0 * f, 50.0) for name, z in devices.items()}
    return {name: to_impedance(box.apply(x), 50.0) for name, x in true.items()}


def typed(z, mhz):
    """Rows off a display that steps by 0.1 ohm."""
    rows = (f"[{m}, {v.real:.1f}, {v.imag:.1f}]" for m, v in zip(mhz, z, strict=True))
    return f"typed = [{', '.join(rows)}]\n"


def unsigned(z, mhz):
    """The same without the sign of X."""
    return typed(z.real + 1j * np.abs(z.imag), mhz) + UNSIGNED + "\n"


def sizes(z, mhz, most_swr=np.inf, places=1):
    """|Z| and SWR off a display, which may show no larger SWR than this."""
    ratio = np.abs(from_impedance(z, 50.0))
    ratio = (1 + ratio) / (1 - ratio)
    swr = (f"{s:.{places}f}" if 0 < s < most_swr else f"'>{most_swr}'" for s in ratio)
    z_rows, swr_rows = (
        ", ".join(f"[{m}, {v}]" for m, v in zip(mhz, a, strict=True))
        for a in ((f"{v:.1f}" for v in abs(z)), swr)
    )
    return f"typed_z_ohm = [{z_rows}]\ntyped_swr = [{swr_rows}]\n"


def whole(z, mhz):
    """The same off one of whole ohms."""
    size, ratio = sizes(z, mhz, 25).splitlines()
    return re.sub(r"\.\d\]", "]", size) + f"\n{ratio}\n"


def angles(z, mhz, shown=np.real):
    """Magnitude and angle off a display, which may show no sign."""
    x = from_impedance(z, 50.0)
    rows = zip(mhz, np.abs(x), shown(np.degrees(np.angle(x))), strict=True)
    return f"typed_reflection = [{', '.join(f'[{m}, {s:.3f}, {a:.1f}]' for m, s, a in rows)}]\n"


@pytest.fixture
def record(tmp_path):
    """Writes a record of three standards and devices, each off the display that is given."""

    def write(devices, mhz, displays=None, usual=typed, more="", open_ohm=None):
        seen, displays = readings(devices, mhz, open_ohm), displays or {}
        text = 'format = 1\n[record]\ntitle = "display"\ndate = 2026-05-16\n[analyzer]\n'
        text += "noise = 0.0005\nconnection = 0.001\nresolution_ohm = 0.1\ndrift = 0.0\n"
        for name, z in seen.items():
            said = f'[[standard]]\nname = "{name}"\n{SAID[name]}\n' if name in SAID else ""
            said = said or f'[[measurement]]\nname = "{name}"\n'
            text += said + displays.get(name, usual)(z, mhz)
        (tmp_path / "record.toml").write_text(text + more)
        return tmp_path

    return write


def holds(device, truth):
    """Whether the intervals of R and X hold what the device is."""
    (r0, r1), (x0, x1) = device.interval[device.answer]
    return bool(r0 <= truth.real <= r1 and x0 <= truth.imag <= x1)


def codes(results):
    return {f.code for f in results.findings}


@pytest.mark.parametrize("truth", [12 + 40j, 12 - 40j, 150 - 90j])
def test_without_a_sign_both_answers_are_given_and_one_is_true(record, truth):
    results = compute(record({"coil": truth}, [14.1], {"coil": unsigned}))
    device = results.device("coil")
    assert "sign-unknown" in codes(results)
    assert device.two_answers.all()
    assert holds(device, truth) != holds(device.other, truth)
    assert max(np.ptp(device.interval[0], axis=-1)) < 0.1 * abs(truth)


def test_faces_show_two_answers_answer_first(record, tmp_path, capsys):
    folder = record({"coil": 12 + 40j}, [14.1], {"coil": unsigned})
    assert main(["report", str(folder), "--output", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    first = next(line for line in said.splitlines() if line.startswith("coil"))
    for part in (", X 40", ", or ", ", X -53"):
        assert part in first
    page = (tmp_path / "out" / "report.html").read_text()
    assert "Nothing that was read tells which" in page
    for element, side in (("L", "above"), ("C", "below")):
        assert re.search(f"as {element} in series with R</th>.*, if X is {side} zero</td>", page)
    assert all(part in page for part in first.split(": ")[1].split(", "))
    data = json.loads((tmp_path / "out" / "results.json").read_text())["measurements"][0]
    assert data["other_answer"]["at_hz"] == [14.1e6]
    assert data["impedance_ohm"][0][1] > 0 > data["other_answer"]["impedance_ohm"][0][1]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_second_frequency_tells_the_sign_where_loss_is_small(record, sign):
    mhz = [14.0, 14.6]
    truth = 10 + (1j * np.array([100.0, 104.3]) if sign > 0 else -1j * np.array([104.3, 100.0]))
    results = compute(record({"part": truth}, mhz, {"part": unsigned}))
    device = results.device("part")
    assert "sign-told" in codes(results)
    assert device.other is None
    assert holds(device, truth[1])
    assert np.all(np.sign(device.impedance.value.imag) == sign)


def test_a_sign_with_which_a_device_would_give_power_is_none(record):
    results = compute(record({"part": 1 + 100j}, [14.0], {"part": unsigned}))
    assert results.device("part").other is None
    assert "sign-told" in codes(results)
    assert holds(results.device("part"), 1 + 100j)


def test_a_sign_with_which_a_sweep_is_of_nothing_passive_is_none(record):
    """30 ohm and 10 pF, too lossy to tell by how X goes from one point to the next."""
    mhz = np.arange(120, 171, 5)
    truth = 30 + 1 / (2e6j * np.pi * mhz * 10e-12)
    results = compute(record({"device": truth}, mhz, {"device": unsigned}))
    device = results.device("device")
    assert device.other is None
    assert holds(device, truth[device.answer])
    assert not {"sign-unknown", "active"} & codes(results)
    (told,) = (f.message for f in results.findings if f.code == "sign-told")
    assert "from 120 to 170 MHz by how R and X change" in told


def test_a_lossy_device_keeps_both_answers_at_two_frequencies(record):
    results = compute(
        record({"part": 90 - 1j * np.array([60, 64])}, [14.0, 14.6], {"part": unsigned})
    )
    assert results.device("part").two_answers.all()


def test_signs_of_standards_follow_from_what_they_are(record):
    known = compute(record({"coil": 12 + 40j}, [50.0])).device("coil")
    displays = {"short": unsigned, "open": unsigned}
    results = compute(record({"coil": 12 + 40j}, [50.0], displays))
    assert "standard-signs" in codes(results)
    np.testing.assert_allclose(results.device("coil").interval, known.interval, atol=0.02)


@pytest.mark.parametrize("truth", [12 + 40j, 40 - 30j, 70 + 5j])
def test_a_display_without_any_sign_still_answers(record, truth):
    device = compute(record({"coil": truth}, [50.0], usual=unsigned)).device("coil")
    assert holds(device, truth) or (device.other is not None and holds(device.other, truth))


def test_one_ratio_of_two_answers_is_said_once(record):
    seen = {"short": 0.0, "open": 1e5, "load": 50.0, "coil": 36.6 + 21.1j}  # by an ideal analyzer
    shown = {k: lambda z, mhz, ohm=ohm: unsigned(ohm + 0j * z, mhz) for k, ohm in seen.items()}
    results = compute(record({"coil": 50.0}, [28.5], shown))
    assert results.device("coil").other is not None
    (line,) = (said for said in summary_lines(results) if said.startswith("  SWR"))
    assert ", or " not in line


def test_a_sign_that_the_record_says_is_unknown_is_not_called_lost(record):
    """Behind a lead neither short nor open would be near the axis."""
    results = compute(record({"part": 40 + 20j}, [145.0], usual=unsigned))
    assert not codes(results) & {"signs-lost", "sign-lost", "never-negative"}
    results = compute(
        record(
            {"part": 40 + 20j},
            [145.0],
            usual=lambda z, mhz: typed(z.real + 1j * np.abs(z.imag), mhz),
        )
    )
    assert "signs-lost" in codes(results)


@pytest.mark.parametrize(
    ("x", "all_lost", "asked"),
    [
        ([60, 50, 40], False, True),  # as of |X| below a resonance
        ([40, 50, 60], False, False),  # as of an honest coil, where the open shows a minus
        ([40, 50, 60], True, True),
        ([-60, -50, -40], False, False),
    ],
)
def test_a_typed_x_without_its_sign_is_asked_about_where_it_falls_or_none_is_shown(
    record, x, all_lost, asked
):
    def lost(z, mhz):
        return typed(z.real + 1j * np.abs(z.imag), mhz)

    displays = dict.fromkeys(SAID, lost) if all_lost else {}
    results = compute(record({"whip": 7 + 1j * np.array(x)}, [3.6, 3.65, 3.7], displays))
    said = [f.message for f in results.findings if f.code == "never-negative"]
    assert len(said) == asked
    assert all("say x_sign = 'unknown'" in message for message in said)


@pytest.mark.parametrize(
    ("degrees", "all_lost", "asked"),
    [
        ([50, 55, 60], False, True),  # anticlockwise, as of a capacitor's without their sign
        ([60, 55, 50], False, False),  # as of an honest coil
        ([60, 55, 50], True, True),
        ([60], True, True),
        ([-60, -55, -50], False, False),
    ],
)
def test_typed_angles_without_their_sign_are_asked_about(record, degrees, all_lost, asked):
    z = to_impedance(0.9 * np.exp(1j * np.radians(degrees)), 50.0)
    lost = partial(angles, shown=np.abs)
    displays = dict.fromkeys((*SAID, "whip"), lost) if all_lost else {"whip": angles}
    results = compute(record({"whip": z}, [3.6, 3.65, 3.7][: len(degrees)], displays))
    said = [f.message for f in results.findings if f.code == "never-negative"]
    assert len(said) == asked
    assert all("the sign of the angle" in message for message in said)


@pytest.mark.parametrize("rows", [2, 3])
@pytest.mark.parametrize("lost", [None, 0, 1])
@pytest.mark.parametrize("usual", [typed, angles])
def test_a_minus_left_out_in_one_of_a_few_rows_is_told(record, rows, lost, usual):
    z = np.array([20 - 163j, 20 - 150j, 20 - 136j][:rows])

    def shown(seen, mhz):
        seen = np.where(np.arange(rows) == lost, seen.real + 1j * np.abs(seen.imag), seen)
        return usual(seen, mhz)

    results = compute(record({"wire": z}, [7.0, 7.1, 7.2][:rows], {"wire": shown}))
    said = [f.message for f in results.findings if f.code == "mistyped"]
    assert len(said) == (lost is not None)
    if said:
        assert f"in the row of {7 + lost / 10:g} MHz of 'wire'" in said[0]
        assert ("the angle" in said[0]) == (usual is angles)


def test_nothing_is_asked_of_an_antenna_whose_x_falls_only_before_its_cable(record):
    mhz = [28.0, 28.4, 28.8, 29.2, 29.7]
    antenna = 68 + 600j * (np.array(mhz) / 28.7 - 28.7 / np.array(mhz))
    both = [through_cable(z, f, 6.0) for z, f in zip(antenna, mhz, strict=True)]
    seen = np.array([z for z, _ in both])
    results = compute(record({"antenna": seen}, mhz, more=both[0][1]))
    assert "never-negative" not in codes(results)


def first_lines(capsys, folder):
    """What check says of it before all that is good."""
    capsys.readouterr()
    assert main(["check", str(folder)]) == 0
    return capsys.readouterr().out.splitlines()[:2]


def test_a_question_stands_first(record, capsys):
    folder = record({"whip": [7 + 60j, 7 + 50j]}, [3.6, 3.7])
    first, second = first_lines(capsys, folder)
    assert first == "no warnings, but a question: answer it before you go on"
    assert second.startswith(
        "note: Does the display show the sign of X, and was no minus left out?"
    )


@pytest.mark.parametrize(("key", "asks"), [("typed_z_ohm", "SWR"), ("typed_swr", "|Z|")])
def test_the_other_size_is_asked_for_and_not_how_little_is_known(record, capsys, key, asks):
    def one(z, mhz):
        return next(line for line in sizes(z, mhz).splitlines() if line.startswith(key)) + "\n"

    folder = record({"coil": 20 + 35j}, [14.1], {"coil": one})
    first, second = first_lines(capsys, folder)
    assert first == "warnings: 1, look at it before you go on"
    assert second.startswith(f"warning: Type {asks} of 'coil' too")
    assert codes(compute(folder)) & {"one-size", "device-hidden", "lopsided"} == {"one-size"}


def test_a_device_beyond_the_display_is_to_be_read_through_a_cable(record, capsys):
    beyond = {"trap": lambda z, m: f'typed = [[{m[0]}, ">999", ">999"]]\n'}
    folder = record({"trap": 3000 - 100j}, [7.1], beyond)
    assert first_lines(capsys, folder)[1].startswith("warning: Read 'trap' through about 3.5 m of")
    assert "device-beyond" in codes(compute(folder))
    seen, table = through_cable(3000 - 100j, 7.1, 3.5)
    devices = {"trap": 3000 - 100j, "behind": seen}
    behind = compute(record(devices, [7.1], beyond, more=f'same_as = "trap"\n{table}'))
    assert holds(behind.device("behind"), 3000 - 100j)
    assert np.all(np.isfinite(behind.device("behind").interval[0, 1]))


@pytest.mark.parametrize(("cell", "asked"), [("999", True), ("-9999", True), ("998", False)])
def test_nothing_but_nines_is_asked_about(record, capsys, cell, asked):
    rows = f"typed = [[14.1, 12.0, {cell}]]\n"
    folder = record({"coil": 20 + 35j}, [14.1], {"open": lambda z, m: rows})
    assert ("display-limit" in codes(compute(folder))) == asked
    if asked:
        size = cell.strip("-")
        said = f'Look whether {size} is the most that the display shows; if so type ">{size}"'
        assert said in "".join(first_lines(capsys, folder))


def test_standards_of_an_swr_alone_are_refused_with_what_to_type(record):
    def ratio(z, mhz):
        return sizes(z, mhz, 99).splitlines()[1] + "\n"

    asked = r"one or two of them, or \|Z\| beside SWR, or fewer frequencies, or"
    with pytest.raises(RfcalError, match=asked):
        compute(record({"coil": 20 + 35j}, [14.1, 14.2, 14.3, 14.4], dict.fromkeys(SAID, ratio)))


def test_a_fourth_standard_of_whole_ohms_is_worked_out_at_several_frequencies(record):
    mhz, truth = [14.0, 14.1, 14.2, 14.3, 14.35], 40 + 35j
    more = '[[standard]]\nname = "220 ohm"\nkind = "load"\nresistance_ohm = 220.0\n'
    more += whole(readings({"220 ohm": 220.0}, mhz)["220 ohm"], mhz)
    device = compute(record({"coil": truth}, mhz, usual=whole, more=more)).device("coil")
    assert holds(device, truth) or holds(device.other, truth)


def test_magnitude_and_swr_together_are_as_good_as_a_display_without_sign(record):
    truth = 20 + 35j
    device = compute(record({"coil": truth}, [14.1], {"coil": sizes})).device("coil")
    assert device.two_answers.all()
    assert holds(device, truth)


@pytest.mark.parametrize("key", ["typed_z_ohm", "typed_swr"])
def test_one_size_alone_leaves_a_circle(record, key):
    truth = 20 + 35j

    def one(z, mhz):
        return next(line for line in sizes(z, mhz).splitlines() if line.startswith(key)) + "\n"

    device = compute(record({"coil": truth}, [14.1], {"coil": one})).device("coil")
    assert np.ptp(device.interval[0, 0]) > 40
    assert holds(device, truth)
    swr = device.figures["swr"]
    assert swr.high[0] - swr.low[0] > (4 if key == "typed_z_ohm" else 0.2)


@pytest.mark.parametrize("most", [200, 999, 1500, 9999])
def test_an_open_beyond_the_display_is_bounded(record, most):
    mhz, truth = [3.6], 20 + 35j

    raw = most * 2 * np.exp(-1j)
    full = compute(record({"coil": truth}, mhz, open_ohm=raw)).device("coil")
    rows = f'typed = [[{mhz[0]}, ">{most}", ">{most}"]]\n'
    results = compute(record({"coil": truth}, mhz, {"open": lambda z, m: rows}, open_ohm=raw))
    device = results.device("coil")
    assert holds(device, truth)
    assert "over-range" in codes(results)
    assert np.ptp(device.interval[0, 1]) > np.ptp(full.interval[0, 1])
    said = next(f.message for f in results.findings if f.code == "over-range")
    assert str(most) in said
    assert "150 to 300 ohm" in said


def test_only_the_size_that_is_beyond_the_display_is_called_so(record):
    found = compute(record({"coil": 20 + 35j}, [14.1], usual=partial(sizes, most_swr=10))).findings
    said = [f.message for f in found if f.code == "over-range"]
    assert any("tells of the SWR of 'short' only that it is beyond 10," in one for one in said)


def test_a_device_beyond_the_display_has_no_upper_bound(record):
    rows, truth = 'typed = [[3.6, ">999", ">999"]]\n', 4000 + 900j
    display = {"trap": lambda z, m: rows}
    device = compute(record({"trap": truth}, [3.6], display, open_ohm=1e5 - 1e4j)).device("trap")
    assert holds(device, truth)
    assert np.isinf(device.interval[0, 0, 1])


def test_whole_ohms_are_no_tenths(record):
    def whole(z, mhz):
        return f"typed = [[{mhz[0]}, {z[0].real:.0f}, {z[0].imag:.0f}]]\n"

    fine = compute(record({"coil": 20 + 35j}, [14.1]))
    coarse = compute(record({"coil": 20 + 35j}, [14.1], usual=whole))
    assert "display-step" in codes(coarse) - codes(fine)
    assert np.ptp(coarse.device("coil").interval[0, 1]) > 2 * np.ptp(
        fine.device("coil").interval[0, 1]
    )
    one = compute(record({"coil": 20 + 35j}, [14.1], {"coil": whole}))
    assert "display-step" not in codes(one), "other rows show tenths"


def test_standards_of_the_example_are_not_left_unnoticed(tmp_path):
    def left(old, new):
        (tmp_path / "record.toml").write_text(starting_record().replace(old, new))
        return [f.message for f in compute(tmp_path).findings if f.code == "example-left"]

    assert not left("", "")
    (said,) = left("typed = [[14.1, 12.2, -4.6]]", "typed = [[14.1, 13.2, -4.6]]")
    assert "'short', 'open', 'load'" in said


REFUSED = [
    ("typed = [[14.1, inf, inf]]", ['">999"', "largest number"]),
    ('typed = [[14.1, "inf", 3.0]]', ['">999"']),
    ('typed = [[14.1, "12.2", 3.0]]', ["without quotes"]),
    ('typed = [[14.1, ">-5", 3.0]]', ['">999"']),
    (f"typed = [[14.1, 12.2, -4.6]]\n{UNSIGNED}", ["sign is known"]),
    (f"typed_z_ohm = [[14.1, 12.2]]\n{UNSIGNED}", ["x_sign", "leave it out"]),
    (f"typed_reflection = [[14.1, 0.5, 12.2]]\n{UNSIGNED}", ["x_sign", "leave it out"]),
    ('typed = [[14.1, 12.2, 4.6]]\nx_sign = "+"', ["x_sign", "unknown"]),
    ("typed_z_ohm = [[14.1, 12.2]]\ntyped_swr = [[14.2, 5.0]]", ["same frequencies"]),
    ("typed_z_ohm = [[14.1, 10.0]]\ntyped_swr = [[14.1, 1.5]]", ["SWR of 5", "reference_ohm"]),
    ("typed_swr = [[14.1, 0.5]]", ["SWR", "1 or more"]),
    ("typed_z_ohm = [[14.1, -3.0]]", ["|Z|", "0 or more"]),
    ("typed_z_ohm = [[14.1, 10.0]]\ntyped = [[14.1, 12.2, 4.6]]", ["exactly one"]),
]


@pytest.mark.parametrize(("rows", "said"), REFUSED)
def test_a_key_used_wrongly_is_told_how(record, rows, said):
    folder = record({"coil": 12 + 4j}, [14.1], {"coil": lambda z, m: rows + "\n"})
    with pytest.raises(RfcalError) as refused:
        compute(folder)
    assert all(part in str(refused.value) for part in said), str(refused.value)


def test_standards_that_show_less_are_not_interpolated(record):
    folder = record({"coil": 12 + 4j}, [14.1, 15.1], usual=unsigned)
    text = (folder / "record.toml").read_text()
    head, tail = text.split('name = "coil"')
    (folder / "record.toml").write_text(f'{head}name = "coil"\ntyped = [[14.5, 12.0, 4.0]]\n')
    with pytest.raises(RfcalError, match="same frequencies"):
        compute(folder)
    assert tail


def test_a_match_for_a_device_of_two_answers_is_doubted(record):
    more = '[match]\nmeasurement = "coil"\n'
    results = compute(record({"coil": 12 + 40j}, [14.1], {"coil": unsigned}, more=more))
    assert "two answers" in results.matches[0].doubt
    assert any("two answers" in line.lower() for line in summary_lines(results))


LINE = Line(3.0, velocity_factor=0.8, z0=60.0, conductor_db=4.0)
BEHIND = """[[measurement.between]]
line = "measured"
far_end_open_typed = OPEN
far_end_short_typed = SHORT
"""


def behind(record, path, *, also=""):
    """A record whose device lies behind a line, its far ends read off the display."""
    mhz, truth = [14.0, 15.0], 30 - 20j
    f = np.array(mhz) * 1e6
    through = LineByFigures(f, LINE, 50.0)
    through = through.bilinear([LINE.length_m, LINE.velocity_factor, LINE.z0, 1.0, LINE.skin])
    seen = {n: to_impedance(through.apply(x + 0j * f), 50.0) for n, x in (("o", 1), ("s", -1))}
    seen["coil"] = to_impedance(through.apply(from_impedance(truth, 50.0) + 0j * f), 50.0)
    raw = {
        n: to_impedance(analyzer(f).apply(from_impedance(z, 50.0)), 50.0) for n, z in seen.items()
    }
    rows = {n: typed(z, mhz).removeprefix("typed = ").strip() for n, z in raw.items()}
    path = path.replace("OPEN", rows["o"]).replace("SHORT", rows["s"])
    return record({"coil": seen["coil"]}, mhz, more=path + also), truth


def test_the_far_ends_of_a_line_may_be_typed(record):
    folder, truth = behind(record, BEHIND)
    device = compute(folder).device("coil")
    assert "measured 1' was taken away" in device.plane
    assert holds(device, truth)
    assert np.ptp(device.interval[1], axis=-1).max() < 3


def test_a_fixture_may_be_typed(record):
    path = "[[measurement.between]]\nfixture_open_typed = OPEN\nfixture_short_typed = SHORT\n"
    device = compute(behind(record, path)[0]).device("coil")
    assert "fixture 1' was taken away" in device.plane


def test_the_far_ends_of_a_checked_line_may_be_typed(tmp_path, record):
    folder, _ = behind(record, "", also="[line_check]\nreading = 'line.csv'\nlength_m = 3.0\nBOTH")
    text = (folder / "record.toml").read_text()
    f = np.arange(14e6, 34e6, 0.5e6)
    through = LineByFigures(f, LINE, 50.0)
    through = through.bilinear([LINE.length_m, LINE.velocity_factor, LINE.z0, 1.0, LINE.skin])
    box = analyzer(f)

    def rows(x):
        return typed(to_impedance(box.apply(through.apply(x + 0j * f)), 50.0), list(f / 1e6))

    for name, model in MODELS.items():
        z = to_impedance(box.apply(model.reflection(f, z_ref=50.0)), 50.0)
        old = typed(readings({}, [14.0, 15.0])[name], [14.0, 15.0])
        text = text.replace(old, typed(z, list(f / 1e6)))
    both = f"far_end_open_{rows(1)}far_end_short_{rows(-1)}"
    (folder / "record.toml").write_text(text.replace("BOTH", both))
    x = box.apply(through.apply(0.2 + 0j * f))
    lines = (f"{a},{b.real},{b.imag}" for a, b in zip(f, x, strict=True))
    (folder / "line.csv").write_text("frequency_hz,re,im\n" + "\n".join(lines) + "\n")
    found = compute(folder).line.properties
    assert found.line.velocity_factor == pytest.approx(0.8, abs=0.02)
    assert found.line.z0 == pytest.approx(60.0, abs=1.5)


BAD_ENDS = [
    (BEHIND.replace("SHORT", '[[14.0, ">999", ">999"], [15.0, 3.0, 4.0]]'), ["far end beyond"]),
    (BEHIND.replace("far_end_short_typed = SHORT\n", ""), ["far_end_short", "far_end_short_typed"]),
    (BEHIND.replace('"measured"', '"my line"'), ["for a line by its type", 'line = "measured"']),
    (BEHIND.replace("SHORT", "[[14.0, inf, 3.0], [15.0, 3.0, 4.0]]"), ["not what a display"]),
]


@pytest.mark.parametrize(("path", "said"), BAD_ENDS)
def test_far_ends_typed_wrongly_are_told_how(record, path, said):
    with pytest.raises(RfcalError) as refused:
        compute(behind(record, path)[0])
    for part in said:
        assert part in str(refused.value)


def through_cable(truth, mhz, metres):
    """What is seen of a device [ohm] through a cable, and the table that says so."""
    line = CABLES["RG-213"].line(metres)
    cable = LineByFigures(np.array([mhz * 1e6]), line, 50.0)
    inputs = [line.length_m, line.velocity_factor, line.z0, 1.0, line.skin]
    seen = cable.bilinear(inputs).apply(from_impedance(np.array([truth]), 50.0))
    table = f'[[measurement.between]]\nline = "RG-213"\nlength_m = {metres}\n'
    return complex(to_impedance(seen, 50.0)[0]), table


@pytest.mark.parametrize("truth", [40 + 35j, 40 - 35j, 90 - 60j, 25 + 20j])
def test_a_known_cable_read_as_well_tells_the_sign(record, truth):
    seen, table = through_cable(truth, 14.1, 1.0)
    devices, less = {"coil": truth, "behind": seen}, {"coil": unsigned, "behind": unsigned}
    results = compute(record(devices, [14.1], less, more=f'same_as = "coil"\n{table}'))
    coil = results.device("coil")
    assert coil.other is None
    assert holds(coil, truth)
    assert "sign-told" in codes(results)
    assert not [f for f in results.findings if f.code == "sign-unknown" and f.about == "coil"]
    # one device has one headline
    text = page(results)
    assert text.count('<p class="quiet">coil at 14.1 MHz') == 1
    assert '<p class="quiet">behind at 14.1 MHz' not in text
    assert "'behind' is another reading of it" in "\n".join(summary_lines(results))


@pytest.mark.parametrize("truth", [40 + 35j, 20 + 100j])
def test_two_answers_ask_for_a_reading_and_check_does_so_before_the_report(record, truth, capsys):
    folder = record({"coil": truth}, [14.1], {"coil": unsigned})
    (told,) = (f.message for f in compute(folder).findings if f.code == "sign-unknown")
    assert "the report" in told
    assert "larger in size" not in told  # a display of |Z| shows no X
    assert main(["check", str(folder)]) == 0
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first == "warnings: 1, look at it before you go on"
    assert second == f"warning: {told}"
    assert ("14.523 MHz too" in told) == (truth.imag > 3 * truth.real)
    if "14.523 MHz too" in told:
        z = np.array([truth, truth.real + 1.03j * truth.imag])
        also = compute(record({"coil": z}, [14.1, 14.523], {"coil": unsigned}))
        assert "sign-told" in codes(also)


@pytest.mark.parametrize("truth", [0.3 + 20j, 0.5 + 30j])
def test_a_second_frequency_that_is_asked_for_tells_the_sign(record, monkeypatch, truth):
    """At 3 % more, which was asked for before, the doubts of the standards' signs are too large."""
    turned = Bilinear.from_error_terms(0.03 + 0.02j, 0.04 - 0.05j, 0.95 * np.exp(-0.045j))
    monkeypatch.setattr(f"{__name__}.analyzer", lambda f: turned)

    def left(mhz):
        z = truth.real + 1j * truth.imag * (np.array(mhz) / 14.2) ** np.sign(truth.imag)
        results = compute(record({"coil": z}, mhz, usual=unsigned))
        x = results.device("coil").impedance.value.imag
        return x, [f.message for f in results.findings if f.code == "sign-unknown"]

    (told,) = left([14.2])[1]
    (asked,) = re.findall(r"at ([\d.]+) MHz too", told)
    x, told = left(sorted([14.2, float(asked)]))
    assert told == []
    assert np.all(np.sign(x) == np.sign(truth.imag))


def test_where_no_near_frequency_tells_a_part_in_series_is_asked_for(record):
    results = compute(record({"coil": 0.3 + 16j}, [14.1], usual=unsigned))
    (told,) = (f.message for f in results.findings if f.code == "sign-unknown")
    assert "in series" in told
    assert "MHz too" not in told


def test_a_plan_does_not_call_a_record_whole_whose_sign_may_remain_open(record, capsys):
    folder = record({"coil": 20 + 100j}, [14.1], {"coil": unsigned})
    assert main(["plan", str(folder)]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert "go on to the report, which tells whether two answers remain; for" in first


def test_a_device_that_is_not_the_same_is_told(record):
    devices = {"coil": 40 + 35j, "behind": 150 - 10j}
    results = compute(record(devices, [14.1], {"coil": unsigned}, more='same_as = "coil"\n'))
    assert "same-disagrees" in codes(results)
    told = [f.message for f in results.findings if f.code == "sign-unknown"]
    assert told
    assert all("Put right first" in said and "in series" not in said for said in told)


def test_the_same_device_must_be_there(record):
    folder = record({"coil": 40 + 35j}, [14.1], more='same_as = "coil"\n')
    with pytest.raises(RfcalError, match="could stand here: there are none"):
        compute(folder)


@pytest.mark.parametrize("truth", [40 + 35j, 40 - 35j, 3 + 150j])
@pytest.mark.parametrize("part", ["series_capacitance_f = 560e-12", "series_inductance_h = 0.3e-6"])
def test_a_known_part_in_series_tells_the_sign(record, truth, part):
    w, value = 2j * np.pi * 14.1e6, float(part.split("=")[1])
    z = truth + (1 / (w * value) if "capacitance" in part else w * value)
    devices, less = {"coil": truth, "with it": z}, {"coil": unsigned, "with it": unsigned}
    path = f'same_as = "coil"\n[[measurement.between]]\n{part}\n'
    results = compute(record(devices, [14.1], less, more=path))
    assert results.device("coil").other is None
    assert results.device("with it").other is None
    assert holds(results.device("coil"), truth)
    assert holds(results.device("with it"), truth)


def through(record, nanofarad, truth, usual=whole):
    """What is left of a wire, and of the same through a capacitor if there is one."""
    devices, more = {"wire": truth}, ""
    if nanofarad:
        devices["with it"] = truth - 1j / (2 * np.pi * 14e6 * nanofarad * 1e-9)
        part = f"[[measurement.between]]\nseries_capacitance_f = {nanofarad}e-9\n"
        more = f'same_as = "wire"\n{part}'
    results = compute(record(devices, [14.0], dict.fromkeys(devices, usual), more=more))
    return {f.about: f.message for f in results.findings if f.code == "sign-unknown"}


def asked_nanofarad(told):
    """The capacitor that is asked for."""
    value, unit = re.search(r"about (\d+) (n|p)F in series", told).groups()
    return float(value) / {"n": 1, "p": 1000}[unit]


@pytest.mark.parametrize("truth", [45 - 18j, 60 - 26j])
def test_the_part_that_is_asked_for_is_one_that_a_coarse_display_shows(record, truth):
    asked, finer = (
        asked_nanofarad(through(record, None, truth, usual)["wire"]) for usual in (whole, sizes)
    )
    assert asked < finer
    assert through(record, asked, truth) == {}


@pytest.mark.parametrize("tried", [5.0, 2.0])
def test_a_reading_that_did_not_tell_is_named_and_another_part_is_asked_for(record, tried):
    left = through(record, tried, 60 - 26j)
    assert "What was read as 'with it' did not tell it" in left["wire"]
    assert asked_nanofarad(left["wire"]) <= tried / 2
    assert left["with it"].endswith(
        "What tells the sign of 'wire', the same device, tells this too."
    )


@pytest.mark.parametrize(
    ("usual", "displays"),
    [
        (typed, {}),
        (unsigned, {}),
        (unsigned, {"open": lambda z, m: over_range(z, m) + UNSIGNED + "\n"}),
    ],
    ids=["standards in full", "no sign at all", "and no open"],
)
def test_a_sweep_through_resonance_is_told_point_by_point(record, usual, displays):
    mhz = [18.0, 18.1, 18.2, 18.3, 18.4]
    truth = 54 + 1j * np.array([-13.1, -6.3, 0.6, 7.4, 14.3])
    with_it = truth + 1 / (2j * np.pi * np.array(mhz) * 1e6 * 1.5e-9)
    devices = {"wire": truth, "with it": with_it}
    less = {"wire": unsigned, "with it": unsigned} | displays
    path = 'same_as = "wire"\n[[measurement.between]]\nseries_capacitance_f = 1.5e-9\n'
    results = compute(record(devices, mhz, less, usual, more=path))
    assert not codes(results) & {"sign-unknown", "same-disagrees"}
    for device in results.devices:
        r, x = device.interval[:, 0], device.interval[:, 1]
        assert np.all((r[:, 0] <= truth.real) & (truth.real <= r[:, 1]))
        low, high = x.T
        assert np.all((low <= truth.imag) & (truth.imag <= high))
        assert np.all(high[:2] < 0)
        assert np.all(low[3:] > 0)
    told = [f.message for f in results.findings if f.code == "sign-told"]
    assert len(told) == 2
    assert all("ohm at 18 MHz and" in said for said in told)


def over_range(z, mhz):
    rows = ", ".join(f"[{m}, 0.0, '>999']" for m in mhz)
    return f"typed = [{rows}]\n"


@pytest.mark.parametrize(
    ("usual", "displays"),
    [(typed, {"open": over_range}), (unsigned, {}), (partial(sizes, most_swr=25), {})],
)
@pytest.mark.parametrize("moved", [True, False])
def test_a_standard_that_moved_widens_what_a_display_shows_in_part(record, usual, displays, moved):
    mhz = [50.0, 50.4, 50.8]
    f = np.array(mhz) * 1e6
    lead = np.exp(-4j * np.pi * f * 0.11 / 2e8) if moved else 1.0
    raw = analyzer(f).apply(lead * MODELS["short"].reflection(f, z_ref=50.0))
    again = '[[reread]]\nof = "short"\n' + usual(to_impedance(raw, 50.0), mhz)
    results = compute(record({"wire": 37 + 21j}, mhz, displays, usual, more=again))
    (reread,) = results.rereads
    assert reread.agrees != moved
    budget = [source for source in results.device("wire").budget if source.startswith("moved")]
    assert bool(budget) == moved
    assert moved == any("widens" in f.message for f in results.findings)
    assert ("stayed" in "".join(summary_lines(results))) != moved
    radius = np.abs(reread.moved.change.value).max()
    assert radius > 0.08 if moved else radius < 0.01


@pytest.mark.parametrize(("ohm", "agrees"), [(150.0, True), (250.0, False)])
def test_a_check_in_the_devices_place_needs_no_sign(record, ohm, agrees):
    metres = 3.0
    at_end, table = through_cable(150.0, 14.1, metres)
    coil, _ = through_cable(40 + 35j, 14.1, metres)
    raw = readings({"check": at_end}, [14.1])["check"]
    rows = unsigned(raw, [14.1])
    more = f'{table}[[check]]\nname = "far"\nat = "coil"\nresistance_ohm = {ohm}\n{rows}'
    results = compute(record({"coil": coil}, [14.1], more=more))
    assert [check.agrees for check in results.checks] == [agrees]


@pytest.mark.parametrize("stated", [3.0, 3.6])
def test_a_check_at_the_far_end_is_judged_on_all_signs_of_the_standards_that_stand(
    record, monkeypatch, stated
):
    """By the analyzer's error terms alone the likeliest sign of the load is the wrong one."""
    turned = Bilinear.from_error_terms(0.03 + 0.04j, 0.02 - 0.05j, 0.95 * np.exp(-0.018j))
    monkeypatch.setattr(f"{__name__}.analyzer", lambda f: turned)
    truth = 40 + 35j
    (at_end, _), (coil, table) = (through_cable(z, 14.1, 3.0) for z in (33.0, truth))
    rows = unsigned(readings({"check": at_end}, [14.1])["check"], [14.1])
    table = table.replace("length_m = 3.0", f"length_m = {stated}")
    more = f'{table}[[check]]\nname = "far"\nat = "coil"\nresistance_ohm = 33.0\n{rows}'
    results = compute(record({"coil": coil}, [14.1], usual=unsigned, more=more))
    assert [check.agrees for check in results.checks] == [stated == 3.0]
    if stated == 3.0:
        device = results.device("coil")
        assert holds(device, truth) or holds(device.other, truth)


@pytest.mark.parametrize("usual", [partial(sizes, places=2), unsigned])
def test_a_load_exchanged_with_the_check_is_named_without_any_sign(record, usual):
    mhz, opened = [14.0, 14.2, 14.4], 340 - 450j
    seen = readings({"check": 150.0}, mhz, opened)
    check = '[[check]]\nname = "check"\nresistance_ohm = 150.0\n' + usual(seen["load"], mhz)
    displays = {"load": lambda _, at: usual(seen["check"], at)}
    results = compute(record({"device": 40 + 30j}, mhz, displays, usual, check, opened))
    (told,) = (f.message for f in results.findings if f.code == "check-disagrees")
    assert "'load' and 'check' were exchanged" in told


def test_what_lies_before_the_device_is_asked_for_once_more_beside_a_part_in_series(record):
    seen, table = through_cable(40 + 35j, 14.1, 3.0)
    (told,) = (
        f.message
        for f in compute(record({"coil": seen}, [14.1], {"coil": unsigned}, more=table)).findings
        if f.code == "sign-unknown"
    )
    assert "below it, every [[measurement.between]] of 'coil' once more and then a" in told


@pytest.mark.parametrize("grid", [[14.2], [14.1, 14.2, 14.3]])
def test_only_the_sign_of_a_small_x_is_said_to_be_unknown(tmp_path, grid):
    read = {"short": (4.6, 19.7), "open": ("'>999'", "'>25'"), "load": (50.9, "1.10")}
    text = "format = 1\n[record]\ntitle = 'display'\ndate = 2026-05-16\n"
    for name, (size, ratio) in (read | {"wire": (33.7, 1.69)}).items():
        kind = f"[[standard]]\nkind = '{name}'" if name in read else "[[measurement]]"
        z_rows, swr_rows = (
            ", ".join(f"[{mhz}, {value}]" for mhz in grid) for value in (size, ratio)
        )
        rows = f"typed_z_ohm = [{z_rows}]\ntyped_swr = [{swr_rows}]"
        text += f"{kind}\nname = '{name}'\n{rows}\n"
    (tmp_path / "record.toml").write_text(text.replace("name = 'load'", "name = 'load'\n"))
    results = compute(tmp_path)
    where = "at 14.2 MHz" if len(grid) == 1 else "from 14.1 to 14.3 MHz"
    assert not codes(results) & {"device-hidden", "lopsided"}
    (told,) = (f.message for f in results.findings if f.code == "sign-small")
    assert f"R and SWR of 'wire' stand as they are given {where}" in told


def test_a_part_without_loss_loses_nothing_worth_a_line(record):
    path = "[[measurement.between]]\nseries_capacitance_f = 1e-9\n"
    results = compute(record({"coil": 40 + 35j}, [14.1], more=path))
    assert "the path loses" not in "".join(summary_lines(results))


def test_a_sign_that_a_display_hides_may_be_why_a_check_at_the_far_end_is_off(record):
    at_end, table = through_cable(8 - 190j, 14.1, 3.0)
    rows = unsigned(readings({"check": at_end}, [14.1])["check"], [14.1])
    more = f'{table}[[check]]\nname = "far"\nat = "coil"\nresistance_ohm = 33\n{rows}'
    results = compute(record({"coil": 40 + 35j}, [14.1], usual=unsigned, more=more))
    (told,) = (f.message for f in results.findings if f.code == "check-disagrees")
    assert "X of a standard that was taken with the other sign" in told
