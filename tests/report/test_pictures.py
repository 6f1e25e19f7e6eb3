"""Figures and pictures: labelled, repeatable, described, and coded in true colours."""

import io
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.patches import Circle, Ellipse, Rectangle
from PIL import Image

from rfcal.maths.reflection import from_impedance
from rfcal.record.results import error_terms
from rfcal.report.figures import chart, style
from rfcal.report.figures import device as plots
from rfcal.report.figures import render as picture
from rfcal.report.figures.components import part_figure
from rfcal.report.figures.match import proposal_figure
from rfcal.uncertainty.coverage import K_ELLIPSE
from tests.looked_at import faults

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(scope="module", params=["beacon-antenna", "sensor-coil"])
def figures(request, computed):
    results = computed(request.param)
    terms = error_terms(results.calibration)
    return {
        "chart": plots.device_chart(results.devices[0]),
        "bands": plots.device_bands(results.devices[0]),
        "terms": plots.error_terms_figure(results.calibration.frequency, *terms.values()),
    }


def test_axes_say_quantity_and_unit(figures):
    for name in ("bands", "terms"):
        axes = figures[name].axes
        assert all(re.search(r"\[\w+\]", ax.get_ylabel()) for ax in axes)
        assert axes[-1].get_xlabel() == "frequency [MHz]"
    assert figures["chart"].axes[0].get_aspect() == 1.0


def test_error_terms_borrow_no_meaning(figures):
    meanings = set(style.COLORS.values())
    lines = [line for ax in figures["terms"].axes for line in ax.lines]
    assert not meanings & {line.get_color() for line in lines}
    assert len({str(style.line_look(order, 99)["linestyle"]) for order in range(3)}) == 3


def test_one_frequency_is_the_one_the_axis_names(figures):
    for name in ("bands", "terms"):
        at = figures[name].axes[-1].lines[0].get_xdata()
        if len(at) == 1:
            assert list(figures[name].axes[-1].get_xticks()) == pytest.approx(list(at))


@pytest.mark.parametrize("name", ["beacon-antenna", "tower-line", "trap-parts"])
def test_no_curve_is_cut_and_no_words_cover_or_are_covered(computed, name):
    found = computed(name)
    drawn = [plots.device_chart(device) for device in found.devices]
    drawn += [plots.device_bands(device) for device in found.devices]
    drawn += [plots.line_figure(found.line)] if found.line else []
    drawn += [part_figure(part) for part in found.parts]
    drawn += [proposal_figure(m, p) for m in found.matches for p in m.proposals]
    assert [faults(figure) for figure in drawn] == [[] for _ in drawn]


def test_figures_fit_a_notebook(figures):
    for figure in figures.values():
        assert figure.get_size_inches()[0] * figure.dpi <= 900


def test_svg_is_the_same_twice_and_described(figures):
    first = picture.svg_text(figures["bands"], alt='R & X "now"', prefix="a")
    assert first == picture.svg_text(figures["bands"], alt='R & X "now"', prefix="a")
    assert 'role="img"' in first
    assert "R &amp; X &quot;now&quot;" in first
    assert "<!DOCTYPE" not in first
    assert not re.search(r'(href|src)="(?!#)', first)
    ids = re.findall(r'\bid="([^"]+)"', first)
    assert all(i.startswith("a") for i in ids)
    used = set(re.findall(r'(?:url\(|href=")#([^")]+)', first))
    assert used <= set(ids)


def test_every_line_of_resistance_and_reactance_is_where_it_belongs():
    figure = style.new_figure()
    ax = chart.draw_grid(figure.add_subplot(), z_ref=50.0)
    circles = [p for p in ax.patches if type(p).__name__ == "Circle"]
    arcs = [p.get_path() for p in ax.patches if type(p).__name__ == "PathPatch"]
    assert len(circles) == len(chart.GRID_LINES) + 1
    for step, circle in zip(chart.GRID_LINES, circles, strict=False):
        for x in (-3.0, 0.4):
            point = complex(from_impedance(step + 1j * x, 1.0))
            assert abs(point - circle.center[0]) == pytest.approx(circle.radius)
    for path in arcs:
        ends = [complex(*path.vertices[i]) for i in (0, -1)]
        assert min(abs(e - 1) for e in ends) < 1e-9
        assert max(abs(abs(e) - 1) for e in ends) < 1e-9


