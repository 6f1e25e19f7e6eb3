"""The page on paper: few sheets, and no heading alone at the foot of one."""

import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.browser.conftest import FLAGS
from tests.conftest import DEMO

MOST_SHEETS = 6
DEMOS = sorted(path.parent.name for path in DEMO.glob("*/record.toml"))
SPACE = ' <div style="height: {}px"></div>'
AVOID = "break-after: avoid"

pytestmark = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="not installed: pdftotext of poppler"
)


def sheets(page: str, folder: Path) -> list[str]:
    """The lowest line of each printed sheet of a page."""
    (folder / "page.html").write_text(page, encoding="utf-8")
    command = ["chromium", *FLAGS, f"--user-data-dir={folder}/profile", "--no-pdf-header-footer"]
    command += [f"--print-to-pdf={folder}/page.pdf", (folder / "page.html").as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
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
    """Lines that are a heading of the page, or end one."""
    found = re.findall(r"<h[1-6][^>]*>(.*?)</h", page, re.DOTALL)
    headings = {" ".join(unescape(text).split()) for text in found}
    return [line for line in lines if any(f" {head}".endswith(f" {line}") for head in headings)]


@pytest.mark.parametrize("demo", DEMOS)
def test_few_sheets_and_no_heading_at_the_foot_of_one(reported, demo, tmp_path):
    page = (reported(demo) / "report.html").read_text(encoding="utf-8")
    lines = sheets(page, tmp_path)
    assert len(lines) <= MOST_SHEETS
    assert not alone(page, lines)


def test_wherever_a_sheet_ends_no_heading_stands_there(reported, tmp_path):
    page = (reported("trap-parts") / "report.html").read_text(encoding="utf-8")
    without = page.replace(AVOID, "break-after: auto")
    found = []
    for pixels in (0, 315):
        for text in (page, without):
            moved = text.replace("<main>", f"<main>{SPACE.format(pixels)}")
            found.append(alone(page, sheets(moved, tmp_path)))
    assert not any(found[::2])
    # the rule is what holds them: without it each of these ends a sheet with a heading
    assert all(found[1::2])
