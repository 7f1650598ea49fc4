"""JSON Schemas (draft 2020-12) of what commands print with `--json`; they come with the package."""

from __future__ import annotations

from pathlib import Path

SCHEMAS = ("evaluate", "statement")
_FOLDER = Path(__file__).resolve().parent.parent / "schemas"


def schema_text(name: str) -> str:
    """The schema of a command of `SCHEMAS`, as it stands in the file."""
    return (_FOLDER / f"{name}.json").read_text(encoding="utf-8")
