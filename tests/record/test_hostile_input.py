"""Input that no honest hand types: each still one clear sentence, and nothing half done."""

import os
import re
import subprocess
import sys

import pytest

from rfcal.cli import main
from rfcal.errors import RecordError, RfcalError
from rfcal.record.files import write_files
from rfcal.record.job.compute import compute, inspect
from tests.record.conftest import bend
from tests.record.test_refusals import refused

HUGE = "9" * 400
TYPED = "typed = [[14.1, 2.6, 9.3]]"
VALUES = [
    ("noise = 0.0005", f"noise = {HUGE}", ["noise", "beyond any measurement"]),
    ("noise = 0.0005", f"noise = {'9' * 5000}", ["record.toml"]),
    ("noise = 0.0005", f"noise = 0x{'f' * 6000}", ["noise", "beyond any measurement"]),
    ("noise = 0.0005", "noise = 1e9999", ["noise", "finite"]),
    ("noise = 0.0005", "noise = 1e99999999999999999999", ["record.toml"]),
    ("noise = 0.0005", f"noise = {'[' * 3000}{']' * 3000}", ["record.toml"]),
    ('title = "My first record"', f"title = 0x{'f' * 6000}", ["title", "thousands of digits"]),
    ('title = "My first record"', 'title = "a\\nb"', ["title", "one line"]),
    ('name = "device"', 'name = "\\u001b[31mred"', ["name", "printable"]),
    ('kind = "short"', 'kind = "a\\nb"', ["kind"]),
    (TYPED, 'reading = "\\u0000"', ["reading", "no path"]),
    (TYPED, f'reading = "{"n" * 300}"', ["reading", "no path"]),
    (TYPED, 'reading = "loop"', ["reading", "no path"]),
    (TYPED, "typed = [[1e-320, 2.6, 9.3]]", ["below 1 Hz"]),
    (TYPED, "typed = [[14100000, 2.6, 9.3]]", ["beyond any measurement: is the unit right?"]),
    (TYPED, "typed = [[14.1, -49.99999999, 0]]", ["no reading"]),
    (TYPED, "typed_reflection = [[14.0, 0.3, 45.0], [14.1, 1e7, 0e400]]", ["row 2", "no reading"]),
    (TYPED, "typed_reflection = [[14.0, 0.3, 45.0], [14.1, -10.5, 45.0]]", ["row 2", "0.316"]),
    (TYPED, "typed_reflection = [[14.0, 0.3, 45.0], [14.1, 0.3, 4500.0]]", ["row 2", "360"]),
    (TYPED, "reading = 'raw\\dev.s1p'", ["reading", "write /"]),
    ("capacitance = [50e-15]", "offset_z0_ohm = 1e-300", ["offset_z0_ohm", "at least"]),
    ("capacitance = [50e-15]", "offset_delay_ps = -1e9", ["offset_delay_ps", "at least"]),
]


