"""What notebooks use besides the library: panels with sliders, figures, words, and what to ask.

``from rfcal import workbook`` loads what draws; ``import rfcal`` alone does not.
"""

from rfcal.feedline.faults import gate
from rfcal.matching.trim import trim
from rfcal.measurement.monte_carlo import monte_carlo
from rfcal.models.cables import CABLES
from rfcal.planning.coverage_audit import audit
from rfcal.planning.plan import blind, plan
from rfcal.record.archive import carried_record
from rfcal.record.findings.line_verdict import kind_words
from rfcal.record.job.whatif import changed, corrected_with
from rfcal.record.results import error_terms
from rfcal.report.cautions import CAUTIONS
from rfcal.report.compare import compare_lines, side_of
from rfcal.report.figures.components import methods_figure, part_figure
from rfcal.report.figures.device import device_bands, device_chart, error_terms_figure, line_figure
from rfcal.report.figures.match import proposal_figure
from rfcal.report.summary import summary_lines
from rfcal.report.text.components import part_lines, value_rows
from rfcal.report.text.device import (
    answer_lines,
    budget_rows,
    check_line,
    figure_rows,
    method_words,
    path_words,
)
from rfcal.report.text.line import line_lines
from rfcal.report.text.match import match_lines, match_parts, match_row
from rfcal.uncertainty.words import plus_minus
from rfcal.workbook.cable import cable_panel
from rfcal.workbook.components import coil_panel
from rfcal.workbook.corrected import plane_panel, standards_panel
from rfcal.workbook.form import ReadingForm
from rfcal.workbook.lesson import (
    against_truth,
    compute,
    exercise,
    has,
    save_report,
    show,
    table,
    tell,
    verdict,
    verify,
)
from rfcal.workbook.lines import fault_panel, loss_panel, standing_wave_panel
from rfcal.workbook.matching import match_panel
from rfcal.workbook.uncertainty import (
    blind_figure,
    path_panel,
    residual_panel,
    uncertainty_panel,
    usual_line,
    usual_setup,
)

__all__ = [
    "CABLES",
    "CAUTIONS",
    "ReadingForm",
    "against_truth",
    "answer_lines",
    "audit",
    "blind",
    "blind_figure",
    "budget_rows",
    "cable_panel",
    "carried_record",
    "changed",
    "check_line",
    "coil_panel",
    "compare_lines",
    "compute",
    "corrected_with",
    "device_bands",
    "device_chart",
    "error_terms",
    "error_terms_figure",
    "exercise",
    "fault_panel",
    "figure_rows",
    "gate",
    "has",
    "kind_words",
    "line_figure",
    "line_lines",
    "loss_panel",
    "match_lines",
    "match_panel",
    "match_parts",
    "match_row",
    "method_words",
    "methods_figure",
    "monte_carlo",
    "part_figure",
    "part_lines",
    "path_panel",
    "path_words",
    "plan",
    "plane_panel",
    "plus_minus",
    "proposal_figure",
    "residual_panel",
    "save_report",
    "show",
    "side_of",
    "standards_panel",
    "standing_wave_panel",
    "summary_lines",
    "table",
    "tell",
    "trim",
    "uncertainty_panel",
    "usual_line",
    "usual_setup",
    "value_rows",
    "verdict",
    "verify",
]