def test_ellipse_holds_the_probability_it_says():
    covariance = np.array([[4e-4, 2e-4], [2e-4, 3e-4]])
    ax = style.new_figure().add_subplot()
    ellipse = chart.draw_ellipse(ax, 0.2 + 0.1j, covariance)
    rng = np.random.default_rng(4)
    drawn = rng.multivariate_normal([0.2, 0.1], covariance, 50_000)
    angle = np.radians(ellipse.angle)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    local = (drawn - np.array(ellipse.center)) @ turn.T
    inside = (local[:, 0] / ellipse.width) ** 2 + (local[:, 1] / ellipse.height) ** 2 <= 0.25
    assert inside.mean() == pytest.approx(0.95, abs=0.005)


def test_fast_png_is_the_picture_in_the_fixed_colours(figures):
    canvas = FigureCanvasAgg(figures["chart"])
    canvas.draw()
    drawn = np.asarray(canvas.buffer_rgba())
    coded = np.asarray(Image.open(io.BytesIO(picture.fast_png(drawn))).convert("RGB"), int)
    whole = drawn[..., :3].astype(int)
    assert np.abs(coded - whole).max() <= 70  # where two lines blend
    assert np.abs(coded - whole).mean() < 1
    for name in ("#FFFFFF", style.GRID, *style.COLORS.values()):
        colour = np.rint(255 * np.array(to_rgb(name))).astype(int)
        exact = (whole == colour).all(axis=-1)
        assert (coded[exact] == colour).all()


def test_nothing_loads_pyplot():
    code = "import sys, rfcal.workbook.lesson; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_a_band_of_many_points_loses_none_of_them():
    low, high = np.zeros(50_000), np.ones(50_000)
    high[31_415], low[27_182] = 9.0, np.nan
    at, bottom, top = plots._strips(np.linspace(1, 60, low.size), low, high)
    assert at.size <= plots.COLUMNS
    assert (at[0], at[-1]) == (1, 60)
    assert (bottom.max(), top.max()) == (0, 9)
    few = plots._strips(np.arange(201.0), low[:201], high[:201])
    assert few[0].tolist() == list(range(201))


@style.own_settings()
def test_a_picture_of_many_points_is_no_larger_than_a_screen_can_show():
    figure = style.new_figure()
    ax = style.dress(figure.subplots(), "x [1]", "y [1]")
    noise = np.random.default_rng(7).normal(size=200_000)
    ax.plot(np.linspace(0, 1, noise.size), noise, **style.line_look(0, noise.size))
    assert len(picture.svg_text(figure, alt="noise")) < 300_000


@pytest.mark.parametrize("width", [0.02, 0.05, 0.5])
def test_a_region_is_enlarged_as_often_as_it_says(width):
    figure = style.new_figure(6.4, 6.4)
    ax = chart.draw_grid(figure.add_subplot())
    there = chart.draw_ellipse(ax, 0.3j, np.diag([1.0, 0.2]) * (width / 2 / K_ELLIPSE) ** 2)
    chart.draw_enlarged(ax, there, 0.3j, role="corrected")
    FigureCanvasAgg(figure).draw()
    regions = [patch for patch in ax.patches if isinstance(patch, Ellipse) and patch != there]
    regions = [patch for patch in regions if not isinstance(patch, Circle)]
    assert len(regions) == (width < 0.4)
    for region in regions:
        times = region.width / there.width
        assert ax.texts[-1].get_text() == f"region, {times:.10g} times"
        frame = next(patch for patch in ax.patches if isinstance(patch, Rectangle))
        assert frame.get_bbox().count_contains(region.get_corners()) == 4
