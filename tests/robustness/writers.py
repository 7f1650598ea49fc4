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
RUN = EXAMPLES / "rinse_water"
METHOD = EXAMPLES / "published" / "quam_a2.toml"
CHARTED = EXAMPLES / "harbour_sediment"


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


def _run(folder: Path) -> None:
    shutil.copytree(RUN, folder / "run")


def _charts(folder: Path) -> None:
    shutil.copytree(EXAMPLES / "control_charts", folder / "charts")


def _export(folder: Path) -> None:
    shutil.copytree(EXAMPLES / "spring_copper", folder / "run")


def _earlier(*names: str) -> Callable[[Path], None]:
    """Files of an earlier day that are to be replaced."""

    def prepare(folder: Path) -> None:
        for name in names:
            (folder / name).write_text("an earlier file\n", encoding="utf-8")

    return prepare


WRITERS = (
    Writer("JSON and CSV", ("evaluate", str(METHOD), "--json", "a.json", "--csv", "a.csv", "--force"), _earlier("a.csv", "a.json")),
    Writer("workbook", ("workbook", str(METHOD), "a.xlsx", "--force"), _earlier("a.xlsx")),
    Writer("statement", ("statement", str(METHOD), "--text", "a.txt", "--csv", "a.csv", "--xml", "a.xml", "--force"), _earlier("a.txt", "a.csv")),
    Writer("amend", ("amend", "run", "--field", "analyst", "--in", "run", "--to", "B. Invented", "--reason", "typing", "--by", "C"), _run),
    Writer("chart", ("chart", "charts/charts.toml", "--append", str(CHARTED), "--by", "C"), _charts),
    Writer("pictures", ("chart", "charts/charts.toml", "--pictures", "drawn"), _charts),
    Writer("start", ("start", "new", "--pattern", "water-direct")),
    Writer("convert", ("convert", "run", "a.xlsx"), _run),
    Writer("import", ("import", "run/export.csv", "--into", "run", "--force"), _export),
    Writer("dossier", ("dossier", str(METHOD), "a.html", "--force"), _earlier("a.html")),
    Writer("explain", ("explain", str(METHOD), "--html", "a.html"), ),
)  # fmt: skip
