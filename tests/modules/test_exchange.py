"""JSON and CSV of an evaluation."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

import ubudget
from ubudget.files.exchange import evaluation_object, json_text, run_object, write_text
from ubudget.files.shipped import shipped_folder

EXAMPLES = shipped_folder("worked_examples")


def test_infinite_degrees_of_freedom_are_null() -> None:
    told = evaluation_object(ubudget.evaluate(ubudget.read_run(EXAMPLES / "published" / "gum_h1.toml")))
    rows = {row["symbol"]: row for row in told["results"][0]["budget"]}
    # JCGM 100:2008, H.1.3: 18 for the standard, none stated for the expansion coefficient.
    assert rows["l_S"]["degrees_of_freedom"] == 18
    assert rows["alpha_S"]["degrees_of_freedom"] is None


def test_a_covariance_is_a_row_of_its_own() -> None:
    told = evaluation_object(ubudget.evaluate(ubudget.read_run(EXAMPLES / "published" / "gum_h3.toml")))
    for row in told["results"][0]["budget"]:
        if row["symbol"].startswith("cov("):
            assert row["standard_uncertainty"] is None and row["sensitivity_coefficient"] is None


def test_json_has_no_word_for_nan() -> None:
    with pytest.raises(ValueError, match="JSON"):
        json_text({"value": float("nan")})


def test_text_keeps_its_signs(tmp_path: Path) -> None:
    write_text(json_text({"unit": "µg/m³"}), tmp_path / "out.json")
    assert (tmp_path / "out.json").read_bytes().decode("utf-8") == '{\n  "unit": "µg/m³"\n}\n'


def test_the_fingerprint_follows_every_file() -> None:
    records = ubudget.read_run(EXAMPLES / "harbour_sediment")
    seen = set()
    for number in range(-1, len(records.texts)):
        texts = [
            replace(text, text=text.text + "\n") if place == number else text
            for place, text in enumerate(records.texts)
        ]
        told = run_object(replace(records, texts=tuple(texts)))
        assert told is not None
        seen.add(told["fingerprint"])
    assert len(seen) == len(records.texts) + 1


def test_what_the_run_file_says_is_told() -> None:
    written = tomllib.loads((EXAMPLES / "harbour_sediment" / "run.toml").read_text(encoding="utf-8"))["run"]
    told = json.loads(json_text(run_object(ubudget.read_run(EXAMPLES / "harbour_sediment"))))
    assert (told["id"], told["date"], told["analyst"]) == (written["id"], str(written["date"]), written["analyst"])
