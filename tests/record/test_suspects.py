"""Slips that would explain a contradiction are computed: which, and of what size."""

import re

import numpy as np
import pytest

from rfcal import cable
from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, to_impedance
from rfcal.record.findings.catalogue import slips
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.slips import misreadings
from rfcal.record.findings.suspects import in_places
from rfcal.record.job.compute import compute, inspect
from rfcal.report.summary import good_lines
from tests.record.conftest import BOX, bend, polar, touchstone

FREQUENCY = np.linspace(50e6, 60e6, 11)
LATER = 4 * np.pi * FREQUENCY / 299_792_458.0
CHECK = """
[[check]]
name = "check"
kind = "load"
resistance_ohm = 150.0
uncertainty = 0.002
reading = "raw/check.s1p"
"""
AGAIN = """
[[reread]]
of = "short"
reading = "raw/again.s1p"
"""


def put(folder, name, reflection, box=BOX):
    seen = box.apply(np.full(11, reflection, complex))
    (folder / f"raw/{name}.s1p").write_text(touchstone(FREQUENCY, seen))


def said(folder) -> str:
    (message,) = (f.message for f in compute(folder).findings if f.code == "check-disagrees")
    return message


@pytest.fixture
def checked(filed):
    """A record with a check of 150 ohm that agrees."""
    put(filed, "check", from_impedance(150.0))
    with (filed / "record.toml").open("a") as file:
        file.write(CHECK)
    assert not [f for f in compute(filed).findings if f.code == "check-disagrees"]
    return filed


def test_a_load_of_another_value_is_computed(checked):
    put(checked, "load", from_impedance(75.0))
    assert "'load' were 75 ohm" in said(checked)


def test_a_contact_with_resistance_is_computed(checked):
    put(checked, "short", from_impedance(12.0))
    assert "'short' had 12 ohm in series" in said(checked)


OMEGA = 2 * np.pi * FREQUENCY
STRAYS = [
    ("load", 50 + 1j * OMEGA * 30e-9),
    ("short", 1j * OMEGA * 25e-9),
    ("open", 1 / (1j * OMEGA * 6e-12)),
    ("check", 1 / (1 / 150 + 1j * OMEGA * 6e-12)),
    ("check", 150 + 1j * OMEGA * 80e-9),
]


@pytest.mark.parametrize("kind", ["check", "standard"])
@pytest.mark.parametrize(("item", "ohm"), STRAYS)
def test_what_has_a_stray_stands_among_all_that_may_be_it(checked, kind, item, ohm):
    """Any three of four fit: none is named alone, and what would tell is said."""
    put(checked, item, from_impedance(ohm))
    bend(checked, "[[check]]", f"[[{kind}]]")
    found = {f.code: f.message for f in compute(checked).findings}
    told = found["check-disagrees" if kind == "check" else "standards-disagree"]
    listed, _, decides = told.partition(" Nothing here tells which.")
    names = set(re.findall("'([^']*)'", listed.partition("All would agree if")[2]))
    assert item in names
    assert len(names) > 1
    assert "To tell, " in decides


def test_what_no_slip_explains_is_told_by_the_others(checked):
    """Resistance and reactance at once: what each of the four would have to be."""
    put(checked, "check", from_impedance(170 + 30j))
    bend(checked, "[[check]]", "[[standard]]")
    found = {f.code: f.message for f in compute(checked).findings}
    told = found["standards-disagree"]
    assert re.search(r"'check' were really 1(70|69|71)\S* \+ j(30|29)\S* ohm at ", told)
    assert told.endswith(
        "Nothing here tells which. To tell, read one more standard of another value."
    )


def test_all_slips_of_one_artefact_take_one_place():
    """A sign and a lead of one do not keep the third artefact out of the list."""
    written = [
        (slips.CONJUGATED.said([name]), slips.BY_WRITING, (name,)) for name in ("open", "load")
    ]
    coil = slips.COIL
    leads = [(coil.said([name], about=7), coil.tells, (name,)) for name in ("load", "check")]
    other = slips.OTHER
    would_be = other.said(["short"], ohm="5 ohm", mhz=50.0), other.tells, ("short",)
    told = in_places([*written, *leads], [would_be])
    listed, _, left = told.partition(" Nothing here tells which.")
    assert set(re.findall("'([^']*)'", listed)) == {"open", "load", "check"}
    assert "'load' was wrong, or if 'load' had 7 ohm of inductance" in listed
    assert left.startswith(" These are the likeliest of 4 that explain it. To tell, ")


