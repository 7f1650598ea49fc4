"""`ubudget compare`: what was changed is told, all of it and nothing else; and the method as it was approved.

Expected figures are worked out by head from the changes made (GUM 5.1.2 for a difference of two quantities)."""

from __future__ import annotations

import json
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.commands.running import Done, run, widest
from tests.findings.small_run import METHOD, RUN, write_run
from tests.validation.test_validate import METHOD as DIFFERENCE
from ubudget.pages.record_differences import differences


def compared(folder: Path, old: str, new: str) -> tuple[Done, dict[str, Any]]:
    """The text for a person, and the same as JSON."""
    done, told = run("compare", old, new, folder=folder), run("compare", old, new, "--json", "-", folder=folder)
    assert done.status == told.status and widest(done.out) <= 80
    return done, json.loads(told.out)


def inputs(told: dict[str, Any]) -> list[tuple[str, str, str | None, str | None]]:
    return [(each["document"], each["place"], each["from"], each["to"]) for each in told["inputs"]]


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    for name in ("old", "new"):
        (tmp_path / name).mkdir()
        write_run(tmp_path / name)
    return tmp_path


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count(old) >= 1, old
    file.write_text(text.replace(old, new, 1), encoding="utf-8", newline="\n")


def test_the_same_run_and_its_workbook_have_not_changed(desk: Path) -> None:
    assert run("workbook", "old", "old.xlsx", folder=desk).status in (0, 1)
    for other in ("new", "old.xlsx"):
        done, told = compared(desk, "old", other)
        assert done.status == 0 and done.out.endswith("\nnothing changed\n"), done.out
        assert not told["changed"] and told["inputs"] == told["results"] == told["records"] == []


def test_a_changed_estimate_moves_the_value_alone(tmp_path: Path) -> None:
    (tmp_path / "old.toml").write_text(DIFFERENCE, encoding="utf-8")
    (tmp_path / "new.toml").write_text(DIFFERENCE.replace('"20 mg"', '"21.5 mg"'), encoding="utf-8")
    done, told = compared(tmp_path, "old.toml", "new.toml")
    assert done.status == 1
    assert inputs(told) == [("method", "symbol a, estimate", "20 mg", "21.5 mg")]
    (result,) = told["results"]
    # 20 - 8 and 21.5 - 8; the root of 0.09 + 0.16 on both sides.
    assert (result["from"]["value"], result["to"]["value"]) == pytest.approx((12, 13.5))
    assert result["from"]["standard_uncertainty"] == result["to"]["standard_uncertainty"] == pytest.approx(0.5)
    assert "symbol a, estimate: 20 mg -> 21.5 mg" in done.out


def test_symbols_of_methods_are_added_removed_and_changed(desk: Path) -> None:
    """A method that needs a run is compared by its document."""
    extra = '[symbols.E]\noperation = "input"\nquantity = "an extra factor"\nestimate = 1\nu = 0.01\n'
    new = METHOD.replace("[symbols.cb]", extra + "[symbols.cb]").replace('version = "3"', 'version = "4"')
    start = new.index("[symbols.Vb]")
    new = new[:start] + new[new.index("[symbols.", start + 5) :]
    new = new.replace("cb*Vb*fb", "cb*V*fb").replace("/m*F*R", "/m*F*R*E")
    (desk / "new" / "method.toml").write_text(new, encoding="utf-8")
    done, told = compared(desk, "old/method.toml", "new/method.toml")
    assert done.status == 1 and told["results"] is None
    places = {(place, was is None, now is None) for _, place, was, now in inputs(told)}
    assert places == {
        ("method, version", False, False),
        ("method, equation", False, False),
        ("symbol E", True, False),
        ("symbol Vb", False, True),
    }
    assert "symbol E: added, operation input" in done.out and "symbol Vb: removed, was" in done.out
    # Beside a run, its method is compared alone.
    assert inputs(compared(desk, "old/method.toml", "old")[1]) == []


def test_flags_and_findings_that_came_and_went(desk: Path) -> None:
    change(desk / "new" / "method.toml", '"approved"', '"superseded"')
    _, told = compared(desk, "old", "new")
    (added,) = told["findings"]["added"]
    assert (added["place"], added["found"]) == ("method, status", "the status superseded")
    assert told["findings"]["removed"] == [] and told["results"] == []
    assert [each["what"] for each in told["records"]] == ["method", "method_fingerprint", "records_fingerprint"]
    assert "- attend: method.toml: method, status" in run("compare", "new", "old", folder=desk).out


def test_an_edited_cell_is_an_input_with_from_and_to(desk: Path) -> None:
    run("workbook", "old", "book.xlsx", folder=desk)
    book = openpyxl.load_workbook(desk / "book.xlsx")
    assert book["samples"]["E6"].value == "m.gross" and book["samples"]["A9"].value == "SED-01"
    book["samples"]["E9"].value = 0.0126
    book.save(desk / "edited.xlsx")
    done, told = compared(desk, "book.xlsx", "edited.xlsx")
    # The record has grams, the cell kilograms.
    assert inputs(told) == [("samples", "row SED-01, gross [g]", "12.5034", "12.6")]
    assert {each["sample"] for each in told["results"]} == {"SED-01"} and told["records"] == []
    assert done.status == 1


