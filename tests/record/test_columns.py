"""CSV files as programs write them: any header, semicolons, decimal commas, sizes and angles."""

import numpy as np
import pytest

import rfcal
from rfcal.errors import RfcalError
from rfcal.maths.reflection import to_impedance
from tests.record.conftest import bend

HZ = np.linspace(50e6, 60e6, 11)


def columns_of(kind, frequency, reflection):
    """Header, and two columns of what a pair of names holds."""
    z = to_impedance(reflection)
    return {
        "r_ohm x_ohm": (z.real, z.imag),
        "re im": (reflection.real, reflection.imag),
        "magnitude degrees": (np.abs(reflection), np.degrees(np.angle(reflection))),
        "magnitude_db degrees": (
            20 * np.log10(np.abs(reflection)),
            np.degrees(np.angle(reflection)),
        ),
        "z_ohm degrees": (np.abs(z), np.degrees(np.angle(z))),
    }[kind]


def written(filed, kind, *, delimiter=",", decimal=".", head="", names=("F", "A", "B")):
    """Write the device's reading as such a file, and say so in the record."""
    reading = rfcal.read(filed / "raw/device.s1p")
    rows = zip(HZ / 1e3, *columns_of(kind, HZ, reading.reflection), "*" * 11, strict=True)
    lines = [
        delimiter.join([f"{v:.9f}".replace(".", decimal) for v in row[:3]] + ["x"]) for row in rows
    ]
    text = "\n".join([*head.splitlines(), delimiter.join([*names, "mark"]), *lines])
    (filed / "raw/device.csv").write_text(text)
    own = kind.split()
    stated = f'{{frequency_khz = "{names[0]}", {own[0]} = "{names[1]}", {own[1]} = "{names[2]}"}}'
    bend(filed, 'reading = "raw/device.s1p"', f'reading = "raw/device.csv"\ncolumns = {stated}')
    return filed


@pytest.mark.parametrize(
    "kind",
    ["r_ohm x_ohm", "re im", "magnitude degrees", "magnitude_db degrees", "z_ohm degrees"],
)
@pytest.mark.parametrize(
    ("delimiter", "decimal"), [(",", "."), (";", ","), ("\t", ","), (";", ".")]
)
def test_a_file_of_any_header_is_read_as_its_columns_say(filed, kind, delimiter, decimal):
    true = rfcal.compute(filed).device("device").reflection.value
    head = "made by hand; 12,5 degrees\n\n" if delimiter != "," else ""
    written(filed, kind, delimiter=delimiter, decimal=decimal, head=head)
    found = rfcal.compute(filed).device("device").reflection.value
    assert found == pytest.approx(true, abs=1e-7)


def test_a_header_of_our_names_needs_no_columns(filed, tmp_path):
    reading = rfcal.read(filed / "raw/device.s1p")
    rows = "".join(
        f"{f / 1e6:.6f};{abs(v):.9f};{np.degrees(np.angle(v)):.9f}\n".replace(".", ",")
        for f, v in zip(HZ, reading.reflection, strict=True)
    )
    file = tmp_path / "own.csv"
    file.write_text(f"Frequency_MHz;Magnitude;Degrees\n{rows}")
    assert rfcal.read(file).reflection == pytest.approx(reading.reflection, abs=1e-7)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"A"', '"C"', "none of its first 100 lines has the columns 'F', 'C', 'B'"),
        ("re = ", "rea = ", "columns rea: unknown key; the nearest known one is 're"),
        ("re = ", "r_ohm = ", "one pair of: r_ohm and x_ohm"),
        ("frequency_khz", "frequency_thz", "unknown key"),
        ('"B"', '"a"', "one column is named twice"),
        ('"F"', "3", "expected a table such as"),
        ("columns = {", 'decimal = "."\ncolumns = {', None),
        ("columns = {", 'delimiter = "|"\ncolumns = {', "'|' is none of"),
        ("device.csv", "device.s1p", "there is none"),
    ],
)
def test_what_does_not_go_with_the_file_is_refused(filed, old, new, words):
    written(filed, "re im")
    bend(filed, old, new)
    if words is None:
        assert rfcal.compute(filed).devices
        return
    with pytest.raises(RfcalError) as caught:
        rfcal.compute(filed)
    assert words in str(caught.value)


def test_how_a_file_is_written_is_not_said_of_what_was_typed(typed):
    bend(typed, "typed = [[14.1, 12.2, -4.6]]", 'decimal = ","\ntyped = [[14.1, 12.2, -4.6]]')
    with pytest.raises(RfcalError, match=r"'device'. decimal: .* there is none"):
        rfcal.compute(typed)


def test_a_bad_cell_is_named_by_its_line(filed):
    written(filed, "re im", delimiter=";", decimal=",")
    file = filed / "raw/device.csv"
    lines = file.read_text().splitlines()
    lines[4] = lines[4].replace(",", "-", 2)
    file.write_text("\n".join(lines))
    with pytest.raises(RfcalError, match=r"device.csv, line 5: expected 4 cells, of which three"):
        rfcal.compute(filed)
