"""The same record gives the same bytes, however the machine and matplotlib are set."""

import os
import subprocess
import sys

import matplotlib as mpl
import pytest

from rfcal.report.page import page, visible
from tests.conftest import DEMO

SETTINGS = """
font.size: 25
font.family: serif
text.usetex: True
lines.linewidth: 7
lines.marker: D
axes.grid: True
axes.facecolor: black
axes.unicode_minus: False
axes.formatter.use_locale: True
axes.formatter.useoffset: True
xtick.direction: in
legend.frameon: True
mathtext.fontset: cm
path.simplify: False
path.sketch: 1, 100, 2
savefig.bbox: tight
savefig.facecolor: red
svg.fonttype: path
svg.image_inline: False
backend: nonsense
"""


def test_the_command_gives_the_same_files_anywhere(reported, tmp_path):
    (tmp_path / "matplotlibrc").write_text(SETTINGS)
    environment = os.environ | {
        "MPLCONFIGDIR": str(tmp_path),
        "MPLBACKEND": "nonsense",
        "LC_ALL": "C",
        "TZ": "Asia/Tokyo",
        "PYTHONHASHSEED": "7",
        "PYTHONUTF8": "0",
    }
    code = "from rfcal.cli import main; raise SystemExit(main())"
    command = [sys.executable, "-c", code, "report", str(DEMO / "beacon-antenna"), "--output", "o"]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True)
    # on a slow machine matplotlib says that it makes its list of fonts in the new folder
    said = [line for line in done.stderr.splitlines() if "font cache" not in line]
    assert (done.returncode, said) == (0, [])
    before = reported("beacon-antenna")
    assert {p.name for p in before.iterdir()} == {p.name for p in (tmp_path / "o").iterdir()}
    for path in before.iterdir():
        assert path.read_bytes() == (tmp_path / "o" / path.name).read_bytes()


def test_the_users_settings_are_not_touched(computed, reported):
    with mpl.rc_context({"font.size": 25, "axes.facecolor": "black", "lines.linewidth": 7}):
        before = dict(mpl.rcParams)
        text = page(computed("beacon-antenna"))
        assert dict(mpl.rcParams) == before
    assert text == (reported("beacon-antenna") / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("plain ± text\nof two lines", "plain ± text\nof two lines"),
        ("a\u202eb", "a[U+202E]b"),
        ("a\x1b[31m\x00\x85", "a[U+001B][31m[U+0000][U+0085]"),
        ("no\u200bwidth\ufeff", "no[U+200B]width[U+FEFF]"),
        ("\u2028", "[U+2028]"),
        ("wide\u3000and\u00a0fixed", "wide\u3000and\u00a0fixed"),
        (7, 7),
    ],
)
def test_signs_that_steer_are_shown(text, seen):
    assert visible(text) == seen
