"""The same lot behind the calibration and behind a check of it: no independent check.

EURACHEM/CITAC traceability guide, 2nd edition."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.certificates import Register
from ubudget.records.finding import Finding
from ubudget.records.records import Records, Role


def independence_findings(records: Records, register: Register) -> Iterator[Finding]:
    """The same lot behind the calibration and behind a check of it."""
    run = records.run
    if run is None:
        return
    calibrating = [item for item in register.calibrating if item in register.items]
    checks: list[tuple[str, Role, str]] = [
        (portion.reference_material, "samples", f"row {portion.row + 1} ({portion.sample}), material")
        for portion in run.portions
    ]
    checks += [
        (check.item, "run", f"check_solution {number} ({check.label}), item")
        for number, check in enumerate(run.file.checks, start=1)
    ]
    for check, role, place in checks:
        if check not in register.items:
            continue
        lot = register.evidence(check).lot.strip()
        for item in calibrating:
            if item == check or (lot and register.evidence(item).lot.strip() == lot):
                yield Finding(
                    "attend",
                    records.file(role),
                    place,
                    f"{check}, of the lot {lot or 'not stated'} that calibrates by {item}: no independent check",
                    "a check material of another lot than the calibration",
                    "take another material for the check, or correct the lot",
                )
