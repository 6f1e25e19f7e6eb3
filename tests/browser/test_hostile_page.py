"""A page of hostile words in a real browser: they are words, nothing runs, nothing is asked for."""

import json
import re
from pathlib import Path

import pytest

from rfcal.cli import main
from rfcal.record.format.start import starting_record

MARKS = "window.hit=1"
NASTY = [
    f"<script>{MARKS}</script>",
    f"</script><script>{MARKS}</script>",
    f"<img src=x onerror={MARKS}>",
    f"<svg onload={MARKS}>",
    f"' onmouseover='{MARKS}' x='",
    "<style>*{display:none}</style></title><base href=//evil.example/>",
    "<link rel=stylesheet href=//evil.example/a.css><iframe src=//evil.example></iframe>",
    f"{{{{ 7*7 }}}} {{% raw %}} ${{7*7}} javascript:{MARKS}",
    "]]>--><!--&lt;b&gt;&amp;#60;",
    "<form action=//evil.example><input autofocus onfocus=" + MARKS + ">",
]
LONG = "w" * 400


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """The page of a record in which every text is hostile."""
    folder = tmp_path_factory.mktemp("hostile") / "record"
    folder.mkdir()
    toml = starting_record()

    toml = toml.replace('"My first record"', json.dumps(" ".join(NASTY)))
    for name, nasty in (
        ("short", 0),
        ("open", 1),
        ("load", 2),
        ("33 ohm resistor", 3),
        ("device", 4),
    ):
        toml = toml.replace(f'name = "{name}"', f"name = {json.dumps(NASTY[nasty])}")
        toml = toml.replace(f'of = "{name}"', f"of = {json.dumps(NASTY[nasty])}")
    about = "\n".join(f"{json.dumps(text)} = {json.dumps(text)}" for text in NASTY)
    signs = json.dumps(f"left\u202eright\u0007bell {LONG}")
    head = f"by = {signs}\nnotes = {json.dumps(NASTY[5])}\n"
    toml = toml.replace("[record]\n", f"[record]\n{head}")
    toml = toml.replace("[about]\n", f"[about]\n{about}\n")
    (folder / "record.toml").write_text(toml)
    output = folder.parent / "out"
    assert main(["report", str(folder), "--output", str(output)]) == 0
    return output / "report.html"


@pytest.fixture(scope="module")
def seen(browser, hostile):
    browser.get(Path(hostile).as_uri())
    return browser


def test_nothing_runs_and_nothing_is_asked_for(seen):
    assert seen.execute_script("return window.hit") is None
    asked = "return performance.getEntriesByType('resource').map(e => e.name)"
    assert seen.execute_script(asked) == []
    loads = "script[src], link, iframe, base, form[action], object, embed, img[onerror]"
    assert seen.execute_script(f"return document.querySelectorAll('{loads}').length") == 0
    listening = "[...document.querySelectorAll('*')].filter(e => [...e.attributes].some("
    listening += "a => a.name.startsWith('on'))).length"
    assert seen.execute_script(f"return {listening}") == 0


def test_words_are_shown_as_they_were_typed(seen):
    title = " ".join(NASTY)
    assert seen.title == title
    assert seen.execute_script("return document.querySelector('h1').textContent") == title
    cells = seen.execute_script(
        "return [...document.querySelectorAll('th')].map(e => e.textContent)"
    )
    assert set(NASTY) <= set(cells)


def test_signs_that_steer_are_shown_and_long_words_wrap(seen):
    text = seen.execute_script("return document.body.innerText")
    assert "left[U+202E]right[U+0007]bell" in text
    wide = "const d = document.documentElement; return [d.scrollWidth, d.clientWidth]"
    scrolled, there = seen.execute_script(wide)
    assert scrolled <= there


def test_the_policy_stops_a_script_that_got_in_all_the_same(browser, hostile, tmp_path):
    text = hostile.read_text(encoding="utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)[1]
    assert "default-src 'none'" in policy
    evil = f"<script>{MARKS}</script><img src=x onerror={MARKS}>"
    (tmp_path / "with.html").write_text(text.replace("<h1>", f"{evil}<h1>"), encoding="utf-8")
    without = re.sub(r"<meta http-equiv=[^>]*>", "", text).replace("<h1>", f"{evil}<h1>")
    (tmp_path / "without.html").write_text(without, encoding="utf-8")
    browser.get((tmp_path / "with.html").as_uri())
    assert browser.execute_script("return window.hit") is None
    browser.get((tmp_path / "without.html").as_uri())
    assert browser.execute_script("return window.hit") == 1
