"""Panels in a real JupyterLab: keys move the slider, and picture and words follow."""

import time
from pathlib import Path

import nbformat
import numpy as np
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from rfcal import workbook
from tests.browser.conftest import TOKEN

BEACON = str(Path(__file__).parents[2] / "data" / "demo" / "beacon-antenna")
PANELS = {
    "cable": "workbook.cable_panel()",
    "standards": "workbook.standards_panel(beacon, 'antenna')",
    "fault": "workbook.fault_panel()",
    "match": "workbook.match_panel(beacon, beacon.matches[0])",
    "uncertainty": "workbook.uncertainty_panel()",
    "path": "workbook.path_panel()",
}
# computed once, for the kernel stays
IMPORTS = (
    "from rfcal import compute, workbook\n"
    f"beacon = globals().get('beacon') or compute({BEACON!r})\n"
)
MOVES = 6
IS_IDLE = """
const context = window.jupyterapp?.shell?.currentWidget?.sessionContext;
return context?.session?.kernel?.status === 'idle' && context.isReady;
"""
CELLS = """
const notebook = window.jupyterapp.shell.currentWidget.content.model.sharedModel;
const old = notebook.cells.length, cells = arguments[0];
notebook.transact(() => {
  notebook.insertCells(0, cells.map(source => ({cell_type: 'code', source})));
  notebook.deleteCellRange(cells.length, cells.length + old);
});
"""
SHOWN = """
const cells = window.jupyterapp.shell.currentWidget.content.widgets;
return [cells.length, document.querySelectorAll('.jp-OutputArea-output').length];
"""
RUN = """
const app = window.jupyterapp, notebook = app.shell.currentWidget.content;
notebook.widgets[0].model.sharedModel.setSource(arguments[0]);
app.commands.execute('notebook:run-all-cells');
"""
PRINTED = """
return [...document.querySelectorAll('.jp-OutputArea-output pre')].map(e => e.innerText).join('')
"""
LAST_CELL = """
const app = window.jupyterapp, notebook = app.shell.currentWidget.content;
notebook.activeCellIndex = notebook.widgets.length - 1;
app.commands.execute('notebook:run-cell');
"""
PICTURES = "return document.querySelectorAll('img.widget-image').length"


def opened(browser, lab, sources):
    """The one notebook with these cells instead of what it had; how to wait on it."""
    from selenium.common.exceptions import WebDriverException
    from selenium.webdriver.support.ui import WebDriverWait

    address, folder = lab
    # while the page builds itself, elements come and go: try again until one can be used
    wait = WebDriverWait(browser, 60, 0.05, ignored_exceptions=[WebDriverException])
    if not browser.current_url.startswith(address):
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        notebook = new_notebook(cells=[new_code_cell()], metadata={"kernelspec": kernel})
        nbformat.write(notebook, folder / "panels.ipynb")
        browser.get(f"{address}/doc/tree/panels.ipynb?token={TOKEN}")
    # run before the kernel is there, and the page asks which one to take
    wait.until(lambda b: b.execute_script(IS_IDLE))
    browser.execute_script(CELLS, sources)
    wait.until(lambda b: b.execute_script(SHOWN) == [len(sources), 0])
    return wait


@pytest.fixture
def page(browser, lab):
    """A notebook of one empty cell."""
    return opened(browser, lab, [""])


def show(browser, page, source):
    """Run the cell with the source, and wait for its picture."""
    browser.execute_script(RUN, f"{IMPORTS}\n{source}")
    page.until(lambda b: b.execute_script(PICTURES) == 1)


