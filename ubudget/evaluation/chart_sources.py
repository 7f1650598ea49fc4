"""What a run gives to a control chart: the values of its checks, as they came out."""

from __future__ import annotations

from ubudget.errors import UbudgetError
from ubudget.evaluation.evaluate import Evaluation
from ubudget.records.control_charts import ChartSource, ControlChart
from ubudget.records.unit_comparison import in_unit


def values_for(chart: ControlChart, evaluation: Evaluation) -> tuple[float, ...] | None:
    """Values of the chart's check in a run, in the unit of the chart; None where the run has no such check.

    Raises `UbudgetError` for a check without value, or a unit that does not convert."""
    source = chart.source
    if source is None:
        return None
    found = [_value(chart, source, sample, evaluation) for sample in source.samples]
    if any(value is None for value in found):
        return None
    values = [value for value in found if value is not None]
    if source.kind != "spike":
        return tuple(values)
    added = _added(chart, source, evaluation)
    return None if added is None else (100 * (values[0] - values[1]) / added,)


def _value(chart: ControlChart, source: ChartSource, sample: str, evaluation: Evaluation) -> float | None:
    for result in evaluation.results:
        if (result.sample, result.analyte) == (sample, source.analyte) and source.line in ("", result.line):
            if result.value is None:
                raise UbudgetError(
                    f"chart {chart.id}: found sample {sample} without a value; accepted: a result that is available"
                )
            if source.kind == "spike":
                return result.value
            value = in_unit(result.value, result.unit, chart.unit)
            if value is None:
                raise UbudgetError(f"chart {chart.id}: found unit {result.unit}; accepted: one that fits {chart.unit}")
            return value
    return None


def _added(chart: ControlChart, source: ChartSource, evaluation: Evaluation) -> float | None:
    run = evaluation.records.run
    unit = evaluation.records.method.document.unit
    for spike in run.file.spikes if run else ():
        if (spike.sample, spike.of) == source.samples and source.analyte in spike.added:
            amount = spike.added[source.analyte]
            return in_unit(amount.value, amount.unit, unit)
    raise UbudgetError(
        f"chart {chart.id}: found no spike of {source.samples[0]} with {source.analyte} in the run; accepted: a "
        "[[spike]] that says what was added"
    )
