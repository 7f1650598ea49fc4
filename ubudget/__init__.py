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
    from ubudget.files.verbs import evaluate as evaluate
    from ubudget.files.verbs import read_run as read_run
    from ubudget.files.verbs import write_workbook as write_workbook

__all__ = ["__version__", "evaluate", "read_run", "write_workbook"]

_HOMES = {
    "evaluate": "ubudget.files.verbs",
    "read_run": "ubudget.files.verbs",
    "write_workbook": "ubudget.files.verbs",
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
