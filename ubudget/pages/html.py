"""Pieces of a self-contained page: no script, no network, readable in light and dark, on paper and when read aloud.

Every text is escaped; what no page can show becomes a space."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

STYLE = """
:root { color-scheme: light dark; --ink: #1f2a33; --faint: #55626c; --rule: #c9d1d8; --ground: #ffffff;
  --band: #eef2f5; --link: #1d4f7c; --bar: #24507a; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6ebef; --faint: #a9b4bd; --rule: #46525c; --ground: #161b20;
  --band: #222a31; --link: #9cc4ea; --bar: #7fa7c7; } }
body { margin: 0 auto; max-width: 74rem; padding: 1.5rem; color: var(--ink); background: var(--ground);
  font: 1rem/1.5 system-ui, "Liberation Sans", Arial, sans-serif; }
h1 { font-size: 1.6rem; line-height: 1.25; margin: 0 0 .5rem; }
h2 { font-size: 1.25rem; margin: 2rem 0 .5rem; border-bottom: 1px solid var(--rule); }
h3 { font-size: 1.05rem; margin: 1.4rem 0 .3rem; }
h4 { font-size: 1rem; margin: 1.1rem 0 .2rem; }
p { margin: .3rem 0; }
a { color: var(--link); }
.figure { font-size: 1.35rem; font-weight: 600; }
.faint { color: var(--faint); }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; margin: .6rem 0; font-size: .92rem; font-variant-numeric: tabular-nums; }
var { font-style: normal; } td.long { min-width: 12rem; }
caption { text-align: left; font-weight: 600; padding: .2rem 0; }
th, td { padding: .2rem .45rem; border-bottom: 1px solid var(--rule); text-align: left; vertical-align: top; }
thead th { background: var(--band); }
td.number, th.number { text-align: right; white-space: nowrap; }
.equation { margin: .5rem 0 .2rem 1rem; padding: .3rem .6rem; border-left: 3px solid var(--rule); }
.equation .right { display: block; padding-left: 2rem; text-indent: -1rem; }
.equation .remark { color: var(--faint); font-size: .9rem; }
.equation code { font-size: .9rem; }
.in1 { margin-left: 1rem; } .in2 { margin-left: 2rem; } .in3 { margin-left: 3rem; }
dl.sources { display: grid; grid-template-columns: max-content 1fr; gap: 0 1rem; margin: .2rem 0 .6rem 2rem;
  font-size: .92rem; }
dl.sources dt { color: var(--faint); } dl.sources dd { margin: 0; }
figure { margin: .8rem 0; } figure svg { max-width: 100%; height: auto; }
figure.drawn { background: #ffffff; padding: .4rem; border: 1px solid var(--rule); overflow-x: auto; }
figcaption { color: var(--faint); font-size: .9rem; }
figure.drawn figcaption { color: #55626c; }
.attend { border-left: 4px solid #b8862b; padding-left: .7rem; }
@media print { body { max-width: none; padding: 0; font-size: 9.5pt; } a { color: inherit; text-decoration: none; }
  h2, h3, h4 { break-after: avoid; } figure, .equation, tr { break-inside: avoid; }
  thead { display: table-header-group; }
  .result { break-before: page; } .scroll, figure.drawn { overflow: visible; }
  figure.drawn svg { max-width: 100%; max-height: 22cm; } table { font-size: 8pt; } }
"""
_SUBSCRIPT = re.compile(r"(?<![A-Za-z0-9_.])([A-Za-zΑ-ωŷȳγνθρ]+)_([A-Za-z0-9]+)(?![A-Za-z0-9_])")


@dataclass(frozen=True)
class Cell:
    """A cell of a table: text, or finished markup where `markup` is true."""

    text: str
    number: bool = False
    markup: bool = False
    long: bool = False
    """Whether its texts need room."""


def said(text: str) -> str:
    """A text as markup."""
    return escape("".join(letter if letter.isprintable() else " " for letter in text))


def formula(text: str) -> str:
    """A formula as markup: what follows a symbol's low line is set below it."""
    return _SUBSCRIPT.sub(r"<var>\1<sub>\2</sub></var>", said(text.replace("*", "·")))


def page(title: str, body: Iterable[str]) -> str:
    """The whole page as text."""
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
            f"<title>{said(title)}</title>",
            f"<style>{STYLE}</style>",
            "</head>",
            "<body>",
            "<main>",
            *body,
            "</main>",
            "</body>",
            "</html>",
            "",
        ]
    )


def paragraph(text: str, kind: str = "") -> str:
    return f"<p{_kind(kind)}>{said(text)}</p>"


def heading(level: int, text: str, anchor: str = "") -> str:
    mark = f' id="{anchor}"' if anchor else ""
    return f"<h{level}{mark}>{said(text)}</h{level}>"


def table(caption: str, headings: Sequence[Cell], rows: Sequence[Sequence[Cell]]) -> str:
    """A table with caption; the first cell of each row names it."""
    head = "".join(f'<th scope="col"{_number(cell)}>{_shown(cell)}</th>' for cell in headings)
    body = "\n".join(
        "<tr>"
        + "".join(
            f'<th scope="row"{_number(cell)}>{_shown(cell)}</th>'
            if not at
            else f"<td{_number(cell)}>{_shown(cell)}</td>"
            for at, cell in enumerate(row)
        )
        + "</tr>"
        for row in rows
    )
    # A wide table scrolls, also by the keys.
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{said(caption)}"><table>'
        f"<caption>{said(caption)}</caption><thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def figure(drawing: str, caption: str, *, on_white: bool = False) -> str:
    """A drawing (SVG) with its caption; `on_white` for drawings that are made for white paper."""
    kind = ' class="drawn" tabindex="0"' if on_white else ""
    return f"<figure{kind}>\n{drawing}<figcaption>{said(caption)}</figcaption>\n</figure>"


def _shown(cell: Cell) -> str:
    return cell.text if cell.markup else said(cell.text)


def _number(cell: Cell) -> str:
    return _kind("number" if cell.number else "long" if cell.long else "")


def _kind(kind: str) -> str:
    return f' class="{kind}"' if kind else ""
