"""`ubudget validate`: a clean installation passes; planted faults fail it, and are named.

What is planted follows the ways in which an installation breaks: a lost file, an altered one, a wrong row of the
operation table (which library, cell and derivation share), an engine that hands back what it was given. The list of
released files is that of a wheel (PEP 376 and 427: SHA-256, base64 without padding)."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.commands.running import ROOT, run, run_apart, widest
from tests.engines import require_engine
from ubudget.files import validation
from ubudget.files.installation import installation
from ubudget.quantity.operations import TABLE

DAY = ("--on", "2026-03-02")
PUBLISHED = ROOT / "worked_examples" / "published"


@pytest.fixture
def without_engine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))


@pytest.fixture
def no_shipped(monkeypatch: pytest.MonkeyPatch, without_engine: None) -> None:
    """The laboratory's own cases alone, for speed."""
    monkeypatch.setattr(validation, "shipped_cases", lambda: [])


def verdicts(out: str) -> dict[str, str]:
    """Case and last word of each line of the table."""
    table = out.partition("\n---")[2].partition("\n\n")[0]
    return {line.split()[0]: line.split()[-1] for line in table.splitlines()[1:] if line and ":" not in line}


def test_a_clean_installation_passes_with_a_spreadsheet_program(tmp_path: Path) -> None:
    require_engine("libreoffice")
    done = run("validate", "--into", "kept", "--reviewer", "R. Vale", *DAY, folder=tmp_path)
    assert done.status == 0, done.out
    assert widest(done.out) <= 80
    cases = verdicts(done.out)
    assert {*(path.stem for path in PUBLISHED.glob("*.toml")), "quam_a5", "functions"} == cases.keys() - {
        "installation"
    }
    assert {verdict for case, verdict in cases.items() if case != "installation"} == {"pass"}
    told = json.loads((tmp_path / "kept" / "validation-2026-03-02.json").read_text(encoding="utf-8"))
    assert (told["reviewer"], told["date"], told["verdict"]) == ("R. Vale", "2026-03-02", "pass")
    assert "LibreOffice" in told["engine"] and set(told["versions"]) >= {"Python", "numpy", "scipy", "openpyxl"}
    assert all(case["workbook"]["formulas"] > 200 and case["source"] for case in told["cases"])
    # The second calculation follows every single budget; a run is none.
    assert [case["case"] for case in told["cases"] if case["independent_inputs"] is None] == ["quam_a5"]
    text = (tmp_path / "kept" / "validation-2026-03-02.txt").read_text(encoding="utf-8")
    assert widest(text) <= 80 and "R. Vale" in text and told["fingerprint"] in text
    page = (tmp_path / "kept" / "validation-2026-03-02.html").read_text(encoding="utf-8")
    assert "R. Vale" in page and "JCGM 100:2008" in page and "<script" not in page
    again = run("validate", "--into", "kept", *DAY, folder=tmp_path)
    assert again.status == 2 and "exists already" in again.err


def test_a_broken_copy_fails_and_names_what_is_broken(tmp_path: Path) -> None:
    site = tmp_path / "site"
    skipped = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "ubudget", site / "ubudget", ignore=skipped)
    shutil.copytree(ROOT / "worked_examples", site / "ubudget" / "_shipped" / "worked_examples", ignore=skipped)
    listed = [f"{path.relative_to(site).as_posix()},{wheel_digest(path)},1" for path in site.rglob("*.*")]
    (site / "ubudget-0.1.0.dist-info").mkdir()
    (site / "ubudget-0.1.0.dist-info" / "RECORD").write_text("\n".join(listed), encoding="utf-8")
    assert installation(site / "ubudget").passed

    table = site / "ubudget" / "quantity" / "operations.py"
    sound = 'lambda a: (apply("exp", a),)'
    text = table.read_text(encoding="utf-8")
    assert text.count(sound) == 1
    # A wrong partial derivative: value right, u and U wrong alike in library, cell and words.
    table.write_text(text.replace(sound, 'lambda a: (2 * apply("exp", a),)'), encoding="utf-8")
    (site / "ubudget" / "_shipped" / "worked_examples" / "published" / "gum_h1.toml").unlink()
    done = run_apart("validate", *DAY, folder=tmp_path, PYTHONPATH=str(site), PATH=str(tmp_path))
    assert done.status == 1, done.err
    cases = verdicts(done.out)
    assert {case for case, verdict in cases.items() if verdict == "FAIL"} == {"installation", "gum_h1", "functions"}
    assert "ubudget/quantity/operations.py: altered" in done.out
    assert "published/gum_h1.toml: missing" in " ".join(done.out.split())
    assert "functions: u: worked out outside 105.110835" in done.out
    assert "functions: c(b): independent calculation" in done.out
    assert widest(done.out) <= 80


def wheel_digest(path: Path) -> str:
    if not path.is_file():
        return ""
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(path.read_bytes()).digest()).decode().rstrip("=")


def test_a_wrong_function_fails_the_case_by_source_and_second_calculation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, without_engine: None
) -> None:
    monkeypatch.setitem(TABLE, "ln", replace(TABLE["ln"], numbers=lambda a: a * 0 + 1.2))
    cases = [case for case in validation.shipped_cases() if case.name in ("functions", "quam_a2")]
    monkeypatch.setattr(validation, "shipped_cases", lambda: cases)
    done = run("validate", *DAY, folder=tmp_path)
    assert done.status == 1 and verdicts(done.out)["functions"] == "FAIL" and verdicts(done.out)["quam_a2"] == "pass"
    assert "functions: value: independent calculation 7634.1003" in done.out