def test_a_stray_is_told_in_its_size(checked):
    put(checked, "check", from_impedance(1 / (1 / 150 + 1j * OMEGA * 6e-12)))
    assert "'check' had 480 ohm of capacitance across it" in said(checked)  # at 55 MHz 482 ohm
    put(checked, "check", from_impedance(150 + 1j * OMEGA * 80e-9))
    assert "'check' had 28 ohm of inductance in series" in said(checked)


def test_a_sign_that_may_be_wrong_is_looked_for_in_what_was_written():
    meant = {"load": {slips.CONJUGATED: np.conj}}
    (slip,) = misreadings(("load",), ["load"], meant)
    assert slip.kind.tells.startswith("look first at the minus signs")


def test_where_several_slips_explain_it_what_decides_is_said(checked):
    put(checked, "load", from_impedance(75.0))
    bend(checked, "[[check]]", "[[standard]]")
    found = {f.code: f.message for f in compute(checked).findings}
    told = found["standards-disagree"]
    assert "tells which. To tell, measure 'load' and 'check' with an ohmmeter." in told


@pytest.mark.parametrize(("item", "true_ohm", "stated"), [("check", 82.0, 820), ("load", 50, 500)])
def test_a_decimal_point_elsewhere_is_told(checked, item, true_ohm, stated):
    put(checked, item, from_impedance(true_ohm))
    text = (
        (checked / "record.toml")
        .read_text()
        .replace("resistance_ohm = 150.0", "resistance_ohm = 820")
    )
    if item == "load":
        text = text.replace("820", "150").replace(
            'kind = "load"', 'kind = "load"\nresistance_ohm = 500', 1
        )
    (checked / "record.toml").write_text(text)
    found = [f.message for f in compute(checked).findings if f.severity == "warning"]
    assert any(f"'{item}' were {true_ohm:g} ohm, with its decimal point" in said for said in found)


@pytest.mark.parametrize(
    ("item", "true_ohm", "stated"),
    [
        ("open", 1 / (1j * OMEGA * 50e-15), "capacitance = 50e-12"),
        ("short", 1j * OMEGA * 0.3e-9, "inductance = 0.3e-6"),
    ],
)
def test_a_thousandfold_capacitance_or_inductance_is_told(checked, item, true_ohm, stated):
    put(checked, item, from_impedance(true_ohm))
    bend(checked, f'kind = "{item}"', f'kind = "{item}"\n{stated}')
    assert f"'{item}' had a thousandth of its stated" in said(checked)
    assert f"look at what is stated of '{item}' and its unit" in said(checked)


def test_r_and_x_exchanged_are_told(typed):
    text = (typed / "record.toml").read_text()
    rows = re.sub(r"typed = \[\[14\.1, ([-\d.]+), ([-\d.]+)\]\]", r"typed = [[14.1, \2, \1]]", text)
    (typed / "record.toml").write_text(rows)
    found = {f.code: f.message for f in compute(typed).findings}
    assert "R and X of all readings were exchanged" in found["error-terms"]


def test_a_device_that_gives_power_unless_r_and_x_are_exchanged_is_told(typed):
    bend(typed, "[14.1, 12.2, -4.6]", "[14.1, -60.0, 40.0]")
    found = {f.code: f.message for f in inspect(typed).findings}
    assert "R and X of 'device' were exchanged" in found["active"]
    assert "at the order of R and X" in found["raw-above-one"]


def test_a_check_of_another_value_is_computed(checked):
    put(checked, "check", from_impedance(100.0))
    assert float(re.search(r"'check' were (\S+) ohm", said(checked))[1]) == pytest.approx(
        100, rel=2e-3
    )


