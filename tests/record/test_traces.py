"""Traces that slips leave in raw readings: each found in a drawn session, none in honest ones."""

import re
from types import SimpleNamespace

import numpy as np
import pytest

from rfcal.errors import ReadingError, RecordError, RfcalError
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.outliers import step_at, sticking_out
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.measurement.bench import Bench, Known
from rfcal.models.standards import Standard
from rfcal.readings.csv import read_csv
from rfcal.readings.sweep import Sweep
from rfcal.record.findings.case import Case
from rfcal.record.findings.readings.traces import (
    _still,
    about_shape,
    about_unit,
    references_differ,
    signs_lost,
)
from rfcal.record.findings.standards import about_analyzer
from rfcal.record.job.compute import compute, inspect
from tests.benchmarks.campaign.folder import write
from tests.benchmarks.campaign.mistakes import KINDS, sign_lost, upper_half
from tests.benchmarks.campaign.sessions import draw
from tests.record.conftest import BOX, bend, polar, touchstone

HONEST = 150


def drawn(tmp_path, session):
    write(session, tmp_path)
    return {finding.code: finding for finding in inspect(tmp_path).findings}


def swept_session(band, start=0):
    """The first honest session of a band that is swept, and has no path."""
    sessions = (draw((3, i)) for i in range(start, start + 200))
    return next(s for s in sessions if s.band == band and not s.path_of)


def test_honest_sessions_leave_none():
    """The whole chance of a false alarm is one in two hundred, and these have no part in it."""
    said, judged = [], 0
    for i in range(HONEST):
        session = draw((2, i))
        sweeps = [Sweep(r.swept, r.raw(), label=name) for name, r in session.readings.items()]
        noise = session.analyzer["noise"]
        said += [f for sweep in sweeps for f in about_shape(sweep, noise)]
        said += [*about_unit(sweeps), *references_differ(sweeps)]
        kinds = {t["name"]: t["kind"] for t in session.standards}
        said += signs_lost(kinds, {s.label: s.reflection for s in sweeps})
        items = session.standards
        kit = tuple(
            Known(t["name"], model_of(t), sweep) for t, sweep in zip(items, sweeps, strict=False)
        )
        said += about_analyzer(Case(Bench(standards=kit).calibration()))
        judged += len(sweeps)
    assert judged > 4 * HONEST
    assert said == []


def model_of(table):
    known = {
        "resistance_ohm": "resistance",
        "inductance": "inductance",
        "capacitance": "capacitance",
    }
    figures = {name: table[key] for key, name in known.items() if key in table}
    delay = table.get("offset_delay_ps", 0.0) * 1e-12
    return Standard(table["kind"], offset_delay=delay, **figures)


@pytest.mark.parametrize("points", [[40], [40, 41, 42], [12, 50, 51, 88], [*range(40, 45)]])
def test_interference_is_found_where_it_is(tmp_path, points):
    session = swept_session("middle")
    session.readings["open"].noise[points] += 0.05 * np.exp(2j * np.arange(len(points)))
    found = drawn(tmp_path, session)["interference"]
    assert found.about == "open"
    assert f"{len(points)} of" in found.message or len(points) == 1
    assert "give no answer" in found.message


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_interference_may_shift_neighbours_alike(count):
    session = swept_session("middle")
    raw = session.readings["open"].raw()
    raw[40 : 40 + count] += 0.05j
    assert sticking_out(raw, session.analyzer["noise"]) == [*range(40, 40 + count)]


def test_a_narrow_resonance_is_no_interference():
    f = np.linspace(140e6, 150e6, 61)
    turn = f / 145.1e6 - 145.1e6 / f
    device = 0.9 - 1.2 / (1 + 1j * 60 * turn)  # three points wide at its middle
    assert sticking_out(device, 0.0005) == []


def test_the_steep_part_of_an_antenna_in_wide_steps_is_no_interference():
    session = draw((201, 87), True)
    device = session.readings["device"].raw()
    assert sticking_out(device, session.analyzer["noise"]) == []


def test_a_curve_that_bends_at_its_end_is_no_interference():
    session = draw((2, 35), True)
    short = session.readings["short"].raw()  # behind a lead, in steps of a third of a turn
    assert sticking_out(short, session.analyzer["noise"]) == []