@pytest.mark.parametrize("name", PANELS)
def test_keys_move_the_panel(browser, page, name, record_property):
    from selenium.webdriver import Keys
    from selenium.webdriver.common.by import By

    show(browser, page, PANELS[name])

    # asked inside the page in one go: the widgets replace their elements when they change
    def picture():
        return browser.execute_script("return document.querySelector('img.widget-image').src")

    def words():
        return browser.execute_script("return document.querySelector('p[aria-live]').innerText")

    def press_right(_):
        browser.find_element(By.CSS_SELECTOR, ".noUi-handle").send_keys(Keys.ARROW_RIGHT)
        return True

    first_words, times = page.until(lambda _: words()), []
    for _ in range(MOVES):
        before, start = picture(), time.perf_counter()
        page.until(press_right)
        page.until(lambda _, before=before: picture() != before)
        times.append(time.perf_counter() - start)
    assert words() != first_words
    width = "const i = document.querySelector('img.widget-image'); return [i.width, i.naturalWidth]"
    shown_wide, drawn_wide = browser.execute_script(width)
    assert shown_wide <= drawn_wide, "blown up"
    exact = browser.find_elements(By.CSS_SELECTOR, ".widget-text input[type=text]")
    shown = float(exact[0].get_attribute("value"))
    browser.find_element(By.CSS_SELECTOR, "button.jupyter-button").click()
    page.until(lambda _: words() == first_words)
    assert float(exact[0].get_attribute("value")) != shown
    milliseconds = 1e3 * np.array(times)
    record_property("key_to_picture_ms", np.round(milliseconds, 1).tolist())
    median, slowest = np.median(milliseconds), milliseconds.max()
    print(f"\n{name}: key to picture, driver included: median {median:.0f}, worst {slowest:.0f} ms")


def test_a_typed_value_between_two_steps_stays(browser, page):
    """The slider shows the nearest step, and tells the kernel so; the typed value counts."""
    from selenium.webdriver import Keys
    from selenium.webdriver.common.by import By

    show(browser, page, PANELS["cable"])

    def words():
        return browser.execute_script("return document.querySelector('p[aria-live]').innerText")

    def typed(index, text):
        box = browser.find_elements(By.CSS_SELECTOR, ".widget-text input[type=text]")[index]
        box.send_keys(Keys.CONTROL, "a")
        box.send_keys(text, Keys.ENTER)
        return True

    page.until(lambda _: words())
    page.until(lambda _: typed(0, "70.2"))
    page.until(lambda _: "70.2 MHz" in words())
    # a second value goes there and back after whatever the first slider had to say
    page.until(lambda _: typed(1, "1.23"))
    page.until(lambda _: "1.23 m" in words())
    assert "70.2 MHz" in words()
    boxes = browser.find_elements(By.CSS_SELECTOR, ".widget-text input[type=text]")
    shown = [b.get_attribute("value") for b in boxes]
    assert shown == ["70.2", "1.23", "0.66", "50", "5", "4", "-30"]


def test_a_comma_counts_and_what_is_refused_is_said(browser, page):
    from selenium.webdriver import Keys
    from selenium.webdriver.common.by import By

    show(browser, page, PANELS["cable"])
    box = ".widget-text input[type=text]"

    def typed(text):
        field = browser.find_elements(By.CSS_SELECTOR, box)[1]
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(text, Keys.ENTER)
        return True

    page.until(lambda _: typed("1,23"))
    page.until(lambda b: "1.23 m" in b.find_element(By.CSS_SELECTOR, "p[aria-live]").text)
    page.until(lambda _: typed("12"))
    page.until(lambda b: "12" in b.find_element(By.CSS_SELECTOR, "p[role=alert]").text)
    said = browser.find_element(By.CSS_SELECTOR, "p[role=alert]").text
    assert "cable length takes a number from 0 to 3 m" in said
    assert browser.find_elements(By.CSS_SELECTOR, box)[1].get_attribute("value") == "1.23"
    # the box has the accessible name that the slider's handle cannot have
    for field in browser.find_elements(By.CSS_SELECTOR, box):
        label = browser.find_element(By.CSS_SELECTOR, f"label[for='{field.get_attribute('id')}']")
        assert label.text


