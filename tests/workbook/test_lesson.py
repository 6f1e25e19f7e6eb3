"""What cells of a lesson show: words, tables and figures, and why a part does not apply."""

import pytest

from rfcal import workbook
from rfcal.report.figures import style
from rfcal.workbook import lesson


@pytest.fixture
def shown(monkeypatch):
    found = []
    monkeypatch.setattr(lesson, "display", found.append)
    return found


def test_a_table_is_stored_in_columns_and_shown_in_cells(shown):
    workbook.table([("", "R"), ("50 ohm", "a < b"), ("1000 ohm", 3)])
    (table,) = shown
    assert repr(table) == "          R\n50 ohm    a < b\n1000 ohm  3"
    html = table._repr_mimebundle_()[0]["text/html"]
    assert html.count("<tr>") == 3
    assert "<td>50 ohm</td>\n<td>a &lt; b</td>" in html


def test_a_figure_is_not_shrunk_to_a_narrow_window(shown):
    figure = style.new_figure(2, 1)
    figure.subplots()
    workbook.show(figure, "nothing yet")
    data, metadata = shown[0]._repr_mimebundle_()
    assert data["text/plain"] == "nothing yet"
    assert metadata["image/png"]["unconfined"]


def test_only_the_first_of_what_a_record_lacks_is_said(shown, computed):
    beacon = computed("beacon-antenna")
    assert workbook.has(beacon, "device", "match")
    assert shown == []
    assert not workbook.has(beacon, "line", "far ends")
    (said,) = map(repr, shown)
    assert said == "This part is about a line, and this record has no [line_check]."


def test_the_coil_panel_starts_at_the_fit(computed):
    part = computed("trap-parts").parts[0]
    panel = workbook.coil_panel(part)
    fitted = part.verdict.figures["resistance"].value[0]
    assert panel.starts["loss"] == pytest.approx(fitted, abs=0.05)


def test_the_standing_wave_fills_half_of_its_axes_at_the_start(computed):
    for results in (None, computed("tower-line")):
        panel = workbook.standing_wave_panel(results)
        for ax in panel._canvas.figure.axes:
            share = ax.lines[0].get_ydata().max() / ax.get_ylim()[1]
            assert 0.3 < share < 0.8
