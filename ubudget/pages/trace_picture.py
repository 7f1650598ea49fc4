"""The chain of a result as a drawing (SVG 1.1): boxes and arrows, from the result on the left to the ends on the right.

Meaning stands in words and in the line round a box, never in colour alone; every text is escaped.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from html import escape

from ubudget.pages.trace_tree import Look, Node

WIDE, GAP, APART, EDGE = 232, 44, 14, 16
"""Width of a box, gap between columns, distance of boxes in a column, margin; in pixels."""
LINE_HEIGHT, PAD, LETTERS = 14, 8, 38
"""Height of a text line, space round the text, letters to a line."""
MOST_LINES = 18
WORDS: dict[Look, str] = {
    "result": "result",
    "operation": "operation",
    "item": "item of the register",
    "reference": "reference",
    "end": "end of the chain",
    "stated": "without certificate",
}
FILLS: dict[Look, str] = {
    "result": "#E4E9EE",
    "operation": "#FFFFFF",
    "item": "#F3F6F8",
    "reference": "#FFFFFF",
    "end": "#E4E9EE",
    "stated": "#FFFFFF",
}
INK, FAINT = "#1F2A33", "#5E6B75"


@dataclass(frozen=True)
class _Box:
    node: Node
    x: int
    y: int
    lines: tuple[str, ...]

    @property
    def height(self) -> int:
        return 2 * PAD + LINE_HEIGHT * (1 + len(self.lines))

    @property
    def middle(self) -> int:
        return self.y + self.height // 2


def drawing(nodes: list[Node]) -> str:
    """The trees below each other as one SVG text."""
    boxes: list[_Box] = []
    arrows: list[tuple[_Box, _Box]] = []
    top = EDGE
    for node in nodes:
        _, top = _placed(node, 0, top, boxes, arrows)
        top += 2 * APART
    width = max(box.x for box in boxes) + WIDE + EDGE
    height = top + LINE_HEIGHT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        'role="img" font-family="Arial, Helvetica, sans-serif" font-size="11">',
        "<title>Traceability chain</title>",
        f'<rect width="{width}" height="{height}" fill="#FFFFFF"/>',
        *(_arrow(lower, upper) for lower, upper in arrows),
        *(_drawn(box) for box in boxes),
        _text(EDGE, height - PAD, "An arrow reads: rests on. A thick broken frame asks for attention.", FAINT),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _placed(node: Node, depth: int, top: int, boxes: list[_Box], arrows: list[tuple[_Box, _Box]]) -> tuple[_Box, int]:
    """Places a node and what is under it from `top` on; gives its box and the first free height below."""
    x = EDGE + depth * (WIDE + GAP)
    below, children = top, []
    for child in node.children:
        box, below = _placed(child, depth + 1, below, boxes, arrows)
        children.append(box)
    plain = _Box(node, x, top, _lines(node))
    middle = (children[0].middle + children[-1].middle) // 2 if children else plain.middle
    own = _Box(node, x, max(top, middle - plain.height // 2), plain.lines)
    boxes.append(own)
    arrows += [(own, child) for child in children]
    return own, max(below, own.y + own.height + APART)


def _lines(node: Node) -> tuple[str, ...]:
    fault = [f"! {node.fault}"] if node.fault else []
    lines = [part for text in (node.title, *fault, *node.details) for part in textwrap.wrap(text, LETTERS)]
    return tuple(lines if len(lines) <= MOST_LINES else [*lines[: MOST_LINES - 1], "…"])


def _drawn(box: _Box) -> str:
    look = box.node.look
    frame = 'stroke-width="2.5" stroke-dasharray="6 3"' if box.node.fault else 'stroke-width="1"'
    round_corners = "0" if look in ("item", "reference") else "8"
    texts = [_text(box.x + PAD, box.y + PAD + 9, WORDS[look], FAINT)]
    bold = len(textwrap.wrap(box.node.title, LETTERS))
    for number, line in enumerate(box.lines):
        y = box.y + PAD + 9 + LINE_HEIGHT * (number + 1)
        texts.append(_text(box.x + PAD, y, line, INK, number < bold))
    return (
        f'<rect x="{box.x}" y="{box.y}" width="{WIDE}" height="{box.height}" rx="{round_corners}" '
        f'fill="{FILLS[look]}" stroke="{INK}" {frame}/>' + "".join(texts)
    )


def _text(x: int, y: int, text: str, ink: str, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    shown = "".join(character if character.isprintable() else " " for character in text)
    return f'<text x="{x}" y="{y}" fill="{ink}"{weight}>{escape(shown)}</text>'


def _arrow(lower: _Box, upper: _Box) -> str:
    x1, x2 = lower.x + WIDE, upper.x
    bend = (x1 + x2) // 2
    y = upper.middle
    line = f'<path d="M{x1} {lower.middle} H{bend} V{y} H{x2}" fill="none" stroke="{FAINT}" stroke-width="1"/>'
    return f'{line}<path d="M{x2 - 8} {y - 4} L{x2} {y} L{x2 - 8} {y + 4} z" fill="{FAINT}"/>'
