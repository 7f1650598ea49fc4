"""Relative U against the level (SVG 1.1), both on logarithmic axes; target and expected reproducibility beside it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

from ubudget.evaluation.scope import Scope
from ubudget.pages.figures import plain

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 640, 340, 70, 120, 36, 50
INK, FAINT, LINE = "#1F2A33", "#5E6B75", "#24507A"
"""Series are told apart by their marks and dashes, and bear their names."""


def scope_picture(scope: Scope) -> str:
    """The drawing of one line; levels at or below zero have no place on it."""
    points = [point for point in scope.points if point.level > 0 and point.U > 0]
    measured = [(point.level, point.relative) for point in points]
    targets = [(p.level, 100 * p.target / p.level) for p in points if p.target is not None]
    expected = [(p.level, 200 * p.expected / p.level) for p in points if p.expected is not None]
    every = [*measured, *targets, *expected] or [(1.0, 1.0)]
    across = _axis([x for x, _ in every], LEFT, WIDE - RIGHT)
    down = _axis([y for _, y in every], HIGH - BOTTOM, TOP)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{HIGH}" viewBox="0 0 {WIDE} {HIGH}" '
        'role="img" font-family="Arial, Helvetica, sans-serif" font-size="11">',
        f"<title>Relative U of {_safe(scope.label)} by level</title>",
        f'<rect width="{WIDE}" height="{HIGH}" fill="#FFFFFF"/>',
        _text(LEFT, 18, f"{scope.label}: U in % of the level", INK),
        f'<path d="M{LEFT} {TOP} V{HIGH - BOTTOM} H{WIDE - RIGHT}" fill="none" stroke="{FAINT}"/>',
    ]
    for series, dash, name in ((expected, "2 3", "2·s_R expected"), (targets, "7 3", "target"), (measured, "", "U")):
        parts += _series(series, across, down, dash, name)
    parts += [f'<circle cx="{across(x):.1f}" cy="{down(y):.1f}" r="3" fill="{LINE}"/>' for x, y in measured]
    for value in dict.fromkeys((min(x for x, _ in every), max(x for x, _ in every))):
        parts.append(_text(across(value), HIGH - BOTTOM + 16, plain(value, 3), FAINT, "middle"))
    for value in dict.fromkeys((min(y for _, y in every), max(y for _, y in every))):
        parts.append(_text(LEFT - 6, down(value) + 4, plain(value, 3), FAINT, "end"))
    below = f"level, {scope.unit}; both axes logarithmic"
    parts.append(_text((LEFT + WIDE - RIGHT) / 2, HIGH - 12, below, FAINT, "middle"))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _axis(values: Sequence[float], start: float, end: float) -> Callable[[float], float]:
    low, high = math.log10(min(values)), math.log10(max(values))
    room = 0.04 * (high - low) or 0.1
    low, high = low - room, high + room
    return lambda value: start + (end - start) * (math.log10(value) - low) / (high - low)


def _series(
    series: Sequence[tuple[float, float]],
    across: Callable[[float], float],
    down: Callable[[float], float],
    dash: str,
    name: str,
) -> list[str]:
    if not series:
        return []
    path = " ".join(f"{across(x):.1f},{down(y):.1f}" for x, y in series)
    style = f' stroke-dasharray="{dash}"' if dash else ""
    line = f'<polyline points="{path}" fill="none" stroke="{LINE if not dash else FAINT}" stroke-width="1.4"{style}/>'
    x, y = series[-1]
    return [line, _text(across(x) + 8, down(y) + 4, name, INK)]


def _text(x: float, y: float, text: str, ink: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{ink}" text-anchor="{anchor}">{_safe(text)}</text>'


def _safe(text: str) -> str:
    return escape("".join(letter if letter.isprintable() else " " for letter in text))
