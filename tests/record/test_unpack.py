"""What `unpack` takes out of a page: what a record can need, under names every system can hold."""

import base64
import json
import re
import resource
import zlib

import pytest

from rfcal.cli import main
from rfcal.errors import RecordError
from rfcal.record import archive
from rfcal.record.job.compute import compute
from tests.record.conftest import bend

ELEMENT = re.compile(r'(<script type="application/json" id="record"[^>]*>)(.*?)(</script>)', re.S)
LARGE = 100_000_000
"""Bytes of what is refused before it is there."""


def packed(content: bytes) -> str:
    return base64.b64encode(zlib.compress(content)).decode()


def refused(page, capsys, tmp_path, fragment, carried):
    """Put other text into the page's element; unpacking must refuse it and write nothing."""
    text = carried if isinstance(carried, str) else json.dumps(carried)
    page.write_text(ELEMENT.sub(lambda m: m[1] + text + m[3], page.read_text()))
    assert main(["unpack", str(page), str(tmp_path / "deep/back")]) == 2
    said = capsys.readouterr().err
    assert fragment in said
    assert said.count("\n") == 1
    assert not (tmp_path / "deep").exists()


def carried(page):
    return json.loads(ELEMENT.search(page.read_text())[2])


@pytest.mark.parametrize(
    ("name", "fragment"),
    [
        ("raw", "does not name"),
        ("raw/short.s1p/x", "does not name"),
        ("raw/SHORT.s1p", "twice"),
        ("raw/ſhort.s1p", "twice"),  # the long s is the same letter to some systems
        ("Record.toml", "twice"),
        ("raw//short.s1p", "every system"),
        ("./raw/short.s1p", "every system"),
        ("raw/", "every system"),
        ("", "outside"),
        ("/etc/x.s1p", "outside"),
        ("../x.s1p", "outside"),
        ("raw/../../x.s1p", "outside"),
        ("C:\\x.s1p", "outside"),
        ("C:x.s1p", "every system"),
        ("a\0b", "every system"),
        ("a\nb", "every system"),
        ("a\x1b[31mb", "every system"),
        ("\ud800", "every system"),
        ("raw/gpj.\u202es1p", "every system"),  # reads from right to left
        ("raw/a\u200bb.s1p", "every system"),  # a space of no width
        ("raw/short.s1p:stream", "every system"),
        ("raw/what?.s1p", "every system"),
        ("raw/x.s1p.", "every system"),
        ("raw/x.s1p ", "every system"),
        ("raw /x.s1p", "every system"),
        (" raw/x.s1p", "every system"),
        ("n" * 300, "every system"),
        ("CON", "device"),
        ("raw/aux.s1p", "device"),
        ("com1.csv", "device"),
        ("raw/LPT¹.s1p", "device"),
        ("nul .s1p", "device"),
        (".bashrc", "hidden"),
        ("raw/.x.s1p", "hidden"),
        ("raw/x.exe", "run"),
        ("raw/x.s1p.BAT", "run"),
        ("autorun.inf", "run"),
        ("x.desktop", "run"),
        ("raw/desktop.ini", "run"),
        ("raw/x.AppImage", "run"),
        ("raw/CLOCK$", "device"),
        ("raw/extra.s1p", "does not name"),
        ("README", "does not name"),
    ],
)
def test_names(page, tmp_path, capsys, name, fragment):
    files = carried(page)
    refused(page, capsys, tmp_path, fragment, files | {name: files["raw/short.s1p"]})


def test_a_name_that_differs_by_its_normal_form(page, tmp_path, capsys):
    files = {"raw/\u00e9.s1p": "", "raw/e\u0301.s1p": "", **carried(page)}
    refused(page, capsys, tmp_path, "twice", files)


def test_a_key_that_is_repeated(page, tmp_path, capsys):
    text = json.dumps(carried(page))
    refused(page, capsys, tmp_path, "twice", f'{text[:-1]}, "record.toml": "AA=="}}')


@pytest.mark.parametrize("change", ["junk behind", "cut", "other content", "no base 64", "number"])
def test_content(page, tmp_path, capsys, change):
    files = carried(page)
    inside = zlib.decompress(base64.b64decode(files["raw/short.s1p"]))
    files["raw/short.s1p"] = {
        "junk behind": base64.b64encode(zlib.compress(inside) + b"junk").decode(),
        "cut": base64.b64encode(zlib.compress(inside)[:-5]).decode(),
        "other content": packed(inside.replace(b"5", b"6")),
        "no base 64": "?" + files["raw/short.s1p"],
        "number": 1,
    }[change]
    fragment = "fingerprints" if change == "other content" else "damaged at 'raw/short.s1p'"
    refused(page, capsys, tmp_path, fragment, files)


def test_a_record_that_is_another_one(page, tmp_path, capsys):
    files = carried(page)
    text = zlib.decompress(base64.b64decode(files["record.toml"])).replace(b'"files"', b'"fails"')
    files |= {"record.toml": packed(text)}
    refused(page, capsys, tmp_path, "fingerprints", files)
    page.write_text(re.sub(r' data-fingerprint="[0-9a-f]{64}"', "", page.read_text()))
    refused(page, capsys, tmp_path, "fingerprints", files)


def test_no_record(page, tmp_path, capsys):
    refused(page, capsys, tmp_path, "carries no record.toml", {})


@pytest.mark.parametrize("name", ["record.toml", "raw/short.s1p"])
def test_what_would_be_huge_is_refused_before_it_is_there(
    page, tmp_path, capsys, monkeypatch, name
):
    monkeypatch.setattr(archive, "MOST_CARRIED", LARGE // 5)
    deflate = zlib.compressobj(1)
    bomb = b"".join(deflate.compress(bytes(10_000_000)) for _ in range(LARGE // 10_000_000))
    bomb = base64.b64encode(bomb + deflate.flush()).decode()
    assert len(bomb) < 5_000_000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    refused(page, capsys, tmp_path, "larger than", carried(page) | {name: bomb})
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < 0.8 * LARGE


def test_all_files_together_have_a_bound(page, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(archive, "MOST_CARRIED", 2_000)
    refused(page, capsys, tmp_path, "larger than", carried(page))


def test_a_page_from_before_the_fingerprint_still_unpacks(page, tmp_path):
    text = re.sub(r' data-fingerprint="[0-9a-f]{64}"', "", page.read_text())
    page.write_text(re.sub("<p>Fingerprint of the record.*?</p>\n", "", text, flags=re.S))
    assert "ingerprint" not in page.read_text()
    assert main(["unpack", str(page), str(tmp_path / "back")]) == 0
    assert (tmp_path / "back/raw/device.s1p").exists()


@pytest.mark.parametrize("name", ["10:30.s1p", "con.s1p", ".hidden.s1p"])
def test_no_page_is_written_that_could_not_be_unpacked(filed, tmp_path, capsys, name):
    (filed / "raw/device.s1p").rename(filed / "raw" / name)
    bend(filed, "raw/device.s1p", f"raw/{name}")
    assert main(["report", str(filed), "--output", str(tmp_path / "o")]) == 2
    assert "rename it" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()
    assert main(["check", str(filed)]) == 0


def test_what_no_page_can_carry_is_refused(filed, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(archive, "MOST_CARRIED", 2_000)
    with pytest.raises(RecordError, match="a page can carry"):
        archive.script(compute(filed))
    assert main(["report", str(filed), "--output", str(tmp_path / "o")]) == 2
    assert "a page can carry" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()