def test_what_gives_way_during_a_sweep_is_found(tmp_path):
    session = swept_session("middle")
    session.readings["short"].edits.append(lambda x: x + 0.1 * (np.arange(x.size) > 30))
    found = drawn(tmp_path, session)["jump"]
    assert found.about == "short"
    assert f"from {session.frequency[31] / 1e6:.6g} MHz on" in found.message
    assert step_at(session.readings["open"].raw(), session.analyzer["noise"]) is None


def test_a_device_that_is_a_standard_is_told_so(filed):
    bend(filed, 'reading = "raw/device.s1p"', 'reading = "raw/load.s1p"')
    found = {f.code: f.message for f in compute(filed).findings}
    assert "'device' or for 'load'" in found["same-reading"]


@pytest.mark.parametrize(("passes", "code"), [(0.0, "two-ports"), (0.5, "ports-joined")])
def test_of_two_ports_s11_is_read_and_what_the_others_would_read_is_said(filed, passes, code):
    one = compute(filed).device("device")
    head, *rows = (filed / "raw/device.s1p").read_text().splitlines()
    others = f" {passes} 0 {passes} 0 0.2 0"
    text = "\n".join([head, *(row + others for row in rows)])
    (filed / "raw/device.s2p").write_text(text)
    bend(filed, "raw/device.s1p", "raw/device.s2p")
    results = compute(filed)
    assert np.array_equal(results.device("device").interval, one.interval)
    said = next(f for f in results.findings if f.code == code)
    other = "150 + j0 ohm" if passes else "50 + j0 ohm"
    # 50 (1 + 0.2)/(1 - 0.2) is 75
    assert f"S21 would read {other} and S22 75 + j0 ohm." in said.message


def test_files_of_two_references_are_told_of(filed):
    path = filed / "raw/device.s1p"
    path.write_text(path.read_text().replace("R 50", "R 75"))
    found = {f.code: f.message for f in compute(filed).findings}
    assert "'device' refers to 75 ohm" in found["references-differ"]
    assert "'short', 'open' and 'load' to 50 ohm" in found["references-differ"]


class Always:
    """Chooses what it is told to, and else draws the middle."""

    def __init__(self, choice):
        self.said = choice

    def choice(self, among):
        assert self.said in among
        return self.said

    def uniform(self, size=None):
        return np.full(size, 0.5) if size else 0.5


@pytest.mark.parametrize("band", ["middle", "wide"])
def test_conjugated_files_turn_anticlockwise(tmp_path, band):
    session = swept_session(band)
    for reading in session.readings.values():
        reading.edits.append(np.conj)
    assert "conjugated" in drawn(tmp_path, session)["anticlockwise"].message


@pytest.mark.parametrize("band", ["narrow", "middle", "wide"])
def test_short_and_open_exchanged_are_told_without_a_check(tmp_path, band):
    session = swept_session(band)
    KINDS["exchanged: short and open"][0](session, None)
    found = drawn(tmp_path, session)["half-turn"]
    assert "'short' and 'open' were exchanged" in found.message


@pytest.mark.parametrize(
    ("mhz", "exchanged", "check", "told"),
    [
        (7.1, True, None, True),
        (7.1, False, None, False),
        (145.0, True, None, False),  # a third of a metre of lead would do it too
        (7.1, True, (147, 2), True),  # 150 ohm as they are read, not as they are named
        (7.1, True, (21, 1), False),  # a check that would only agree behind seven metres
    ],
)
def test_few_typed_points_show_an_exchange_or_a_long_lead(tmp_path, mhz, exchanged, check, told):
    short, opened = "5, 0", "1900, -300"
    if exchanged:
        short, opened = opened, short
    rows = {"short": short, "open": opened, "load": "53, 2"}
    text = "format = 1\n[record]\ntitle = 'whip'\n[analyzer]\nresolution_ohm = 1\n"
    for kind, cells in rows.items():
        ohm = "resistance_ohm = 50\n" if kind == "load" else ""
        text += f"[[standard]]\nname = '{kind}'\nkind = '{kind}'\n{ohm}"
        text += f"typed = [[{mhz}, {cells}]]\n"
    if check:
        text += "[[check]]\nname = 'known'\nresistance_ohm = 150\n"
        text += f"typed = [[{mhz}, {check[0]}, {check[1]}]]\n"
    (tmp_path / "record.toml").write_text(
        f"{text}[[measurement]]\nname = 'whip'\ntyped = [[{mhz}, 31, -133]]\n"
    )
    found = {finding.code: finding for finding in compute(tmp_path).findings}
    assert ("half-turn" in found) is told
    if told:
        said = found["half-turn"].message
        assert "'short' and 'open' were exchanged" in said
        assert "7 m of cable" in said
    if told and check:
        assert "own correction" not in found["check-disagrees"].message