@pytest.mark.parametrize(("old", "new", "fragments"), VALUES)
def test_values(typed, capsys, tmp_path, old, new, fragments):
    os.symlink("loop", typed / "loop")
    bend(typed, old, new)
    refused(typed, fragments, capsys, tmp_path)


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        ("length_m = 1e9", ["length_m", "above"]),
        ("length_m = 3000", ["between 1", "dB", "nothing of the device comes back"]),
        ("length_m = 3\nvelocity_factor = 1e-320", ["velocity_factor", "at least"]),
        ("length_m = 3\nz0_ohm = 1e14", ["z0_ohm", "above"]),
        ("length_m = 3\nloss_db_per_100m = [[1e-300, 1e15]]", ["loss_db_per_100m", "no row"]),
    ],
)
def test_paths(typed, capsys, tmp_path, text, fragments):
    with (typed / "record.toml").open("a") as file:
        file.write(f'\n[[measurement.between]]\nline = "RG-213"\n{text}\n')
    refused(typed, fragments, capsys, tmp_path)


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        (
            'line = "measured"\nfar_end_open = "raw/open.s1p"\nfar_end_short = "raw/open.s1p"',
            ["between 1", "read alike", "named twice"],
        ),
        (
            'fixture_open = "raw/load.s1p"\nfixture_short = "raw/load.s1p"',
            ["between 1", "read alike"],
        ),
        ('adapter = "raw/closed.s2p"', ["between 1", "closed.s2p", "at 52 MHz", "both ways"]),
        (
            'fixture_open = "raw/short.s1p"\nfixture_short = "raw/open.s1p"',
            ["'device' comes to no finite reflection", "exchanged sweeps"],
        ),
    ],
)
def test_paths_that_show_nothing(filed, capsys, tmp_path, text, fragments):
    rows = [f"{f}e6 0 0 {int(f != 52)} 0 1 0 0 0" for f in range(50, 61)]
    (filed / "raw/closed.s2p").write_text("# Hz S RI R 50\n" + "\n".join(rows))
    with (filed / "record.toml").open("a") as file:
        file.write(f"\n[[measurement.between]]\n{text}\n")
    refused(filed, fragments, capsys, tmp_path)
    with pytest.raises(RfcalError):
        inspect(filed)


@pytest.mark.parametrize(
    ("content", "fragments"),
    [
        ("frequency_mhz,r_ohm,x_ohm\n55,-50,0\n", ["line 2", "no reading"]),
        ("frequency_mhz,r_ohm,x_ohm\n55,1e308,0\n", ["line 2", "three finite numbers"]),
        ("frequency_mhz,re,im\n55,1e8,0\n", ["line 2", "no reading"]),
        (f"frequency_mhz,re,im\n55,{'1' * 140_000},0\n", ["CSV"]),
        ('frequency_mhz,re,im\n55,"a\nb",0\n', ["line 2", "three finite numbers"]),
        ("frequency_hz,re,im\n1e13,0,0\n", ["line 2", "unit"]),
    ],
)
def test_csv(filed, capsys, tmp_path, content, fragments):
    (filed / "raw/device.csv").write_text(content)
    bend(filed, "raw/device.s1p", "raw/device.csv")
    refused(filed, fragments, capsys, tmp_path)


def test_csv_with_carriage_returns_only(filed):
    (filed / "raw/device.csv").write_bytes(b"frequency_mhz,re,im\r52,0.1,0\r54,0.1,0\r")
    bend(filed, "raw/device.s1p", "raw/device.csv")
    assert compute(filed).devices[0].frequency == pytest.approx([52e6, 54e6])


VERSION2 = (
    "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 1\n{}\n"
    "[Network Data]\n5.5e7 0 0\n[End]\n"
)


@pytest.mark.parametrize(
    ("content", "fragments"),
    [
        ("# Hz S DB R 50\n5.5e7 1e5 0\n", ["line 2", "no reading"]),
        (VERSION2.format("[Reference] (50,1)"), ["raw/device.s1p", "reference impedance"]),
        (VERSION2.format("[foo] 1"), ["line 5", "no keyword"]),
        ("# Hz S RI R 1e300\n5.5e7 0 0\n", ["reference impedance"]),
    ],
)
def test_touchstone(filed, capsys, tmp_path, content, fragments):
    (filed / "raw/device.s1p").write_text(content)
    refused(filed, fragments, capsys, tmp_path)


def test_a_byte_order_mark_does_no_harm(typed):
    path = typed / "record.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert compute(typed).devices


def with_record(page, carried: str) -> None:
    text = page.read_text()
    page.write_text(
        re.sub(r'(id="record"[^>]*>).*?(</script>)', rf"\g<1>{carried}\2", text, flags=re.S)
    )


