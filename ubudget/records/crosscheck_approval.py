"""The method as it was approved: the fingerprint that a run states of it, beside the file as it stands."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.finding import Finding
from ubudget.records.fingerprint import method_fingerprint
from ubudget.records.records import Records


def approval_findings(records: Records) -> Iterator[Finding]:
    """A method that is not the approved one, in its file or by an edited cell. None where the run states nothing."""
    run = records.run
    if run is None or not run.file.run.method_fingerprint:
        return
    stated, found = run.file.run.method_fingerprint, method_fingerprint(records.texts)
    version = records.method.document.version
    if stated != found:
        yield _altered(
            records,
            f"{records.file('method')} altered since its approval: fingerprint {found[:12]}…, version {version}",
            f"the approved file, {stated[:12]}…",
        )
    cells = [edit.cell or "an edit" for edit in records.edits if edit.document == "method"]
    if cells:
        several = f" and {len(cells) - 1} more" if len(cells) > 1 else ""
        yield _altered(records, f"a method altered in the workbook: {cells[0]}{several}", "the approved method")


def _altered(records: Records, found: str, accepted: str) -> Finding:
    remedy = "use the approved file, or have this one approved and state its fingerprint"
    return Finding("attend", records.file("run"), "run, method_fingerprint", found, accepted, remedy)
