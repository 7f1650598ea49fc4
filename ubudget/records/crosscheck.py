"""What only shows when the records are read together: one call, all findings, nothing from disk."""

from __future__ import annotations

from ubudget.records.crosscheck_additions import addition_findings
from ubudget.records.crosscheck_amendments import amendment_findings
from ubudget.records.crosscheck_approval import approval_findings
from ubudget.records.crosscheck_balances import balance_findings
from ubudget.records.crosscheck_blocks import block_findings
from ubudget.records.crosscheck_calibration import calibration_findings
from ubudget.records.crosscheck_corrections import correction_findings
from ubudget.records.crosscheck_derived import derived_findings
from ubudget.records.crosscheck_device import device_findings
from ubudget.records.crosscheck_effects import effect_findings
from ubudget.records.crosscheck_formulas import formula_findings
from ubudget.records.crosscheck_import import import_findings
from ubudget.records.crosscheck_items import item_findings
from ubudget.records.crosscheck_level_functions import level_function_findings
from ubudget.records.crosscheck_limits import limit_findings
from ubudget.records.crosscheck_lines import line_rule_findings
from ubudget.records.crosscheck_low_levels import low_level_findings
from ubudget.records.crosscheck_materials import material_findings
from ubudget.records.crosscheck_method import method_findings, method_in_run_findings
from ubudget.records.crosscheck_overlap import overlap_findings
from ubudget.records.crosscheck_points import point_findings
from ubudget.records.crosscheck_quality import quality_findings
from ubudget.records.crosscheck_recovery import recovery_findings
from ubudget.records.crosscheck_run import run_findings
from ubudget.records.crosscheck_targets import target_findings
from ubudget.records.crosscheck_validation import validation_findings
from ubudget.records.crosscheck_ware import ware_findings
from ubudget.records.crosscheck_weighing import weighing_findings
from ubudget.records.finding import Finding
from ubudget.records.records import Records


def crosscheck(records: Records) -> list[Finding]:
    """Findings over method, register and run together."""
    return [
        *method_findings(records.method, records.file("method")),
        *method_in_run_findings(records),
        *approval_findings(records),
        *effect_findings(records),
        *item_findings(records),
        *balance_findings(records),
        *weighing_findings(records),
        *ware_findings(records),
        *point_findings(records),
        *run_findings(records),
        *block_findings(records),
        *amendment_findings(records),
        *calibration_findings(records),
        *addition_findings(records),
        *correction_findings(records),
        *quality_findings(records),
        *device_findings(records),
        *import_findings(records),
        *recovery_findings(records),
        *material_findings(records),
        *overlap_findings(records.method, records.file("method")),
        *formula_findings(records.method, records.file("method")),
        *derived_findings(records),
        *validation_findings(records),
        *line_rule_findings(records.method, records.file("method")),
        *low_level_findings(records),
        *level_function_findings(records.method, records.file("method")),
        *limit_findings(records),
        *target_findings(records.method, records.file("method")),
    ]
