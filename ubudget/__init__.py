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
    from ubudget.evaluation.bias_studies import MaterialStudy as MaterialStudy
    from ubudget.evaluation.bias_studies import Round as Round
    from ubudget.evaluation.bias_studies import Spike as Spike
    from ubudget.evaluation.bias_studies import bias_from_material as bias_from_material
    from ubudget.evaluation.bias_studies import bias_from_materials as bias_from_materials
    from ubudget.evaluation.bias_studies import bias_from_pairs as bias_from_pairs
    from ubudget.evaluation.bias_studies import bias_from_recoveries as bias_from_recoveries
    from ubudget.evaluation.bias_studies import bias_from_rounds as bias_from_rounds
    from ubudget.evaluation.collaborative import level_precision as level_precision
    from ubudget.evaluation.conformity import Prior as Prior
    from ubudget.evaluation.conformity import acceptance_limits as acceptance_limits
    from ubudget.evaluation.conformity import conformance_probability as conformance_probability
    from ubudget.evaluation.conformity import decide_conformity as decide_conformity
    from ubudget.evaluation.conformity import guard_band as guard_band
    from ubudget.evaluation.conformity import guard_band_for_risk as guard_band_for_risk
    from ubudget.evaluation.conformity import largest_uncertainty as largest_uncertainty
    from ubudget.evaluation.conformity import meets_percentage as meets_percentage
    from ubudget.evaluation.conformity import specific_consumer_risk as specific_consumer_risk
    from ubudget.evaluation.conformity import specific_producer_risk as specific_producer_risk
    from ubudget.evaluation.decisions import decisions_of as decisions_of
    from ubudget.evaluation.detection import counting_limits as counting_limits
    from ubudget.evaluation.detection import detection_factor as detection_factor
    from ubudget.evaluation.detection import detection_limits as detection_limits
    from ubudget.evaluation.detection import limits_from_blanks as limits_from_blanks
    from ubudget.evaluation.detection import limits_from_calibration as limits_from_calibration
    from ubudget.evaluation.detection import quantification_limit as quantification_limit
    from ubudget.evaluation.detection import quantification_limit_at as quantification_limit_at
    from ubudget.evaluation.detection import truncated_interval as truncated_interval
    from ubudget.evaluation.fit_curve import fit_curve as fit_curve
    from ubudget.evaluation.global_risks import global_risks as global_risks
    from ubudget.evaluation.horwitz import horwitz as horwitz
    from ubudget.evaluation.horwitz import thompson as thompson
    from ubudget.evaluation.level_function import LevelFunction as LevelFunction
    from ubudget.evaluation.level_function import fit_level_function as fit_level_function
    from ubudget.evaluation.low_value_means import mean_with_low_values as mean_with_low_values
    from ubudget.evaluation.low_value_means import sum_with_low_values as sum_with_low_values
    from ubudget.evaluation.method_detection_limit import method_detection_limit as method_detection_limit
    from ubudget.evaluation.method_detection_limit import method_detection_limit_1984 as method_detection_limit_1984
    from ubudget.evaluation.method_detection_limit import pooled_method_detection_limit as pooled_method_detection_limit
    from ubudget.evaluation.nested_variance import variance_components as variance_components
    from ubudget.evaluation.notebook import budget as budget
    from ubudget.evaluation.notebook import exp as exp
    from ubudget.evaluation.notebook import input_quantity as input_quantity
    from ubudget.evaluation.notebook import ln as ln
    from ubudget.evaluation.notebook import log10 as log10
    from ubudget.evaluation.notebook import sqrt as sqrt
    from ubudget.evaluation.pooled_scatter import duplicate_scatter as duplicate_scatter
    from ubudget.evaluation.pooled_scatter import duplicates_by_level as duplicates_by_level
    from ubudget.evaluation.pooled_scatter import pooled_by_degrees as pooled_by_degrees
    from ubudget.evaluation.pooled_scatter import pooled_sd as pooled_sd
    from ubudget.evaluation.robust import algorithm_a as algorithm_a
    from ubudget.evaluation.scores import critical_range_factor as critical_range_factor
    from ubudget.evaluation.scores import normalised_error as normalised_error
    from ubudget.evaluation.scores import repeatability_check as repeatability_check
    from ubudget.evaluation.scores import repeatability_limit as repeatability_limit
    from ubudget.evaluation.scores import trueness_check as trueness_check
    from ubudget.evaluation.scores import z_prime_score as z_prime_score
    from ubudget.evaluation.scores import z_score as z_score
    from ubudget.evaluation.scores import zeta_score as zeta_score
    from ubudget.evaluation.simulated_results import simulate as simulate
    from ubudget.files.checking import check_workbook as check_workbook
    from ubudget.files.frames import budgets_frame as budgets_frame
    from ubudget.files.frames import results_frame as results_frame
    from ubudget.files.scoping import scope as scope
    from ubudget.files.studies import evaluate_study as evaluate_study
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
    "LevelFunction",
    "MaterialStudy",
    "Prior",
    "Round",
    "Spike",
    "__version__",
    "acceptance_limits",
    "algorithm_a",
    "bias_from_material",
    "bias_from_materials",
    "bias_from_pairs",
    "bias_from_recoveries",
    "bias_from_rounds",
    "budget",
    "budgets_frame",
    "calibrate_ware",
    "check_workbook",
    "conformance_probability",
    "counting_limits",
    "critical_range_factor",
    "decide_conformity",
    "decisions_of",
    "detection_factor",
    "detection_limits",
    "duplicate_scatter",
    "duplicates_by_level",
    "evaluate",
    "evaluate_study",
    "exp",
    "fit_curve",
    "fit_level_function",
    "gauss_newton",
    "global_risks",
    "guard_band",
    "guard_band_for_risk",
    "horwitz",
    "input_quantity",
    "lag_1_autocorrelation",
    "largest_uncertainty",
    "least_squares",
    "level_precision",
    "limits_from_blanks",
    "limits_from_calibration",
    "ln",
    "log10",
    "maximum_permissible_error",
    "mean_and_sd",
    "mean_with_low_values",
    "meets_percentage",
    "method_detection_limit",
    "method_detection_limit_1984",
    "normalised_error",
    "pooled_by_degrees",
    "pooled_method_detection_limit",
    "pooled_sd",
    "quantification_limit",
    "quantification_limit_at",
    "read_run",
    "repeatability_check",
    "repeatability_limit",
    "results_frame",
    "scope",
    "simulate",
    "specific_consumer_risk",
    "specific_producer_risk",
    "sqrt",
    "statement_text",
    "sum_with_low_values",
    "thompson",
    "trace",
    "trueness_check",
    "truncated_interval",
    "variance_components",
    "write_workbook",
    "z_prime_score",
    "z_score",
    "zeta_score",
]

