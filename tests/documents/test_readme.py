"""README.md: its commands are run, its Python is run, its excerpts are true."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer.main

from tests.commands.running import Done, run
from tests.documents.texts import ROOT, blocks, links, page, table_rows
from ubudget.cli import app
from ubudget.version import __version__

README = page("README.md")
EXAMPLE = ROOT / "worked_examples" / "harbour_sediment"

# The set-up that is promised to a stranger, word for word.
SET_UP = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/ubudget demo"
SET_UP_AND_TEST = "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/python -m pytest"
DRAFTS = re.compile(r"\b(my-run|my-desk|single-budget)\b")
"""Commands of the page that work on a pattern."""
COMMANDS = [line for block in blocks(README, "sh") for line in block.lines]


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds what the commands of the page name."""
    folder = tmp_path_factory.mktemp("clone")
    for name in ("worked_examples", "workbook_templates"):
        shutil.copytree(ROOT / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def done(clone: Path) -> dict[str, Done]:
    """Every command of the page, given once, in the order of the page."""
    given = {}
    for line in COMMANDS:
        if line not in (SET_UP, SET_UP_AND_TEST):
            program, *words = shlex.split(line)
            assert program == "ubudget", line
            given[line] = run(*words, folder=clone)
    return given


@pytest.mark.parametrize("line", [SET_UP, SET_UP_AND_TEST])
def test_a_line_of_the_set_up_stands_once_in_a_block_of_its_own(line: str) -> None:
    assert [block.text for block in blocks(README, "sh") if line in block.text] == [f"{line}\n"]
    assert README.count(line) == 1


def test_ci_finds_the_test_command() -> None:
    """The pattern by which CI reads the command out of the page finds that line alone."""
    pattern = re.search(r"sed -nE 's/(\^.*?)/\\1/p' README\.md".replace("/(", "/(?P<found>", 1), page(".ci/run"))
    assert pattern is not None
    expression = pattern["found"].replace("[[:space:]]", r"\s")
    found = [match[1] for line in README.splitlines() if (match := re.match(expression, line))]
    assert found == [SET_UP_AND_TEST]


def test_windows_has_the_same_two_lines() -> None:
    (block,) = blocks(README, "bat")
    spelled = [line.replace("py -3", "python3").replace(".venv\\Scripts\\", ".venv/bin/") for line in block.lines]
    assert spelled == [SET_UP, SET_UP_AND_TEST.replace("'", "")]


def test_every_command_does_its_work(done: dict[str, Done]) -> None:
    assert len(done) >= 10
    for line, result in done.items():
        if result.status == 1 and DRAFTS.search(line):
            # The method of a pattern is a draft, and nothing else is to be found in it.
            told = [text for text in f"{result.out}\n{result.err}".splitlines() if text.startswith("attend: ")]
            assert len(told) == 1 and "found the status draft" in told[0], line
        elif result.status == 1 and line.startswith("ubudget chart"):
            # The example has a process that changed, and shows it.
            assert "(rule 5)" in result.out, line
        else:
            assert (result.status, result.faults) == (0, ""), line


def test_commands_write_what_they_name(done: dict[str, Done], clone: Path) -> None:
    assert done
    for name in ("ubudget-demo/budget.xlsx", "results.json", "results.csv", "sediment.xlsx", "my-run.xlsx"):
        assert name in README
        assert (clone / name).stat().st_size > 0


def test_the_excerpt_is_what_demo_prints(done: dict[str, Done]) -> None:
    (excerpt,) = blocks(README, "text")
    printed = done["ubudget demo"].out.splitlines()
    assert len(excerpt.lines) > 5
    assert [line for line in excerpt.lines if line not in printed] == []


def test_the_table_names_every_command_and_its_options() -> None:
    known = typer.main.get_command(app)
    named = {}
    for cells in table_rows(README):
        if match := re.match(r"`ubudget (\w+)", cells[0]):
            named[match[1]] = re.findall(r"--[\w-]+", " ".join(cells))
    assert named.keys() == known.commands.keys()  # type: ignore[attr-defined]  # a group has commands
    for name, options in named.items():
        parameters = known.commands[name].params  # type: ignore[attr-defined]  # a group has commands
        accepted = {option for parameter in parameters for option in parameter.opts}
        assert set(options) <= accepted, name


def python(text: str, folder: Path) -> str:
    """What a script prints, run in a folder with warnings as errors."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", text],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_python_runs(clone: Path) -> None:
    pieces = (python(piece.text, clone) for piece in blocks(README, "python"))
    simulated, results, composed, conformity, *_ = pieces
    # By the law of propagation 4.979 ± 0.044 with u = 0.021; draws with few degrees of freedom scatter a little more.
    assert simulated.startswith("RM-HARD (4.93")
    assert "[[5.0" in simulated
    assert "SED-05 Pb 220.353 44.55" in results
    assert (clone / "harbour.xlsx").is_file()
    # By hand: 2.51 * 50 / 0.5012 = 250.399 in mg/kg.
    assert "(250.4 ± " in composed
    # Acceptance limit 10 - 1.645·0.3 = 9.507.
    assert conformity.startswith("conditional pass\n")


def test_pieces_of_records_stand_in_the_demonstration() -> None:
    whole = [(EXAMPLE / name).read_text(encoding="utf-8") for name in ("register.toml", "method.toml", "run.toml")]
    others = (
        "rinse_water/method.toml",
        "spring_copper/method.toml",
        "river_manganese/method.toml",
        "precision_studies/control_material.toml",
        "control_charts/charts.toml",
    )
    whole += [(ROOT / "worked_examples" / name).read_text(encoding="utf-8") for name in others]
    for piece in blocks(README, "toml"):
        tomllib.loads(piece.text)
        assert any(piece.text in text for text in whole), piece.text


def test_operations_and_distributions_are_those_of_the_records() -> None:
    from ubudget.records import method, stated

    records = "".join(path.read_text(encoding="utf-8") for path in Path(method.__file__).parent.glob("*.py"))
    operations = re.findall(r'operation: Literal\["([^"]+)"\]', records)
    sentence = README[README.index("Operations are") :].split("An input states", 1)[0]
    assert set(re.findall(r"`([^`]+)`", " ".join(sentence.split()))) == set(operations)
    listed = re.search(r"`half_width` with `distribution` \(([^)]*)\)", " ".join(README.split()))
    assert listed is not None
    assert tuple(listed[1].split(", ")) == stated.Limits.__args__  # type: ignore[attr-defined]  # of a Literal


def test_links_lead_somewhere() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        assert [target for target in links(page(name)) if not (ROOT / target).exists()] == []


def test_the_picture_is_a_small_png() -> None:
    (picture,) = [ROOT / target for target in links(README) if target.endswith(".png")]
    content = picture.read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    assert len(content) < 150_000


def test_changes_tell_the_present_version() -> None:
    first = README[README.index("## Changes") :].split("**")[1]
    assert first == __version__
