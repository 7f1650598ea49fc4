"""The derivation of one result, written as a page and as text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.exchange import write_text
from ubudget.pages.derivation import derivation
from ubudget.pages.listing import joined
from ubudget.pages.record_sheet import fingerprint
from ubudget.pages.result_page import result_page
from ubudget.version import __version__


def write_explanation(
    evaluation: Evaluation, row: int, page: Path | None, text: Path | None, *, force: bool = False
) -> Iterator[Path]:
    """Writes what is asked for, each whole or not at all, and gives the paths. Raises as `write_text`."""
    if page is not None:
        prints = fingerprint(evaluation.records.texts)
        write_text(result_page(evaluation, row, prints, f"ubudget {__version__}"), page, force=force)
        yield page
    if text is not None:
        write_text(joined(derivation(evaluation, row)), text, force=force)
        yield text
