"""As installed, away from the checkout, the program finds every pattern and every workbook to fill in.

The package is laid out here as the wheel lays it out, by the table of pyproject.toml; `.ci/run` does the same with the
wheel itself.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

from tests.fill_in.workbooks import ROOT
from ubudget.files.starting import patterns

EACH = """
import sys
from pathlib import Path
from typer.testing import CliRunner
import ubudget
from ubudget.cli import app
from ubudget.files.shipped import shipped_folder

assert Path(ubudget.__file__).is_relative_to(sys.argv[1]), ubudget.__file__
assert shipped_folder("workbook_templates").is_relative_to(sys.argv[1])
assert shipped_folder("worked_examples").is_relative_to(sys.argv[1])
for words in [["--ware"], *(["--pattern", name] for name in sys.argv[2:])]:
    done = CliRunner().invoke(app, ["start", "books", *words, "--workbook"])
    assert done.exit_code == 0, (words, done.output)
for file in shipped_folder("workbook_templates").rglob("*.xlsx"):
    print(file.name)
"""


def test_each_workbook_to_fill_in_is_found(tmp_path: Path) -> None:
    site, desk = tmp_path / "site", tmp_path / "desk"
    desk.mkdir()
    shutil.copytree(ROOT / "ubudget", site / "ubudget", ignore=shutil.ignore_patterns("__pycache__"))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    for folder, place in project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"].items():
        shutil.copytree(ROOT / folder, site / place)
    environment = {**os.environ, "PYTHONPATH": str(site), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-c", EACH, str(site), *patterns()]
    done = subprocess.run(command, cwd=desk, env=environment, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    names = {f"{name}.xlsx" for name in (*patterns(), "ware-calibration")}
    assert {file.name for file in (desk / "books").iterdir()} == names
    assert set(done.stdout.split()) == names | {"single-budget.xlsx"}
