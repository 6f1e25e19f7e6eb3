"""Rows typed off a display with a slip: told where no other row explains them, else never."""

import re

import numpy as np
import pytest

from rfcal.maths.bilinear import Bilinear
from rfcal.maths.reflection import from_impedance, swr, to_impedance
from rfcal.record.findings.catalogue.devices import UNSEEN
from rfcal.record.findings.readings.mistyped import mistyped, typed_rows
from rfcal.record.format.reading import Reading
from rfcal.record.format.schema import load, parse

ROWS = [[7.0, 67.1, -13.4], [7.05, 66.1, -3.0], [7.1, 65.1, 7.3], [7.15, 64.4, 17.3]]
DIPOLE = np.array(
    [[34.2, -5.7], [36.6, 4.9], [39.5, 15.7], [42.7, 26.7], [46.4, 38.0], [50.6, 49.4]]
)
"""R and X [ohm] of a dipole whose X goes through zero, and its frequencies [MHz]."""
MHZ = np.linspace(13.9, 14.4, 6).round(1)
POLAR = "magnitude, angle"


def typed_of(mhz, z, shown, places=1):
    """What is typed off a display of this, of so many places of ohms and one more of SWR."""
    if shown == POLAR:
        x = from_impedance(z)
        columns = mhz, np.abs(x).round(places + 2), np.degrees(np.angle(x)).round(places)
        return Reading(
            typed_reflection=np.stack(columns, -1).tolist(),
            steps=(10.0 ** (-places - 2), 0.1**places),
        )
    if shown == "R, |X|":
        z = z.real + 1j * np.abs(z.imag)
    if "X" in shown:
        rows = np.stack([mhz, z.real.round(places), z.imag.round(places)], -1).tolist()
        step = 10.0**-places
        return Reading(typed=rows, steps=(step, step), sign_known="|" not in shown)
    sizes, ratio = np.abs(z).round(places), swr(from_impedance(z)).round(places + 1)
    rows = {
        "typed_z": np.stack([mhz, sizes], -1).tolist() if "|Z|" in shown else None,
        "typed_swr": np.stack([mhz, ratio], -1).tolist() if "SWR" in shown else None,
    }
    return Reading(**rows, steps=(10.0**-places, 10.0 ** -(places + 1)))


def slip_in(reading, row, at, slip, key="typed"):
    """What is said of the same reading with another number in one row, and without."""
    said = [typed_rows(reading, 50.0).odd_row()]
    getattr(reading, key)[row][at] = slip
    return *said, typed_rows(reading, 50.0).odd_row()


@pytest.mark.parametrize(
    ("row", "at", "slip"),
    [(1, 1, 6.6), (2, 2, -7.3), (0, 2, 13.4), (2, 1, 56.1), (2, 1, 651.0), (2, 1, 5.1)],
)
def test_a_row_with_a_slip_among_typed_ones_is_told(typed, row, at, slip):
    good = ROWS[row][at]
    text = re.sub(
        r"(?s)typed = \[\[.*?\]\]", f"typed = {ROWS}", (typed / "record.toml").read_text()
    )
    odd = [list(one) for one in ROWS]
    odd[row][at] = slip
    device = text.rindex(str(ROWS))
    said = []
    for rows in (ROWS, odd):
        bent = text[:device] + text[device:].replace(str(ROWS), str(rows), 1)
        found = mistyped(parse(typed, bent.encode()))
        said.append([finding.message for finding in found if finding.code == "mistyped"])
    assert said[0] == []
    (message,) = said[1]
    assert f"= {slip:.1f} ohm does not fit" in message
    assert float(re.search(r"and (\S+) would", message)[1]) == pytest.approx(good, abs=0.5)


@pytest.mark.parametrize(
    ("at", "slip", "part", "meant"),
    [
        (1, 24.7, "R", 42.7),
        (1, 4.3, "R", 43),
        (2, 62.7, "X", 26.7),
        (2, 2.7, "X", 27),
        (2, 6.7, "X", 26.7),
    ],
)
def test_a_slip_is_told_where_the_display_shows_no_sign(at, slip, part, meant):
    reading = typed_of(MHZ, DIPOLE @ [1, 1j], "R, |X|")
    before, found = slip_in(reading, 3, at, slip)
    assert before == {}
    assert (found["mhz"], found["part"], found["meant"]) == (14.2, part, pytest.approx(meant))


