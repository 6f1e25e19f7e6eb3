"""Bad input: one clear sentence naming file, key or line, status 2, nothing written."""

import os

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.errors import RfcalError
from rfcal.record.job import compute
from tests.record.conftest import bend, touchstone

pytestmark = pytest.mark.usefixtures("undrawn")

BAD_KEYS = [
    ("format = 1", "format = 2", ["record.toml", "format"]),
    ("format = 1", "format = true", ["format"]),
    ("format = 1", "format = 1\nformat = 1", ["record.toml", "line 8"]),
    ("reference_ohm = 50 ", "reference_ohms = 50.0", ["reference_ohms", "'reference_ohm'"]),
    ("reference_ohm = 50 ", "reference_ohm = 0", ["reference_ohm", "at least 0.001"]),
    ("reference_ohm = 50 ", 'reference_ohm = "50"', ["reference_ohm", "number"]),
    ("reference_ohm = 50 ", "reference_ohm = nan", ["reference_ohm", "finite"]),
    ("reference_ohm = 50 ", "seed = -1", ["seed"]),
    ('title = "My first record"', "title = 7", ["title", "text"]),
    ('title = "My first record"', "", ["title", "missing"]),
    ("date = 2026-01-31", 'date = "yesterday"', ["date", "2026-05-16"]),
    ("noise = 0.0005", "noise = -1", ["noise", "at least 0"]),
    ("noise = 0.0005", "noise = 1e300", ["noise", "beyond any measurement"]),
    ("noise = 0.0005", "noise = true", ["noise", "number"]),
    ("noise = 0.0005", "noise = 60", ["noise", "60 is above 1"]),
    ("drift = 0.0005", "drift = -0.1", ["drift", "at least 0"]),
    ("drift = 0.0005", "x_sign = 1", ["x_sign", "[[check]] or [[measurement]]"]),
    ("drift = 0.0005", "residual_directivity = 0.01", ["residual_directivity", "one of the two"]),
    ('kind = "short"', 'kind = "shorted"', ["[[standard]] 1 ('short')", "kind", "short, open"]),
    ('kind = "short"', "", ["[[standard]] 1", "kind", "missing"]),
    ("inductance = [0.3e-9]", "inductance = '0.3 nH'", ["inductance", "list"]),
    ("inductance = [0.3e-9]", "inductance = [1, 2, 3, 4, 5]", ["inductance", "one to four"]),
    ("inductance = [0.3e-9]", "capacitance = [1e-15]", ["capacitance", "kind 'short'"]),
    ("resistance_ohm = 49.9 ", "resistence_ohm = 49.9 ", ["resistence_ohm", "'resistance_ohm'"]),
    ("typed = [[14.1, 2.6, 9.3]]", "", ["[[standard]] 1", "reading"]),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = []", ["typed", "MHz, R ohm, X ohm"]),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[14.1, 2.6]]", ["typed", "row 1"]),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[14.1, inf, 9.3]]", ["typed, row 1", '">999"']),
    (
        "typed = [[14.1, 2.6, 9.3]]",
        'typed = [[14.1, 2.6, "->999"]]',
        ["typed, row 1", "for either sign"],
    ),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[14.2, 2.6, 9.3]]", ["14.2 MHz", "14.1 MHz"]),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[-1, 2.6, 9.3]]", ["below 1 Hz"]),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[14.1, -50, 0]]", ["no reading"]),
    (
        "typed = [[14.1, 2.6, 9.3]]",
        "typed = [[14.1, 2.6, 9.3], [14.1, 2.6, 9.3]]",
        ["point 2", "repeats"],
    ),
    (
        "typed = [[14.1, 2.6, 9.3]]",
        "typed = [[14.1, 2.6, 9.3], [14.0, 2.6, 9.3]]",
        ["point 2", "ascend"],
    ),
    (
        "typed = [[14.1, 2.6, 9.3]]",
        'typed = [[14.1, 2.6, 9.3]]\nreading = "raw.s1p"',
        ["exactly one"],
    ),
    ("typed = [[14.1, 2.6, 9.3]]", 'reading = "raw.s1p"', ["reading", "no file 'raw.s1p'"]),
    ("typed = [[14.1, 2.6, 9.3]]", 'reading = "../x.s1p"', ["inside the record's folder"]),
    ("typed = [[14.1, 2.6, 9.3]]", 'reading = "/etc/passwd"', ["inside the record's folder"]),
    ("typed = [[14.1, 2.6, 9.3]]", 'reading = ["a.s1p"]', ["two or more"]),
    ("typed = [[14.1, 2.6, 9.3]]", "reading = [1, 2]", ["two or more"]),
    ("typed = [[14.1, 2.6, 9.3]]", 'reading = ["a.s1p", "b.s1p"]', ["no file 'a.s1p'"]),
    ('name = "open"', 'name = "short"', ["[[standard]] 2", "twice"]),
    ('name = "33 ohm resistor"', 'name = "load"', ["[[check]] 1", "cannot contradict"]),
    ("resistance_ohm = 33.0", "", ["[[check]] 1", "kind"]),
    ("[[measurement]]", "[[measurment]]", ["measurment", "'measurement'"]),
    ('name = "device"', 'name = "device"\nanswer_mhz = 20', ["answer_mhz", "14.1 MHz"]),
    (
        'name = "device"',
        'name = "device"\nanswer_mhz = 14100',
        ["1/1,000 of that: give answer_mhz in MHz, or look at the unit of the readings"],
    ),
    ('name = "device"', 'name = "device"\nanswer_mhz = 0', ["answer_mhz", "above 0"]),
    ('name = "device"', 'name = "device"\nbetween = 3', ["between", "[[measurement.between]]"]),
    (
        "capacitance = [50e-15]",
        "capacitance = [0.05]",
        ["('open') capacitance: 0.05 F is beyond any", "write F with", "such as 50e-15"],
    ),
    (
        "inductance = [0.3e-9]",
        "inductance = [0,3e-9]",
        ["('short') inductance: 3e-09 H/Hz is beyond any", "a decimal point, such as 0.3e-9"],
    ),
    ("typed = [[14.1, 2.6, 9.3]]", "typed = [[14.1, 2.6, 9.3]", ["is no TOML, here or above it"]),
]


