"""The results that used an item, as a table for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from ubudget.evaluation.evaluate import Result
from ubudget.pages.figures import percent, plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines

DIGITS = 5


class Use(Protocol):
    """What a row tells."""

    @property
    def run(self) -> str: ...
    @property
    def result(self) -> Result: ...
    @property
    def contribution(self) -> float | None: ...
    @property
    def share(self) -> float | None: ...
    @property
    def now(self) -> Result | None: ...


def use_lines(uses: Sequence[Use], item: str, runs: Sequence[str], width: int = WIDTH) -> Iterator[str]:
    """How many results of each run rest on the item, and each of them."""
    for number, run in enumerate(dict.fromkeys(runs)):
        chosen = [use for use in uses if use.run == run]
        if number:
            yield ""
        yield f"{run}: {len(chosen)} result{'' if len(chosen) == 1 else 's'} on {item}"
        if chosen:
            yield ""
            yield from table_lines(_columns(chosen), width=width)


def _columns(uses: Sequence[Use]) -> list[TextColumn]:
    results = [use.result for use in uses]
    columns = [
        TextColumn("sample", [result.sample for result in results]),
        TextColumn("analyte", [result.analyte for result in results]),
    ]
    if any(result.line for result in results):
        columns.append(TextColumn("line", [result.line or "" for result in results]))
    changed = any(use.now for use in uses)
    columns.append(_numbers("value", [result.value for result in results]))
    if changed:
        columns.append(_numbers("new value", [use.now.value if use.now else None for use in uses]))
    columns.append(_numbers("U", [result.expanded_uncertainty for result in results]))
    if changed:
        columns.append(_numbers("new U", [use.now.expanded_uncertainty if use.now else None for use in uses]))
    else:
        shares = ["" if use.share is None else percent(use.share) for use in uses]
        columns += [_numbers("|c·u|", [use.contribution for use in uses]), TextColumn("share", shares, "right")]
    columns.append(TextColumn("unit", [result.unit for result in results]))
    return columns


def _numbers(heading: str, values: Sequence[float | None]) -> TextColumn:
    return TextColumn(heading, ["" if value is None else plain(value, DIGITS) for value in values], "right")