@pytest.mark.parametrize(
    ("row", "key", "slip", "meant"),
    [
        (3, "typed_swr", 1.18, 1.81),
        (3, "typed_swr", 18.1, 1.81),
        (3, "typed_swr", 8.81, 1.81),
        (2, "typed_z", 425.0, 42.5),
    ],
)
def test_a_slip_is_told_of_sizes(row, key, slip, meant):
    reading = typed_of(MHZ, DIPOLE @ [1, 1j], "|Z|, SWR")
    before, found = slip_in(reading, row, 1, slip, key)
    assert before == {}
    assert (found["mhz"], found["meant"]) == (pytest.approx(MHZ[row]), pytest.approx(meant))
    assert found["part"] == {"typed_swr": "SWR", "typed_z": "|Z|"}[key]


TURNING = [[14.0, 0.391, -82.1], [14.1, 0.349, -86.9], [14.2, 0.304, -92.5], [14.3, 0.258, -98.9]]
"""Magnitude and angle of a dipole below its resonance."""


@pytest.mark.parametrize(
    ("row", "at", "slip", "part"),
    [
        (2, 2, 92.5, "angle = 92.5 degrees"),
        (1, 2, -68.9, "angle = -68.9 degrees"),
        (1, 1, 0.439, "magnitude = 0.439"),
        (1, 1, 0.0349, "magnitude = 0.0349"),
    ],
)
def test_a_slip_is_told_of_a_magnitude_and_an_angle(row, at, slip, part):
    step = 0.0001 if slip == 0.0349 else 0.001
    reading = Reading(typed_reflection=[[*one] for one in TURNING], steps=(step, 0.1))
    before, found = slip_in(reading, row, at, slip, "typed_reflection")
    assert before == {}
    assert f"{found['part']} = {found['written']}" == part
    assert (found["mhz"], found["meant"]) == (TURNING[row][0], TURNING[row][at])


LOOP = [[28.0, 36.4, 54.2], [28.3, 47.5, 57.5], [28.6, 62.6, 57.3], [28.9, 81.3, 49.2]]
CABLE = """
[[measurement.between]]
line = "RG-58C"
length_m = 2.0
"""
"""R and X of a loop behind 2 m of cable, where they bend too much to tell, and that cable."""


@pytest.mark.parametrize(("lines", "told"), [(CABLE, True), ("", False)])
def test_a_row_of_a_device_is_judged_by_its_course_behind_a_stated_line(typed, lines, told):
    text = (typed / "record.toml").read_text()
    before, device = text.split("[[measurement]]")
    device = (
        re.sub(r"typed = \[\[.*?\]\]", f"typed = {[*LOOP, [29.2, 96.4, 28.7]]}", device) + lines
    )
    said = []
    for tables in (device, device.replace("57.5", "75.5")):
        found = mistyped(parse(typed, f"{before}[[measurement]]{tables}".encode()))
        said.append([f.message for f in found if f.code == "mistyped" and "'device'" in f.message])
    assert said[0] == []
    assert ["X = 75.5 ohm does not fit the rows beside it, and 57.5" in m for m in said[1]] == (
        [True] * told
    )


NEAR = np.array([39.7 - 19.6j, 40.4 - 15.5j, 40.9 - 11.6j, 41.4 - 7.5j, 41.7 - 5.5j])
"""Of a dipole near its resonance [ohm], at `NEAR_MHZ`."""
NEAR_MHZ = np.array([14.0, 14.1, 14.2, 14.3, 14.35])


@pytest.mark.parametrize(
    ("at", "slip", "meant"), [(1, 44.0, 40.4), (1, 48.4, 40.4), (1, 45.4, 40.4), (2, -11.5, -15.5)]
)
def test_a_digit_that_moves_one_number_by_a_tenth_is_told(at, slip, meant):
    before, found = slip_in(typed_of(NEAR_MHZ, NEAR, "R, X"), 1, at, slip)
    assert before == {}
    assert (found["mhz"], found["meant"]) == (14.1, meant)