MOVED = """
import random
random.seed(1)
for _ in range(8):
    steps = {s: random.randint(0, int((s.high - s.low) / s.step + 1e-9)) for s in panel.sliders}
    last = panel.move(**{s.name: round(s.low + n * s.step, 9) for s, n in steps.items()})
"""
LATER = "print('KEPT' if panel.sentence == last else 'MOVED', last)"


@pytest.mark.parametrize("name", PANELS)
def test_moves_of_a_later_cell_leave_the_last_one(browser, lab, name):
    """The browser's sliders answered what they were given, and an older move came back."""
    first = f"{IMPORTS}\npanel = ({PANELS[name]})\npanel"
    wait = opened(browser, lab, [first, MOVED, LATER])
    run_all = "window.jupyterapp.commands.execute('notebook:run-all-cells')"
    browser.execute_script(run_all)
    wait.until(
        lambda b: "KEPT" in b.execute_script(PRINTED) or "MOVED" in b.execute_script(PRINTED)
    )
    # whatever the browser has to answer comes after the cells: ask once more
    browser.execute_script(LAST_CELL)
    wait.until(lambda b: b.execute_script(IS_IDLE))
    time.sleep(0.3)
    kept, _, last = browser.execute_script(PRINTED).partition(" ")
    assert kept == "KEPT"
    words = browser.execute_script("return document.querySelector('p[aria-live]').innerText")
    assert " ".join(words.split()) == " ".join(last.split())


UNDER = """
const image = document.querySelector('img.widget-image');
image.scrollIntoView({block: 'center'});
const room = image.parentElement;
room.scrollLeft = arguments[0] * image.width - room.clientWidth / 2;
const box = image.getBoundingClientRect();
const found = document.elementFromPoint(
  box.left + arguments[0] * box.width, box.top + arguments[1] * box.height
);
return [found?.querySelector('title')?.textContent || found?.tagName, box.width];
"""


def test_the_pointer_finds_words_on_the_picture_and_leaves_the_rest_alone(browser, page):
    show(browser, page, PANELS["cable"])
    panel = workbook.cable_panel()
    chart, sweep = panel._canvas.figure.axes
    device = next(line for line in chart.lines if line.get_label() == "device")
    width, height = panel._canvas.figure.bbox.size
    size, widths = browser.get_window_size(), set()

    def under(place):
        found, wide = browser.execute_script(UNDER, place[0] / width, 1 - place[1] / height)
        widths.add(round(wide))
        return found

    try:
        for wide in (1200, 900, 500):
            browser.set_window_size(wide, 1600)
            on_mark = under(chart.transData.transform(device.get_xydata())[0])
            assert on_mark.startswith("device: 4.00 - j30.0 ohm, SWR")
            assert "%\nR along the cable: " in under(sweep.transData.transform((50, 40)))
            assert under((3, 3)) == "IMG"
    finally:
        browser.set_window_size(size["width"], size["height"])
    assert len(widths) == 3
    inside = "return [...document.querySelectorAll('svg[aria-hidden] *')].map(e => e.tabIndex)"
    assert set(browser.execute_script(inside)) == {-1}


def test_an_error_is_said_in_the_panel(browser, page):
    from selenium.webdriver import Keys
    from selenium.webdriver.common.by import By

    source = (
        "from rfcal.report.figures import style\nfrom rfcal.workbook.panel import Panel, Slider\n\n"
        "slider = Slider('y', 'height', 'm', 0, 1, 0.5, 0)\n"
        "Panel(style.new_figure(3, 2), [slider], lambda y: f'{1 / (0.5 - y):.1f}')"
    )
    show(browser, page, source)
    handle = ".noUi-handle"
    page.until(
        lambda b: b.find_element(By.CSS_SELECTOR, handle).send_keys(Keys.ARROW_RIGHT) or True
    )
    page.until(lambda b: "This cannot be shown" in b.find_element(By.TAG_NAME, "body").text)
