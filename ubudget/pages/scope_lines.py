"""A scope for a terminal: a table for each line, the function of the level, and the smallest U that may be claimed."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.scope import Point, Scope
from ubudget.pages.figures import percent, plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped

DIGITS = 3


def scope_lines(scope: Scope, width: int = WIDTH) -> Iterator[str]:
    """One line of the scope."""
    unit = unit_text(scope.unit)
    yield from wrapped(f"{scope.label}, {scope.unit}", width=width)
    points = scope.points
    columns = [
        TextColumn("level", [plain(point.level, 4) for point in points], "right"),
        TextColumn("U", [plain(point.U, DIGITS) for point in points], "right"),
        TextColumn("U, %", [plain(point.relative, DIGITS) for point in points], "right"),
        TextColumn("k", [f"{point.k:.2f}" for point in points], "right"),
    ]
    if any(point.target is not None for point in points):
        columns.append(TextColumn("target", [_target(point) for point in points], "right"))
    if any(point.expected is not None for point in points):
        columns.append(TextColumn("2·s_R", [_twice(point) for point in points], "right"))
    columns.append(TextColumn("mostly", [f"{point.dominating} {percent(point.share)}" for point in points]))
    columns.append(TextColumn("", ["" if point.holds else "see below" for point in points]))
    yield from table_lines(columns, width=width)
    if any(point.expected is not None for point in points):
        yield from wrapped(
            "2·s_R: twice the reproducibility to be expected (Horwitz, with Thompson's ends).", width=width
        )
    for words in dict.fromkeys(remark for point in points for remark in point.remarks):
        levels = ", ".join(plain(point.level, 4) for point in points if words in point.remarks)
        yield from wrapped(f"at {levels}: {words}.", hanging="  ", width=width)
    yield from _conclusions(scope, unit, width)


def _target(point: Point) -> str:
    if point.target is None:
        return ""
    return f"{plain(point.target, DIGITS)} {'missed' if point.misses_target else 'met'}"


def _twice(point: Point) -> str:
    return "" if point.expected is None else plain(2 * point.expected, DIGITS)


def _conclusions(scope: Scope, unit: str, width: int) -> Iterator[str]:
    held, smallest, relative = scope.held, scope.smallest, scope.smallest_relative
    if smallest is None or relative is None:
        yield "No level holds: nothing can be claimed." if not held else "The target is met nowhere: nothing to claim."
        return
    low, high = plain(held[0].level, 4), plain(held[-1].level, 4)
    missed = ", ".join(plain(point.level, 4) for point in held if point.misses_target)
    target = f" Target missed at {missed}{unit}: nothing is claimed there." if missed else ""
    yield from wrapped(
        f"Holds from {low} to {high}{unit}.{target} Smallest U {plain(smallest.U, DIGITS)}{unit}, at "
        f"{plain(smallest.level, 4)}{unit}; smallest relative U {plain(relative.relative, DIGITS)} %, at "
        f"{plain(relative.level, 4)}{unit}.",
        width=width,
    )
    function = scope.function
    if function is not None:
        worst = max((abs(residual) for residual in function.residuals), default=0.0)
        yield from wrapped(
            f"u² = s0² + (s1·x)² with s0 = {plain(function.constant, DIGITS)}{unit}, s1 = "
            f"{plain(100 * function.relative, DIGITS)} %; largest residual of u {plain(worst, 2)}{unit}.",
            width=width,
        )