def test_two_digits_exchanged_across_the_point_of_a_load_are_told():
    before, found = slip_in(typed_of(NEAR_MHZ, 52.9 - 2.2j + 0 * NEAR, "R, X"), 1, 1, 59.2)
    assert (before, found["written"], found["meant"]) == ({}, "59.2 ohm", 52.9)


COARSE = 57 - 1j + (30 + 55j) * (NEAR_MHZ - 14.2)
"""Five rows [ohm] of which a display may show integer ohms, at `NEAR_MHZ`."""


@pytest.mark.parametrize(
    ("row", "at", "slip", "meant"),
    [(2, 1, 75.0, 57), (1, 1, 45.0, 54), (3, 1, 6.0, 60), (2, 1, 570.0, 57), (0, 2, 12.0, -12)],
)
def test_a_slip_in_five_rows_of_integer_ohms_is_told_or_not_judged(row, at, slip, meant):
    before, found = slip_in(typed_of(NEAR_MHZ, COARSE, "R, X", places=0), row, at, slip)
    assert not before
    if abs(slip - meant) < 16:  # as many steps as a row must be off
        assert found is None
    else:
        assert (found["mhz"], found["meant"]) == (NEAR_MHZ[row], meant)


@pytest.mark.parametrize(
    ("places", "rows", "z", "judged"),
    [
        (1, 5, COARSE, True),
        (0, 5, 2 * COARSE, True),
        (0, 5, COARSE, False),  # another digit must move 57 by 32 to be told
        (1, 3, COARSE, False),  # too few
        (1, 1, COARSE, False),
        (1, 5, COARSE * [1, 1, 3, 1, 1], False),  # nothing smooth beside it
    ],
)
def test_rows_that_cannot_be_judged_are_told_apart_from_rows_without_a_slip(
    places, rows, z, judged
):
    found = typed_rows(typed_of(NEAR_MHZ[:rows], z[:rows], "R, X", places), 50.0).odd_row()
    assert found == ({} if judged else None)


FINE = [[one, z.real, z.imag] for one, z in zip(NEAR_MHZ, COARSE + 0.1 + 0.1j, strict=True)]
MANY = "typed = " + str(np.round(FINE, 2).tolist())


def test_what_was_typed_and_cannot_be_judged_is_told_once_among_what_would_not_show(typed):
    text = (typed / "record.toml").read_text()
    device = text[text.index("[[measurement]]") :]
    again = device.replace('name = "device"', 'name = "again"')
    whole = re.sub(r"typed = \[\[.*?\]\]", MANY, device)
    for tables, names in (
        (device + "\n" + again, "'device' and 'again'"),
        (whole + "\n" + again, "'again'"),
        (whole, ""),
    ):
        record = parse(typed, (text.replace(device, "") + tables).encode())
        said = [f for f in mistyped(record) if f.code == "typed-unseen"]
        assert [f"typed of {names} with" in f.message for f in said] == [True] * bool(names)
        assert {f.code for f in said} <= set(UNSEEN)


def test_nothing_is_typed_wrong_in_a_file(filed):
    assert list(mistyped(load(filed))) == []


@pytest.mark.parametrize(("places", "shown"), [(0, "R, X"), (1, "R, X"), (1, POLAR)])
def test_of_honest_rows_with_narrow_dips_hardly_one_looks_like_a_slip(places, shown):
    """Smooth, resonant, or with a dip of Q up to 30,000, many right on a row."""
    rng, told = np.random.default_rng(1), 0
    for i in range(600):
        count, span = rng.integers(3, 13), 10 ** rng.uniform(-2.3, 0)
        f = np.linspace(1 - 0.4 * span, 1 + 0.4 * span, count)
        at = rng.choice(f) if rng.random() < 0.3 else rng.uniform(f[0], f[-1])
        r, off = 10 ** rng.uniform(0.5, 2.5), f / at - at / f
        smooth = r + 1j * (rng.uniform(-200, 200) + 300 * (f - 1))
        dip = 10 ** rng.uniform(-2, 0.5) / (1 + 1j * 10 ** rng.uniform(2, 4.5) * off)
        z = [
            smooth,
            r * (1 + 1j * 10 ** rng.uniform(0, 2.5) * off),
            smooth + r * dip,
            smooth / (1 + dip),
        ][i % 4]
        z = z * (1 + 10 ** rng.uniform(-4.5, -3) * rng.normal(size=(count, 2)) @ [1, 1j])
        told += bool(typed_rows(typed_of(7 * f, z, shown, places), 50.0).odd_row())
    assert told <= 2


