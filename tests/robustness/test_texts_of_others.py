"""Records that mean harm: names that lead elsewhere, tables without end, patterns that take for ever."""

from __future__ import annotations

import importlib
import os
import pkgutil
import re
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

import ubudget
from tests.commands.running import run
from tests.findings.small_run import FILES, RUN, replaced, write_run
from ubudget.errors import UnusableInput
from ubudget.files.control_history import read_history
from ubudget.files.foreign_files import NotRead, bounded_bytes
from ubudget.files.import_sources import bytes_of
from ubudget.files.reading import LARGEST_RECORD, read_records, records_from_texts
from ubudget.files.shipped import shipped_folder
from ubudget.files.studies import evaluate_study
from ubudget.quantity.units import UnitError, dimension
from ubudget.records.amount import parse_amount
from ubudget.records.finding import Finding
from ubudget.records.records import SourceText
from ubudget.terminal import MOST_SHOWN

LONGEST = 5.0
EXAMPLES = shipped_folder("worked_examples")


@pytest.fixture(autouse=True)
def bounded() -> Iterator[None]:
    began = time.process_time()
    yield
    assert time.process_time() - began < LONGEST


def found_in(folder: Path) -> list[Finding]:
    records, findings = read_records(folder)
    assert records is None
    return findings


# -- names ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("../../etc/passwd", "another kind of file"),
        ("/etc/passwd", "begins at the root"),
        ("/etc/lab.csv", "begins at the root"),
        ("//server/share/lab.csv", "begins at the root"),
        (r"\\\\server\\share\\lab.csv", "begins at the root"),
        (r"C:\\lab\\samples.csv", "begins at the root"),
        ("/dev/zero", "begins at the root"),
        ("samples.csv/../run.toml", "another kind of file"),
        (r"samples.csv\u0000", "do not print"),
        (".", "another kind of file"),
        ("9" * 400 + ".csv", "cannot be read (File name too long)"),
    ],
)
def test_names_that_lead_elsewhere(name: str, found: str, tmp_path: Path) -> None:
    write_run(tmp_path, run=replaced("run.toml", 'samples = "samples.csv"', f'samples = "{name}"'))
    assert any(found in finding.found for finding in found_in(tmp_path))


def test_links_to_other_kinds_of_files(tmp_path: Path) -> None:
    """A link that an archive brought along does not bring the file behind it into findings."""
    (tmp_path / "secret").write_text("root:x:0:0\n", encoding="utf-8")
    (tmp_path / "run").mkdir()
    folder = write_run(tmp_path / "run")
    (folder / "samples.csv").unlink()
    (folder / "samples.csv").symlink_to(tmp_path / "secret")
    (finding,) = found_in(folder)
    assert finding.found == "a link to another kind of file" and "root" not in finding.line()


def test_devices_and_pipes(tmp_path: Path) -> None:
    """Not opened for reading: a pipe that nobody writes to, and a device without end under the name of a table."""
    folder = write_run(tmp_path)
    (folder / "samples.csv").unlink()
    os.mkfifo(folder / "samples.csv")
    assert [finding.found for finding in found_in(folder)] == ["a device, a pipe or a socket"]
    with pytest.raises(NotRead, match="a device"):
        bounded_bytes(Path("/dev/zero"), 100)
    with pytest.raises(UnusableInput, match="a device"):
        bytes_of(Path("/dev/zero"))
    done = run("evaluate", "/dev/zero", folder=tmp_path)
    assert done.status == 2 and done.err.count("\n") == 1


@pytest.mark.parametrize("kind", ["study", "control charts"])
def test_tables_that_studies_and_charts_name(kind: str, tmp_path: Path) -> None:
    source, key = (
        (EXAMPLES / "precision_studies" / "duplicates.toml", "data")
        if kind == "study"
        else (EXAMPLES / "control_charts" / "charts.toml", "history")
    )
    text = re.sub(rf'(?m)^{key} *= *".*"', f'{key} = "/etc/passwd"', source.read_text(encoding="utf-8"))
    (tmp_path / "record.toml").write_text(text, encoding="utf-8")
    with pytest.raises(UnusableInput, match="begins at the root"):
        (evaluate_study if kind == "study" else read_history)(tmp_path / "record.toml")


