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
    from ubudget.evaluation.notebook import budget as budget
    from ubudget.evaluation.notebook import exp as exp
    from ubudget.evaluation.notebook import input_quantity as input_quantity
    from ubudget.evaluation.notebook import ln as ln
    from ubudget.evaluation.notebook import log10 as log10
    from ubudget.evaluation.notebook import sqrt as sqrt
    from ubudget.files.verbs import evaluate as evaluate
    from ubudget.files.verbs import read_run as read_run
    from ubudget.files.verbs import write_workbook as write_workbook

__all__ = [
    "__version__",
    "budget",
    "evaluate",
    "exp",
    "input_quantity",
    "ln",
    "log10",
    "read_run",
    "sqrt",
    "write_workbook",
]

_HOMES = {
    **dict.fromkeys(("evaluate", "read_run", "write_workbook"), "ubudget.files.verbs"),
    **dict.fromkeys(("budget", "exp", "input_quantity", "ln", "log10", "sqrt"), "ubudget.evaluation.notebook"),
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