@pytest.mark.parametrize(("metres", "exchanged"), [(0.1, True), (0.1, False), (0.98, False)])
@pytest.mark.parametrize("mhz", [(51.0, 51.7, 52.4), (144.5, 145.0, 145.5, 146.0)])
def test_a_few_typed_frequencies_tell_an_exchange_from_a_lead(tmp_path, metres, exchanged, mhz):
    """A lead that turns as far as an exchange does turns further from row to row."""
    f = 1e6 * np.array(mhz)
    turn = np.exp(-4j * np.pi * f * metres * 51.7e6 / f.mean() / 2e8)
    ideal = {"short": -1.0, "open": 1.0, "load": 0.0, "wire": 0.3}
    if exchanged:
        ideal |= {"short": 1.0, "open": -1.0}
    text = "format = 1\n[record]\ntitle = 'wire'\n[analyzer]\nresolution_ohm = 0.1\n"
    for name, reflection in ideal.items():
        z = to_impedance(0.02 - 0.03j + 0.86 * turn * reflection, 50.0)
        rows = np.transpose([mhz, z.real.round(1), z.imag.round(1)]).tolist()
        kind = f"kind = '{name}'\n" if name != "wire" else ""
        table = "standard" if kind else "measurement"
        text += f"[[{table}]]\nname = '{name}'\n{kind}typed = {rows}\n"
    (tmp_path / "record.toml").write_text(text)
    found = {finding.code: finding for finding in compute(tmp_path).findings}
    assert ("half-turn" in found) == exchanged
    if exchanged:
        assert "'short' and 'open' were exchanged" in found["half-turn"].message


@pytest.mark.parametrize("resistor", [False, True])
def test_a_resistor_for_an_open_beyond_the_display_is_asked_for_until_there_is_one(
    tmp_path, resistor
):
    rows = {"short": "5, 0", "open": "'>999', '>999'", "load": "53, 2"} | (
        {"200 ohm": "196, 2"} if resistor else {}
    )
    text = "format = 1\n[record]\ntitle = 'whip'\n[analyzer]\nresolution_ohm = 1\n"
    for name, cells in rows.items():
        ohm = {"load": 50, "200 ohm": 200}.get(name)
        kind = f"'load'\nresistance_ohm = {ohm}" if ohm else f"'{name}'"
        text += f"[[standard]]\nname = '{name}'\nkind = {kind}\ntyped = [[7.1, {cells}]]\n"
    (tmp_path / "record.toml").write_text(
        f"{text}[[measurement]]\nname = 'whip'\ntyped = [[7.1, 31, -133]]\n"
    )
    (said,) = (f.message for f in inspect(tmp_path).findings if f.code == "over-range")
    assert ("as one more [[standard]]" in said) is not resistor


def test_steps_too_wide_for_a_lead_say_nothing_of_its_turn():
    f = np.linspace(10e6, 450e6, 51)
    lead = np.exp(-2j * np.pi * f * 110e-9)  # 11 m of cable there and back, 0.97 turns a step
    ends = {"short": -1.0, "open": 1.0, "load": 0.0}
    box = Bilinear.from_error_terms(0.05 + 0 * lead, 0.05 + 0 * lead, 0.9 * lead)
    kit = tuple(
        Known(k, Standard(k), Sweep(f, box.apply(x + 0 * lead), label=k)) for k, x in ends.items()
    )
    assert about_analyzer(Case(Bench(standards=kit).calibration())) == []


