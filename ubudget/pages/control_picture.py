"""A control chart as a drawing (SVG 1.1): values in order, centre line, warning and action limits.

Meaning never stands in colour alone: limits differ in dash and bear their names, signals are ringed and numbered.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from ubudget.evaluation.control_charts import Charted
from ubudget.pages.figures import plain, unit_text

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 760, 320, 74, 92, 40, 44
"""Size of the drawing and its margins, in pixels."""
INK, FAINT, LINE, RING = "#1F2A33", "#5E6B75", "#24507A", "#7A2E3A"
MOST_DATES = 8


def control_picture(one: Charted) -> str:
    """The chart as SVG text."""
    limits = one.limits
    low = min(*one.points, limits.action[0])
    high = max(*one.points, limits.action[1])
    room = 0.06 * (high - low)
    low, high = low - room, high + room

    def x(at: int) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * (at + 0.5) / len(one.points)

    def y(value: float) -> float:
        return TOP + (HIGH - TOP - BOTTOM) * (high - value) / (high - low)

    title = " ".join(filter(None, (one.chart.id, one.chart.title)))
    lines = (
        (limits.action[1], "action", "6 3"),
        (limits.warning[1], "warning", "2 3"),
        (limits.centre, "centre", ""),
        (limits.warning[0], "warning", "2 3"),
        (limits.action[0], "action", "6 3"),
    )
    path = " ".join(f"{x(at):.1f},{y(value):.1f}" for at, value in enumerate(one.points))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{HIGH}" viewBox="0 0 {WIDE} {HIGH}" '
        'role="img" font-family="Arial, Helvetica, sans-serif" font-size="11">',
        f"<title>Control chart {_safe(title)}</title>",
        f'<rect width="{WIDE}" height="{HIGH}" fill="#FFFFFF"/>',
        _text(LEFT, 20, f"{title}{', ' + one.chart.unit if unit_text(one.chart.unit) else ''}", INK, "start", True),
        *(_limit(y(value), f"{name} {plain(value, 4)}", dash) for value, name, dash in lines),
        f'<polyline points="{path}" fill="none" stroke="{LINE}" stroke-width="1"/>',
        *(
            f'<circle cx="{x(at):.1f}" cy="{y(value):.1f}" r="2.6" fill="{LINE}"/>'
            for at, value in enumerate(one.points)
        ),
        *_rings(one, x, y),
        *(
            _text(x(at), HIGH - BOTTOM + 16, one.entries[at].date.isoformat(), FAINT, "middle")
            for at in range(0, len(one.points), max(1, -(-len(one.points) // MOST_DATES)))
        ),
        _text(LEFT, HIGH - 8, "A ring marks where a pattern ends; the number is that of its rule.", FAINT),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _rings(one: Charted, x: Callable[[int], float], y: Callable[[float], float]) -> list[str]:
    rules: dict[int, list[int]] = {}
    for signal in one.signals:
        rules.setdefault(signal.at, []).append(signal.rule.number)
    parts = []
    for at, numbers in rules.items():
        across, down = x(at), y(one.points[at])
        ring = f'<circle cx="{across:.1f}" cy="{down:.1f}" r="6.5" fill="none" stroke="{RING}" stroke-width="1.6"/>'
        parts += [ring, _text(across, down - 10, ", ".join(map(str, numbers)), RING, "middle")]
    return parts


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="{LINE}"/>'


def _limit(y: float, words: str, dash: str) -> str:
    style = f' stroke-dasharray="{dash}"' if dash else ""
    line = f'<path d="M{LEFT} {y:.1f} H{WIDE - RIGHT}" stroke="{FAINT}" stroke-width="1"{style}/>'
    return line + _text(WIDE - RIGHT + 4, y + 4, words, FAINT)


def _text(x: float, y: float, text: str, ink: str, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{ink}" text-anchor="{anchor}"{weight}>{_safe(text)}</text>'


def _safe(text: str) -> str:
    return escape("".join(letter if letter.isprintable() else " " for letter in text))