_MODULES = {
    "ubudget.evaluation.bias_studies": (
        "MaterialStudy Round Spike bias_from_material bias_from_materials bias_from_pairs bias_from_recoveries "
        "bias_from_rounds"
    ),
    "ubudget.evaluation.collaborative": "level_precision",
    "ubudget.evaluation.conformity": (
        "Prior acceptance_limits conformance_probability decide_conformity guard_band guard_band_for_risk "
        "largest_uncertainty meets_percentage specific_consumer_risk specific_producer_risk"
    ),
    "ubudget.evaluation.decisions": "decisions_of",
    "ubudget.evaluation.detection": (
        "counting_limits detection_factor detection_limits limits_from_blanks limits_from_calibration "
        "quantification_limit quantification_limit_at truncated_interval"
    ),
    "ubudget.evaluation.fit_curve": "fit_curve",
    "ubudget.evaluation.global_risks": "global_risks",
    "ubudget.evaluation.horwitz": "horwitz thompson",
    "ubudget.evaluation.level_function": "LevelFunction fit_level_function",
    "ubudget.evaluation.low_value_means": "mean_with_low_values sum_with_low_values",
    "ubudget.evaluation.method_detection_limit": (
        "method_detection_limit method_detection_limit_1984 pooled_method_detection_limit"
    ),
    "ubudget.evaluation.nested_variance": "variance_components",
    "ubudget.evaluation.notebook": "budget exp input_quantity ln log10 sqrt",
    "ubudget.evaluation.pooled_scatter": "duplicate_scatter duplicates_by_level pooled_by_degrees pooled_sd",
    "ubudget.evaluation.robust": "algorithm_a",
    "ubudget.evaluation.scores": (
        "critical_range_factor normalised_error repeatability_check repeatability_limit trueness_check z_prime_score "
        "z_score zeta_score"
    ),
    "ubudget.evaluation.simulated_results": "simulate",
    "ubudget.files.checking": "check_workbook",
    "ubudget.files.frames": "budgets_frame results_frame",
    "ubudget.files.scoping": "scope",
    "ubudget.files.studies": "evaluate_study",
    "ubudget.files.verbs": "evaluate read_run trace write_workbook",
    "ubudget.files.ware_calibration": "calibrate_ware",
    "ubudget.pages.statement_text": "statement_text",
    "ubudget.quantity.gauss_newton": "gauss_newton",
    "ubudget.quantity.least_squares": "least_squares",
    "ubudget.quantity.moments": "lag_1_autocorrelation mean_and_sd",
    "ubudget.records.weight_classes": "maximum_permissible_error",
}
_HOMES = {name: module for module, names in _MODULES.items() for name in names.split()}
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
