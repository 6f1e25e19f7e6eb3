"""What is read again after the devices, and a check in a device's place: what they show."""

import json
import re

import numpy as np
import pytest

import rfcal
from rfcal.errors import RecordError
from rfcal.maths.reflection import from_impedance
from rfcal.record import export
from rfcal.record.job.compute import compute
from tests.record.conftest import BOX, touchstone

GRID = np.linspace(50e6, 60e6, 11)
AGAIN = '\n[[reread]]\nof = "{of}"\nreading = "raw/again.s1p"\n'
CHECK = (
    '\n[[check]]\nname = "120 ohm"\nresistance_ohm = 120\nat = "device"\nreading = "raw/far.s1p"'
)
LINE = '\n[[measurement.between]]\nline = "RG-213"\nlength_m = 4.0\nlength_uncertainty_m = 0.01'


def add(folder, text):
    with (folder / "record.toml").open("a") as file:
        file.write(text)


def read_again(folder, raw, of="short"):
    (folder / "raw/again.s1p").write_text(touchstone(GRID, raw))
    add(folder, AGAIN.format(of=of))
    return compute(folder)


def said(results, code):
    return [f.message for f in results.findings if f.code == code]


SHORT = BOX.apply(np.full(11, -1 + 0j))
LATE = np.arange(11) > 6


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (SHORT * np.exp(1j * np.radians(-4)), r"'short' has turned clockwise by 3\.8 degrees"),
        (SHORT * np.exp(1j * np.radians(4)), r"'short' has turned anticlockwise by \d"),
        (
            BOX.apply(np.full(11, from_impedance(3.0))),
            r"'short' has moved by up to 0.11 of reflection",
        ),
        (SHORT + 0.05 * LATE, "'short' has jumped at 57 MHz, "),
        (SHORT + 0.03 + 0.03j, "'short' has moved by up to 0.0"),
        (np.full(11, -1 + 0.01j), "as if the instrument corrected it itself"),
        (
            SHORT * np.exp(0.2j),
            "analyzer that drifted, a lead that was bent or a change of adapter",
        ),
    ],
)
def test_what_moved_is_named_with_its_change(filed, raw, words):
    before = compute(filed).devices[0].expanded_uncertainty()
    results = read_again(filed, raw)
    (message,) = said(results, "moved")
    assert re.search(words, message)
    assert np.any(results.devices[0].expanded_uncertainty() > 3 * before)
    assert any(source.startswith("moved since") for source in results.devices[0].budget)


@pytest.mark.parametrize(
    ("turn", "code", "words"),
    [
        (-4 * np.pi * GRID * 0.5 / (0.66 * 299_792_458), "lead-left", "of about 50 cm if it is"),
        (0.5 * GRID / 50e6, "moved", "a change of adapter"),
    ],
)
def test_a_lead_that_was_left_before_a_second_reading_is_told(filed, turn, code, words):
    """50 cm of solid polyethylene turn by 2 * 2 pi f l / (0.66 c)."""
    (message,) = said(read_again(filed, BOX.apply(-np.exp(1j * turn))), code)
    assert words in message


@pytest.mark.parametrize("points", [slice(7, 8), slice(None)])
def test_a_sign_of_x_that_one_of_two_readings_lost_is_told(filed, points):
    raw = SHORT * np.exp(-0.3j)
    (filed / "raw/short.s1p").write_text(touchstone(GRID, raw))
    raw[points] = np.conj(raw[points])
    (message,) = said(read_again(filed, raw), "moved")
    x = np.imag(50 * (1 + raw) / (1 - raw))[points][0]
    assert message.startswith("Look for a sign of X that was lost, first of all, then")
    assert f"X of the other sign, {-x:+.3g} and then {x:+.3g} ohm," in message


def test_what_did_not_move_widens_nothing_and_is_not_said(filed):
    before = compute(filed).devices[0].expanded_uncertainty()
    results = read_again(filed, BOX.apply(np.full(11, -1 + 0.002j)))
    assert not said(results, "moved")
    assert results.devices[0].expanded_uncertainty() == pytest.approx(before)
    (found,) = json.loads(b"".join(export.results_json(results)))["rereads"]
    assert found["of"] == "short"
    assert found["change"][0] == pytest.approx([0, 0.002], abs=1e-6)


def test_a_load_that_moved_has_no_angle_and_a_check_may_be_read_again_too(filed):
    results = read_again(filed, BOX.apply(np.full(11, 0.03 + 0j)), of="load")
    assert "'load' has moved by up to 0.03" in said(results, "moved")[0]
    (filed / "raw/check.s1p").write_text(touchstone(GRID, BOX.apply(np.full(11, 0.4 + 0j))))
    add(filed, '\n[[check]]\nname = "117"\nresistance_ohm = 117\nreading = "raw/check.s1p"')
    (filed / "raw/c.s1p").write_text(touchstone(GRID, BOX.apply(np.full(11, 0.3 + 0j))))
    add(filed, '\n[[reread]]\nof = "117"\nreading = "raw/c.s1p"\n')
    (message,) = said(compute(filed), "moved")
    assert "'117' has moved by up to 0.1 of reflection" in message
    assert ", and 'load' less far." in message