def test_exchanged_readings_come_first(checked):
    put(checked, "open", 0)
    put(checked, "load", 1)
    assert "All would agree if 'open' and 'load' were exchanged" in said(checked)


def test_an_exchange_that_a_second_reading_excludes_is_not_said(checked):
    put(checked, "load", from_impedance(150.0))
    put(checked, "check", from_impedance(50.0))
    put(checked, "again", -0.9999)
    assert "All would agree if 'short' and 'open' were exchanged" in said(checked)
    with (checked / "record.toml").open("a") as file:
        file.write(AGAIN)
    assert "if 'load' and 'check' were exchanged" in said(checked)
    assert "'short' and 'open'" not in said(checked)


def behind(metres):
    """The analyzer with so much more line in air before the plane."""
    turn = np.exp(-1j * LATER * metres)
    return BOX @ Bilinear.from_error_terms(0 * turn, 0 * turn, turn)


def test_a_plane_that_moved_is_a_lead_or_a_length_until_a_second_reading_tells(checked):
    put(checked, "check", from_impedance(150.0), behind(0.06))
    assert "60 mm nearer than the later one, or a lead or line before it was bent" in said(checked)
    put(checked, "again", -0.9999)
    with (checked / "record.toml").open("a") as file:
        file.write(AGAIN)
    assert "60 mm nearer than the later one;" in said(checked)
    assert "a lead was bent" not in said(checked)


def test_what_no_single_slip_explains_is_said_so(checked):
    bend(checked, "resistance_ohm = 150.0", "resistance_ohm = 150.0\ncapacitance = [5e-12]")
    put(checked, "load", from_impedance(60 + 8j))
    assert "Look for a loose connector, a lead that moved" in said(checked)


def test_a_check_that_the_instrument_corrected_is_told(checked):
    (checked / "raw/check.s1p").write_text(
        touchstone(FREQUENCY, np.full(11, from_impedance(150.0) + 0.01j))
    )
    assert "if 'check' was read with the instrument's own correction on" in said(checked)


@pytest.mark.parametrize(
    ("meant", "words"),
    [
        (np.conj, "the sign of X of 'load' was wrong"),
        (lambda x: np.abs(x) * np.exp(1j * np.radians(np.angle(x))), "of 'load' were in radians"),
        (lambda x: 10 ** (np.abs(x) / 20) * x / np.abs(x), "of 'load' were linear"),
    ],
)
def test_numbers_that_mean_something_else_are_told(checked, meant, words):
    seen = BOX.apply(np.full(11, 0.1 + 0.05j))
    bend(checked, 'kind = "load"', 'kind = "load"\nresistance_ohm = 60.75\ninductance = [21e-9]')
    put(checked, "load", from_impedance(60.75 + 2j * np.pi * FREQUENCY * 21e-9))
    assert not [f for f in compute(checked).findings if f.severity == "warning"]
    seen = BOX.apply(from_impedance(60.75 + 2j * np.pi * FREQUENCY * 21e-9))
    (checked / "raw/load.s1p").write_text(polar(FREQUENCY, meant(seen)))
    assert words in said(checked)
    (checked / "raw/load.s1p").write_text(touchstone(FREQUENCY, meant(seen)))
    assert (words in said(checked)) == ("sign" in words)  # R and X have no angles


def test_a_load_that_is_not_connected_reads_as_the_open_does(filed):
    put(filed, "load", from_impedance(-1j * 40e3))
    put(filed, "open", 0.999j)
    found = {f.code: f.message for f in compute(filed).findings}
    assert "read-alike" not in found
    put(filed, "open", np.exp(-0.05j))
    found = {f.code: f.message for f in compute(filed).findings}
    assert "whether 'open' and 'load' were connected" in found["read-alike"]


def test_points_in_reversed_order_are_told(checked):
    turning = BOX @ Bilinear.from_error_terms(0, 0.1j, np.exp(-1j * LATER * 0.9))
    for item, ohm in (("short", 0.01), ("open", 1e5), ("load", 50.0), ("check", 150.0)):
        seen = turning.apply(np.full(11, from_impedance(ohm)))
        seen = seen[::-1] if item == "open" else seen
        (checked / f"raw/{item}.s1p").write_text(touchstone(FREQUENCY, seen))
    assert "if the points of 'open' stood in reversed order" in said(checked)


