"""What an import leaves in the run: from which file the readings came, how it was read, what was set aside."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field
from pydantic.dataclasses import dataclass

from ubudget.records.import_mapping import Applied
from ubudget.records.strict import STRICT

Count = Annotated[int, Field(ge=0)]
Texts = Annotated[tuple[str, ...], Field(strict=False)]

BY_OPERATOR = "excluded by the operator in the export"
"""Beginning of the reason of a reading that the export marks as excluded; a person replaces it by the reason."""


@dataclass(frozen=True, config=STRICT, kw_only=True)
class ImportRecord:
    """One import of an export, a table `[[import]]` of the run file, written by the program."""

    file: str
    sha256: str
    """Of the exported file."""
    mapping: str
    mapping_sha256: str
    encoding: str
    separator: str
    decimal: str
    quantity: str
    units: Texts = ()
    rows: Count
    """Rows of data in the file."""
    rows_taken: Count
    rows_set_aside: Count
    values_taken: Count
    values_set_aside: Count
    set_aside: Texts = ()
    """What was set aside, and why."""
    already_applied: Annotated[tuple[Applied, ...], Field(strict=False)] = ()
    """What the device had applied to the numbers."""