def rewritten(book: Path, out: Path, part: str, old: bytes, new: bytes) -> None:
    with zipfile.ZipFile(book) as source, zipfile.ZipFile(out, "w") as made:
        for entry in source.infolist():
            data = source.read(entry)
            if entry.filename == part:
                assert re.search(old, data), part
                data = re.sub(old, new, data, count=1)
            made.writestr(entry, data)


def sheet_parts(book: Path) -> dict[str, str]:
    names = openpyxl.load_workbook(book, read_only=True).sheetnames
    return {name: f"xl/worksheets/sheet{number}.xml" for number, name in enumerate(names, start=1)}


def test_a_workbook_of_another_layout_stays_readable_by_its_records(desk: Path) -> None:
    run("workbook", "old", "old.xlsx", folder=desk)
    parts = sheet_parts(desk / "old.xlsx")
    layout = rb'(r="B4"[^>]*>(?:<is><t[^>]*>)?)[0-9]+'
    rewritten(desk / "old.xlsx", desk / "former.xlsx", parts["record"], layout, rb"\g<1>1")
    done, told = compared(desk, "former.xlsx", "old.xlsx")
    assert done.status == 1 and told["inputs"] == told["results"] == []
    (record,) = told["records"]
    assert (record["what"], record["from"]) == ("layout", "1")
    assert "former.xlsx: layout 1, this program reads cells of layout" in " ".join(done.out.split())


def test_stored_figures_that_this_program_does_not_calculate_are_told(desk: Path) -> None:
    run("workbook", "old", "old.xlsx", folder=desk)
    results = run("evaluate", "old", "--json", "-", folder=desk)
    first = json.loads(results.out)["results"][0]
    value = repr(float(first["reported_value"])).encode()
    parts = sheet_parts(desk / "old.xlsx")
    rewritten(
        desk / "old.xlsx", desk / "otherwise.xlsx", parts["results"], rb"<v>" + re.escape(value) + rb"</v>", b"<v>7</v>"
    )
    done, told = compared(desk, "otherwise.xlsx", "old.xlsx")
    (stored,) = told["stored_otherwise"]
    assert done.status == 1 and "otherwise.xlsx" in stored and "as 7, calculated here" in stored
    assert "SED-01/Zn" in stored


@pytest.mark.parametrize("name", ["nowhere", "old/samples.csv", "torn.xlsx", "bad.toml"])
def test_what_cannot_be_read_is_refused(desk: Path, name: str) -> None:
    (desk / "torn.xlsx").write_bytes(b"PK no workbook")
    (desk / "bad.toml").write_text(METHOD.replace('"input"', '"inputs"'), encoding="utf-8")
    done = run("compare", "old", name, "--json", "out.json", folder=desk)
    assert done.status == 2 and "accepted:" in done.err and not done.out and not (desk / "out.json").exists()


DOCUMENTS = st.recursive(
    st.booleans() | st.integers(-9, 9) | st.text("abc", min_size=1, max_size=2),
    lambda inner: (
        st.dictionaries(st.sampled_from(["a", "b", "label"]), inner, max_size=3)
        | st.lists(st.dictionaries(st.sampled_from(["x", "label"]), inner, min_size=1), max_size=3)
    ),
    max_leaves=8,
)


@settings(max_examples=40)
@given(old=DOCUMENTS, new=DOCUMENTS)
def test_differences_are_the_same_both_ways(old: Any, new: Any) -> None:
    there = {(each.place, each.was, each.now) for each in differences("run", old, new)}
    back = {(each.place, each.now, each.was) for each in differences("run", new, old)}
    assert there == back
    assert not list(differences("run", old, old))


# --- The method as approved ---


def fingerprint_of(folder: Path) -> str:
    told = json.loads(run("evaluate", folder.name, "--json", "-", folder=folder.parent).out)
    return str(told["method"]["fingerprint"])


def approve(folder: Path, fingerprint: str) -> None:
    stated = f'method = "method.toml"\nmethod_fingerprint = "{fingerprint}"'
    text = RUN.replace('method = "method.toml"', stated)
    (folder / "run.toml").write_text(text, encoding="utf-8", newline="\n")


def test_a_method_altered_since_its_approval_is_told(desk: Path) -> None:
    before = run("evaluate", "old", folder=desk)
    approve(desk / "old", fingerprint_of(desk / "old"))
    assert "fingerprint" not in run("evaluate", "old", folder=desk).out
    assert run("evaluate", "old", folder=desk).status == before.status
    change(desk / "old" / "method.toml", "[symbols.cb]", "# looked at again\n[symbols.cb]")
    told = run("evaluate", "old", folder=desk)
    assert told.status == 1
    assert "run.toml: run, method_fingerprint: found method.toml altered since its approval" in " ".join(
        told.out.split()
    )


def test_an_edited_cell_of_an_approved_method_is_told(desk: Path) -> None:
    approve(desk / "old", fingerprint_of(desk / "old"))
    run("workbook", "old", "book.xlsx", folder=desk)
    book = openpyxl.load_workbook(desk / "book.xlsx")
    edited = next(
        cell
        for row in book["method"].iter_rows()
        for cell in row
        if not cell.protection.locked and isinstance(cell.value, int | float) and not isinstance(cell.value, bool)
    )
    edited.value = float(edited.value) * 1.01
    book.save(desk / "edited.xlsx")
    told = run("evaluate", "edited.xlsx", folder=desk)
    assert told.status == 1 and "found a method altered in the workbook: sheet method, cell" in " ".join(
        told.out.split()
    )
