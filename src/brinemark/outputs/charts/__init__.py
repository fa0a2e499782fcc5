"""Charts as Vega-Lite specifications (plain dicts), drawn without browser or network."""

from brinemark.outputs.charts.definitions import definitions_chart
from brinemark.outputs.charts.dilutions import dilutions_chart
from brinemark.outputs.charts.exposures import exposures_map
from brinemark.outputs.charts.fan import calibration_fan
from brinemark.outputs.charts.fit import fit_chart
from brinemark.outputs.charts.frame import Kind, Spec, render, shown_unit
from brinemark.outputs.charts.funnels import funnel_chart
from brinemark.outputs.charts.holds import detectability_chart
from brinemark.outputs.charts.levels import as_lower_limit, stated_level
from brinemark.outputs.charts.life import life_chart
from brinemark.outputs.charts.moves import moves_chart
from brinemark.outputs.charts.overlay import overlay_chart
from brinemark.outputs.charts.overview import consignment_overview
from brinemark.outputs.charts.pairs import method_pairs
from brinemark.outputs.charts.planning import helps_chart, trade_chart
from brinemark.outputs.charts.reading import reading_chart
from brinemark.outputs.charts.residuals import residuals_chart
from brinemark.outputs.charts.seasons import prevalence_over_time
from brinemark.outputs.charts.spans import stated_span
from brinemark.outputs.charts.strip import statement_strip
from brinemark.outputs.charts.study import study_chart
from brinemark.outputs.charts.timeline import tank_timeline
from brinemark.outputs.charts.trace import trace_chart
from brinemark.outputs.charts.trials import ratio_calibration, roc_chart
from brinemark.outputs.charts.weights import weights_chart

__all__ = [
    "Kind",
    "Spec",
    "as_lower_limit",
    "calibration_fan",
    "consignment_overview",
    "definitions_chart",
    "detectability_chart",
    "dilutions_chart",
    "exposures_map",
    "fit_chart",
    "funnel_chart",
    "helps_chart",
    "life_chart",
    "method_pairs",
    "moves_chart",
    "overlay_chart",
    "prevalence_over_time",
    "ratio_calibration",
    "reading_chart",
    "render",
    "residuals_chart",
    "roc_chart",
    "shown_unit",
    "stated_level",
    "stated_span",
    "statement_strip",
    "study_chart",
    "tank_timeline",
    "trace_chart",
    "trade_chart",
    "weights_chart",
]