def test_a_sign_that_was_lost_bends_the_curve_back(tmp_path):
    crossing = (
        session
        for session in (draw((3, i)) for i in range(200))
        if session.kind == "antenna" and session.band == "middle" and not session.path_of
    )
    session = next(s for s in crossing if np.ptp(np.sign(s.readings["device"].raw().imag)))
    sign_lost(session, Always("device"))
    found = drawn(tmp_path, session)["sign-lost"]
    assert found.about == "device"


def test_linear_magnitudes_taken_for_decibels_are_told_of(tmp_path):
    session = swept_session("narrow")
    session.readings["load"].style |= {"numbers": "MA", "said": "DB"}
    assert "'load' would reflect" in drawn(tmp_path, session)["linear-as-decibels"].message


@pytest.mark.parametrize("shown", [True, False])
def test_an_x_that_is_never_negative_is_asked_about_where_a_file_may_have_lost_its_sign(
    tmp_path, shown
):
    session = next(
        s for s in (draw((3, i)) for i in range(99)) if s.kind == "capacitor" and s.band == "narrow"
    )
    session.readings["device"].style["form"] = "csv"
    if not shown:
        session.readings["device"].edits.append(upper_half)
    found = drawn(tmp_path, session)
    assert ("never-negative" in found) != shown


def test_radians_of_a_device_alone_are_told_by_their_scatter(tmp_path):
    session = swept_session("narrow")
    session.readings["device"].style |= {"numbers": "MA radians", "said": "MA"}
    told = drawn(tmp_path, session)["radians"].message
    assert "those of 'device' lie" in told
    assert "scatter far less" in told


def test_sizes_and_angles_of_honest_sweeps_scatter_alike():
    session = swept_session("narrow")
    readings = [reading.raw() for reading in session.readings.values()]
    assert not any(_still(x) for x in readings)


def test_khz_read_as_hz_are_told_by_a_lead_that_would_be_too_long(tmp_path):
    session = swept_session("middle")
    assert session.frequency[0] > 10e6  # so that no frequency is too low for an analyzer
    for reading in session.readings.values():
        reading.style |= {"unit": "Hz", "unit_hz": 1e3}
    assert "kHz were read as Hz" in drawn(tmp_path, session)["unit-by-delay"].message


def test_a_unit_is_said_before_what_it_makes_impossible(tmp_path):
    session = swept_session("narrow")
    for reading in session.readings.values():
        reading.style |= {"unit": "MHz", "unit_hz": 1e3}
    with pytest.raises(
        RfcalError, match=r"^Look whether the unit .* Besides, the standards .* alike .* known"
    ):
        drawn(tmp_path, session)


def test_radians_taken_for_degrees_are_told_of(tmp_path):
    session = swept_session("narrow")
    session.readings["short"].style |= {"numbers": "MA radians", "said": "MA"}
    assert "'short'" in drawn(tmp_path, session)["radians"].message


def test_frequencies_in_another_unit_are_asked_about(filed):
    for file in (filed / "raw").iterdir():
        frequency = np.linspace(50e9, 60e9, 11)
        rows = [line.split() for line in file.read_text().splitlines()[1:]]
        file.write_text(
            touchstone(frequency, np.array([complex(*map(float, r[1:])) for r in rows]))
        )
    found = {f.code: f.message for f in inspect(filed).findings}
    assert "from 50000 to 60000 MHz" in found["frequency-unit"]


@pytest.mark.parametrize(("unit", "factor"), [("kHz", "1/1,000 of"), ("GHz", "1,000 times")])
def test_another_unit_in_one_file_is_said_to_be_one(filed, unit, factor):
    path = filed / "raw/device.s1p"
    rows = path.read_text().splitlines()[1:]
    megahertz = [f"{float(row.split()[0]) / 1e6} {' '.join(row.split()[1:])}" for row in rows]
    path.write_text("\n".join([f"# {unit} S RI R 50", *megahertz]) + "\n")
    with pytest.raises(RecordError, match=f"{factor} those of 'short': .* unit of frequency"):
        inspect(filed)