@pytest.mark.parametrize("carried", ["[" * 100_000, "1" * 6000, "nul", "[1]", '{"a": 1}'])
def test_damaged_pages(page, tmp_path, capsys, carried):
    with_record(page, carried)
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 2
    assert "damaged" in capsys.readouterr().err
    assert not (tmp_path / "back").exists()


def test_unpack_of_a_folder(tmp_path, capsys):
    assert main(["unpack", str(tmp_path), str(tmp_path / "back")]) == 2
    assert capsys.readouterr().err == f"rfcal: {tmp_path}: cannot be read (Is a directory)\n"


def test_unpack_follows_no_link_outside(page, tmp_path, capsys):
    outside, back = tmp_path / "outside", tmp_path / "back"
    outside.mkdir()
    back.mkdir()
    os.symlink(outside, back / "raw")
    assert main(["unpack", str(page), str(back)]) == 2
    assert "link" in capsys.readouterr().err
    assert not list(outside.iterdir())
    assert [p.name for p in back.iterdir()] == ["raw"]


def test_force_replaces_all_or_nothing(typed, tmp_path, capsys):
    output = tmp_path / "o"
    (output / "results.json").mkdir(parents=True)
    (output / "report.html").write_text("mine")
    assert main(["report", str(typed), "--output", str(output), "--force"]) == 2
    assert "results.json" in capsys.readouterr().err
    assert (output / "report.html").read_text() == "mine"


def test_a_failure_half_way_is_undone(tmp_path, monkeypatch):
    folder = tmp_path / "new/there"
    moved = []
    replace = os.replace

    def fails_at_third(source, target):
        moved.append(target)
        if len(moved) == 3:
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", fails_at_third)
    with pytest.raises(RecordError, match="No space left"):
        write_files(folder, {"a": b"1", "raw/b": b"2", "c": b"3"})
    assert not (tmp_path / "new").exists()
    moved.clear()
    folder.mkdir(parents=True)
    (folder / "a").write_bytes(b"old")
    with pytest.raises(RecordError, match="No space left"):
        write_files(folder, {"a": b"1", "b": b"2", "c": b"3"}, force=True)
    assert [p.name for p in folder.iterdir()] == ["a"]
    assert (folder / "a").read_bytes() == b"old"


def run(arguments, **how):
    command = [sys.executable, "-c", "from rfcal.cli import main; raise SystemExit(main())"]
    return subprocess.run([*command, *arguments], stderr=subprocess.PIPE, text=True, **how)


def test_a_terminal_without_the_sign(typed, tmp_path):
    how = {"stdout": subprocess.PIPE, "env": os.environ | {"PYTHONIOENCODING": "ascii"}}
    done = run(["report", str(typed), "--output", str(tmp_path / "o")], **how)
    assert done.returncode == 0
    assert " ? " in done.stdout


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_a_terminal_that_takes_nothing(typed):
    with open("/dev/full", "w") as full:
        done = run(["check", str(typed)], stdout=full)
    assert done.returncode == 2
    assert done.stderr.strip() == "rfcal: cannot print the answer (No space left on device)"


def test_every_error_is_one_printable_line():
    assert str(RfcalError("a\nb\x1b[31m  c")) == "a b [31m c"


def test_what_gives_power_and_an_exact_open_raise_no_warning(typed, filed, capsys, tmp_path):
    """A device that gives power has no SWR at all, and an exact open behind a line no loss."""
    with (typed / "record.toml").open("a") as file:
        file.write('\n[[measurement]]\nname = "2"\ntyped = [[14.1, 0, 0]]\n')
    assert main(["report", str(typed), "--output", str(tmp_path / "active")]) == 0
    with (filed / "record.toml").open("a") as file:
        file.write(
            '[[measurement.between]]\nline = "measured"\nfar_end_open = "raw/device.s1p"\n'
            'far_end_short = "raw/short.s1p"\n'
        )
    assert main(["report", str(filed), "--output", str(tmp_path / "open")]) == 0
    assert capsys.readouterr().err == ""
