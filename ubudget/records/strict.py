"""One strictness for all records: frozen, no unknown key, no silent conversion."""

from __future__ import annotations

from pydantic import ConfigDict

STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, populate_by_name=True, validate_by_name=True)
