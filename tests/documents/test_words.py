"""Written pages and sources speak of the project alone, and of no place on anybody's machine."""

from __future__ import annotations

import re

from tests.documents.texts import ROOT, files

TEXTS = (".py", ".md", ".toml", ".csv", ".txt", ".cfg", "")
# Put together from pieces, so that this file does not hold the words itself.
FORBIDDEN = re.compile(
    "|".join(
        (
            r"\bses" + r"sions?\b",
            r"\bag" + r"ents?\b",
            r"\bissue" + r"\s*#?\d",
            "issue" + " #",
            "/t" + "mp/",
            "/wo" + "rk/",
            "/ho" + "me/",
        )
    ),
    flags=re.IGNORECASE,
)


def test_no_word_of_how_it_was_made() -> None:
    looked_at = 0
    found = []
    for path in files(*TEXTS):
        looked_at += 1
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if match := FORBIDDEN.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {match[0]}")
    assert looked_at > 100
    assert found == []


def test_the_words_are_noticed() -> None:
    for text in ("a long ses" + "sion", "two ag" + "ents", "see issue" + " #12", "in /t" + "mp/x"):
        assert FORBIDDEN.search(text)
    for text in ("a reagent and its reagents", "obsession", "the issue date", "certificates issued 2025"):
        assert not FORBIDDEN.search(text)
