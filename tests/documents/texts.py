"""The written pages of the project, cut into the pieces that tests look at."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PUBLISHED = ROOT / "worked_examples" / "published"

NOT_OURS = {".git", ".venv", "build", "dist", "ubudget-demo", "htmlcov", "__pycache__"}
"""Folders that no clone holds, or that tools fill."""


@dataclass(frozen=True)
class Block:
    """A fenced block of a page; `kind` is the word behind the fence."""

    kind: str
    text: str

    @property
    def lines(self) -> list[str]:
        return self.text.splitlines()


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def blocks(text: str, kind: str = "") -> list[Block]:
    """Fenced blocks of a page, all of them or those of one kind."""
    found = [Block(*match) for match in re.findall(r"^```(\w+)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)]
    return [block for block in found if not kind or block.kind == kind]


def without_blocks(text: str) -> str:
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


def ticked(text: str) -> list[str]:
    """What stands between single backticks in running text, each once."""
    return list(dict.fromkeys(re.findall(r"`([^`\n]+)`", without_blocks(text))))


def table_rows(text: str) -> Iterator[list[str]]:
    """Cells of every row of every table, headings included, rules left out."""
    for line in text.splitlines():
        if line.startswith("|") and not re.fullmatch(r"[|\-: ]+", line):
            yield [cell.strip() for cell in line.strip("|").split("|")]


def links(text: str) -> list[str]:
    """Targets of links and pictures."""
    return re.findall(r"\]\(([^)\s]+)\)", text)


def files(*suffixes: str) -> list[Path]:
    """Files of the project with these suffixes (all of them without), in the order of their names."""
    found: list[Path] = []
    for folder, inner, names in os.walk(ROOT):
        inner[:] = sorted(name for name in inner if name not in NOT_OURS and not name.endswith("_cache"))
        inner[:] = [name for name in inner if name != ".hypothesis" and not name.endswith(".egg-info")]
        found += [Path(folder) / name for name in sorted(names) if not suffixes or Path(name).suffix in suffixes]
    return found