def test_an_answer_outside_by_a_unit_is_said_to_be(filed):
    bend(filed, 'reading = "raw/device.s1p"', 'reading = "raw/device.s1p"\nanswer_mhz = 0.055')
    with pytest.raises(RecordError, match="1,000 times that: "):
        compute(filed)


def test_magnitudes_below_zero_are_refused_as_decibels(filed):
    path = filed / "raw/device.s1p"
    path.write_text(path.read_text().replace(" RI ", " MA "))
    with pytest.raises(ReadingError, match=r"line 2: .*below zero: are the magnitudes in dB"):
        compute(filed)


@pytest.mark.parametrize("size", ["magnitude", "z_ohm"])
def test_no_column_of_sizes_is_below_zero(size):
    text = f"frequency_mhz,{size},degrees\n50,0.5,20\n51,-3.1,20\n"
    with pytest.raises(ReadingError, match=r"line 3: .* of -3.1 (ohm )?is below zero"):
        read_csv(text, "device.csv", 50.0)


def device_of(filed, farad, extra=""):
    """A record of a capacitor of next to no loss, read at the plane; its findings by code."""
    f = np.linspace(50e6, 60e6, 11)
    seen = BOX.apply(from_impedance(0.1 + 1 / (2j * np.pi * f * farad)))
    (filed / "raw/device.s1p").write_text(touchstone(f, seen))
    with (filed / "record.toml").open("a") as file:
        file.write(extra)
    return {finding.code: finding.message for finding in compute(filed).findings}


def test_reactance_that_falls_is_too_much_line_removed(filed):
    assert "active" not in device_of(filed, 40e-12)
    line = '[[measurement.between]]\nline = "foam 10 mm"\nlength_m = 1.2\n'
    found = device_of(filed, 40e-12, line)
    assert "was given too much length" in found["active"]


def test_reactance_that_falls_at_the_plane_has_lost_its_sign(filed):
    found = device_of(filed, -40e-12)  # as reactance without its sign has it
    assert "the sign of X of 'device' was wrong" in found["active"]


def test_what_seems_active_behind_a_line_is_put_down_to_the_line(filed):
    line = '[[measurement.between]]\nline = "RG-174"\nlength_m = 12\n'
    assert "for at the standards' plane it is possible" in device_of(filed, 40e-12, line)["active"]


def test_exchanged_standards_that_no_check_sees_are_told_by_the_analyzer(tmp_path):
    session = swept_session("narrow")
    KINDS["exchanged: load and open"][0](session, None)
    found = drawn(tmp_path, session)["error-terms"]
    assert found.message.startswith("Look whether 'open' and 'load' were exchanged, which would")


def test_an_exchange_is_told_by_the_analyzer_beside_a_check_that_agrees_neither_way(tmp_path):
    session = draw((431, 480), True)
    KINDS["exchanged: load and open"][0](session, None)
    found = drawn(tmp_path, session)
    assert "check-disagrees" in found
    assert "'open' and 'load' were exchanged, which would mend it" in found["error-terms"].message


def test_an_active_device_is_one_more_sign_where_standards_are_wrong(filed):
    opened, load = filed / "raw/open.s1p", filed / "raw/load.s1p"
    one, other = opened.read_text(), load.read_text()
    opened.write_text(other)
    load.write_text(one)
    found = {finding.code: finding.message for finding in compute(filed).findings}
    assert "error-terms" in found
    assert "Look first at the other warnings" in found["active"]


def test_a_device_read_in_linear_magnitudes_for_decibels_seems_active(filed):
    size = 0.8 * np.exp(0.5j)
    raw = np.full(11, 10 ** (abs(size) / 20) * size / abs(size))
    (filed / "raw/device.s1p").write_text(polar(np.linspace(50e6, 60e6, 11), raw))
    found = {finding.code: finding.message for finding in compute(filed).findings}
    assert "the magnitudes of 'device' were linear instead of in decibels" in found["active"]


def test_data_in_reversed_order_are_told_by_the_analyzer(tmp_path):
    sessions = (draw((3, i)) for i in range(200))
    session = next(s for s in sessions if s.band == "wide" and s.frequency[-1] > 200e6)
    session.readings["open"].edits.append(lambda x: x[::-1])
    found = drawn(tmp_path, session)["error-terms"].message
    assert "the points of 'open' stood in reversed order" in found