def test_a_check_exchanged_with_a_standard_or_read_of_one_is_told(checked):
    put(checked, "load", from_impedance(150.0))
    put(checked, "check", 0)
    assert "'load' and 'check' were exchanged" in said(checked)
    put(checked, "load", 0.0001)
    assert "'check' was really 'load'" in said(checked)


@pytest.mark.parametrize("other", ["short", "load", "check"])
def test_a_device_exchanged_with_a_standard_or_check_is_told(checked, other):
    device, this = checked / "raw/device.s1p", checked / f"raw/{other}.s1p"
    one, two = device.read_text(), this.read_text()
    device.write_text(two)
    this.write_text(one)
    assert f"'{other}' and 'device' were exchanged" in said(checked)


def test_a_turn_that_an_exchange_explains_is_not_called_conjugated(checked):
    f = np.linspace(140e6, 150e6, 11)
    true = {"short": -1, "open": 1, "load": 0, "check": from_impedance(150.0)}
    true["device"] = from_impedance(40 + 1j * (f / 145e6 - 145e6 / f) * 300)
    delay = 0.9 * np.exp(-4j * np.pi * f * 0.2e-9)
    box = Bilinear.from_error_terms(0.05 + 0.03j + 0 * delay, 0.08j + 0 * delay, delay)
    exchanged = {"load": "device", "device": "load"}
    for name in true:
        reflection = true[exchanged.get(name, name)]
        seen = box.apply(np.full(11, reflection, complex))
        (checked / f"raw/{name}.s1p").write_text(touchstone(f, seen))
    assert "'load' and 'device' were exchanged" in said(checked)
    assert "anticlockwise" not in {found.code for found in compute(checked).findings}


def test_an_exchange_with_the_check_comes_before_values_that_are_fitted(checked):
    """At one frequency of R and X two fitted values explain as much."""
    put(checked, "load", from_impedance(150.0))
    put(checked, "check", 0)
    told = said(checked)
    assert told.index("'load' and 'check' were exchanged") < told.find("'load' were") % 1000


LINE = '[[measurement.between]]\nline = "RG-8X"\nlength_m = 4.0\n'
AT_THE_END = CHECK.replace('"check"', '"at the end"').replace("check.s1p", "end.s1p")


def test_another_velocity_factor_is_told_from_a_length_by_its_loss(filed):
    """Of 4 m a band from 50 to 60 MHz sees the delay only, so both are told."""
    with (filed / "record.toml").open("a") as file:
        file.write(LINE + AT_THE_END + 'at = "device"\n')
    turn = np.exp(-1j * LATER * 4.0 / 0.66) * 10 ** (-2 * 0.29 / 20)
    box = BOX @ Bilinear.from_error_terms(0 * turn, 0 * turn, turn)
    put(filed, "end", from_impedance(150.0), box)
    assert "the velocity factor of the line before 'device' were 0.66" in said(filed)


def test_files_in_another_reference_than_they_state_are_told(checked):
    for name in ("short", "open", "load"):
        text = (checked / f"raw/{name}.s1p").read_text().splitlines()
        rows = [[float(x) for x in line.split()] for line in text[1:]]
        ohm = [to_impedance(re + 1j * im) for _, re, im in rows]
        lines = [f"{r[0]:.9g},{z.real:.9g},{z.imag:.9g}" for r, z in zip(rows, ohm, strict=True)]
        csv = "\n".join(["frequency_hz,r_ohm,x_ohm", *lines, ""])
        (checked / f"raw/{name}.csv").write_text(csv)
        bend(checked, f"raw/{name}.s1p", f"raw/{name}.csv")
    assert not [f for f in compute(checked).findings if f.code == "check-disagrees"]
    for name in ("check", "device"):
        path = checked / f"raw/{name}.s1p"
        path.write_text(path.read_text().replace("R 50", "R 75"))
    assert "if the files of 'check' and 'device' were in 50 ohm, not 75" in said(checked)


