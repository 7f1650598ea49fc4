"""Measurement uncertainty budgets and metrological traceability for elemental-analysis laboratories.

run = ubudget.read_run("worked_examples/harbour_sediment")
evaluation = ubudget.evaluate(run)
for result in evaluation.results:
    print(result.sample, result.analyte, result.value, result.expanded_uncertainty)
ubudget.write_workbook(evaluation, "budget.xlsx")
"""

from typing import TYPE_CHECKING, Any

from ubudget.version import __version__

if TYPE_CHECKING:
    from ubudget.evaluation.detection import counting_limits as counting_limits
    from ubudget.evaluation.detection import detection_factor as detection_factor
    from ubudget.evaluation.detection import detection_limits as detection_limits
    from ubudget.evaluation.detection import limits_from_blanks as limits_from_blanks
    from ubudget.evaluation.detection import limits_from_calibration as limits_from_calibration
    from ubudget.evaluation.detection import quantification_limit as quantification_limit
    from ubudget.evaluation.detection import quantification_limit_at as quantification_limit_at
    from ubudget.evaluation.detection import truncated_interval as truncated_interval
    from ubudget.evaluation.fit_curve import fit_curve as fit_curve
    from ubudget.evaluation.method_detection_limit import method_detection_limit as method_detection_limit
    from ubudget.evaluation.method_detection_limit import method_detection_limit_1984 as method_detection_limit_1984
    from ubudget.evaluation.method_detection_limit import pooled_method_detection_limit as pooled_method_detection_limit
    from ubudget.evaluation.notebook import budget as budget
    from ubudget.evaluation.notebook import exp as exp
    from ubudget.evaluation.notebook import input_quantity as input_quantity
    from ubudget.evaluation.notebook import ln as ln
    from ubudget.evaluation.notebook import log10 as log10
    from ubudget.evaluation.notebook import sqrt as sqrt
    from ubudget.files.frames import budgets_frame as budgets_frame
    from ubudget.files.frames import results_frame as results_frame
    from ubudget.files.verbs import evaluate as evaluate
    from ubudget.files.verbs import read_run as read_run
    from ubudget.files.verbs import trace as trace
    from ubudget.files.verbs import write_workbook as write_workbook
    from ubudget.files.ware_calibration import calibrate_ware as calibrate_ware
    from ubudget.pages.statement_text import statement_text as statement_text
    from ubudget.quantity.gauss_newton import gauss_newton as gauss_newton
    from ubudget.quantity.least_squares import least_squares as least_squares
    from ubudget.quantity.moments import lag_1_autocorrelation as lag_1_autocorrelation
    from ubudget.quantity.moments import mean_and_sd as mean_and_sd
    from ubudget.records.weight_classes import maximum_permissible_error as maximum_permissible_error

__all__ = [
    "__version__",
    "budget",
    "budgets_frame",
    "calibrate_ware",
    "counting_limits",
    "detection_factor",
    "detection_limits",
    "evaluate",
    "exp",
    "fit_curve",
    "gauss_newton",
    "input_quantity",
    "lag_1_autocorrelation",
    "least_squares",
    "limits_from_blanks",
    "limits_from_calibration",
    "ln",
    "log10",
    "maximum_permissible_error",
    "mean_and_sd",
    "method_detection_limit",
    "method_detection_limit_1984",
    "pooled_method_detection_limit",
    "quantification_limit",
    "quantification_limit_at",
    "read_run",
    "results_frame",
    "sqrt",
    "statement_text",
    "trace",
    "truncated_interval",
    "write_workbook",
]

_HOMES = {
    **dict.fromkeys(("evaluate", "read_run", "trace", "write_workbook"), "ubudget.files.verbs"),
    **dict.fromkeys(("budget", "exp", "input_quantity", "ln", "log10", "sqrt"), "ubudget.evaluation.notebook"),
    **dict.fromkeys(("budgets_frame", "results_frame"), "ubudget.files.frames"),
    **dict.fromkeys(("lag_1_autocorrelation", "mean_and_sd"), "ubudget.quantity.moments"),
    **dict.fromkeys(
        (
            "counting_limits",
            "detection_factor",
            "detection_limits",
            "limits_from_blanks",
            "limits_from_calibration",
            "quantification_limit",
            "quantification_limit_at",
            "truncated_interval",
        ),
        "ubudget.evaluation.detection",
    ),
    **dict.fromkeys(
        ("method_detection_limit", "method_detection_limit_1984", "pooled_method_detection_limit"),
        "ubudget.evaluation.method_detection_limit",
    ),
    "calibrate_ware": "ubudget.files.ware_calibration",
    "fit_curve": "ubudget.evaluation.fit_curve",
    "gauss_newton": "ubudget.quantity.gauss_newton",
    "least_squares": "ubudget.quantity.least_squares",
    "maximum_permissible_error": "ubudget.records.weight_classes",
    "statement_text": "ubudget.pages.statement_text",
}
"""Where each name of the front door lives; it is loaded when first asked for, so that the door itself is light."""


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    # Kept in the module, so that it is looked up once.
    globals()[name] = getattr(import_module(_HOMES[name]), name)
    return globals()[name]


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