def refused(folder, fragments, capsys, tmp_path):
    output = tmp_path / "out"
    assert main(["report", str(folder), "--output", str(output)]) == 2
    said = capsys.readouterr().err.strip()
    assert said.startswith("rfcal: ")
    assert "\n" not in said
    assert "Traceback" not in said
    for fragment in fragments:
        assert fragment in said, said
    assert not output.exists()


@pytest.mark.parametrize(("old", "new", "fragments"), BAD_KEYS)
def test_bad_keys(typed, capsys, tmp_path, old, new, fragments):
    bend(typed, old, new)
    refused(typed, fragments, capsys, tmp_path)


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        ('line = "measured"', ["between 1", "far_end_open", "missing"]),
        ('line = "measured"\nlength_m = 3', ["length_m", "no meaning"]),
        ('line = "RG-999"\nlength_m = 3', ["line", "RG-213", "velocity_factor"]),
        ('line = "RG-213"', ["length_m", "missing"]),
        ('line = "RG-213"\nlength_m = -1', ["length_m", "at least 0"]),
        ('line = "RG-213"\nlength_m = 3\nvelocity_factor = 1.2', ["faster than light"]),
        ('line = "RG-213"\nlength_m = 3\nloss_db_per_100m = [[10]]', ["loss_db_per_100m", "row 1"]),
        ('line = "RG-213"\nlength_m = 3\nloss_db_per_100m = [[10, 0]]', ["above zero"]),
        ('line = "RG-213"\nlenght_m = 3', ["lenght_m", "'length_m'"]),
        ('adapter = "no.s2p"', ["adapter", "no file"]),
        ('line = "RG-213"\nadapter = "x.s2p"', ["exactly one"]),
        ('line = "RG-213"\nlength_m = 3\nadd = 1', ["add", "true or false"]),
    ],
)
def test_bad_paths(typed, capsys, tmp_path, text, fragments):
    with (typed / "record.toml").open("a") as file:
        file.write(f"\n[[measurement.between]]\n{text}\n")
    refused(typed, fragments, capsys, tmp_path)


