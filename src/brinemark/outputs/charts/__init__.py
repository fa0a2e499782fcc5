"""Charts as Vega-Lite specifications (plain dicts), drawn without browser or network."""

from brinemark.outputs.charts.definitions import definitions_chart
from brinemark.outputs.charts.fan import calibration_fan
from brinemark.outputs.charts.fit import fit_chart
from brinemark.outputs.charts.frame import Kind, Spec, render, shown_unit
from brinemark.outputs.charts.life import life_chart
from brinemark.outputs.charts.overlay import overlay_chart
from brinemark.outputs.charts.reading import reading_chart
from brinemark.outputs.charts.residuals import residuals_chart
from brinemark.outputs.charts.spans import stated_span
from brinemark.outputs.charts.strip import statement_strip
from brinemark.outputs.charts.trace import trace_chart

__all__ = [
    "Kind",
    "Spec",
    "calibration_fan",
    "definitions_chart",
    "fit_chart",
    "life_chart",
    "overlay_chart",
    "reading_chart",
    "render",
    "residuals_chart",
    "shown_unit",
    "stated_span",
    "statement_strip",
    "trace_chart",
]
