"""A page in a real browser: no request, no message, and a script that agrees with the library."""

import json
import re
import shutil
from itertools import pairwise

import pytest

import rfcal
from tests.browser.conftest import FLAGS


@pytest.fixture
def page(reported):
    return reported("beacon-antenna") / "report.html"


@pytest.fixture(scope="module")
def opened(reported, tmp_path_factory):
    """The page in a browser that notes every request and every message."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium")
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    driver.get((reported("beacon-antenna") / "report.html").as_uri())
    yield driver
    driver.quit()


def numbers(sentence):
    return [float(v.replace("\u2212", "-")) for v in re.findall(r"[\u2212-]?\d+\.?\d*", sentence)]


def test_nothing_is_fetched_and_nothing_complained_of(opened, page):
    assert opened.get_log("browser") == []
    messages = (json.loads(entry["message"])["message"] for entry in opened.get_log("performance"))
    asked = [m["params"]["request"]["url"] for m in messages if "requestWillBeSent" in m["method"]]
    # the browser's own first tab apart
    assert {url for url in asked if not url.startswith(("chrome:", "data:"))} <= {page.as_uri()}


def test_the_plane_slider_says_what_the_library_says(opened, computed):
    antenna = computed("beacon-antenna").device("antenna")
    section = opened.find_element("css selector", ".live")
    assert section.is_displayed()
    for metres in (0.0, 0.4, 0.7):
        move = "const [c] = arguments[0].querySelectorAll('input'); c.value = arguments[1];"
        move += "c.dispatchEvent(new Event('input'))"
        opened.execute_script(move, section, metres)
        said = section.find_element("css selector", "p[aria-live]").text
        shown = float(
            opened.execute_script("return arguments[0].querySelector('input').value", section)
        )
        z = antenna.add(rfcal.Line(shown, velocity_factor=0.66)).at(70.2e6)
        r, x = (
            float(v) for v in re.search(r"reads ([\d.]+) [+\u2212] j([\d.]+) ohm", said).groups()
        )
        assert r == pytest.approx(z.resistance.value, abs=0.06)
        assert x == pytest.approx(abs(z.reactance.value), abs=0.06)
        nature = "inductive" if z.reactance.value > 0 else "capacitive"
        assert said.endswith(f"{nature}.")


def test_the_pointer_reads_off_the_sweep(opened, computed):
    from selenium.webdriver import ActionChains

    antenna = computed("beacon-antenna").device("antenna")
    bands = opened.find_element("css selector", "#bands-1")
    opened.execute_script("arguments[0].scrollIntoView({block: 'center'})", bands)
    for across in (-0.2, 0.0, 0.3):
        right = int(across * bands.rect["width"])
        ActionChains(opened).move_to_element_with_offset(bands, right, -40).perform()
        said = bands.find_element("css selector", "svg > text").text
        mhz, r, x = (float(v) for v in re.findall(r"[\d.]+", said))
        z = antenna.at(mhz * 1e6)
        assert r == pytest.approx(z.resistance.value, abs=0.06)
        assert x == pytest.approx(abs(z.reactance.value), abs=0.06)
        line = opened.execute_script(
            "const l = arguments[0].querySelector('svg > line').getBoundingClientRect(),"
            "b = arguments[0].getBoundingClientRect(); return l.x - b.x - b.width / 2",
            bands,
        )
        assert line == pytest.approx(right, abs=3)


def test_every_control_and_picture_has_a_name_and_headings_follow_each_other(opened):
    for control in opened.find_elements("css selector", "input, svg, summary, figure > *"):
        if control.is_displayed() and control.tag_name != "figcaption":
            assert control.accessible_name or control.text, control.get_attribute("outerHTML")[:80]
    levels = [int(h.tag_name[1]) for h in opened.find_elements("css selector", "h1, h2, h3, h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert opened.find_element("css selector", "html").get_attribute("lang") == "en"


def test_without_script_the_page_is_complete(page):
    text = page.read_text(encoding="utf-8")
    assert re.search(r'class="live" hidden', text)
    answer = re.search(r'class="big"><span>(.*?)<', text)[1]
    assert numbers(answer)[0] == pytest.approx(31.11, abs=0.05)