def test_a_reread_may_be_typed_at_some_of_the_frequencies(filed):
    z = rfcal.compute(filed).calibration.error_box.apply(np.full(11, -1 + 0j))[4]
    ohm = 50 * (1 + z) / (1 - z)
    add(filed, f'\n[[reread]]\nof = "short"\ntyped = [[54.0, {ohm.real:.2f}, {ohm.imag:.2f}]]')
    (again,) = compute(filed).rereads
    assert again.agrees
    assert np.abs(again.moved.change.value) < 0.003


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('of = "shrt"\nreading = "raw/short.s1p"', r"\[\[reread\]\] 1 .*'shrt'.*short, open, load"),
        ('of = "short"\nreading = "raw/short.s1p"', "connect it once more after the devices"),
        ('of = "short"\ntyped = [[54.3, 0, 1]]', "read it again at those, or at some of them"),
        ('of = "short"', "give the raw reading by exactly one of"),
    ],
)
def test_a_reread_that_is_none_is_refused(filed, text, words):
    add(filed, f"\n[[reread]]\n{text}\n")
    with pytest.raises(RecordError, match=words):
        compute(filed)


def behind_a_line(folder, ohm, length_m=4.0):
    """What is read of a resistor at the far end of a cable."""
    box = BOX @ rfcal.cable("RG-213", length_m).two_port(GRID).bilinear(50.0)
    raw = box.apply(np.full(11, complex(from_impedance(ohm))))
    (folder / "raw/far.s1p").write_text(touchstone(GRID, raw))


@pytest.mark.parametrize(("length_m", "agrees"), [(4.0, True), (4.03, True), (4.5, False)])
def test_a_check_in_the_devices_place_shows_a_wrong_path(filed, length_m, agrees):
    add(filed, LINE)
    behind_a_line(filed, 120.0, length_m)
    add(filed, CHECK)
    results = compute(filed)
    assert results.checks[0].agrees is agrees
    assert len(said(results, "no-check")) == 1  # what is wrong behind the line may be before it
    if agrees:
        assert np.abs(results.checks[0].measured.value - from_impedance(120)).max() < 0.06
    else:
        (message,) = said(results, "check-disagrees")
        assert "the length of the line before 'device' were 4.5 m" in message


@pytest.mark.parametrize(("doubt", "blunt"), [(0.01, False), (0.2, True), (5.0, True)])
def test_a_check_behind_what_is_hardly_known_says_little_by_agreeing(filed, doubt, blunt):
    add(filed, LINE.replace("0.01", str(doubt)))
    behind_a_line(filed, 120.0, 4.03)
    add(filed, CHECK)
    results = compute(filed)
    assert results.checks[0].agrees
    told = said(results, "check-blunt")
    assert bool(told) is blunt
    if doubt > 1:
        assert "off by full reflection or more." in told[0]
    elif blunt:
        share = float(re.search(r"by some (\d+)% of full reflection", told[0])[1]) / 100
        # R of 120 ohm reflects 0.41, and 0.2 m of doubt turn that round by 1.96 k radians
        turned = 2 * 2 * np.pi * 55e6 / (0.66 * 3e8) * 0.2
        assert share == pytest.approx(0.41 * 2.45 * turned, rel=0.1)


def test_a_check_in_no_devices_place_is_refused(filed):
    behind_a_line(filed, 120.0)
    add(filed, CHECK.replace('at = "device"', 'at = "antenna"'))
    with pytest.raises(RecordError, match="at: 'antenna' is none of device"):
        compute(filed)


def test_a_second_reading_that_is_another_standards_tells_of_an_exchange(filed):
    for name, value in (("short", 1), ("open", -1)):
        text = touchstone(GRID, BOX.apply(np.full(11, value + 0j)))
        (filed / f"raw/{name}.s1p").write_text(text)
    (message,) = said(read_again(filed, BOX.apply(np.full(11, -0.9999 + 0j))), "moved")
    assert "come to read as 'open' did" in message
    assert "an exchange of 'short' and 'open'" in message


def test_standards_that_the_instrument_corrected_are_told(filed):
    assert not said(compute(filed), "standards-corrected")
    for name, value in (("short", -1), ("open", 1), ("load", 0.01)):
        text = touchstone(GRID, np.full(11, value + 0.005j))
        (filed / f"raw/{name}.s1p").write_text(text)
    assert "instrument's own correction was on" in said(compute(filed), "standards-corrected")[0]


def test_a_check_is_read_again_of_an_instrument_that_corrects_itself(tmp_path):
    (tmp_path / "record.toml").write_text(
        'format = 1\n[record]\ntitle = "self"\n[analyzer]\nresidual_directivity = 0.01\n'
        '[[check]]\nname = "33 ohm"\nresistance_ohm = 33\ntyped = [[14.1, 33.2, 0.4]]\n'
        '[[measurement]]\nname = "device"\ntyped = [[14.1, 12.2, -4.6]]\n'
        '[[reread]]\nof = "33 ohm"\ntyped = [[14.1, 36.2, 3.4]]\n'
    )
    results = compute(tmp_path)
    assert "'33 ohm' has moved by up to 0.059" in said(results, "moved")[0]
    # of standards that are not there nothing is said
    assert [f.code for f in results.findings if f.severity == "warning"] == ["moved"]


@pytest.mark.parametrize(("of", "enough"), [("short", True), ("open", True), ("load", False)])
def test_a_load_read_again_shows_no_lead_of_its_impedance(filed, of, enough):
    ideal = {"short": -1, "open": 1, "load": 0}[of]
    found = read_again(filed, BOX.apply(np.full(11, ideal + 0j)) + 1e-4, of)
    assert found.rereads[0].agrees
    assert bool(said(found, "no-reread")) != enough
    if not enough:
        assert said(found, "no-reread")[0].startswith("Read 'short' once more right after 'device'")