def test_a_curve_that_bends_backwards_is_conjugated_or_reversed(filed):
    f = np.linspace(50e6, 60e6, 101)
    for name, true in (("short", -1), ("open", 1), ("load", 0)):
        seen = BOX.apply(np.full(101, true, complex))
        (filed / f"raw/{name}.s1p").write_text(touchstone(f, seen))
    antenna = BOX.apply(from_impedance(40 * (1 + 8j * (f / 55e6 - 55e6 / f))))
    codes = []
    for seen in (antenna, np.conj(antenna), antenna[::-1]):
        (filed / "raw/device.s1p").write_text(touchstone(f, seen))
        codes.append("active" in {found.code for found in compute(filed).findings})
    assert codes == [False, True, True]


def test_an_answer_at_the_edge_of_a_sweep_is_within_it_however_it_was_rounded(filed):
    path = filed / "raw/device.s1p"
    path.write_text(path.read_text().replace("\n50000000 ", "\n50000000.004 "))
    bend(filed, 'reading = "raw/device.s1p"', 'reading = "raw/device.s1p"\nanswer_mhz = 50.0')
    assert compute(filed).devices[0].answer == 0


def test_signs_lost_in_all_readings_are_told_by_short_and_open(tmp_path):
    sessions = (draw((3, i)) for i in range(200))
    aside = (
        s
        for s in sessions
        if s.band == "narrow"
        and all(np.all(np.abs(s.readings[k].raw().imag) > 0.5) for k in ("short", "open"))
    )
    session = next(aside)
    sign_lost(session, SimpleNamespace(uniform=lambda: 0.0))
    found = drawn(tmp_path, session)["signs-lost"]
    assert "though 'short' and 'open' lie on opposite sides" in found.message


def test_a_short_at_the_end_of_a_quarter_wave_is_not_in_radians(typed):
    text = (typed / "record.toml").read_text()
    rows = {"short": "0.98, 1.2", "open": "0.97, -176.0"}
    parts = text.split("[[standard]]")
    for name, row in rows.items():
        at = next(i for i, part in enumerate(parts) if f'kind = "{name}"' in part)
        parts[at] = re.sub(
            r"typed = \[\[([\d.]+), .*?\]\]", rf"typed_reflection = [[\1, {row}]]", parts[at]
        )
    (typed / "record.toml").write_text("[[standard]]".join(parts))
    assert "typed_reflection = " in (typed / "record.toml").read_text()
    assert "radians" not in {found.code for found in inspect(typed).findings}


def test_directivity_and_source_match_lift_short_and_open_alike():
    raw = {"short": np.array([-0.9 + 0.26j]), "open": np.array([0.9 + 0.3j])}
    kinds = {"short": "short", "open": "open"}
    assert not signs_lost(kinds, raw)
    assert signs_lost(kinds, {name: x + 0.2j for name, x in raw.items()})


@pytest.mark.parametrize(("form", "asked"), [("RI", False), ("MA", True)])
def test_radians_are_asked_about_only_where_a_file_has_angles(filed, form, asked):
    row = {"RI": "0.9 0.02", "MA": "0.9 1.2"}[form]
    rows = "\n".join(f"{f:.0f} {row}" for f in np.linspace(50e6, 60e6, 11))
    (filed / "raw/short.s1p").write_text(f"# Hz S {form} R 50\n{rows}\n")
    assert ("radians" in {found.code for found in inspect(filed).findings}) == asked


def test_radians_are_not_asked_about_where_r_and_x_were_typed(typed):
    text = (typed / "record.toml").read_text()
    text = re.sub(r"\[\[14\.1, (.*?)\]\]", r"[[14.1, \1], [14.2, \1]]", text)
    row = "[[14.1, 900.0, 10.0], [14.2, 900.0, 10.0]]"  # as an open read for the short
    (typed / "record.toml").write_text(re.sub(r"\[\[14\.1.*?\]\]", row, text, count=1))
    assert "radians" not in {found.code for found in inspect(typed).findings}
