"""Amendments take effect in order, can be undone bit for bit, and leave the original texts alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.amendments.amended_runs import SMALL, Table, amendment, bits, evaluated, read, usable, with_amendments
from tests.findings.small_run import RUN, replaced, write_run
from tests.workbooks.books import HARBOUR
from ubudget import read_run
from ubudget.files.amendment_effects import steps_of
from ubudget.files.reading import read_records, records_from_texts
from ubudget.pages.amendment_list import Difference, trail_lines
from ubudget.records.amount import Amount
from ubudget.records.calibration import Calibration

LINE = {"analyte": "Zn", "line": "213.9"}
WEIGHT = amendment("change", record="samples", entry="SED-01", field="gross", was="12.5034 g", to="12.5134 g")
CURVE = amendment("change", record="method", field="symbols.c.curve", was="", to="quadratic")
LEFT_OUT = amendment("exclude", solution="SED-01 d", **LINE, replicate=1, rule="assigned cause")
POOL: list[Table] = [
    WEIGHT,
    CURVE,
    LEFT_OUT,
    amendment("change", record="samples", entry="SED-02", field="moisture", was="2.9 %", to="3.3 %"),
    amendment("change", record="samples", entry="SED-02", field="moisture", was="3.3 %", to="0.034"),
    amendment(
        "change",
        record="solutions",
        entry="SED-01 d",
        field="dilution",
        was="P5-1 > F50-2",
        to="P5-1 > F50-2; P5-1 > F50-2",
    ),
    amendment("change", record="readings", solution="S2", **LINE, field="r3", was="0.199", to="0.201"),
    amendment("change", record="run", field="standard.S3.concentration.Zn", was="2 mg/L", to="2.01 mg/L"),
    amendment("change", record="run", field="run.analyst", was="A. Invented", to="B. Invented"),
    amendment("change", record="method", field="symbols.R.U", was="2 %", to="2.5 %"),
    amendment("relabel", was="SED-02", to="HB-02"),
    amendment("relabel", was="S2", to="S2 new"),
    amendment("exclude", solution="HB-02", **LINE, replicate=1, rule="rule of the method"),
    amendment("exclude", solution="S1", **LINE, replicate=2, rule="assigned cause"),
    amendment("exclude solution", solution="S1"),
    amendment("exclude solution", solution="BL-2", **LINE),
    amendment("restore", solution="SED-02", **LINE, replicate=3),
    amendment("restore", solution="S1"),
]


def undo(number: int) -> Table:
    return amendment("undo", undoes=number)


def kept(chosen: list[Table]) -> list[Table]:
    """Those that the run takes, one after the other."""
    taken: list[Table] = []
    for table in chosen:
        if read([*taken, table])[0] is not None:
            taken.append(table)
    return taken


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.sampled_from(POOL), min_size=1, max_size=6))
def test_undoing_gives_the_former_numbers_bit_for_bit(chosen: list[Table]) -> None:
    taken = kept(chosen)
    states = [usable(taken[:count]) for count in range(len(taken) + 1)]
    undone = list(taken)
    for count in range(len(taken), 0, -1):
        undone.append(undo(count))
        records, before = usable(undone), states[count - 1]
        assert records.run is not None and before.run is not None
        file = replace(records.run.file, amendments=())
        assert replace(records.run, file=file) == replace(before.run, file=replace(before.run.file, amendments=()))
        assert records.method == before.method
        if count in (1, len(taken)):
            assert bits(records) == bits(before)
    assert all(done.undone for done in usable(undone).amendments[: len(taken)])


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.sampled_from(POOL), min_size=1, max_size=5))
def test_listed_differences_are_with_less_without(chosen: list[Table]) -> None:
    """Each against two evaluations of runs that are written out apart, and all of them add up to the whole."""
    taken = kept(chosen)
    steps = steps_of(usable(taken))
    assert [step.name for step in steps] == ["exclude_reading 1", *(f"amendment {n + 1}" for n in range(len(taken)))]
    for count, step in enumerate(steps[1:], start=1):
        without, with_it = (figures(usable(taken[:n])) for n in (count - 1, count))
        changed = {key for key in without | with_it if without.get(key) != with_it.get(key)}
        assert {key_of(difference) for difference in step.differences} == changed
        for difference in step.differences:
            old, new = without.get(key_of(difference)), with_it.get(key_of(difference))
            if old is not None and new is not None and old[0] is not None and new[0] is not None:
                assert difference.value == new[0] - old[0]
                assert difference.u == new[1] - old[1]


def key_of(difference: Difference) -> tuple[str, str]:
    return difference.named.sample, difference.named.analyte


def figures(records: object) -> dict[tuple[str, str], tuple[float | None, float | None, float | None]]:
    return {
        (result.sample, result.analyte): (result.value, result.standard_uncertainty, result.expanded_uncertainty)
        for result in evaluated(records).results
    }


def test_as_measured_is_the_run_without_exclusions_and_amendments(tmp_path: Path) -> None:
    text = next(t.text for t in with_amendments([WEIGHT, CURVE, LEFT_OUT, undo(2)]) if t.role == "run")
    folder = write_run(tmp_path, run=text)
    (tmp_path / "bare").mkdir()
    bare = RUN.partition("[[exclude_reading]]")[0]
    plain = read_run(write_run(tmp_path / "bare", run=bare))
    measured = read_run(folder, as_measured=True)
    assert (measured.run, measured.method, measured.register) == (plain.run, plain.method, plain.register)
    assert measured.amendments == () and measured.as_measured
    assert bits(measured) == bits(plain) != bits(read_run(folder))


def test_the_texts_stay_as_they_were_written() -> None:
    texts = with_amendments([WEIGHT, LEFT_OUT])
    records, _ = records_from_texts(texts)
    assert records is not None and records.texts == texts


def test_an_amended_run_is_the_run_that_was_written_so_at_once() -> None:
    weight = replaced("samples.csv", "12.5034", "12.5134")
    method = replaced("method.toml", 'unit = "mg/L"\nscatter', 'unit = "mg/L"\ncurve = "quadratic"\nscatter')
    texts = [replace(t, text={"samples": weight, "method": method}.get(t.role, t.text)) for t in SMALL]
    at_once, _ = records_from_texts(texts)
    records = usable([WEIGHT, CURVE])
    assert at_once is not None and at_once.run is not None and records.run is not None
    assert (records.run.portions, records.method) == (at_once.run.portions, at_once.method)
    assert bits(records) == bits(at_once)


def test_a_unit_is_taken_over_into_that_of_the_column() -> None:
    records = usable([WEIGHT | {"from": "12503.4 mg", "to": "12513.4 mg"}])
    assert records.run is not None
    assert records.run.portions[0].columns["gross"] == Amount(12.5134, "g", "12.5134 g")


def test_labels_are_compared_as_texts() -> None:
    texts = [replace(t, text=t.text.replace("A. Invented", "7")) for t in SMALL]
    change = amendment("change", record="run", field="run.analyst", was="7", to="007")
    records = usable([change], texts)
    assert records.run is not None and records.run.file.run.analyst == "007"
    assert read([change | {"from": "7.0"}], texts)[0] is None


def test_an_undo_can_be_undone() -> None:
    again = usable([WEIGHT, undo(1), undo(2)])
    assert bits(again) == bits(usable([WEIGHT]))
    assert [done.undone for done in again.amendments] == [False, True, False]


def test_a_restored_reading_counts_again() -> None:
    records = usable([amendment("restore", solution="SED-02", **LINE, replicate=3)])
    assert records.run is not None and records.run.file.exclusions == ()


def test_a_whole_solution_is_left_out_by_one_act_that_the_limit_does_not_count() -> None:
    records = usable([amendment("exclude solution", solution="S1", **LINE)])
    assert records.run is not None
    marks = [(m.solution, m.replicate) for m in records.run.file.exclusions]
    assert marks == [("SED-02", 3), ("S1", 1), ("S1", 2), ("S1", 3)]
    assert records.findings == ()


def test_exclusions_follow_a_label_that_is_changed_later() -> None:
    records = usable([LEFT_OUT, *(amendment("relabel", was=f"SED-01{x}", to=f"HB-01{x}") for x in ("", " d"))])
    assert records.run is not None
    assert [m.solution for m in records.run.file.exclusions] == ["SED-02", "HB-01 d"]
    assert {reading.solution for reading in records.run.readings} >= {"HB-01", "HB-01 d"}
    assert records.run.solutions[0].source == "HB-01"


def test_a_field_that_is_taken_out_goes_back_to_its_default() -> None:
    out = amendment("change", record="method", field="symbols.c.curve", was="quadratic", to="")
    records = usable([CURVE, out])
    symbol = records.method.symbols["c"]
    assert isinstance(symbol, Calibration) and symbol.curve == "line"
    assert bits(records) == bits(usable([]))


def test_a_step_that_cannot_stand_alone_is_said_to_be_so() -> None:
    """A label changed in two tables, one amendment each: between them nothing can be evaluated."""
    halves = [
        amendment("change", record="readings", solution="SED-02", **LINE, field="solution", was="SED-02", to="HB-02"),
        amendment("change", record="samples", entry="SED-02", field="sample", was="SED-02", to="HB-02"),
    ]
    assert read(halves[:1])[0] is None
    _, first, second = steps_of(usable(halves))
    assert not first.evaluated and first.differences == ()
    gone, new = second.differences
    assert (gone.named.sample, gone.after, new.named.sample, new.before) == ("SED-02", None, "HB-02", None)
    assert gone.value is new.value is None
    told = " ".join(" ".join(trail_lines([first, second])).split())
    assert "cannot be evaluated after this step alone" in told and "not available" in told


def test_interchanged_lines_are_put_right_by_two_amendments() -> None:
    """Against the readings of the demonstration with the two rows written the other way round."""
    first = {"solution": "SED-03", "analyte": "Cu", "line": "324.754", "was": "324.754", "to": "327.396"}
    # Two rows bear the same line after the first amendment; a solution listed again counts as read again.
    second = {"solution": "SED-03", "analyte": "Cu", "line": "327.396", "was": "327.396", "to": "324.754"}
    demonstration, _ = read_records(HARBOUR)
    assert demonstration is not None
    changes = [amendment("change", record="readings", field="line", **keys) for keys in (first, second)]
    records, findings = read(changes, demonstration.texts)
    assert records is None and findings[0].accepted == "position 13, 14"
    amended = usable([changes[0], changes[1] | {"position": 14}], demonstration.texts)
    places = {"SED-03,Cu,324.754,": "SED-03,Cu,x,", "SED-03,Cu,327.396,": "SED-03,Cu,324.754,", "Cu,x,": "Cu,327.396,"}
    rows = next(text.text for text in demonstration.texts if text.role == "readings")
    for old, new in places.items():
        rows = rows.replace(old, new)
    texts = [replace(t, text=rows) if t.role == "readings" else t for t in demonstration.texts]
    right, _ = records_from_texts(texts)
    assert right is not None and bits(amended) == bits(right) != bits(demonstration)