@pytest.mark.parametrize(("times", "words"), [(1e-3, "1000 times as"), (1e3, "a thousandth")])
def test_a_unit_of_frequency_is_told_by_a_line(filed, times, words):
    line = LINE.replace("4.0", "3.0").replace("RG-8X", "RG-58C")
    with (filed / "record.toml").open("a") as file:
        file.write(line + AT_THE_END + 'at = "device"\n')
    f = FREQUENCY if times < 1 else FREQUENCY / 50
    known = cable("RG-58C", 3.0)
    zc, gamma = known.constants(f)
    section = Bilinear.section((zc - 50) / (zc + 50), np.exp(-2 * gamma * 3.0))
    true = {"short": -1, "open": 1, "load": 0, "device": section.apply(np.full(11, 0.3j))}
    true["end"] = section.apply(np.full(11, from_impedance(150.0)))
    for name, reflection in true.items():
        seen = BOX.apply(np.full(11, reflection, complex))
        (filed / f"raw/{name}.s1p").write_text(touchstone(f, seen))
    assert not [one for one in compute(filed).findings if one.code == "check-disagrees"]
    for name in true:
        path = filed / f"raw/{name}.s1p"
        rows = [row.split() for row in path.read_text().splitlines()[1:]]
        lines = [f"{float(a) * times:.12g} {b} {c}" for a, b, c in rows]
        path.write_text("\n".join(["# Hz S RI R 50", *lines, ""]))
    told = said(filed)
    assert f"really {f[0] / 1e6:g} to {f[-1] / 1e6:g} MHz, {words}" in told
    assert "as of a wrong unit" in told


def test_a_check_that_was_read_before_the_line_is_told(filed):
    with (filed / "record.toml").open("a") as file:
        file.write(LINE + AT_THE_END + 'at = "device"\n')
    put(filed, "end", from_impedance(150.0))
    assert "if nothing of what is removed before 'device' was there when" in said(filed)


def test_an_adapter_the_other_way_round_is_told(filed):
    rows = "".join(f"{f:.12g} 0.2 0.1 0.9 0 0.9 0 -0.1 0.15\n" for f in FREQUENCY)
    (filed / "adapter.s2p").write_text(f"# Hz S RI R 50\n{rows}")
    with (filed / "record.toml").open("a") as file:
        adapter = '[[measurement.between]]\nadapter = "adapter.s2p"\n'
        file.write(adapter + AT_THE_END + 'at = "device"\n')
    ones = np.ones(11)
    turned = Bilinear.from_error_terms((-0.1 + 0.15j) * ones, (0.2 + 0.1j) * ones, 0.81 * ones)
    put(filed, "end", from_impedance(150.0), BOX @ turned)
    assert "the adapter before 'device' were the other way round" in said(filed)


def test_a_device_that_the_instrument_corrected_may_seem_active(checked):
    put(checked, "device", -0.999j, Bilinear(1, 0, 0, 1))
    found = {f.code: f.message for f in compute(checked).findings}
    assert "with the instrument's own correction on" in found["active"]


def test_one_reading_right_after_the_device_is_all_that_is_asked_for_beside_a_check(checked):
    (unseen,) = (f for f in compute(checked).findings if f.code in UNSEEN)
    assert "Read 'short' once more right after 'device'" in unseen.message
    assert "a lead or adapter that was left before the device" in unseen.message
    put(checked, "again", -0.9999)
    with (checked / "record.toml").open("a") as file:
        file.write(AGAIN)
    assert not [f for f in compute(checked).findings if f.code in UNSEEN]


def test_what_leaves_error_terms_impossible_is_no_explanation_where_another_mends_them(checked):
    opened, load = checked / "raw/open.s1p", checked / "raw/load.s1p"
    one, other = opened.read_text(), load.read_text()
    opened.write_text(other)
    load.write_text(one)
    results = compute(checked)
    (told,) = (f.message for f in results.findings if f.code == "check-disagrees")
    assert "All would agree if 'open' and 'load' were exchanged" in told
    assert "'load' were" not in told.replace("'load' were exchanged", "")
    assert not any("lie well apart" in line for line in good_lines(results))