@pytest.mark.parametrize(
    ("line", "cure"),
    [
        ("date = 31.1.2026", "a date is written 2026-05-16"),
        ("typed = [[14.1 12.2 -4.6]]", "a comma between them"),
        ("typed = [[14.1, >999, 0]]", 'texts and ">999" stand in quotes'),
        ("name = device", "texts and"),
        ("name load", "key = value"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_with_what_it_was_to_be(
    typed, capsys, tmp_path, line, cure
):
    (typed / "record.toml").write_text(f"format = 1\n{line}\n")
    refused(typed, [f"record.toml, line 2: '{line}' is no TOML", cure], capsys, tmp_path)


def test_of_a_file_that_is_not_there_the_nearest_in_its_folder_is_told(typed, capsys, tmp_path):
    (typed / "raw").mkdir()
    for name in ("Whip.s1p", "other.csv"):
        (typed / "raw" / name).touch()
    bend(typed, "typed = [[14.1, 2.6, 9.3]]", 'reading = "raw/whip.S1P"')
    said = ["no file 'raw/whip.S1P' in", "; the nearest is 'raw/Whip.s1p'"]
    refused(typed, said, capsys, tmp_path)


def test_rows_that_stand_in_two_keys_are_to_stand_in_one(typed, capsys, tmp_path):
    file = typed / "record.toml"
    line = "typed = [[14.1, 51.9, 3.1]]"
    text = file.read_text()
    assert text.count(line) == 1
    file.write_text(text.replace(line, f"{line}\n{line.replace('14.1', '15.0')}"))
    at = text[: text.index(line)].count("\n") + 2
    said = [f"record.toml, line {at}: 'typed = [[15.0, ", "no key stands twice", "rows go"]
    refused(typed, said, capsys, tmp_path)


def test_a_key_in_a_wrong_table_is_told_where_it_belongs(typed, capsys, tmp_path):
    with (typed / "record.toml").open("a") as file:
        file.write("\n[match]\nlength_m = 3.0\n")
    fragments = ["length_m", "stands in [[measurement.between]] or [line_check]"]
    refused(typed, fragments, capsys, tmp_path)


def test_missing_record_and_bad_toml(typed, capsys, tmp_path):
    refused(tmp_path / "nowhere", ["no record.toml", "rfcal new"], capsys, tmp_path)
    refused(typed / "record.toml", ["this is a file", "named by the folder"], capsys, tmp_path)
    (typed / "record.toml").write_text("format = = 1")
    refused(typed, ["no TOML", "line 1"], capsys, tmp_path)
    (typed / "record.toml").write_bytes(b"\xff\xfe")
    refused(typed, ["UTF-8"], capsys, tmp_path)


def test_too_few_standards(typed, capsys, tmp_path):
    text = (typed / "record.toml").read_text()
    start, end = text.index('[[standard]]\nname = "load"'), text.index("# Something that is no")
    (typed / "record.toml").write_text(text[:start] + text[end:])
    refused(typed, ["three", "2 are there"], capsys, tmp_path)


def test_link_that_leads_outside(filed, capsys, tmp_path):
    outside = tmp_path / "outside.s1p"
    outside.write_text(touchstone(np.array([1e6]), np.array([0.1])))
    (filed / "raw/device.s1p").unlink()
    os.symlink(outside, filed / "raw/device.s1p")
    refused(filed, ["link", "outside"], capsys, tmp_path)


def test_grids_that_do_not_overlap(filed, capsys, tmp_path):
    text = touchstone(np.linspace(61e6, 62e6, 5), np.array([0.1]))
    (filed / "raw/device.s1p").write_text(text)
    refused(filed, ["'device'", "50 to 60 MHz", "61 to 62 MHz", "extrapolated"], capsys, tmp_path)
    with pytest.raises(RfcalError, match="extrapolated"):
        compute.inspect(filed)


def test_standards_on_different_grids(filed, capsys, tmp_path):
    text = touchstone(np.linspace(50e6, 60e6, 5), np.array([0.1]))
    (filed / "raw/open.s1p").write_text(text)
    refused(filed, ["[[standard]] 2 ('open')", "5 points", "11 points"], capsys, tmp_path)


def test_one_sweep_saved_twice(filed, capsys, tmp_path):
    (filed / "raw/open.s1p").write_text((filed / "raw/short.s1p").read_text())
    refused(
        filed, ["'short' and 'open'", "read alike", "50 to 60 MHz", "saved twice"], capsys, tmp_path
    )


def test_check_with_a_standards_own_sweep(filed, capsys, tmp_path):
    with (filed / "record.toml").open("a") as file:
        file.write('[[check]]\nname = "again"\nreading = "raw/load.s1p"\nresistance_ohm = 50\n')
    refused(filed, ["[[check]] 1 ('again')", "'load'", "cannot contradict"], capsys, tmp_path)


@pytest.mark.parametrize(
    ("content", "fragments"),
    [
        ("", ["raw/device.s1p", "empty"]),
        ("5e7 0 0\n", ["raw/device.s1p", "option line"]),
        ("# Hz S RI R 50\n", ["raw/device.s1p", "empty"]),
        ("# Hz S RI R 50\n5e7 0.1\n", ["line 2", "cut off"]),
        (
            "# Hz S RI R 50\n5e7 1 2 3 4 5 6 7 8\n",
            ["line 2", "ends in .s2p", "its S11 is read"],
        ),
        ("# Hz S RI R 50\n5e7 0,1 0,2\n", ["line 2", "point for the decimals"]),
        ("# Hz S RI R 50\n5e7 nan 0\n", ["line 2", "finite"]),
        ("# Hz S RI R 50\n5e7 0 0\n5e7 0 0\n", ["raw/device.s1p", "point 2", "repeats"]),
        ("# Hz S RI R 50\n0 0 0\n5e7 0 0\n", ["raw/device.s1p", "zero"]),
        ("# Hz S RI R -50\n5e7 0 0\n", ["raw/device.s1p", "reference impedance"]),
    ],
)
def test_bad_sweeps(filed, capsys, tmp_path, content, fragments):
    (filed / "raw/device.s1p").write_text(content)
    refused(filed, fragments, capsys, tmp_path)


@pytest.mark.parametrize(
    ("content", "fragments"),
    [
        ("", ["line 1", "header"]),
        ("frequency,r,x\n1,2,3\n", ["line 1", "header"]),
        ("frequency_mhz,r_ohm,x_ohm\n", ["empty"]),
        ("frequency_mhz,r_ohm,x_ohm\n50,1\n", ["line 2", "three finite numbers"]),
        ("frequency_mhz,r_ohm,x_ohm\n50,1,inf\n", ["line 2", "three finite numbers"]),
        ("frequency_mhz,re,im\n50,0,0\n49,0,0\n", ["point 2", "ascend"]),
    ],
)
def test_bad_csv(filed, capsys, tmp_path, content, fragments):
    (filed / "raw/device.csv").write_text(content)
    bend(filed, "raw/device.s1p", "raw/device.csv")
    refused(filed, fragments, capsys, tmp_path)


def test_output_that_exists_is_not_touched(typed, capsys, tmp_path):
    output = tmp_path / "out"
    output.mkdir()
    (output / "results.json").write_text("mine")
    assert main(["report", str(typed), "--output", str(output)]) == 2
    assert "--force" in capsys.readouterr().err
    assert (output / "results.json").read_text() == "mine"
    assert [p.name for p in output.iterdir()] == ["results.json"]
    assert main(["report", str(typed), "--output", str(output), "--force"]) == 0
    assert (output / "results.json").read_text() != "mine"


def test_force_never_takes_a_raw_reading(filed, capsys):
    (filed / "device.s1p").write_bytes((filed / "raw/device.s1p").read_bytes())
    bend(filed, "raw/device.s1p", "device.s1p")
    before = (filed / "device.s1p").read_bytes()
    assert main(["report", str(filed), "--output", str(filed), "--force"]) == 2
    assert "own folder" in capsys.readouterr().err
    assert (filed / "device.s1p").read_bytes() == before
    assert not (filed / "report.html").exists()


def test_output_that_is_a_file(typed, capsys, tmp_path):
    (tmp_path / "file").write_text("mine")
    assert main(["report", str(typed), "--output", str(tmp_path / "file")]) == 2
    assert "is a file" in capsys.readouterr().err


def test_new_and_unpack_overwrite_nothing(typed, capsys, tmp_path):
    before = (typed / "record.toml").read_bytes()
    assert main(["new", str(typed)]) == 2
    assert (typed / "record.toml").read_bytes() == before
    page = tmp_path / "page.html"
    page.write_text("<html></html>")
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 2
    assert "carries no record" in capsys.readouterr().err
    assert main(["unpack", str(tmp_path / "none.html"), str(tmp_path / "back")]) == 2
    assert not (tmp_path / "back").exists()
