"""The page on paper: few sheets, and no heading alone at the foot of one."""

import base64
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rfcal.cli import main
from tests.conftest import DEMO

MOST_SHEETS = 6
DEMOS = sorted(path.parent.name for path in DEMO.glob("*/record.toml"))
SPACE = ' <div style="height: {}px"></div>'
AVOID = "break-after: avoid"

pytestmark = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="not installed: pdftotext of poppler"
)


def sheets(browser, page: str, folder: Path) -> list[str]:
    """The lowest line of each printed sheet of a page."""
    (folder / "page.html").write_text(page, encoding="utf-8")
    browser.get((folder / "page.html").as_uri())
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    (folder / "page.pdf").write_bytes(base64.b64decode(printed["data"]))
    told = ["pdftotext", "-bbox-layout", folder / "page.pdf", "-"]
    text = subprocess.run(told, check=True, capture_output=True, timeout=60).stdout
    tree = ElementTree.fromstring(text)
    html = "{http://www.w3.org/1999/xhtml}"
    lowest = []
    for sheet in tree.iter(f"{html}page"):
        line = max(sheet.iter(f"{html}line"), key=lambda line: float(line.get("yMax")))
        lowest.append(" ".join(word.text for word in line.iter(f"{html}word")))
    return lowest


def alone(page: str, lines: list[str]) -> list[str]:
    """Lines that are a heading of the page, or end one, and no words of a picture."""
    found = re.findall(r"<h[1-6][^>]*>(.*?)</h", page, re.DOTALL)
    headings = {" ".join(unescape(text).split()) for text in found}
    drawn = {unescape(text) for text in re.findall(r"<text[^>]*>([^<]*)", page)}
    ends = [line for line in lines if any(f" {head}".endswith(f" {line}") for head in headings)]
    return [line for line in ends if line not in drawn]


@pytest.mark.parametrize("demo", DEMOS)
def test_few_sheets_and_no_heading_at_the_foot_of_one(browser, reported, demo, tmp_path):
    page = (reported(demo) / "report.html").read_text(encoding="utf-8")
    lines = sheets(browser, page, tmp_path)
    assert 1 < len(lines) <= MOST_SHEETS
    assert not alone(page, lines)


def test_wherever_a_sheet_ends_no_heading_stands_there(browser, reported, tmp_path):
    page = (reported("trap-parts") / "report.html").read_text(encoding="utf-8")
    without = page.replace(AVOID, "break-after: auto")
    found = []
    for pixels in (0, 315):
        for text in (page, without):
            moved = text.replace("<main>", f"<main>{SPACE.format(pixels)}")
            found.append(alone(page, sheets(browser, moved, tmp_path)))
    assert not any(found[::2])
    # the rule is what holds them: without it each of these ends a sheet with a heading
    assert all(found[1::2])


def test_six_devices_print_on_few_sheets(browser, tmp_path):
    record = tmp_path / "six"
    shutil.copytree(DEMO / "beacon-antenna", record)
    text = (record / "record.toml").read_text().partition("[match]")[0]
    (device,) = re.findall(r"\[\[measurement\]\]\n(?:.+\n)+", text)
    six = [device.replace('"antenna"', f'"antenna {i}"') for i in range(6)]
    (record / "record.toml").write_text(text.replace(device, "\n".join(six)))
    assert main(["report", str(record), "--output", str(tmp_path / "out")]) == 0
    page = (tmp_path / "out/report.html").read_text(encoding="utf-8")
    assert len(sheets(browser, page, tmp_path)) <= MOST_SHEETS