# -- without end -----------------------------------------------------------------------------------------------------

MANY = 120_000
ENDLESS = {
    "a name of 20,000 names": ("run.toml", ".".join("a" * 20_000) + " = 1\n", "nested more than"),
    "quoted names": ("run.toml", '"a" . ' * 5_000 + "b = 1\n", "nested more than"),
    "nested lists": ("run.toml", "a = " + "[" * 100_000, "nested more than"),
    "nested tables": ("run.toml", "a = " + "{a=" * 5_000, "nested more than"),
    "a giant number": ("run.toml", f"a = {'9' * 500_000}\n", "thousands of digits"),
    "a giant number in base 16": ("run.toml", f"a = 0x{'f' * 500_000}\n", "more than 15 digits"),
    "numbers of many digits": ("run.toml", "a = [" + "1.2345678901234567890, " * 40_000 + "]\n", "significant digits"),
    "a line that no pattern likes": ("run.toml", f'a = 1{"e" * 300_000}"\n', "1eee"),
    "a record of 3 MB": ("register.toml", "#" * (LARGEST_RECORD + 1), "2.0 MB"),
    "many rows": ("samples.csv", "x\n" * MANY, "a table of more than 100,000 rows"),
    "many columns": ("samples.csv", "," * 3_000_000 + "x\n", "2,000,000 cells"),
    "wide and long": ("samples.csv", ",".join(f"c{n}" for n in range(900)) + "\n" + "a\n" * 3_000, "2,000,000 cells"),
    "a cell without end": ("samples.csv", f'sample\n"{"x" * 400_000}', "far too long"),
    "dilutions of dilutions": (
        "solutions.csv",
        FILES["solutions.csv"]
        + "".join(f"Q{n},Q{n + 1},P5-1 > F50-2,Zn\n" for n in range(20_000))
        + "Q20000,Q0,P5-1 > F50-2,Zn\n",
        "a long row of dilutions",
    ),
}


@pytest.mark.parametrize("case", ENDLESS)
def test_without_end(case: str, tmp_path: Path) -> None:
    name, text, found = ENDLESS[case]
    write_run(tmp_path)
    text = text + RUN if name == "run.toml" else text
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert any(found in finding.found for finding in found_in(tmp_path))


def test_many_standards_and_readings(tmp_path: Path) -> None:
    """Told one by one, and not against each other."""
    texts = {
        "run.toml": RUN + '[[standard]]\nlabel = "S1"\n' * 10_000,
        "readings.csv": FILES["readings.csv"] + FILES["readings.csv"].splitlines()[1].join(["", "\n"]) * 10_000,
    }
    roles = {"run.toml": "run", "readings.csv": "readings"}
    read = [SourceText(roles.get(name, Path(name).stem), name, texts.get(name, FILES[name])) for name in FILES]  # type: ignore[arg-type]
    assert records_from_texts(read)[0] is None


def test_many_amendments(tmp_path: Path) -> None:
    """Each asks for the documents as those before it left them."""
    names = ["A. Invented", *(f"B. Invented {number}" for number in range(500))]
    changes = "".join(
        f'\n[[amendment]]\nact = "change"\nrecord = "run"\nfield = "run.analyst"\nfrom = "{was}"\nto = "{to}"\n'
        'reason = "typing"\nwho = "C. Invented"\nwhen = 2026-12-01\n'
        for was, to in pairwise(names)
    )
    records, _ = read_records(write_run(tmp_path, run=RUN + changes))
    assert records is not None and records.run is not None
    assert records.run.file.run.analyst == names[-1] and len(records.amendments) == 500


