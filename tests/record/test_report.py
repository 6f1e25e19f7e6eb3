"""The command line and the page: whole, repeatable, self-contained, and able to be unpacked."""

import base64
import hashlib
import io
import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from rfcal.cli import main
from rfcal.maths.reflection import from_impedance
from rfcal.record.files import report_command
from rfcal.report.page import CAUTIONS
from tests.record.conftest import BOX, bend, touchstone

DEMO = Path(__file__).parents[2] / "data" / "demo"


class Links(HTMLParser):
    """Gathers everything that a browser would fetch, and the alt texts of pictures."""

    def __init__(self):
        super().__init__()
        self.fetched, self.pictures, self.described = [], 0, 0

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.fetched += [v for k, v in attrs if k in ("src", "href", "data") and v[0] != "#"]
        if tag in ("svg", "img"):
            self.pictures += 1
            self.described += bool(values.get("aria-label") or values.get("alt"))


@pytest.fixture(scope="module")
def beacon(reported):
    return reported("beacon-antenna")


def test_page_asks_for_nothing_and_describes_its_pictures(beacon):
    text = (beacon / "report.html").read_text(encoding="utf-8")
    links = Links()
    links.feed(text)
    assert links.fetched == []
    assert not re.search(r"@import|url\(\s*['\"]?(?!#)", text)
    assert links.pictures == links.described == 7


def test_page_answers_first_and_shows_the_cautions(beacon):
    text = (beacon / "report.html").read_text(encoding="utf-8")
    assert text.index('class="answer"') < text.index("<figure>")
    assert "at 70.2 MHz" in text
    for caution in CAUTIONS:
        assert caution.split(":")[0] in text
    for entry in json.loads((beacon / "results.json").read_text())["inputs"]:
        assert entry["sha256"] in text


def test_results_say_which_ends_are_known(beacon):
    (device,) = json.loads((beacon / "results.json").read_text())["measurements"]
    figures = device["derived"]
    points = len(device["frequency_hz"])
    for figure in figures.values():
        # said once where it is the same at all frequencies
        assert not isinstance(figure["one_sided"], list) or len(figure["one_sided"]) == points
    assert figures["resistance_ohm"]["one_sided"] is None
    # where X passes zero, Q has no lower end but that, and the capacitance none at all
    assert set(figures["q"]["one_sided"]) == {None, "below"}
    for low, side in zip(figures["q"]["low"], figures["q"]["one_sided"], strict=True):
        assert (low == 0) == (side == "below")
    assert set(figures["series_capacitance_f"]["one_sided"]) == {None, "unknown"}


def test_results_are_written_to_the_digits_that_the_uncertainty_supports(beacon, computed):
    (now,) = computed("beacon-antenna").devices
    (written,) = json.loads((beacon / "results.json").read_text())["measurements"]
    z, half = now.impedance.value, now.expanded_uncertainty()
    off = np.abs(np.array(written["impedance_ohm"]) - np.stack([z.real, z.imag], axis=-1))
    assert np.all(off < 1e-4 * half)
    off = np.abs(np.array(written["interval_ohm"]) - now.interval.reshape(-1, 4))
    assert np.all(off <= 1e-4 * np.repeat(half, 2, axis=1))
    assert written["frequency_hz"] == now.frequency.tolist()
    longest = max(len(str(number)) for pair in written["impedance_ohm"] for number in pair)
    assert longest <= 9
    assert (beacon / "results.json").stat().st_size < 1100 * now.frequency.size


def test_a_terminal_shows_what_is_being_done(typed, tmp_path, monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr("sys.stderr", Terminal())
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    said = sys.stderr.getvalue().split("\r\x1b[K")
    assert "intervals of 'device' at 1 points" in said
    assert said[-2].startswith("writing report.html, results.json")
    assert said[-1] == ""  # nothing of it stays


def test_page_is_not_large(beacon):
    assert (beacon / "report.html").stat().st_size < 450_000


@pytest.mark.parametrize("demo", ["beacon-antenna", "sensor-coil"])
def test_record_comes_back_from_its_page(demo, reported, tmp_path):
    output = reported(demo)
    assert main(["unpack", str(output / "report.html"), str(tmp_path / "back")]) == 0
    for path in (tmp_path / "back").rglob("*"):
        if path.is_file():
            relative = path.relative_to(tmp_path / "back")
            assert path.read_bytes() == (DEMO / demo / relative).read_bytes()


def test_a_record_that_came_back_gives_the_same_bytes(reported, tmp_path):
    output = reported("sensor-coil")
    assert main(["unpack", str(output / "report.html"), str(tmp_path / "back")]) == 0
    assert main(["report", str(tmp_path / "back"), "--output", str(tmp_path / "again")]) == 0
    for path in output.iterdir():
        assert path.read_bytes() == (tmp_path / "again" / path.name).read_bytes()


def test_no_script_may_run_but_the_page_s_own(beacon):
    text = (beacon / "report.html").read_text(encoding="utf-8")
    allowed = re.search(r"script-src '(.*?)'", text)[1]
    own = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in own] == [
        allowed.removeprefix("sha256-")
    ]
    assert "default-src 'none'" in text


