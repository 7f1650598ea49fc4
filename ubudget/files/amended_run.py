"""The raw documents of a run after the exclusions and amendments that count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from pydantic import TypeAdapter

from ubudget.files.amending import AmendedDocuments, Documents, amended
from ubudget.files.csv_text import parse_csv
from ubudget.files.fault_words import validate_document
from ubudget.files.toml_text import parse_toml
from ubudget.records.amendments import Trail
from ubudget.records.method import Method
from ubudget.records.records import Role, SourceText
from ubudget.records.run import RunFile

TRAIL = ("exclude_reading", "amendment")
"""Tables of the run file whose entries count as steps, in this order."""


def amended_run(documents: Documents, files: Mapping[Role, str], until: int | None) -> AmendedDocuments:
    """The documents after the first `until` entries of `TRAIL`, `None`: after all of them."""
    run = documents.get("run")
    if not isinstance(run, dict):
        return AmendedDocuments(documents)
    if until is not None:
        documents = {**documents, "run": _cut(run, until)}
        run = _cut(run, until)
    # What is wrong with the amendments themselves is told when the run is validated.
    trail = validate_document(_trail_adapter(), {"amendment": run.get("amendment", [])}, files["run"], [])
    if trail is None or not trail.amendments:
        return AmendedDocuments(documents)
    return amended(documents, trail.amendments, files["run"], schemas())


def _cut(run: dict[str, Any], until: int) -> dict[str, Any]:
    left = until
    for key in TRAIL:
        entries = run.get(key)
        if isinstance(entries, list):
            run = {name: value for name, value in run.items() if name != key}
            run |= {key: entries[:left]} if entries[:left] else {}
            left = max(0, left - len(entries))
    return run


def documents_as_they_stand(texts: Sequence[SourceText]) -> Documents:
    """The documents of texts without fault, after all amendments."""
    parsed = {text.role: (parse_toml if _is_toml(text) else parse_csv)(text.text, text.name)[0] for text in texts}
    documents: Documents = {role: document for role, document in parsed.items() if document is not None}
    return amended_run(documents, {text.role: text.name for text in texts}, None).documents


def _is_toml(text: SourceText) -> bool:
    return text.role in ("run", "method", "register")


@cache
def schemas() -> dict[Role, dict[str, Any]]:
    """JSON schemas of the documents whose keys an amendment may name."""
    return {"run": TypeAdapter(RunFile).json_schema(), "method": TypeAdapter(Method).json_schema()}


@cache
def _trail_adapter() -> TypeAdapter[Trail]:
    return TypeAdapter(Trail)
