"""Page and panels through the rules of axe-core."""

import pytest

from tests.browser.test_panels_in_browser import BEACON, IMPORTS, PICTURES, opened

DEMOS = ("beacon-antenna", "tower-line", "trap-parts", "sensor-coil")
PANELS = (
    "workbook.uncertainty_panel()",
    f"workbook.match_panel(results := compute({BEACON!r}), results.matches[0])",
    "workbook.ReadingForm('own')",
)
ALL_THAT_IS_WRONG = "{resultTypes: ['violations']}"
"""What is right need not be listed place by place, which took most of the time."""


def wrong(browser, where="document"):
    """Rules that are broken, and by which elements."""
    axe = pytest.importorskip("selenium_axe_python").Axe(browser)
    browser.set_script_timeout(120)
    axe.inject()
    return [
        f"{rule['id']} ({rule['impact']}): {node['html'][:120]}"
        for rule in axe.run(where, ALL_THAT_IS_WRONG)["violations"]
        for node in rule["nodes"]
    ]


def look(browser, width, scheme):
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


@pytest.fixture
def usual(browser):
    """The browser, given back at its usual size and in light."""
    yield browser
    look(browser, 1200, "light")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize(("width", "scheme"), [(400, "dark"), (1200, "light")])
def test_a_page_breaks_no_rule_of_access(usual, reported, name, width, scheme):
    look(usual, width, scheme)
    usual.get((reported(name) / "report.html").as_uri())
    usual.execute_script("document.querySelectorAll('details').forEach(e => e.open = true)")
    assert wrong(usual) == []


@pytest.mark.parametrize("source", PANELS)
def test_a_panel_breaks_no_rule_of_access(browser, lab, source):
    wait = opened(browser, lab, [f"{IMPORTS}{source}"])
    browser.execute_script("window.jupyterapp.commands.execute('notebook:run-all-cells')")
    wait.until(lambda b: b.execute_script(PICTURES) == 1)
    # JupyterLab's own is not ours; no widget can name its slider's handle: the box beside it is
    outside = "{include: [['.jp-OutputArea-output']], exclude: [['.noUi-handle']]}"
    assert wrong(browser, outside) == []
