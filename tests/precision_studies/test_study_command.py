"""Studies through the command: the shipped ones recomputed with numpy and statsmodels, printed cases, bad input."""

from __future__ import annotations

import csv
import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ubudget.cli import app

MATERIALS = "material,found,s,n,certified,U,k\n"
ROUNDS = "round,found,assigned,s_R,laboratories\n"
EXAMPLES = Path(__file__).parents[2] / "worked_examples" / "precision_studies"


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["study", *words])
    return result.exit_code, result.stdout, result.stderr


def figures(record: Path) -> list[dict[str, dict[str, float]]]:
    code, out, _ = run(str(record), "--json", "-")
    assert code in (0, 1)
    return [{figure["name"]: figure for figure in one["figures"]} for one in json.loads(out)["outcomes"]]


def shipped(name: str) -> list[dict[str, str]]:
    with (EXAMPLES / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def written(folder: Path, record: str, table: str) -> Path:
    (folder / "data.csv").write_text(table, encoding="utf-8")
    (folder / "study.toml").write_text(f'kind = "study"\nid = "S"\ntitle = "T"\ndata = "data.csv"\n{record}\n', "utf-8")
    return folder / "study.toml"


def test_shipped_duplicates_by_numpy() -> None:
    found = figures(EXAMPLES / "duplicates.toml")
    for analyte, one in zip(("Cu", "Zn"), found, strict=True):
        pairs = np.array(
            [
                (float(r["first [mg/kg]"]), float(r["second [mg/kg]"]))
                for r in shipped("duplicates.csv")
                if r["analyte"] == analyte
            ]
        )
        relative = np.diff(pairs, axis=1)[:, 0] / pairs.mean(axis=1)
        assert one["s"]["value"] == pytest.approx(100 * math.sqrt((relative**2).sum() / 2 / len(pairs)), rel=1e-12)
        assert one["s"]["degrees_of_freedom"] == len(pairs)


def test_shipped_nested_by_statsmodels() -> None:
    """The residual mean square of statsmodels' fit of the cells, and F of digests within days from deviations."""
    import pandas as pd
    import statsmodels.formula.api as smf
    from statsmodels.stats.anova import anova_lm

    frame = pd.DataFrame(shipped("control_material.csv"))
    frame = frame.assign(y=frame["value [mg/kg]"].astype(float), cell=frame["day"] + "/" + frame["digest"])
    table = anova_lm(smf.ols("y ~ C(cell)", frame).fit(), typ=1)
    (found,) = figures(EXAMPLES / "control_material.toml")
    assert found["s of repetitions"]["value"] == pytest.approx(math.sqrt(table.loc["Residual", "mean_sq"]), rel=1e-9)
    digests = (frame["y"] - frame.groupby("day")["y"].transform("mean")).pow(2).sum() - table.loc["Residual", "sum_sq"]
    ratio = digests / 10 / table.loc["Residual", "mean_sq"]
    assert found["F of digest"]["value"] == pytest.approx(ratio, rel=1e-9)


def test_shipped_proficiency_by_hand() -> None:
    rows = shipped("proficiency.csv")
    (found,) = figures(EXAMPLES / "proficiency.toml")
    biases = [100 * float(r["found [mg/kg]"]) / float(r["assigned [mg/kg]"]) - 100 for r in rows]
    u = [125 * float(r["s_R [mg/kg]"]) / float(r["assigned [mg/kg]"]) / math.sqrt(int(r["laboratories"])) for r in rows]
    expected = math.sqrt(sum(b * b for b in biases) / len(biases) + (sum(u) / len(u)) ** 2)
    assert found["u(bias)"]["value"] == pytest.approx(expected, rel=1e-12)


def test_zeta_of_rounds(tmp_path: Path) -> None:
    """ISO 13528:2022, 9.6 by hand: (x − X)/√(u² + u(X)²), u(X) = s_R/√p, for a median 1.25 times; blank u: none."""
    header = ROUNDS.replace("laboratories", "laboratories,u,robust")
    table = f"{header}a,12.0,10.0,1.5,25,0.4,no\nb,10.4,10.0,1.5,25,0.4,yes\nc,9.9,10.0,1.5,16,,no\n"
    record = written(tmp_path, 'design = "proficiency tests"\nunit = "mg/kg"', table)
    code, out, _ = run(str(record))
    (found,) = figures(record)
    assert found["zeta of a"]["value"] == pytest.approx(2 / 0.5, rel=1e-12)
    assert found["zeta of b"]["value"] == pytest.approx(0.4 / math.hypot(0.4, 0.375), rel=1e-12)
    assert "zeta of c" not in found
    words = " ".join(out.split())
    assert code == 1 and "round a: zeta = 4, z = 1.3 by s_R: the stated uncertainty is too small" in words
    assert "round b" not in words


def test_what_a_method_takes_over_is_a_method(tmp_path: Path) -> None:
    """The lines for the method are TOML, and carry value, degrees of freedom and source."""
    _, out, _ = run(str(EXAMPLES / "control_material.toml"))
    block = tomllib.loads(out.split("part within run\n")[1].split("\n\n")[0])
    (found,) = figures(EXAMPLES / "control_material.toml")
    expected = math.hypot(found["s between, digest"]["value"], found["s of repetitions"]["value"])
    assert float(block["constant"].split()[0]) == pytest.approx(expected, rel=1e-3)
    assert block["source"] == "study ST-25-02"


def test_one_material(tmp_path: Path) -> None:
    """Nordtest TR 537, 5.2.1 (from memory): u(bias) 4.2 % from 11.9, s 2.2 % of 11.5, n 12, 11.5 ± 0.5 (k 1.96)."""
    table = "material,found,s,n,certified,U,k\nRM,11.9,0.253,12,11.5,0.5,1.96\n"
    record = written(tmp_path, 'design = "reference materials"\nunit = "%"\nrelative = true', table)
    (found,) = figures(record)
    assert round(found["bias"]["value"], 2) == 3.48
    assert round(found["u(bias)"]["value"], 1) == 4.2


def test_laboratories_and_levels(tmp_path: Path) -> None:
    """ISO 5725-2:1994, annex B.1, sulfur in coal, level 1 (from memory): s_r 0.015, s_R 0.026 %."""
    rows = {
        "1": (0.71, 0.71, 0.70, 0.71),
        "2": (0.69, 0.67, 0.68),
        "3": (0.66, 0.65, 0.69),
        "4": (0.67, 0.65, 0.66),
        "5": (0.70, 0.69, 0.66, 0.71, 0.69),
        "6": (0.73, 0.74, 0.73),
        "7": (0.71, 0.71, 0.69),
        "8": (0.70, 0.65, 0.68),
    }
    lines = [f"1,{name},{value}" for name, values in rows.items() for value in values]
    table = "\n".join(["level,laboratory,value [%]", *lines, "2,1,1.2", "2,1,1.3", "2,2,1.1", "2,2,1.2"])
    first, second = figures(written(tmp_path, 'design = "laboratories"\nunit = "%"', table))
    assert round(first["s_r, repeatability"]["value"], 3) == 0.015
    assert round(first["s_R, reproducibility"]["value"], 3) == 0.026
    assert second["laboratories"]["value"] == 2


def test_units_of_the_table_are_converted(tmp_path: Path) -> None:
    table = "value [µg/L]\n100\n104\n102\n98\n101\n99\n103\n97\n"
    (found,) = figures(written(tmp_path, 'design = "control sample"\nunit = "mg/L"', table))
    assert found["mean"]["value"] == pytest.approx(0.1005)
    assert found["s"]["value"] == pytest.approx(np.std([100, 104, 102, 98, 101, 99, 103, 97], ddof=1) / 1000)


@pytest.mark.parametrize(
    ("record", "table", "words"),
    [
        ('design = "nested"\nunit = "mg/kg"', "value\n1\n", "factors missing in design nested"),
        ('design = "duplicates"\nunit = "mg/kg"\nfactors = ["day"]', "first,second\n1,2\n", "factors beside design"),
        ('design = "duplicates"', "first,second\n1,2\n", "unit: found no unit"),
        ('design = "duplicates"\nunit = "mg/kg"', "first\n1\n", "no column second"),
        ('design = "duplicates"\nunit = "mg/kg"', "first [mg/L],second\n1,2\n", "heading 1: found `first [mg/L]`"),
        ('design = "duplicates"\nunit = "mg/kg"', "first,second\n1,\n", "row 1, second: found an empty cell"),
        ('design = "duplicates"\nunit = "mg/kg"', 'first,second\n1,"2,5"\n', "decimal comma"),
        ('design = "duplicates"\nunit = "mg/kg"', "first,second,note\n1,2,x\n", "unknown heading"),
        ('design = "control sample"\nunit = "mg/kg"', "value\n1\n", "found 1 result"),
        ('design = "reference materials"\nunit = "mg/kg"', f"{MATERIALS}A,1,1,5,1,0,2\n", "U = 0"),
        ('design = "proficiency tests"\nunit = "mg/kg"', f"{ROUNDS}a,1,1,0.1,9\n", "1 prof"),
        ('design = "proficiency tests"\nunit = "mg/kg"', f"{ROUNDS}a,1,1,0,9\nb,1,1,1,9\n", "s_R 0"),
        (
            'design = "proficiency tests"\nunit = "mg/kg"',
            "round,found,u,assigned,s_R,laboratories\na,1,0,1,1,9\nb,1,,1,1,9\n",
            "round a: found u = 0",
        ),
        ('design = "recoveries"\nspike = { stock = "1 mg/L" }', "recovery [%]\n99\n98\n", "spike, stock"),
        ('design = "reference method"\nunit = "mg/kg"\nreference_u = "1 mg/L"', "found,reference\n1,1\n", "_u"),
        ('design = "nested"\nunit = "mg/kg"\nfactors = ["day"]', "day,value\n1,2\n1,3\n", "factor day: no degree"),
        ('design = "nested"\nunit = "mg/kg"\nfactors = ["level"]', "level,value\n1,2\n1,3\n", "factors: found level"),
        ('design = "control sample"\nunit = "mg/kg"\nrelative = true', "value\n-1\n1\n", "level: found 0"),
    ],
)
def test_bad_input(tmp_path: Path, record: str, table: str, words: str) -> None:
    code, out, err = run(str(written(tmp_path, record, table)))
    assert (code, out) == (2, "")
    assert words in err.replace("'", "`").replace('"', "`"), err
    assert "Traceback" not in err


def test_few_data_are_told(tmp_path: Path) -> None:
    record = written(tmp_path, 'design = "control sample"\nunit = "mg/kg"', "value\n1\n1.1\n1.2\n")
    code, out, _ = run(str(record))
    assert code == 1
    assert "3 results: 8 or more" in out
