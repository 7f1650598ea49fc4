"""Several calibrations in a run: each solution belongs to its block, and what blocks share stays shared.

Rules of the trade: common practice, no source. Figures: a block read in a run of its own, and the package
uncertainties over the whole graph."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from tests.agreement.test_uncertainties import Walk, assert_walk_agrees, evaluated
from tests.blocks.block_run import AFTERNOON, BLANKS, MORNING, RERUN, WITHOUT_EXCLUSION, run_in, table
from tests.commands.running import run as command
from tests.findings.small_run import METHOD, SAMPLES
from tests.workbooks.books import Written, written
from tests.workbooks.live_checks import assert_engines_agree, assert_open_numbers_move
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.reading import read_records
from ubudget.records.uses import uses_of

BOTH = (("am", MORNING), ("pm", AFTERNOON))
ONLY_02 = "\n".join(line for line in SAMPLES.splitlines() if not line.startswith("SED-01")) + "\n"
PRECISION = (
    '[symbols.p]\noperation = "precision"\nquantity = "precision between days"\npart = "between runs"\n'
    'relative = "3 %"\ndof = 12\n\n[symbols.c]'
)


def result(evaluation: Evaluation, sample: str) -> tuple[float | None, float, float]:
    (found,) = [one for one in evaluation.results if one.sample == sample]
    return found.value, found.standard_uncertainty or 0.0, found.effective_degrees_of_freedom or 0.0


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return written(run_in(tmp_path_factory.mktemp("blocks"), table(*BOTH)))


def test_a_block_gives_what_a_run_of_its_own_gives(tmp_path: Path) -> None:
    afternoon = [*AFTERNOON, *BLANKS]
    both = evaluated(run_in(tmp_path / "both", table(("am", MORNING), ("pm", afternoon), rerun="blanks again")))
    alone = run_in(tmp_path / "alone", table(("pm", afternoon)), solutions="", samples=ONLY_02)
    (alone / "solutions.csv").write_text("solution,from,dilution,reports\n", encoding="utf-8")
    assert result(both, "SED-02") == pytest.approx(result(evaluated(alone), "SED-02"), rel=1e-13)


def test_a_block_without_blanks_takes_those_of_the_block_before(example: Written) -> None:
    graph = example.evaluation.graph
    assert graph.tables["blanks"].size == 1
    assert graph.tables["curves"].texts("block") == ("am", "pm")
    c_blank = example.evaluation.column("cb", "results")
    assert c_blank[0] == c_blank[1] == example.evaluation.column("c", "blanks")[0]


def test_walk_of_uncertainties_agrees(example: Written) -> None:
    assert_walk_agrees(example.evaluation, Walk(example.evaluation))


def test_engines_agree_and_open_numbers_move(example: Written, tmp_path: Path) -> None:
    assert_engines_agree(example, tmp_path)
    assert_open_numbers_move(example, tmp_path / "book.xlsx")


def test_a_later_reading_with_its_reason_takes_over(tmp_path: Path) -> None:
    readings = table(("am", MORNING), ("pm", [*AFTERNOON, RERUN]), rerun="drift of the morning's last solutions")
    evaluation = evaluated(run_in(tmp_path, readings))
    without = [row for row in MORNING if row[0] != RERUN[0]]
    later = evaluated(run_in(tmp_path / "later", table(("am", without), ("pm", [*AFTERNOON, RERUN]))))
    assert result(evaluation, "SED-01") == pytest.approx(result(later, "SED-01"), rel=1e-13)
    lines = evaluation.graph.tables["measured lines"]
    read = list(zip(lines.texts("solution"), lines.texts("block"), strict=True))
    assert ("SED-01 d", "am") in read and ("SED-01 d", "pm") in read, "both readings stay visible"


def test_a_reading_is_left_out_in_its_block_alone(tmp_path: Path) -> None:
    mark = (
        '[[exclude_reading]]\nsolution = "S2"\nanalyte = "Zn"\nline = "213.9"\nreplicate = 2\nblock = "pm"\n'
        'reason = "air bubble seen"\n'
    )
    evaluation = evaluated(run_in(tmp_path, table(*BOTH), WITHOUT_EXCLUSION + mark))
    points = evaluation.graph.tables["standard readings"]
    out = [
        (solution, replicate, block)
        for solution, replicate, block, mark_of in zip(
            points.texts("solution"),
            points.texts("replicate"),
            points.texts("block"),
            evaluation.column("include", "standard readings"),
            strict=True,
        )
        if mark_of == 0
    ]
    assert out == [("S2", "2", "pm")]


def test_an_amendment_names_its_block(tmp_path: Path) -> None:
    """`--block` where a standard was read in several; without it the row is not known."""
    folder = run_in(tmp_path, table(*BOTH))
    why = ["--rule", "cause", "--reason", "air bubble seen", "--by", "analyst 1"]
    without = command("amend", folder, "--exclude", "S2/Zn/213.9/2", *why, folder=tmp_path)
    assert without.status == 2 and "block am, pm" in without.err
    done = command("amend", folder, "--exclude", "S2/Zn/213.9/2", "--block", "pm", *why, folder=tmp_path)
    assert done.status in (0, 1), done.err
    records, findings = read_records(folder)
    assert records is not None and records.run is not None, findings
    assert [(mark.solution, mark.block) for mark in records.run.file.exclusions] == [("S2", "pm")]


def test_another_day_is_another_run_for_the_precision_between_runs(tmp_path: Path) -> None:
    """One deviation for results of one day; another for a block measured later."""
    method = METHOD.replace("[symbols.c]", PRECISION, 1).replace("F*R", "F*R + p", 1)

    def members(name: str, run: str) -> list[int]:
        table_of = evaluated(run_in(tmp_path / name, table(*BOTH), run, method=method)).graph.tables["results"]
        (leaf,) = [leaf for leaf in table_of.leaves if leaf.column.startswith("p")]
        return leaf.members.tolist()

    same = members("same", WITHOUT_EXCLUSION)
    assert same[0] == same[1]
    other = members("other", WITHOUT_EXCLUSION + '[[block]]\nname = "pm"\nmeasurement = 2026-03-12\n')
    assert other[0] != other[1]


def test_equipment_is_judged_on_the_day_of_the_block(tmp_path: Path) -> None:
    run = WITHOUT_EXCLUSION + '[[block]]\nname = "am"\nmeasurement = 2026-03-12\n'
    records, findings = read_records(run_in(tmp_path, table(*BOTH), run))
    assert records is not None, findings
    days = {(use.day, use.step) for use in uses_of(records)["P5-1"]}
    assert (dt.date(2026, 3, 12), "measurement") in days


MARK = '[[exclude_reading]]\nsolution = "S2"\nanalyte = "Zn"\nline = "213.9"\nreplicate = 2\nreason = "r"\n'
BAD = [
    ("no mark", table(("am", MORNING), ("pm", [*AFTERNOON, RERUN])), "", "rerun|no reason|block am before"),
    ("mark too early", table(*BOTH).replace("SED-01,Zn,213.9,am,", "SED-01,Zn,213.9,am,again"), "", "earlier block"),
    ("standard marked", table(*BOTH).replace("S1,Zn,213.9,pm,", "S1,Zn,213.9,pm,again"), "", "a standard marked"),
    ("row without block", table(*BOTH).replace("SED-01,Zn,213.9,am", "SED-01,Zn,213.9,"), "", "no block"),
    ("no standards", table(("am", MORNING), ("pm", AFTERNOON[4:])), "", "block pm|no readings of standards"),
    ("unknown block", table(*BOTH), '[[block]]\nname = "night"\n', "block 1 (night), name|am, pm"),
    ("block twice", table(*BOTH), '[[block]]\nname = "am"\n[[block]]\nname = "am"\n', "a second time"),
    (
        "exclusion in an unknown block",
        table(*BOTH),
        MARK + 'block = "x"\n',
        "the unknown block x",
    ),
    (
        "exclusion without its block",
        table(*BOTH),
        MARK,
        "which has no readings",
    ),
]


@pytest.mark.parametrize(("readings", "run", "words"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_bad_blocks_are_told(tmp_path: Path, readings: str, run: str, words: str) -> None:
    _, findings = read_records(run_in(tmp_path, readings, WITHOUT_EXCLUSION + run))
    stops = [finding.line() for finding in findings if finding.severity == "stop"]
    assert any(all(word in line for word in words.split("|")) for line in stops), stops
