"""What notebooks use besides the library: panels with sliders, figures, words, and what to ask.

``from rfcal import workbook`` loads what draws; ``import rfcal`` alone does not. What is imported
here under its own name is offered, to type checkers too.
"""

from types import ModuleType as _Module
from typing import TYPE_CHECKING as _TYPE_CHECKING

from rfcal.feedline.faults.events import gate as gate
from rfcal.library.doors import guarded as _guarded
from rfcal.matching.trim.verdict import trim as trim
from rfcal.models.cables import CABLES as CABLES
from rfcal.planning.plan import blind as blind
from rfcal.planning.plan import plan as plan
from rfcal.record.archive import carried_record as carried_record
from rfcal.record.findings.line.verdict import kind_words as kind_words
from rfcal.record.findings.line.verdict import place_words as place_words
from rfcal.record.job.whatif import changed as changed
from rfcal.record.job.whatif import corrected_with as corrected_with
from rfcal.record.results import error_terms as error_terms
from rfcal.report.compare import compare_lines as compare_lines
from rfcal.report.compare import side_of as side_of
from rfcal.report.figures.components import methods_figure as methods_figure
from rfcal.report.figures.components import part_figure as part_figure
from rfcal.report.figures.device import device_bands as device_bands
from rfcal.report.figures.device import device_chart as device_chart
from rfcal.report.figures.device import error_terms_figure as error_terms_figure
from rfcal.report.figures.device import line_figure as line_figure
from rfcal.report.figures.match import proposal_figure as proposal_figure
from rfcal.report.page import CAUTIONS as CAUTIONS
from rfcal.report.summary import summary_lines as summary_lines
from rfcal.report.text.components import part_lines as part_lines
from rfcal.report.text.components import value_rows as value_rows
from rfcal.report.text.device import answer_lines as answer_lines
from rfcal.report.text.device import budget_rows as budget_rows
from rfcal.report.text.device import check_line as check_line
from rfcal.report.text.device import figure_rows as figure_rows
from rfcal.report.text.device import method_words as method_words
from rfcal.report.text.device import path_words as path_words
from rfcal.report.text.line import line_lines as line_lines
from rfcal.report.text.match import match_lines as match_lines
from rfcal.report.text.match import match_parts as match_parts
from rfcal.report.text.match import match_row as match_row
from rfcal.uncertainty.words import plus_minus as plus_minus
from rfcal.workbook.device import coil_panel as coil_panel
from rfcal.workbook.device import match_panel as match_panel
from rfcal.workbook.device import plane_panel as plane_panel
from rfcal.workbook.device import standards_panel as standards_panel
from rfcal.workbook.form import ReadingForm as ReadingForm
from rfcal.workbook.lesson import against_truth as against_truth
from rfcal.workbook.lesson import compute as compute
from rfcal.workbook.lesson import exercise as exercise
from rfcal.workbook.lesson import has as has
from rfcal.workbook.lesson import save_report as save_report
from rfcal.workbook.lesson import show as show
from rfcal.workbook.lesson import table as table
from rfcal.workbook.lesson import tell as tell
from rfcal.workbook.lesson import verdict as verdict
from rfcal.workbook.lesson import verify as verify
from rfcal.workbook.lines import cable_panel as cable_panel
from rfcal.workbook.lines import fault_panel as fault_panel
from rfcal.workbook.lines import loss_panel as loss_panel
from rfcal.workbook.lines import standing_wave_panel as standing_wave_panel
from rfcal.workbook.uncertainty import blind_figure as blind_figure
from rfcal.workbook.uncertainty import path_panel as path_panel
from rfcal.workbook.uncertainty import residual_panel as residual_panel
from rfcal.workbook.uncertainty import uncertainty_panel as uncertainty_panel
from rfcal.workbook.uncertainty import usual_line as usual_line
from rfcal.workbook.uncertainty import usual_setup as usual_setup

_offered = {name: thing for name, thing in vars().items() if not name.startswith("_")}
__all__ = [name for name, thing in _offered.items() if not isinstance(thing, _Module)]
if not _TYPE_CHECKING:  # a type checker sees what was imported
    globals().update({name: _guarded(_offered[name]) for name in __all__})