def test_text_of_the_user_is_only_text(typed, tmp_path, capsys):
    nasty = "</script><script>alert(1)</script>"
    bend(typed, "My first record", nasty)
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    text = (tmp_path / "o/report.html").read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert text.count("<script") == text.count("</script>") == 3  # all our own
    assert main(["unpack", str(tmp_path / "o/report.html"), str(tmp_path / "back")]) == 0
    assert nasty in (tmp_path / "back/record.toml").read_text()


@pytest.mark.parametrize("path", ["../evil.toml", "/tmp/evil.toml", "a/../../evil.toml"])
def test_unpack_writes_nothing_outside(page, tmp_path, capsys, path):
    page.write_text(page.read_text().replace('"record.toml"', f'"{path}"'))
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 2
    assert "outside" in capsys.readouterr().err
    assert not (tmp_path / "back").exists()


def test_unpack_says_when_the_page_is_damaged(page, tmp_path, capsys):
    page.write_text(page.read_text().replace('"record.toml": "', '"record.toml": "AAAA'))
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 2
    assert "damaged" in capsys.readouterr().err


def test_what_was_taken_for_granted_is_told_last(filed, tmp_path):
    assert main(["report", str(filed), "--output", str(tmp_path / "o")]) == 0
    page = (tmp_path / "o" / "report.html").read_text()
    assert page.index("could not have noticed") < page.index("so this was taken")


def test_new_record_computes_as_it_stands(tmp_path, capsys):
    assert main(["new", str(tmp_path / "mine")]) == 0
    assert main(["check", str(tmp_path / "mine")]) == 0
    assert main(["report", str(tmp_path / "mine"), "--output", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert re.search(r"device at 14.1 MHz: R \S+ ± \S+ ohm, X -\S+ ± \S+ ohm", said)
    assert "95 %" in said
    assert "<label hidden>frequency, 14.1 to" in (tmp_path / "o/report.html").read_text()
    notebooks = Path(__file__).parents[2] / "notebooks"
    assert re.search(rf"jupyter lab (notebooks|{notebooks})$", said, re.MULTILINE)


def test_next_steps_can_be_typed_where_one_stands(tmp_path, monkeypatch):
    tools = tmp_path / ".venv/bin"
    tools.mkdir(parents=True)
    for name in ("python", "rfcal"):
        (tools / name).touch(0o755)
    monkeypatch.setattr("sys.executable", str(tools / "python"))
    monkeypatch.chdir(tmp_path)
    said = "rfcal report 'my coil' --output 'my coil-report'"
    assert report_command(Path("my coil")) == f".venv/bin/{said}"
    (tmp_path / "notebooks").mkdir()
    monkeypatch.chdir(tmp_path / "notebooks")
    assert report_command(Path("../my coil"), stands="..") == f".venv/bin/{said}"
    monkeypatch.setenv("PATH", str(tools))
    assert report_command(Path("my coil")) == said


def test_check_reads_and_judges_only(capsys):
    assert main(["check", str(DEMO / "beacon-antenna")]) == 0
    assert "201 points" in capsys.readouterr().out


def test_names_of_files_do_not_collide(typed, tmp_path):
    with (typed / "record.toml").open("a") as file:
        file.write('[[measurement]]\nname = "Device!"\ntyped = [[14.1, 12.2, -4.6]]\n')
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    assert {"device.s1p", "device-2.s1p"} < {p.name for p in (tmp_path / "o").iterdir()}


@pytest.mark.parametrize(
    ("typed_ohm", "bounded"),
    [("12.2, -4.6", [True, True]), ("20000, 10", [True, True]), ("21, -294.5", [False, False])],
)
def test_no_standard_uncertainty_stands_beside_what_has_no_bound(
    typed, tmp_path, typed_ohm, bounded
):
    bend(typed, "typed = [[14.1, 12.2, -4.6]]", f"typed = [[14.1, {typed_ohm}]]")
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    (device,) = json.loads((tmp_path / "o/results.json").read_text())["measurements"]
    ends = np.array(device["interval_ohm"][0], float).reshape(2, 2)
    assert np.isfinite(ends).all(axis=1).tolist() == bounded
    for key in ("standard_uncertainty_ohm", "expanded_uncertainty_ohm"):
        assert [value is not None for value in device[key][0]] == bounded
    assert (device["correlation"][0] is not None) == all(bounded)


def test_an_answer_that_its_record_contradicts_says_so_before_it(filed, tmp_path, capsys):
    check = '[[check]]\nname = "33 ohm"\nresistance_ohm = 33\nreading = "raw/other.s1p"\n'
    seen = BOX.apply(np.full(11, from_impedance(44.0)))
    (filed / "raw/other.s1p").write_text(touchstone(np.linspace(50e6, 60e6, 11), seen))
    bend(filed, "[[measurement]]", f"{check}[[measurement]]")
    assert main(["report", str(filed), "--output", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert said.splitlines()[1].startswith("do not trust what follows yet: ")
    page = (tmp_path / "o/report.html").read_text()
    assert page.index("Do not trust this answer yet") < page.index('class="big"')


def test_the_raw_reading_is_told_as_it_was_read(typed, tmp_path, capsys):
    bend(typed, "resolution_ohm = 0.1", "resolution_ohm = 5.0")
    assert main(["report", str(typed), "--output", str(tmp_path / "o")]) == 0
    assert "the raw reading was 12.2 - j4.6 ohm" in capsys.readouterr().out
