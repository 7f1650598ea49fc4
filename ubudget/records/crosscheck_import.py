"""What the device applied before the export, against what the method applies again; reasons of excluded readings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ubudget.records.calibration import Calibration
from ubudget.records.finding import Finding, Severity
from ubudget.records.import_mapping import Applied
from ubudget.records.import_record import BY_OPERATOR, ImportRecord
from ubudget.records.method import Blank, Method
from ubudget.records.records import Records
from ubudget.records.recovery import Recovery
from ubudget.records.run import Run
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing


def import_findings(records: Records) -> list[Finding]:
    run = records.run
    if run is None or not run.file.imports:
        return []
    file = records.file("run")
    found: list[Finding] = []
    for number, one in enumerate(run.file.imports, start=1):
        place = f"import {number} ({one.file}), already_applied"
        found += _blank_of_device(one, run, file, f"import {number} ({one.file}), already_applied")
        found += twice_findings(one.already_applied, records.method, run, file, place)
    found += _without_reason(run, file)
    return found


def _blank_of_device(one: ImportRecord, run: Run, file: str, place: str) -> Iterator[Finding]:
    if "calibration blank" in one.already_applied and run.file.run.device_blank == "not applied":
        found = 'calibration blank, where [run] says device_blank = "not applied"'
        yield Finding("stop", file, place, found, "one statement on the device's blank", "correct mapping or run")


def twice_findings(applied: Iterable[Applied], method: Method, run: Run, file: str, place: str) -> Iterator[Finding]:
    """What the device applied already and the method's operations apply again.

    A dilution symbol without a further dilution in the run is the factor 1: that is told, and stops nothing."""
    for step in applied:
        for name, severity in _again(step, method, run):
            yield Finding(
                severity,
                file,
                place,
                f"{step}, which symbol {name} of the method applies again",
                "each correction once: by the device or by the method",
                f"export without it, or use a method without {name}",
            )


def _again(step: Applied, method: Method, run: Run) -> Iterator[tuple[str, Severity]]:
    for name, symbol in method.symbols.items():
        if step == "dilution" and isinstance(symbol, Dilution):
            yield name, "stop" if run.solutions else "attend"
        elif _same_step(step, symbol):
            yield name, "stop"
        elif isinstance(symbol, Calibration):
            if step == "internal standard" and symbol.internal_standard is not None:
                yield f"{name}.internal_standard", "stop"
            elif step == "drift" and symbol.drift is not None:
                yield f"{name}.drift", "stop"


def _same_step(step: Applied, symbol: object) -> bool:
    if step == "weight and volume":
        return isinstance(symbol, (Weighing, Volume))
    if step == "calibration blank":
        return isinstance(symbol, Blank) and symbol.kind != "procedural"
    kinds: dict[Applied, type] = {"blank": Blank, "recovery": Recovery}
    return step in kinds and isinstance(symbol, kinds[step])


def _without_reason(run: Run, file: str) -> Iterator[Finding]:
    for number, exclusion in enumerate(run.file.exclusions, start=1):
        if exclusion.reason.startswith(BY_OPERATOR):
            yield Finding(
                "attend",
                file,
                f"exclude_reading {number} ({exclusion.solution}), reason",
                "a reading left out by a mark of the export alone",
                "the reason in the words of a person, with who and when",
                "give the reason, or delete the entry",
            )
