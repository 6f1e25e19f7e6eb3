"""The form for typed readings in a real JupyterLab: few presses, judged at once, and a record."""

from pathlib import Path

import rfcal
from tests.browser.test_panels_in_browser import opened

MOST_PRESSES = 25
WORDS = "return document.querySelector('p[aria-live]').innerText"
# by Tab from box to box; a pair is typed with a space between, which counts as a press here
TYPED = (
    *("14,1", "2.7 9.4", "20,5 -294.1", "49.9", "51.8 3.2"),
    *("", "", "coil", "12.1 -4.7", ""),
)


def test_a_typed_job_takes_few_presses(browser, lab, tmp_path):
    from selenium.webdriver import ActionChains, Keys

    folder = tmp_path / "typed"
    source = f"from rfcal import workbook\nworkbook.ReadingForm({str(folder)!r})"
    wait = opened(browser, lab, [source])
    browser.execute_script("window.jupyterapp.commands.execute('notebook:run-all-cells')")
    wait.until(lambda b: "Type the frequency" in b.execute_script(WORDS))
    presses = 0
    boxes = browser.find_elements("css selector", ".widget-text input[type=text]")
    boxes[0].click()
    presses += 1
    for text in TYPED:
        ActionChains(browser).send_keys(text, Keys.TAB).perform()
        presses += 1 + text.count(" ")
        wait.until(lambda b: b.execute_script("return document.activeElement.tagName") == "INPUT")
    wait.until(lambda b: "coil at 14.1 MHz" in b.execute_script(WORDS))
    said = browser.execute_script(WORDS)
    assert "R 9." in said
    # one more Tab passes the folder, whose name stands there already
    ActionChains(browser).send_keys(Keys.TAB, Keys.ENTER).perform()
    presses += 2
    wait.until(lambda b: "Wrote" in b.find_element("css selector", "p[role=alert]").text)
    assert presses <= MOST_PRESSES
    print(f"\npresses and clicks: {presses}")
    device = rfcal.compute(folder).device("coil")
    assert f"R {device.at(14.1e6).resistance}" in said
    assert Path(folder, "record.toml").read_text().count("typed = ") == 4
