"""Property: any content of any file gives records or findings, and no exception."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.findings.small_run import FILES, write_run
from ubudget.files.reading import read_records, records_from_texts
from ubudget.records.records import Edit, SourceText

ROLES = ("run", "method", "register", "samples", "solutions", "readings")
NAMES = list(FILES)
FRAGMENTS = [line for text in FILES.values() for line in text.splitlines()]
TOKENS = [
    "=",
    "[",
    "]",
    "[[",
    '"',
    "'",
    ",",
    ";",
    ">",
    "\n",
    "nan",
    "inf",
    "1e999",
    "-1",
    "0",
    "true",
    "2026-02-30",
    "12:00:00",
    "{",
    "}",
    "a.b",
    "=1+1",
    "\\u0000",
    "\r",
    "\t",
    "\x00",
    "1 mg",
    "%",
    "9" * 5000,
    "0x" + "f" * 99,
]

junk = st.one_of(
    st.text(),
    st.lists(st.sampled_from(TOKENS), max_size=30).map("".join),
    st.lists(st.sampled_from(FRAGMENTS), max_size=40).map("\n".join),
)


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, str]:
    """A file of the small run with one stretch replaced by something else."""
    name = draw(st.sampled_from(NAMES))
    text = FILES[name]
    start = draw(st.integers(0, len(text)))
    end = draw(st.integers(start, min(len(text), start + 40)))
    return name, text[:start] + draw(st.one_of(junk, st.sampled_from(TOKENS))) + text[end:]


def _agrees(records: object, findings: list[object]) -> bool:
    stopped = any(getattr(finding, "severity", "") == "stop" for finding in findings)
    return (records is None) == stopped


@settings(max_examples=150)
@given(name=st.sampled_from(NAMES), content=st.one_of(junk.map(lambda text: text.encode()), st.binary()))
@example(name="method.toml", content=b"a=" + b"[" * 100_000)
@example(name="run.toml", content=b"[run]\nid=1\n[[run]]")
@example(name="samples.csv", content=b'sample\n"' + b"a" * 200_000 + b'"')
def test_any_content(name: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = write_run(Path(folder))
        (path / name).write_bytes(content)
        assert _agrees(*read_records(path))


@settings(max_examples=300)
@given(damaged())
def test_any_damage(damage: tuple[str, str]) -> None:
    texts = [
        SourceText(role, name, damage[1] if name == damage[0] else text)
        for role, (name, text) in zip(ROLES, FILES.items(), strict=True)
    ]
    records, findings = records_from_texts(texts)
    assert _agrees(records, list(findings))
    for finding in findings:
        assert "\n" not in finding.line()


step = st.one_of(
    st.sampled_from(["include", "reason", "run", "symbols", "R", "k", "gross", "r1", "equipment"]),
    st.integers(-2, 4),
    st.text(max_size=3),
)


@settings(max_examples=200)
@given(
    st.builds(
        Edit,
        st.sampled_from(ROLES),
        st.lists(step, max_size=6).map(tuple),
        st.one_of(st.floats(), st.text(max_size=5)),
        st.sampled_from(["", "g", "mg/L", "%", "furlong", "nonsense**"]),
    )
)
def test_any_edit(edit: Edit) -> None:
    texts = [SourceText(role, name, text) for role, (name, text) in zip(ROLES, FILES.items(), strict=True)]
    records, findings = records_from_texts(texts, [edit])
    assert _agrees(records, list(findings))


@pytest.mark.parametrize("role", ROLES)
def test_half_a_character(role: str) -> None:
    records, findings = records_from_texts([SourceText(role, "x", "a = '\ud800'")])  # type: ignore[arg-type]  # a role
    assert records is None
    assert findings[0].accepted == "text in UTF-8"


def test_no_text_at_all() -> None:
    records, findings = records_from_texts([])
    assert records is None
    assert findings
