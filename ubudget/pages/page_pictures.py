"""Drawings of a page (SVG 1.1) in its colours: shares of a budget, and a calibration with the reading of the result.

Meaning never stands in colour alone: bars bear their share in words, the reading of the result is a cross."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.inverse import SIGNALS
from ubudget.bench.result_keys import ResultKey
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.figures import percent, plain
from ubudget.pages.html import said
from ubudget.quantity.graph import Span

WIDE = 640
BAR, ROOM = 22, 190
HIGH, LEFT, BOTTOM, TOP, RIGHT = 320, 76, 46, 16, 18
_TEXT = 'font-family="inherit" font-size="13" fill="currentColor"'


def shares_picture(groups: Sequence[tuple[str, float]]) -> str:
    """Shares of u² by group, largest first; a negative share (of a covariance) is drawn to the left."""
    most = max((abs(share) for _, share in groups), default=1.0) or 1.0
    least = min((share for _, share in groups), default=0.0)
    zero = ROOM + (WIDE - ROOM - 70) * (max(0.0, -least) / (most + max(0.0, -least)))
    scale = (WIDE - 70 - zero) / most
    parts = [_open(WIDE, BAR * len(groups) + 8, "Shares of the squared standard uncertainty by group")]
    for number, (group, share) in enumerate(groups):
        y = BAR * number + 4
        size = abs(share) * scale
        x = zero if share >= 0 else zero - size
        parts.append(
            f'<text x="{ROOM - 8}" y="{y + 14}" text-anchor="end" {_TEXT}>{said(group or "input quantities")}</text>'
        )
        parts.append(f'<rect x="{x:.1f}" y="{y + 2}" width="{max(size, 0.5):.1f}" height="14" fill="var(--bar)"/>')
        parts.append(f'<text x="{max(x + size, zero) + 6:.1f}" y="{y + 14}" {_TEXT}>{percent(share)}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"


@dataclass(frozen=True)
class Calibrated:
    """Readings of the standards of one line, its curve, and the readings of a result on it."""

    title: str
    unit_x: str
    unit_y: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    curve: tuple[tuple[float, float], ...]
    read: tuple[tuple[float, float], ...]


def calibrations_of(evaluation: Evaluation, row: int) -> Iterator[Calibrated]:
    """The calibration curves on which a result was read."""
    graph, structure = evaluation.graph, evaluation.assembly.structure
    if structure is None or "curves" not in graph.tables or SIGNALS not in graph.tables:
        return
    home = graph.tables["curves"]
    span = home.references.get("all mark")
    if not isinstance(span, Span):
        return
    points = graph.tables[span.table]
    reading = next((name for name in ("y", "reading", "mean") if name in points.by_name), None)
    if reading is None or "fitted" not in points.by_name:
        return
    x, y, fitted, mark = (evaluation.column(name, span.table) for name in ("x", reading, "fitted", "mark"))
    ordinate = "reading" if "reading" in graph.tables[SIGNALS].by_name else "mean"
    c, mean = evaluation.column("c", SIGNALS), evaluation.column(ordinate, SIGNALS)
    run = evaluation.records.run
    unit_y = run.file.run.reading_unit if run else ""
    wanted = set(_lines(evaluation, row))
    blocks = home.texts("block") if "block" in home.by_name else ("",) * home.size
    for curve, (analyte, line) in enumerate(zip(home.texts("analyte"), home.texts("line"), strict=True)):
        if (analyte, line) not in wanted:
            continue
        rows = np.arange(int(span.start[curve]), int(span.stop[curve]))
        used = rows[mark[rows] > 0]
        own = [
            number
            for number, item in enumerate(structure.measured)
            if item.line == (analyte, line)
            and item.curve.block == blocks[curve]
            and item.solution in _solutions(evaluation, evaluation.keys[row], (analyte, line))
        ]
        read = tuple((float(c[number]), float(mean[number])) for number in own if np.isfinite(c[number]))
        if not used.size or not read:
            continue
        order = np.argsort(x[used])
        yield Calibrated(
            " ".join(filter(None, (analyte, line, blocks[curve]))),
            getattr(points.by_name["x"], "unit", ""),
            unit_y,
            tuple(map(float, x[used])),
            tuple(map(float, y[used])),
            tuple((float(x[used][at]), float(fitted[used][at])) for at in order),
            read,
        )


def _lines(evaluation: Evaluation, row: int) -> list[tuple[str, str]]:
    key = evaluation.keys[row]
    if row in evaluation.assembly.derived:
        return list(evaluation.assembly.derived[row].components)
    several = [(key.analyte, line) for line in evaluation.assembly.lines_of(row)]
    return several or [(key.analyte, key.line or "")]


def _solutions(evaluation: Evaluation, key: ResultKey, line: tuple[str, str]) -> set[str]:
    structure = evaluation.assembly.structure
    assert structure is not None
    portions = set(key.portions)
    return {
        structure.measured[result.measured].solution
        for result in structure.results
        if result.line == line and result.measured >= 0 and (not portions or result.portion in portions)
    }


def calibration_picture(one: Calibrated) -> str:
    """Readings against concentration, the curve through them, and the readings of the result as crosses."""
    xs, ys = [*one.x, *(x for x, _ in one.read)], [*one.y, *(y for _, y in one.read), *(y for _, y in one.curve)]
    x_low, x_high, y_low, y_high = min(xs), max(xs), min(ys), max(ys)
    x_room, y_room = 0.04 * (x_high - x_low or 1.0), 0.05 * (y_high - y_low or 1.0)

    def across(x: float) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * (x - x_low + x_room) / (x_high - x_low + 2 * x_room)

    def down(y: float) -> float:
        return HIGH - BOTTOM - (HIGH - TOP - BOTTOM) * (y - y_low + y_room) / (y_high - y_low + 2 * y_room)

    path = " ".join(f"{across(x):.1f},{down(y):.1f}" for x, y in one.curve)
    frame = f"M{LEFT} {TOP} V{HIGH - BOTTOM} H{WIDE - RIGHT}"
    unit_x, unit_y = (f", {unit}" if unit else "" for unit in (one.unit_x, one.unit_y))
    middle = (LEFT + WIDE - RIGHT) / 2
    parts = [
        _open(WIDE, HIGH, f"Calibration of {one.title}: readings of the standards, curve, and reading of the result"),
        f'<path d="{frame}" fill="none" stroke="var(--faint)"/>',
        f'<polyline points="{path}" fill="none" stroke="var(--bar)" stroke-width="1.5"/>',
        *(
            f'<circle cx="{across(x):.1f}" cy="{down(y):.1f}" r="3" fill="none" stroke="currentColor"/>'
            for x, y in zip(one.x, one.y, strict=True)
        ),
        *(_cross(across(x), down(y)) for x, y in one.read),
        _label(LEFT, HIGH - BOTTOM + 16, plain(x_low, 4), "middle"),
        _label(WIDE - RIGHT, HIGH - BOTTOM + 16, plain(x_high, 4), "end"),
        _label(LEFT - 6, HIGH - BOTTOM, plain(y_low, 4), "end"),
        _label(LEFT - 6, TOP + 10, plain(y_high, 4), "end"),
        _label(middle, HIGH - 8, f"concentration{unit_x}", "middle"),
        f'<text x="14" y="{HIGH / 2:.0f}" text-anchor="middle" transform="rotate(-90 14 {HIGH / 2:.0f})" {_TEXT}>'
        f"reading{said(unit_y)}</text>",
    ]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _open(width: int, height: int, title: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        f'role="img" aria-label="{said(title)}">'
    )


def _label(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.0f}" y="{y:.0f}" text-anchor="{anchor}" {_TEXT}>{said(text)}</text>'


def _cross(x: float, y: float) -> str:
    return (
        f'<path d="M{x - 6:.1f} {y - 6:.1f} l12 12 m0 -12 l-12 12" stroke="currentColor" stroke-width="2" fill="none"/>'
    )
