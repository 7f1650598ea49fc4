"""What is wrong with an amendment is a finding that names it: what was found, what is accepted, what to do."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from tests.amendments.amended_runs import DAY, SMALL, Table, amendment, evaluated, read, usable
from tests.amendments.test_trail import CURVE, LEFT_OUT, LINE, WEIGHT, undo
from ubudget.records.finding import Finding
from ubudget.records.records import SourceText

EARLIER = {"when": DAY - dt.timedelta(days=1)}
AGAIN = amendment("change", record="samples", entry="SED-01", field="gross", was="12.5134 g", to="12.5034 g")
OUT = {"solution": "SED-01", **LINE}

# name, amendments, place, words of the finding
STOPS: list[tuple[str, list[Table], str, str]] = [
    ("no reason", [{k: v for k, v in WEIGHT.items() if k != "reason"}], "amendment 1, reason", "cannot be left out"),
    ("empty reason", [WEIGHT | {"reason": ""}], "amendment 1, reason", "a text that is not empty"),
    ("no name", [{k: v for k, v in WEIGHT.items() if k != "who"}], "amendment 1, who", "cannot be left out"),
    ("no date", [{k: v for k, v in WEIGHT.items() if k != "when"}], "amendment 1, when", "cannot be left out"),
    ("no time of day", [WEIGHT | {"time": "25:00"}], "amendment 1, time", '"25:00"'),
    ("unknown act", [WEIGHT | {"act": "delete"}], "amendment 1, act", '"change", "relabel"|'),
    ("unknown key", [WEIGHT | {"reasn": "x"}], "amendment 1, reasn", "did you mean reason?"),
    ("unknown sample", [WEIGHT | {"entry": "SED-77"}], "sample SED-77, gross", 'no row "SED-77" in samples'),
    ("unknown column", [WEIGHT | {"field": "net"}], "sample SED-01, net", 'no column "net" in samples|gross'),
    ("unknown key of the method", [CURVE | {"field": "symbols.c.kind"}], "method, symbols.c.kind", "no field"),
    ("unknown symbol", [CURVE | {"field": "symbols.q.curve"}], "method, symbols.q.curve", "no field"),
    ("a table", [CURVE | {"field": "symbols.c"}], "method, symbols.c", "a single field of it"),
    (
        "the register",
        [CURVE | {"record": "register"}],
        "amendment 1, record",
        '"run", "method"',
    ),
    (
        "the trail itself",
        [CURVE | {"record": "run", "field": "amendment"}],
        "run, amendment",
        "an amendment of its own",
    ),
    ("another file", [CURVE | {"record": "run", "field": "run.readings"}], "run, run.readings", "what was measured"),
    (
        "from differs",
        [WEIGHT | {"from": "12.5043 g"}],
        "sample SED-01, gross",
        'from = "12.5043 g", where the record holds "12.5034 g"|look which is right',
    ),
    (
        "from is what an earlier amendment replaced",
        [WEIGHT, WEIGHT | {"to": "12.6 g"}],
        "amendment 2 (sample SED-01, gross)",
        "as amendment 1 left it",
    ),
    ("from is missing", [WEIGHT | {"from": ""}], "sample SED-01, gross", "an empty text, where the record holds"),
    ("nothing changes", [WEIGHT | {"to": "12503.4 mg"}], "sample SED-01, gross", "what stands there"),
    ("another unit", [WEIGHT | {"to": "12.5 mL"}], "sample SED-01, gross", "a number in g"),
    (
        "out of order",
        [WEIGHT, AGAIN | EARLIER],
        "amendment 2 (sample SED-01, gross)",
        "before amendment 1 of the same field on 2026-03-12|in the order of time",
    ),
    (
        "out of order within a day",
        [WEIGHT | {"time": "14:05"}, AGAIN | {"time": "09:30"}],
        "amendment 2 (sample SED-01, gross)",
        "2026-03-12 09:30, before amendment 1",
    ),
    ("undone before it was done", [WEIGHT, undo(1) | EARLIER], "amendment 2", "before amendment 1 of the same field"),
    (
        "a later one rests on it",
        [WEIGHT, AGAIN, undo(1)],
        "amendment 3",
        "upon which amendment 2 rests|undo amendment 2",
    ),
    ("undone twice", [WEIGHT, undo(1), undo(1)], "amendment 3", "undone already"),
    ("an undo of nothing", [undo(1)], "amendment 1", "an undo of amendment 1"),
    ("an undo without number", [amendment("undo")], "amendment 1", "names no amendment"),
    ("no such reading", [LEFT_OUT | {"replicate": 9}], "reading 9 of SED-01 d", "was not read"),
    ("no such solution", [LEFT_OUT | {"solution": "X"}], "reading 1 of X", 'no readings of "X Zn 213.9"'),
    ("no rule", [{k: v for k, v in LEFT_OUT.items() if k != "rule"}], "reading 1 of SED-01 d", "without rule"),
    ("no replicate", [{k: v for k, v in LEFT_OUT.items() if k != "replicate"}], "SED-01 d", "without replicate"),
    ("left out twice", [LEFT_OUT, LEFT_OUT], "amendment 2 (reading 1 of SED-01 d, Zn 213.9)", "left out already"),
    ("left out in the run", [LEFT_OUT | {"solution": "SED-02", "replicate": 3}], "SED-02", "left out already"),
    ("nothing to restore", [amendment("restore", **OUT, replicate=1)], "reading 1 of SED-01", "not left out"),
    ("an unknown label", [amendment("relabel", was="X", to="Y")], "label X", "which nothing bears"),
    ("a label taken", [amendment("relabel", was="S1", to="S2")], "label S1", "which another has"),
    ("a label without to", [amendment("relabel", was="S1")], "label S1", "without from or to"),
    (
        "a value that the record does not accept",
        [CURVE | {"to": "wavy"}],
        "symbol c, curve, as amendment 1 has it",
        '"wavy"|"line"',
    ),
    (
        "a cell that the table does not accept",
        [WEIGHT | {"to": "heavy"}],
        "row 1 (SED-01), gross",
        "as amendment 1 has it|heavy",
    ),
]


@pytest.mark.parametrize(("name", "amendments", "place", "words"), STOPS, ids=[case[0] for case in STOPS])
def test_each_fault_stops_with_its_finding(name: str, amendments: list[Table], place: str, words: str) -> None:
    records, findings = read(amendments)
    assert records is None
    stops = [finding for finding in findings if finding.severity == "stop"]
    told = [finding for finding in stops if place in finding.place]
    assert told, [finding.line() for finding in stops]
    for part in words.split("|"):
        assert part in told[0].line(), told[0].line()


def test_all_faults_are_told_at_once() -> None:
    faulty = [WEIGHT | {"entry": "SED-77"}, LEFT_OUT | {"replicate": 9}, undo(9)]
    _, findings = read(faulty)
    assert {finding.place.partition(" (")[0] for finding in findings} == {"amendment 1", "amendment 2", "amendment 3"}


def test_a_fault_is_told_once_and_not_by_what_follows_from_it() -> None:
    _, findings = read([WEIGHT | {"from": "1 g"}, AGAIN])
    assert [finding.place for finding in findings] == ["amendment 1 (sample SED-01, gross)"]


def attended(amendments: list[Table], method: str = "leave = 2") -> list[Finding]:
    texts: list[SourceText] = [replace(t, text=t.text.replace("leave = 2", method)) for t in SMALL]
    return [finding for finding in evaluated(usable(amendments, texts)).findings if finding.severity == "attend"]


def by_test(**keys: object) -> Table:
    """Readings 0.040, 0.041, 0.040 of SED-01 d: G = 1.1547 (the largest that three readings can give), Q = 1."""
    named = {"rule": "Grubbs", "level": 0.05, "statistic": 1.1547, "critical": 1.1543, "replicate": 2} | keys
    return LEFT_OUT | {key: value for key, value in named.items() if value is not None}


def test_an_outlier_test_alone_is_no_reason() -> None:
    (finding,) = attended([by_test()])
    assert (finding.place, finding.found) == (
        "amendment 1 (reading 2 of SED-01 d, Zn 213.9)",
        "an outlier test as the only reason",
    )
    assert attended([by_test(cause="rinsed too short before this reading")]) == []
    assert attended([by_test()], "leave = 2\noutlier_test_suffices = true") == []


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"replicate": 1}, "points at another reading, 0.041"),
        ({"statistic": 1.3}, "statistic = 1.3"),
        ({"critical": 1.1}, "critical = 1.1"),
        ({"solution": "S2", "replicate": 3}, "statistic 1.091, not above 1.154 at level 0.05"),
        ({"statistic": None}, "the test Grubbs without statistic"),
        ({"rule": "Dixon", "level": 0.06}, "Dixon's test of 3 readings at level 0.06"),
        ({"rule": "Cochran", "statistic": 0.4, "critical": 0.5}, "Cochran's C = 0.4, not above 0.5"),
    ],
)
def test_a_test_is_made_again(keys: Table, words: str) -> None:
    found = [finding.found for finding in attended([by_test(cause="rinsed too short", **keys)])]
    assert [text for text in found if words in text], found


def test_dixon_by_its_table() -> None:
    test = {"rule": "Dixon", "statistic": 1.0, "critical": 0.97, "cause": "rinsed too short"}
    assert attended([by_test(**test)]) == []


@pytest.mark.parametrize(
    ("scatter", "method", "words"),
    [
        ("own", "leave = 2", set()),
        ("own", "at_most = 1", {"2 readings left"}),
        ("own", "at_most = 0\nleave = 2", {"1 reading left out"}),
        ("residual", "at_most = 1", {"2 readings left out"}),
        ("residual", "leave = 2", {"1 reading left", "2 readings left out"}),
        ("residual", "at_most = 2", set()),
        ("residual", "at_most = 2\nleave = 3", {"1 reading left", "2 readings left"}),
    ],
)
def test_the_method_limits_exclusions(scatter: str, method: str, words: set[str]) -> None:
    """SED-02 has one reading of three left out by its run; under residual scatter SED-01 d two of three."""
    chosen = [] if scatter == "own" else [LEFT_OUT, LEFT_OUT | {"replicate": 2}]
    new = {"leave = 2": method, 'scatter = "own"': f'scatter = "{scatter}"'}
    texts = [replace(t, text=_replaced(t.text, new)) for t in SMALL]
    assert {f.found for f in evaluated(usable(chosen, texts)).findings if f.severity == "attend"} == words


def _replaced(text: str, new: dict[str, str]) -> str:
    for old, other in new.items():
        text = text.replace(old, other)
    return text
