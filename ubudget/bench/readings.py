"""Readings with their include marks, and the mean of each measured line (Type A, GUM 4.2)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.structure import Measured
from ubudget.quantity.expression import Symbol
from ubudget.quantity.graph import Place, Rows

READINGS, POINTS = "readings", "standard readings"


@dataclass(frozen=True, eq=False)
class Segments:
    """Rows of a table of single readings that belong to each measured line."""

    start: Rows
    stop: Rows


def flatten(items: Sequence[Measured]) -> tuple[list[tuple[int, int, float]], Segments]:
    """(item, replicate number, value) of every single reading, and the segment of each item."""
    flat = []
    counts = []
    for number, item in enumerate(items):
        values = item.reading.values or (() if item.reading.mean is None else (item.reading.mean,))
        flat += [(number, replicate, value) for replicate, value in enumerate(values, start=1)]
        counts.append(len(values))
    stops = np.cumsum(np.array(counts, dtype=np.int64))
    return flat, Segments(stops - np.array(counts, dtype=np.int64), stops)


def add_single_readings(
    context: Context,
    table: TableBuilder,
    items: Sequence[Measured],
    flat: Sequence[tuple[int, int, float]],
    unit: str,
    struck: Sequence[bool] = (),
) -> tuple[Symbol, Symbol]:
    """Columns solution, analyte, line, replicate, reading, include, reason, who and when; gives reading and include.

    `struck` says of each reading whether it is left out together with one beside it."""
    run = context.records.run
    assert run is not None
    excluded = {
        (mark.solution, mark.analyte, mark.line, mark.replicate, mark.position, mark.block): mark
        for mark in run.file.exclusions
    }
    blocks = [items[i].reading.block for i, _, _ in flat]
    keys = [
        (items[i].solution, *items[i].line, replicate, items[i].position, block)
        for (i, replicate, _), block in zip(flat, blocks, strict=True)
    ]
    # An exclusion may leave the line out where the analyte has only one.
    marks = [excluded.get(key) or excluded.get((key[0], key[1], "", *key[3:])) for key in keys]
    # Solution, analyte, line, replicate; then the position of a drift check, or the block.
    paths = [key[:4] + tuple(part for part in key[4:] if part) for key in keys]
    table.label("solution", "solution", [key[0] for key in keys])
    table.label("analyte", "analyte", [key[1] for key in keys])
    table.label("line", "line", [key[2] for key in keys])
    table.label("replicate", "replicate", [str(key[3]) for key in keys])
    if any(item.position is not None for item in items):
        table.label("position", "position", ["" if key[4] is None else str(key[4]) for key in keys])
    if any(blocks):
        table.label("block", "calibration block", blocks)
    reading = table.given(
        "reading",
        "reading",
        unit,
        [value for _, _, value in flat],
        [
            # No number depends on a reading that is left out: it is shown, not open.
            None if mark or beside else _reading_place(items[i], replicate)
            for (i, replicate, _), mark, beside in zip(flat, marks, struck or [False] * len(flat), strict=True)
        ],
    )
    include = table.given(
        "include",
        "include (1 = yes, 0 = no)",
        "",
        [0.0 if mark else 1.0 for mark in marks],
        [Place("run", ("include", *path)) for path in paths],
    )
    beside = {
        "reason": ("reason for leaving out", [mark.reason if mark else "" for mark in marks]),
        "who": ("left out by", [mark.who if mark else "" for mark in marks]),
        "when": ("left out on (yyyy-mm-dd)", [mark.when.isoformat() if mark and mark.when else "" for mark in marks]),
    }
    for name, (heading, texts) in beside.items():
        table.label(name, heading, texts, [Place("run", (name, *path)) for path in paths], open=True)
    return reading, include


def _reading_place(item: Measured, replicate: int) -> Place:
    column = f"r{replicate}" if item.reading.values else "mean"
    return Place("readings", (item.reading.row, column))
