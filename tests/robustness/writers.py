"""Everything that writes files, each as a person would call it, with the files that come of it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from ubudget.cli import app
from ubudget.files.shipped import shipped_folder

EXAMPLES = shipped_folder("worked_examples")
METHOD = str(EXAMPLES / "published" / "quam_a2.toml")
CHARTED = str(EXAMPLES / "harbour_sediment")
CHARTS = EXAMPLES / "control_charts"


@dataclass(frozen=True)
class Writer:
    """Words of a command; `prepare` makes the folder in which it is given."""

    name: str
    words: tuple[str, ...]
    prepare: Callable[[Path], object] = lambda folder: None

    def write(self, folder: Path) -> tuple[int, str]:
        """Exit status and standard error. A fault of the program is raised."""
        with chdir(folder):
            done = CliRunner().invoke(app, self.words)
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return done.exit_code, done.stderr


def _copied(source: Path, name: str, without: str = "") -> Callable[[Path], None]:
    """Files of a shipped example."""

    def prepare(folder: Path) -> None:
        shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns(without))

    return prepare


def _earlier(*names: str) -> Callable[[Path], None]:
    """Files of an earlier day that are to be replaced."""

    def prepare(folder: Path) -> None:
        for name in names:
            (folder / name).write_text("an earlier file\n", encoding="utf-8")

    return prepare


FORCE = "--force"
AMEND = "--field run.analyst --in run --to B.Invented --reason typing --by C.Invented --on 2099-01-02"
WRITERS = (
    Writer("evaluate", ("evaluate", METHOD, "--json", "a.json", "--csv", "a.csv", FORCE), _earlier("a.csv", "a.json")),
    Writer("workbook", ("workbook", METHOD, "a.xlsx", FORCE), _earlier("a.xlsx")),
    Writer(
        "statement",
        ("statement", METHOD, "--text", "a.txt", "--csv", "a.csv", "--xml", "a.xml", FORCE),
        _earlier("a.txt", "a.csv"),
    ),
    Writer("amend", ("amend", "run", *AMEND.split()), _copied(EXAMPLES / "rinse_water", "run")),
    Writer("chart", ("chart", "charts/charts.toml", "--append", CHARTED, "--by", "C."), _copied(CHARTS, "charts")),
    Writer("pictures", ("chart", "charts/charts.toml", "--pictures", "drawn"), _copied(CHARTS, "charts")),
    Writer("start", ("start", "new", "--pattern", "water-direct")),
    Writer("convert", ("convert", METHOD, "a.xlsx")),
    Writer(
        "import",
        ("import", "run/export.csv", "--into", "run", FORCE),
        _copied(EXAMPLES / "spring_copper", "run", without="readings.csv"),
    ),
    Writer("dossier", ("dossier", METHOD, "a.html", FORCE), _earlier("a.html")),
    Writer("scope", ("scope", CHARTED, "--levels", "20, 50, 100", "--csv", "a.csv", FORCE), _earlier("a.csv")),
    Writer("explain", ("explain", METHOD, "--page", "a.html", "--text", "a.txt")),
)


def files_of(folder: Path) -> dict[str, bytes]:
    """Content by path, of all files below a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