def test_findings_without_end_are_cut(tmp_path: Path) -> None:
    write_run(tmp_path, run=RUN + '[[standard]]\nlabel = "S1"\n' * 1_000)
    done = run("evaluate", ".", folder=tmp_path)
    lines = [line for line in done.err.splitlines() if not line.startswith(" ")]
    assert done.status == 2 and len(lines) == MOST_SHOWN + 1
    assert lines[-1].startswith("and ") and lines[-1].endswith("mend these first")


# -- patterns ---------------------------------------------------------------------------------------------------------


def patterns() -> list[tuple[str, re.Pattern[str]]]:
    """Every pattern that a module of the program keeps."""
    found = {}
    for module in pkgutil.walk_packages(ubudget.__path__, "ubudget."):
        if module.name.endswith("__main__"):
            continue
        for name, value in vars(importlib.import_module(module.name)).items():
            if isinstance(value, re.Pattern) and isinstance(value.pattern, str):
                found[value.pattern] = (f"{module.name}.{name}", value)
    return sorted(found.values(), key=lambda each: each[0])


SHORT = {
    "ubudget.files.toml_text._UNQUOTED_AMOUNT": "160 signs of a line",
    "ubudget.files.toml_text._UNQUOTED_TEXT": "160 signs of a line",
    "ubudget.files.export_lines._TEXT": "names of up to 80 signs",
    "ubudget.files.filled_cells._QUOTED": "formats of up to 255 signs",
    "ubudget.quantity.units._TOWERS": "units of up to 40 signs",
    "ubudget.files.edited_places._TABLE_ROW": "places of findings, which are our own words",
    "ubudget.files.filled_places._GRID_ROW": "places of findings, which are our own words",
    "ubudget.pages.html._SUBSCRIPT": "texts of records, 255 signs",
    "ubudget.pages.walk._TOTAL": "names of symbols, 40 signs",
    "ubudget.pages.walk._HANDED_ON": "names of symbols, 40 signs",
    "ubudget.pages.walk._PARTIAL": "names of symbols, 40 signs",
    "ubudget.records.spare_rows._PART": "the whole of a cell, whose fingerprint was compared",
    "ubudget.pages.d_si_units._TOKEN": "units of up to 40 signs",
    "ubudget.quantity.spelling._CELL": "references of our own",
    "ubudget.pages.told_html._BLOCK": "lines of our own",
    "ubudget.evaluation.input_quantity._NAME": "40 signs by itself",
}
"""Patterns that are held to short texts, and which."""
HEADS = ("", "a", "1 ", "= 1", "&", "(", "[", '"', "Cu", "x [", ", ", "^", "0.", "_x", "1.")
BODIES = (
    " ",
    "a",
    "1",
    "e",
    "(",
    "[",
    '"',
    "'",
    ".",
    "=",
    ", ",
    "-",
    "A",
    "_",
    "a ",
    "1 ",
    "&",
    "#",
    " a",
    "µ",
    "0,",
    "a.",
)
TAILS = ("", "!", '"', "\n")


@pytest.mark.parametrize("name", [name for name, _ in patterns() if name not in SHORT])
def test_patterns_take_time_in_proportion(name: str) -> None:
    """Twelve times the length takes no hundred times the time, whatever is repeated."""
    pattern = dict(patterns())[name]
    for head in HEADS:
        for body in BODIES:
            for tail in TAILS:
                text = head + body * (3_000 // len(body)) + tail
                began = time.process_time()
                pattern.search(text)
                pattern.fullmatch(text)
                assert time.process_time() - began < 0.05, (head, body, tail)


@pytest.mark.parametrize("text", ["1 x" + " " * 200_000 + "y", "1" * 200_000, " " * 200_000, "1 " + "x" * 200_000])
def test_amounts_and_units_of_any_length(text: str) -> None:
    try:
        parse_amount(text)
        dimension(text)
    except (ValueError, UnitError):
        pass
