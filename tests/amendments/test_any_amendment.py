"""Whatever an amendment says, the run is read or refused with findings: no exception, and no half of it."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.amendments.amended_runs import DAY, Table, read
from ubudget.records.finding import stops

WORDS = st.sampled_from(
    [
        "",
        ".",
        "S1",
        "SED-01",
        "SED-01/1",
        "SED-02",
        "Zn",
        "213.9",
        "gross",
        "r1",
        "sample",
        "dilution",
        "12.5034 g",
        "0.101",
        "1e400",
        "0,5 g",
        "true",
        "2026-13-01",
        "symbols.c.curve",
        "symbols.c.scatter",
        "coverage.probability",
        "run.date",
        "standard",
        "standard.S1.concentration.Zn",
        "standard.S1.steps",
        'analytes."Zn"',
        "method.cautions",
        "\u00b5",
        "=1+1",
    ]
)
KEYS: dict[str, st.SearchStrategy[Any]] = {
    "record": st.sampled_from(["run", "method", "samples", "solutions", "readings"]),
    **{key: WORDS for key in ("entry", "field", "solution", "analyte", "line", "from", "to", "cause")},
    "replicate": st.integers(0, 9),
    "position": st.integers(1, 9),
    "undoes": st.integers(0, 5),
    "rule": st.sampled_from(["assigned cause", "Grubbs", "Dixon", "Cochran"]),
    "level": st.sampled_from([0.05, 0.01, 0.4]),
    "statistic": st.sampled_from([1.0, 1.2]),
}
ACTS = st.sampled_from(["change", "relabel", "exclude", "exclude solution", "restore", "undo"])
AMENDMENTS = st.fixed_dictionaries(
    {"act": ACTS, "reason": st.just("drawn"), "who": st.just("nobody"), "when": st.just(DAY)}, optional=KEYS
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(AMENDMENTS, min_size=1, max_size=4))
def test_any_amendment_is_taken_or_told(amendments: list[Table]) -> None:
    records, findings = read(amendments)
    assert (records is None) == bool(stops(findings))
    assert all(finding.place and finding.found and finding.accepted and finding.remedy for finding in findings)
    if records is not None:
        assert len(records.amendments) == len(amendments)