def test_two_digits_exchanged_in_a_load_are_named_with_the_zero_that_was_typed():
    reading = typed_of(MHZ, 48.8 - 3.5j + 0 * MHZ, "|Z|, SWR")
    before, found = slip_in(reading, 3, 1, 1.80, "typed_swr")
    assert (before, found["written"], found["meant"]) == ({}, "1.80", 1.08)


@pytest.mark.parametrize(
    ("row", "at", "slip", "meant"),
    [(0, 2, 5.7, -5.7), (5, 2, -49.4, 49.4)],
)
def test_a_slip_in_the_first_or_last_row_is_told_though_the_others_bend(row, at, slip, meant):
    before, found = slip_in(typed_of(MHZ, DIPOLE @ [1, 1j], "R, X"), row, at, slip)
    assert before == {}
    assert (found["mhz"], found["meant"]) == (pytest.approx(MHZ[row]), meant)


def test_a_row_of_a_standard_in_which_both_numbers_stick_out_is_told():
    reading = typed_of(MHZ, 48.8 - 3.5j + 0 * MHZ, "|Z|, SWR")
    reading.typed_z[3][1], reading.typed_swr[3][1] = 47.4, 1.39
    assert not typed_rows(reading, 50.0).odd_row()  # as of a device with a sharp resonance
    found = typed_rows(reading, 50.0).odd_row(still=True)
    assert (found["mhz"], found["written"], found["meant"]) == (14.2, "1.39", 1.08)


@pytest.mark.parametrize("shown", ["R, X", "|Z|, SWR", POLAR])
def test_noise_of_an_open_is_no_slip(shown):
    """At 1200 ohm that of an ordinary analyzer moves R and X by some ohm, and 0.1 ohm is shown."""
    rng, mhz = np.random.default_rng(2), 14.2 * 1.03 ** np.arange(4)
    sound = from_impedance(280 - 1180j * (14.2 / mhz) ** 0.2)
    for _ in range(400):
        seen = sound + 0.0003 * (rng.standard_normal(4) + 1j * rng.standard_normal(4))
        reading = typed_of(mhz, to_impedance(seen), shown)
        assert not typed_rows(reading, 50.0).odd_row(still=True), reading
    before, found = slip_in(typed_of(mhz, to_impedance(sound), "R, X"), 1, 1, 820.0)
    assert (before, found["meant"]) == ({}, 280.0)


@pytest.mark.parametrize("shown", ["R, X", "R, |X|", "|Z|, SWR", "|Z|", "SWR", POLAR])
def test_honest_resonances_at_coarse_steps_have_no_slip(shown):
    """Series, parallel, spurious and double ones of Q up to 200, bare or behind a lossy line."""
    rng = np.random.default_rng(1)
    for i in range(1200 if shown in ("R, X", POLAR) else 300):
        count, span, q = rng.integers(4, 12), 10 ** rng.uniform(-2, 0), 10 ** rng.uniform(0, 2.3)
        f = np.linspace(1 - 0.4 * span, 1 + 0.4 * span, count)
        r, turn = 10 ** rng.uniform(0.3, 2.8), q * (f / (at := 1 + rng.uniform(-0.6, 0.6) * span))
        detuned = turn - q * at / f
        z = [
            r * (1 + 1j * detuned),
            r * q / (1 + 1j * detuned),
            r / (1 + 1j * detuned) + 30 + 100j * f,
            1 / (1 / (r * (1 + 1j * detuned)) + 1 / (40 * (1 + 1j * (detuned + q / 10)))),
        ][i % 4]
        if rng.random() < 0.5:
            lossy = from_impedance(z) * np.exp(-0.05 - 1j * f * rng.uniform(1, 40))
            z = 50 * (1 + lossy) / (1 - lossy)
        found = typed_rows(typed_of(7 * f, z, shown), 50.0)
        assert not found.odd_row(), found
        if found.signed:  # behind a line that is not what it is said to be
            box = Bilinear.section(
                rng.uniform(-0.2, 0.2), 0.9 * np.exp(-1j * f * rng.uniform(1, 40))
            )
            assert not found.behind(box).odd_row(), found
