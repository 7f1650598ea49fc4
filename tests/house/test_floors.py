"""The floors hold: imports go down, heavy packages stay where they belong, modules stay small."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Container, Iterator
from dataclasses import dataclass
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "ubudget"

FLOORS = {
    "errors": 1,
    "version": 0,
    "quantity": 0,
    "independent": 0,
    "records": 1,
    "bench": 2,
    "evaluation": 3,
    "pages": 4,
    "files": 5,
    "terminal": 6,
    "cli": 6,
    "__main__": 6,
}
COMMANDS = re.compile(r"\w+_commands?")
"""Modules of commands beside `cli`, on its floor."""
FRONT_DOOR = "ubudget"
"""Hands out what all floors offer; therefore no floor goes in by it, except the command line on top."""

FILES_ONLY = {"pandas", "openpyxl"}
"""Heavy, and tied to files; commands may import them when they run, not when they are defined."""

ALONE = "ubudget.independent"
"""A second calculation, which shares nothing with the first: it imports itself and the standard library."""

NEVER = {"scipy.stats"}
"""0.7 s at start; scipy.special has the same quantiles."""

NAMES_THAT_SAY_NOTHING = {"utils", "util", "helpers", "helper", "manager", "base"}

LONGEST = 350
LONG_MODULES: dict[str, str] = {}
"""Path in the package of each module above that many lines, and why it is better whole."""


@dataclass(frozen=True)
class Import:
    """One imported module as one module asks for it."""

    importer: str
    target: str
    line: int
    at_start: bool
    """Runs when the importer is loaded, not only when one of its functions is called."""

    def __str__(self) -> str:
        return f"{self.importer}:{self.line} imports {self.target}"


@cache
def modules() -> dict[str, Path]:
    """Dotted name -> file of every module of the package; a folder's `__init__` bears the folder's name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def imports() -> tuple[Import, ...]:
    known = modules().keys()
    return tuple(
        Import(name, target, line, at_start)
        for name, path in modules().items()
        for target, line, at_start in imports_in(
            path.read_text(encoding="utf-8"), name, path.name == "__init__.py", known
        )
    )


def imports_in(source: str, importer: str, is_package: bool, known: Container[str]) -> Iterator[tuple[str, int, bool]]:
    """Modules that the source imports, with the line and whether loading the importer loads them."""
    tree = ast.parse(source, filename=importer)
    in_functions = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        at_start = node not in in_functions
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno, at_start
        elif isinstance(node, ast.ImportFrom):
            source_module = _absolute(node, importer, is_package)
            for alias in node.names:
                # `from folder import module` asks for the inner one, `from module import name` for the outer.
                inner = f"{source_module}.{alias.name}"
                is_module = inner in known or inner in FILES_ONLY | NEVER
                yield inner if is_module else source_module, node.lineno, at_start


def _absolute(node: ast.ImportFrom, importer: str, is_package: bool) -> str:
    if node.level == 0:
        return node.module or ""
    parts = importer.split(".")
    kept = parts[: len(parts) - node.level + is_package]
    return ".".join([*kept, node.module] if node.module else kept)


def floor(module: str) -> int:
    """The floor where a module of the package lives; KeyError for one that has none."""
    if module == FRONT_DOOR:
        return max(FLOORS.values())
    name = module.split(".")[1]
    return FLOORS["cli"] if COMMANDS.fullmatch(name) else FLOORS[name]


def _has_floor(module: str) -> bool:
    name = module.split(".")[1]
    return name in FLOORS or COMMANDS.fullmatch(name) is not None


def is_ours(module: str) -> bool:
    return module.split(".")[0] == FRONT_DOOR


def is_within(module: str, packages: set[str]) -> bool:
    return any(module == package or module.startswith(f"{package}.") for package in packages)


def circle(edges: dict[str, set[str]]) -> list[str]:
    """A closed path of imports, empty if there is none."""
    try:
        TopologicalSorter(edges).prepare()
    except CycleError as error:
        path: list[str] = error.args[1]
        return path
    return []


def test_every_module_lives_on_a_floor() -> None:
    homeless = [name for name in modules() if name != FRONT_DOOR and not _has_floor(name)]
    assert homeless == []


def test_imports_go_to_the_same_or_a_lower_floor() -> None:
    upward = [
        str(found)
        for found in imports()
        if is_ours(found.target) and found.importer != FRONT_DOOR and floor(found.target) > floor(found.importer)
    ]
    assert upward == []


def test_imports_make_no_circle() -> None:
    edges: dict[str, set[str]] = {name: set() for name in modules()}
    for found in imports():
        if is_ours(found.target):
            edges[found.importer].add(found.target)
    assert circle(edges) == []


def test_file_packages_are_imported_on_the_floor_of_files_only() -> None:
    elsewhere = [
        str(found)
        for found in imports()
        if is_within(found.target, FILES_ONLY)
        and not found.importer.startswith(f"{FRONT_DOOR}.files.")
        and not (found.importer == f"{FRONT_DOOR}.cli" and not found.at_start)
    ]
    assert elsewhere == []


def test_slow_packages_are_imported_nowhere() -> None:
    assert [str(found) for found in imports() if is_within(found.target, NEVER)] == []


def test_the_second_calculation_stands_on_the_standard_library_alone() -> None:
    own = [found for found in imports() if is_within(found.importer, {ALONE})]
    shared = [
        str(found)
        for found in own
        if not is_within(found.target, {ALONE}) and found.target.split(".")[0] not in sys.stdlib_module_names
    ]
    assert own and shared == []


def test_names_say_what_lives_there() -> None:
    silent = [
        name for name in modules() if any(NAMES_THAT_SAY_NOTHING & {part, *part.split("_")} for part in name.split("."))
    ]
    assert silent == []


def test_long_modules_are_listed_with_a_reason() -> None:
    lengths = {
        path.relative_to(PACKAGE).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in modules().values()
    }
    long = {path for path, length in lengths.items() if length > LONGEST}
    assert long == LONG_MODULES.keys()
    assert all(LONG_MODULES.values())


def test_help_starts_without_the_heavy_packages() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "ubudget", "--help"],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    loaded = re.findall(r"^import time: +\d+ \| +\d+ \| +(\S+)$", done.stderr, flags=re.MULTILINE)
    assert "ubudget" in loaded
    assert [module for module in loaded if is_within(module, FILES_ONLY | NEVER)] == []


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("import pandas as pd", [("pandas", 1, True)]),
        ("from scipy import stats", [("scipy.stats", 1, True)]),
        ("from ubudget.records import run", [("ubudget.records.run", 1, True)]),
        ("from ubudget.records.run import Run", [("ubudget.records.run", 1, True)]),
        ("from . import run", [("ubudget.records.run", 1, True)]),
        ("from ..errors import UbudgetError", [("ubudget.errors", 1, True)]),
        ("def f():\n    import openpyxl.styles", [("openpyxl.styles", 2, False)]),
    ],
)
def test_the_reader_of_imports(source: str, expected: list[tuple[str, int, bool]]) -> None:
    known = {"ubudget.records.run", "ubudget.errors"}
    assert list(imports_in(source, "ubudget.records.method", False, known)) == expected


def test_the_finder_of_circles() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": set()}) == []
    assert set(circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})) == {"a", "b", "c"}