def test_a_wrong_spelling_in_cells_is_found_by_the_spreadsheet_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library is right, and so are the stored values; only what the cells calculate is wrong."""
    require_engine("libreoffice")
    monkeypatch.setitem(TABLE, "ln", replace(TABLE["ln"], cell="LOG10({0})"))
    cases = [case for case in validation.shipped_cases() if case.name == "functions"]
    monkeypatch.setattr(validation, "shipped_cases", lambda: cases)
    done = run("validate", *DAY, folder=tmp_path)
    assert done.status == 1 and verdicts(done.out)["functions"] == "FAIL"
    assert "functions: the recalculated workbook differs in" in done.out and "independent calculation" not in done.out


def test_stored_values_are_no_recalculation(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that gives back the file as it was given has calculated nothing."""
    if os.name != "posix":
        pytest.skip("the stand-in is a script of the shell")
    engine = tmp_path / "soffice"
    engine.write_text(
        f"#!{sys.executable}\nimport pathlib, shutil, sys\nwords = sys.argv[1:]\n"
        'if "--outdir" in words:\n'
        '    out = pathlib.Path(words[words.index("--outdir") + 1])\n    out.mkdir()\n'
        '    [shutil.copy(word, out) for word in words if word.endswith(".xlsx")]\n'
        'else:\n    print("Stand-in 1.0")\n',
        encoding="utf-8",
    )
    engine.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    cases = [case for case in validation.shipped_cases() if case.name == "quam_a1_as_printed"]
    monkeypatch.setattr(validation, "shipped_cases", lambda: cases)
    done = run("validate", *DAY, folder=tmp_path)
    assert done.status == 1 and "Stand-in 1.0" in done.out and verdicts(done.out)["quam_a1_as_printed"] == "FAIL"
    assert "the recalculated workbook differs in" in done.out


# --- Cases of a laboratory ---

METHOD = """
[method]
id = "OWN-1"
title = "A difference, invented"
version = "1"
status = "approved"
measurand = "mass"
unit = "mg"
equation = "d = a - b"
[symbols.a]
operation = "input"
quantity = "first mass"
unit = "mg"
estimate = "20 mg"
u = "0.3 mg"
[symbols.b]
operation = "input"
quantity = "second mass"
unit = "mg"
estimate = "8 mg"
u = "0.4 mg"
[coverage]
rule = "fixed"
k = 2
"""
# By head: 20 - 8 = 12, root of 0.09 + 0.16 = 0.5, twice that 1.
EXPECTED = """
[source]
title = "Reference data of the laboratory"
[reference]
established = 2025-01-15
reviewer = "R. Vale"
due = 2027-01-15
[printed]
value = "12"
expanded_uncertainty = "1.0"
[recomputed]
standard_uncertainty = 0.5
"""


def own_case(folder: Path, expected: str = EXPECTED) -> Path:
    (folder / "own" / "difference").mkdir(parents=True)
    (folder / "own" / "difference" / "method.toml").write_text(METHOD, encoding="utf-8")
    (folder / "own" / "difference" / "expected.toml").write_text(expected, encoding="utf-8")
    return folder / "own"


def test_a_laboratory_adds_its_own_cases(tmp_path: Path, no_shipped: None) -> None:
    own_case(tmp_path)
    done = run("validate", "--cases", "own", "--json", "-", *DAY, folder=tmp_path)
    told = json.loads(done.out)
    assert done.status == 0 and told["engine"] is None
    (case,) = told["cases"]
    assert case["verdict"] == "pass" and "reviewed by R. Vale" in case["reference"]
    by_hand = {"value": 12.0, "standard_uncertainty": 0.5, "expanded_uncertainty": 1.0}
    for name, figure in by_hand.items():
        assert next(each["obtained"] for each in case["figures"] if each["figure"] == name) == pytest.approx(figure)


@pytest.mark.parametrize(
    ("old", "new", "status", "words"),
    [
        ('value = "12"', 'value = "12.1"', 1, "difference: value: printed digits 12.1, obtained 12"),
        ("2027-01-15", "2026-01-15", 1, "the reference data were due for review on 2026-01-15"),
        ('value = "12"', 'worth = "12"', 2, "worth"),
        ('value = "12"', 'value = "about 12"', 2, "the digits as printed"),
        ("[source]", 'example = "lost.toml"\n[source]', 1, "difference: lost.toml: whole file: found no such file"),
        ("[printed]", '[[result]]\nsample = "S9"\nprinted = { value = "1" }\n[printed]', 1, "S9: names 0 results"),
    ],
)
def test_what_is_wrong_with_an_own_case_is_told(
    tmp_path: Path, no_shipped: None, old: str, new: str, status: int, words: str
) -> None:
    assert old in EXPECTED
    own_case(tmp_path, EXPECTED.replace(old, new))
    done = run("validate", "--cases", "own", *DAY, folder=tmp_path)
    assert done.status == status, done.out + done.err
    assert words in " ".join((done.out + done.err).split())


def test_cases_of_one_name_are_told_apart(tmp_path: Path, no_shipped: None) -> None:
    for name in ("one", "two"):
        own_case(tmp_path / "all" / name)
    done = run("validate", "--cases", "all", "--into", "kept", *DAY, folder=tmp_path)
    assert done.status == 0 and set(verdicts(done.out)) == {"installation", "difference", "difference-2"}
    kept = tmp_path / "kept" / "validation-2026-03-02-inputs"
    assert {file.name for file in kept.iterdir()} == {"difference.json", "difference-2.json"}


def test_a_folder_without_cases_is_refused(tmp_path: Path) -> None:
    for name in (".", "nowhere"):
        done = run("validate", "--cases", name, "--into", "kept", *DAY, folder=tmp_path)
        assert done.status == 2 and not done.out and not (tmp_path / "kept").exists()
