"""Each bad input gives its finding: severity, file, place and words, and never an exception."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.findings.small_run import FILES, METHOD, READINGS, RUN, SAMPLES, replaced, write_run
from ubudget.files.reading import read_records

JARGON = re.compile(r"pydantic|traceback|dataclass|Input should|NoneType|validation error|keyword", re.IGNORECASE)


class Bad(NamedTuple):
    name: str
    file: str
    old: str
    new: str
    severity: str
    place: str
    words: str
    """Words that the finding's line holds, separated by `|`."""


R, M, G, S, D, V = "run.toml", "method.toml", "register.toml", "samples.csv", "solutions.csv", "readings.csv"
PRECISION = '[symbols.p]\noperation = "precision"\nquantity = "precision"\npart = "within run"\nrelative = "2 %"\n'
SECOND_INPUT = '[symbols.R2]\noperation = "input"\nquantity = "x"\nestimate = 1\nu = 0.1\n'
THIRD_INPUT = SECOND_INPUT.replace("R2", "R3")
CORRELATED = "".join(
    f'[[correlation]]\nbetween = ["{a}", "{b}"]\ncoefficient = {r}\n'
    for a, b, r in (("R", "R2", 0.9), ("R2", "R3", 0.9), ("R", "R3", -0.9))
)

BAD = [
    # the text of a file
    Bad(
        "decimal comma in TOML",
        M,
        "estimate = 1",
        "estimate = 0,1",
        "stop",
        "line 66, column",
        "decimal comma|write 0.1",
    ),
    Bad("unquoted amount", G, '"0.1 mg"', "0.1 mg", "stop", "line 10", '0.1 mg without quotes|write "0.1 mg"'),
    Bad("unquoted text", M, '"M-ZN"', "M-ZN", "stop", "line 3, column", "without quotes|put it in quotes"),
    Bad("key twice", M, 'version = "3"', 'version = "3"\nversion = "4"', "stop", "line 6", "twice|version"),
    Bad("unfinished text", R, 'id = "HS-014"', 'id = "HS-014', "stop", "line 3", "quote"),
    Bad(
        "nesting bomb",
        M,
        "[analytes]",
        "x = " + "[" * 3000 + "]" * 3000 + "\n[analytes]",
        "stop",
        "whole",
        "nested",
    ),
    Bad(
        "dotted nesting",
        M,
        "[analytes]",
        "[analytes]\n" + ".".join("a" * 1) + ".b" * 60 + " = 1",
        "stop",
        "whole",
        "nested",
    ),
    Bad("control character", R, "A. Invented", "A\\u0007", "stop", "run, analyst", "control character U+0007"),
    Bad("long text", R, "A. Invented", "A" * 300, "stop", "run, analyst", "300 characters|255"),
    Bad("long whole number", M, "k = 2", "k = 1234567890123456789", "stop", "symbol R, k", "whole number|15"),
    Bad("hexadecimal giant", M, "k = 2", "k = 0x" + "f" * 9000, "stop", "symbol R, k", "whole number|15"),
    Bad("decimal giant", M, "k = 2", "k = " + "9" * 9000, "stop", "line 68", "thousands of digits"),
    Bad("many digits", M, "k = 2", "k = 2.00000000000000001", "stop", "line 68", "18 significant digits"),
    Bad(
        "many digits in an amount",
        G,
        "0.06 mL",
        "0.060000000000000012 mL",
        "stop",
        "equipment 2 (F50-2), tolerance",
        "significant digits",
    ),
    Bad("too small", G, "0.06 mL", "1e-400 mL", "stop", "equipment 2 (F50-2), tolerance", "too small"),
    Bad("too large", G, "0.06 mL", "1e999 mL", "stop", "equipment 2 (F50-2), tolerance", "finite"),
    # records
    Bad(
        "unknown key",
        G,
        "linearity",
        "linaerity",
        "stop",
        "equipment 1 (BAL-1), linaerity",
        "unknown key linaerity|did you mean linearity?",
    ),
    Bad(
        "unknown key of a symbol",
        M,
        "gross_column",
        "gros_column",
        "stop",
        "symbol m, gros_column",
        "did you mean gross_column?",
    ),
    Bad(
        "python name of a table",
        G,
        "[[reference_material]]",
        "[[reference_materials]]",
        "stop",
        "",
        "unknown key reference_materials|did you mean reference_material?",
    ),
    Bad(
        "missing key",
        M,
        'title = "Zinc in harbour sediment"\n',
        "",
        "stop",
        "method, title",
        "nothing|add title",
    ),
    Bad("unknown operation", M, '"weighing"', '"weihging"', "stop", "symbol m", "weihging|weighing"),
    Bad("no operation", M, 'operation = "weighing"\n', "", "stop", "symbol m", "no operation"),
    Bad(
        "symbol that is a number",
        M,
        "[symbols.c]",
        "[symbols]\nq = 3\n[symbols.c]",
        "stop",
        "symbol q",
        "3|table",
    ),
    Bad("word for a number", M, "k = 2", 'k = "two"', "stop", "symbol R, k", "two|a number"),
    Bad("true for a number", M, "k = 2", "k = true", "stop", "symbol R, k", "true|a number"),
    Bad("number for a text", M, 'version = "3"', "version = 3", "stop", "method, version", "3|text in quotes"),
    Bad("nan", M, "k = 2", "k = nan", "stop", "symbol R, k", "nan|finite"),
    Bad("wrong word", M, '"approved"', '"aproved"', "stop", "method, status", 'aproved|"draft", "approved"'),
    Bad(
        "no such day",
        G,
        "2027-03-04",
        '"2027-02-30"',
        "stop",
        "equipment 1 (BAL-1), certificate 1 (E-1), due",
        "2027-02-30|a date",
    ),
    Bad(
        "due before issued",
        G,
        "2027-03-04",
        "2024-03-04",
        "stop",
        "equipment 1 (BAL-1), certificate 1 (E-1)",
        "due before issued",
    ),
    Bad(
        "a range upside down",
        G,
        "due = 2027-03-04\n",
        'due = 2027-03-04\nrange_from = "120 g"\nrange_to = "1 g"\n',
        "stop",
        "equipment 1 (BAL-1), certificate 1 (E-1)",
        "range_to below range_from",
    ),
    Bad("an item that nobody has", M, "k = 2\n", 'k = 2\nitem = "X-1"\n', "stop", "symbol R, item", "X-1"),
    Bad("U without k", M, "k = 2\n", "", "stop", "symbol R", "U without k"),
    Bad("two ways", M, "k = 2\n", 'k = 2\nu = "1 %"\n', "stop", "symbol R", "u and U together"),
    Bad("zero tolerance", G, "0.06 mL", "0 mL", "stop", "equipment 2 (F50-2), tolerance", "zero or negative"),
    Bad("negative k", M, "k = 2", "k = -2", "stop", "symbol R, k", "-2|above 0"),
    Bad(
        "decimal comma in an amount",
        G,
        '"0.06 mL"',
        '"0,06 mL"',
        "stop",
        "equipment 2 (F50-2), tolerance",
        "decimal comma",
    ),
    Bad(
        "amount without number",
        G,
        '"0.06 mL"',
        '"small"',
        "stop",
        "equipment 2 (F50-2), tolerance",
        "small|a number",
    ),
    Bad("flask without volume", G, 'nominal = "50 mL"\n', "", "stop", "equipment 2 (F50-2)", "without nominal"),
    Bad(
        "exclusion without reason",
        R,
        "air bubble seen",
        "",
        "stop",
        "exclude_reading 1 (SED-02), reason",
        "empty",
    ),
    # layout and cells of the tables
    Bad("semicolons", S, SAMPLES, SAMPLES.replace(",", ";"), "stop", "headings", "semicolons|commas"),
    Bad("open quote", S, "SED-01", '"SED-01', "stop", "line", "quotes"),
    Bad("missing column", S, "sample,", "probe,", "stop", "headings", "no column sample"),
    Bad("heading twice", S, "tare [g]", "gross [mg]", "stop", "heading 4", "gross|a second time"),
    Bad("empty heading", S, "tare [g]", "", "stop", "heading 3", "empty heading"),
    Bad("too many cells", S, "12.0012", "12,0012", "stop", "row 1 (SED-01)", "6 cells|decimal point"),
    Bad(
        "decimal comma in a cell",
        S,
        "12.0012",
        '"12,0012"',
        "stop",
        "row 1 (SED-01), tare [g]",
        "decimal comma",
    ),
    Bad("below a limit", V, "0.205", "<0.005", "stop", "row 7 (SED-02 Zn 213.9), r1", "<0.005|text|a number"),
    Bad("dashes", V, "0.205", "---", "stop", "row 7 (SED-02 Zn 213.9), r1", "---|text"),
    Bad("NaN in a cell", V, "0.205", "NaN", "stop", "row 7 (SED-02 Zn 213.9), r1", "NaN|text"),
    Bad("unit in a cell", S, "12.0012", "12.0012 g", "stop", "row 1 (SED-01), tare [g]", "heading"),
    Bad(
        "digits in a cell",
        V,
        "0.205",
        "0.2050000000000000001",
        "stop",
        "row 7 (SED-02 Zn 213.9), r1",
        "digits",
    ),
    Bad("control character in a cell", S, "SED-02", "SED\x0702", "stop", "row 2", "U+0007"),
    Bad("long cell", S, "SED-02", "X" * 256, "stop", "row 2", "256 characters"),
    Bad("no replicate column", V, ",r1,r2,r3", ",a,b,c", "stop", "headings", "no column of readings"),
    Bad(
        "replicate column lost",
        V,
        ",r1,r2,r3",
        ",r1,r3,r4",
        "stop",
        "headings",
        "add the replicate column r2",
    ),
    Bad(
        "gap in replicates",
        V,
        "0.205,0.206",
        ",0.206",
        "stop",
        "row 7 (SED-02 Zn 213.9), r1",
        "empty cell|gap",
    ),
    Bad("no reading", V, "0.205,0.206,0.350", ",,", "stop", "row 7 (SED-02 Zn 213.9)", "no reading"),
    Bad(
        "readings twice",
        V,
        "BL-1,Zn",
        "S3,Zn",
        "stop",
        "row 8 (S3 Zn 213.9)",
        "a second time (first in row 4)",
    ),
    Bad("portion twice", S, "SED-02", "SED-01", "stop", "row 2 (SED-01)", "portion 1 a second time"),
    Bad("portion 0", S, "sample,kind", "sample,portion", "stop", "row 3 (BL-1), portion", "blank|whole number"),
    Bad("kind unknown", S, "blank", "blanc", "stop", "row 3 (BL-1), kind", "blanc|blank"),
    Bad(
        "dilution unreadable",
        D,
        "P5-1 > F50-2",
        "10x",
        "stop",
        "row 1 (SED-01 d), dilution",
        "10x|pipette > flask",
    ),
    Bad("label of two solutions", D, "SED-01 d", "SED-02", "stop", "row 1 (SED-02)", "SED-02 a second time"),
    Bad("no sample row", S, SAMPLES, SAMPLES.splitlines()[0], "stop", "whole file", "no sample"),
    Bad("no readings row", V, READINGS, READINGS.splitlines()[0], "stop", "whole file", "no reading"),
    Bad("no readings file named", R, 'readings = "readings.csv"\n', "", "stop", "run, readings", "no reading"),
    Bad("moisture without uncertainty", M, 'u = "0.2 %"\n', "", "stop", "symbol F", "no uncertainty"),
    Bad("empty table", S, SAMPLES, "\n", "stop", "whole file", "no text"),
    # the records together
    Bad("unknown symbol", M, "/m*F*R", "/m*F*R*Q", "stop", "method, equation", "unknown symbol Q"),
    Bad("not an equation", M, "/m*F*R", "/m*F*R*", "stop", "method, equation", "no equation"),
    Bad(
        "code in the equation",
        M,
        "/m*F*R",
        "/m*F*R*__import__('os')",
        "stop",
        "method, equation",
        "__import__",
    ),
    Bad("unused symbol", M, "/m*F*R", "/m*F", "attend", "symbol R", "no equation uses"),
    Bad(
        "circle",
        M,
        '[symbols.R]\noperation = "input"\nquantity = "reciprocal recovery"\nestimate = 1\nU = "2 %"\nk = 2\n',
        '[symbols.R]\noperation = "equation"\nquantity = "x"\nequation = "R4"\n'
        '[symbols.R4]\noperation = "equation"\nquantity = "x"\nequation = "2*R"\n',
        "stop",
        "symbol R, equation",
        "circle|R -> R4 -> R",
    ),
    Bad("unknown balance", M, "BAL-1", "BAL-9", "stop", "symbol m, balance", "BAL-9|not in the register"),
    Bad(
        "unknown flask",
        D,
        "F50-2",
        "F50-9",
        "stop",
        "row 1 (SED-01 d), dilution",
        "F50-9|not in the register",
    ),
    Bad("flask as pipette", D, "P5-1 >", "F50-2 >", "stop", "row 1 (SED-01 d), dilution", "is a flask|pipette"),
    Bad("pipette as flask", D, "> F50-2", "> P5-1", "stop", "row 1 (SED-01 d), dilution", "is a pipette|flask"),
    Bad("flask as balance", M, "BAL-1", "F50-2", "stop", "symbol m, balance", "is a flask|balance"),
    Bad("unknown stock", R, "ST-ZN", "ST-CU", "stop", "stock Zn, item", "ST-CU|not in the register"),
    Bad("no stock", R, "[stocks.Zn]", "[stocks.Cu]", "stop", "stock Zn", "no stock of Zn"),
    Bad(
        "stock in another unit",
        R,
        "1000 mg/L",
        "1000 mg/kg",
        "stop",
        "stock Zn, calculated_with",
        "mg/kg|mg/L",
    ),
    Bad(
        "no certified value",
        G,
        'analyte = "Zn"',
        'analyte = "Cd"',
        "stop",
        "reference_material 1 (ST-ZN)",
        "Zn|ST-ZN",
    ),
    Bad("id twice", G, '"P5-1"', '"F50-2"', "stop", "equipment 3 (F50-2)", "a second time"),
    Bad("column lacking", S, "gross [g]", "heavy [g]", "stop", "headings", "no column gross|symbol m"),
    Bad("column without unit", S, "gross [g]", "gross", "stop", "row 1 (SED-01), gross", "heading"),
    Bad("empty cell", S, "12.6001", "", "stop", "row 2 (SED-02), gross", "empty cell"),
    Bad("gross below tare", S, "12.6001", "12.0", "stop", "row 2 (SED-02), gross", "no mass above zero"),
    Bad("moisture 100", S, "3.1", "100", "stop", "row 1 (SED-01), moisture", "100 %|below 100"),
    Bad("negative moisture", S, "3.1", "-1", "stop", "row 1 (SED-01), moisture", "-1 %"),
    Bad("unknown solution", V, "SED-02,Zn", "SED-09,Zn", "stop", "row 7 (SED-09 Zn 213.9), solution", "SED-09"),
    Bad("unknown analyte", V, "SED-02,Zn", "SED-02,Cu", "stop", "row 7 (SED-02 Cu 213.9), analyte", "Cu|Zn"),
    Bad(
        "unknown line",
        V,
        "SED-02,Zn,213.9",
        "SED-02,Zn,206.2",
        "stop",
        "row 7 (SED-02 Zn 206.2), line",
        "206.2|213.9",
    ),
    Bad(
        "standard without concentration",
        R,
        '{ Zn = "0.5 mg/L" }',
        "{}",
        "stop",
        "standard 2 (S1)",
        "no concentration of Zn",
    ),
    Bad("standard in another unit", R, "0.5 mg/L", "0.5 mg", "stop", "standard 2 (S1), Zn", "mg/L"),
    Bad(
        "no standards",
        V,
        READINGS,
        "solution,analyte,line,r1,r2\nSED-02,Zn,213.9,1,2\n",
        "stop",
        "standards of Zn 213.9",
        "no readings of standards",
    ),
    Bad("circular dilution", D, "SED-01,P5", "SED-01 d,P5", "stop", "row 1 (SED-01 d), from", "circle"),
    Bad("dilution of nothing", D, "SED-01,P5", "SED-07,P5", "stop", "row 1 (SED-01 d), from", "SED-07"),
    Bad("unknown report", D, "2,Zn", "2,Pb", "stop", "row 1 (SED-01 d), reports", "Pb"),
    Bad("no blank", S, SAMPLES, SAMPLES.replace("blank", "sample"), "stop", "kind", "no blank"),
    Bad(
        "excluded reading unknown",
        R,
        "replicate = 3",
        "replicate = 4",
        "stop",
        "exclude_reading 1 (SED-02)",
        "replicate 4|3 replicate values",
    ),
    Bad(
        "bad mark",
        M,
        '"negligible: ground below 100 um"',
        '"small"',
        "stop",
        "effects, sample homogeneity",
        "small|covered by SYMBOL",
    ),
    Bad(
        "covered by nothing",
        M,
        '"negligible: ground below 100 um"',
        '"covered by zz"',
        "stop",
        "effects, sample homogeneity",
        "unknown symbol zz",
    ),
    Bad(
        "effect not mentioned",
        M,
        '"reading scatter" = "counted"\n',
        "",
        "attend",
        "effects",
        "reading scatter",
    ),
    Bad(
        "effect twice",
        M,
        "/m*F*R",
        "/m*F*R + p",
        "attend",
        "effects, reading scatter",
        "counted twice|covered by p",
    ),
    Bad(
        "unknown correlation",
        M,
        "[effects]",
        '[[correlation]]\nbetween = ["R", "T"]\ncoefficient = 0.5\n[effects]',
        "stop",
        "correlation 1 (R, T)",
        "unknown symbol: T",
    ),
    Bad(
        "impossible correlations",
        M,
        "[effects]",
        SECOND_INPUT + THIRD_INPUT + CORRELATED + "[effects]",
        "stop",
        "correlation of R, R2, R3",
        "contradict",
    ),
    Bad(
        "own scatter of one reading",
        V,
        "0.205,0.206,0.350",
        "0.205,,",
        "stop",
        "row 7 (SED-02 Zn 213.9)",
        "one reading",
    ),
    Bad(
        "pooled over nothing",
        M,
        'scatter = "own"',
        'scatter = "pooled"\npooled_over = ["QC-1"]',
        "stop",
        "pooled_over",
        "QC-1",
    ),
    Bad("draft", M, '"approved"', '"draft"', "attend", "method, status", "draft|approved"),
    Bad("superseded", M, '"approved"', '"superseded"', "attend", "method, status", "superseded|approved"),
    Bad(
        "altered since its approval",
        R,
        'method = "method.toml"',
        f'method = "method.toml"\nmethod_fingerprint = "{64 * "a"}"',
        "attend",
        "run, method_fingerprint",
        "altered since its approval|aaaaaaaaaaaa…",
    ),
    Bad(
        "no fingerprint",
        R,
        'method = "method.toml"',
        'method = "method.toml"\nmethod_fingerprint = "v3"',
        "stop",
        "run, method_fingerprint",
        "v3|64 digits",
    ),
    Bad("not yet in effect", M, "2026-01-01", "2026-06-01", "attend", "method, effective", "2026-06-01"),
    Bad("review overdue", M, "2027-01-01", "2026-02-01", "attend", "method, review", "2026-02-01"),
    Bad("no estimate", M, "estimate = 1\n", "", "stop", "symbol R", "no estimate"),
    Bad("no uncertainty", M, 'U = "2 %"\nk = 2\n', "", "stop", "symbol R", "no uncertainty"),
    Bad(
        "volume without ware",
        M,
        'of = "blank"\nware = "F50-2"',
        'of = "blank"',
        "stop",
        "symbol Vb",
        "without ware",
    ),
]


def _broken(bad: Bad) -> dict[str, str]:
    text = replaced(bad.file, bad.old, bad.new)
    if bad.name == "effect twice":
        text = text.replace("[effects]", f"{PRECISION}[effects]")
    return {bad.file.partition(".")[0]: text}


def test_the_small_run_has_no_finding(tmp_path: Path) -> None:
    records, findings = read_records(write_run(tmp_path))
    assert findings == []
    assert records is not None
    assert records.run is not None
    assert records.name == "HS-014"
    assert [portion.solution for portion in records.run.portions] == ["SED-01", "SED-02", "BL-1", "BL-2"]
    assert records.run.portions[0].columns["gross"].value == 12.5034  # type: ignore[union-attr]  # an amount
    assert records.run.readings[-1].values == (0.002, 0.004)


@pytest.mark.parametrize("bad", BAD, ids=[bad.name for bad in BAD])
def test_bad_input_gives_its_finding(bad: Bad, tmp_path: Path) -> None:
    records, findings = read_records(write_run(tmp_path, **_broken(bad)))
    lines = "\n".join(f"{finding.severity} {finding.line()}" for finding in findings)
    fitting = [
        finding
        for finding in findings
        if finding.severity == bad.severity and finding.file == bad.file and bad.place in finding.place
    ]
    assert fitting, lines
    assert any(all(word in finding.line() for word in bad.words.split("|")) for finding in fitting), lines
    assert (records is None) == any(finding.severity == "stop" for finding in findings)
    assert not JARGON.search(lines), lines
    assert all("\n" not in finding.line() and len(finding.line()) < 1500 for finding in findings)
    assert all(finding.found and finding.accepted and finding.remedy for finding in findings)


def test_certified_value_beside_linearity_counts_twice(tmp_path: Path) -> None:
    certificate = (
        'linearity = "0.2 mg"\n[[equipment.certificate]]\nnumber = "B-1"\nissuer = "x"\nissued = 2025-01-01\n'
        'due = 2027-01-01\n[[equipment.certificate.property]]\nvalue = "100 g"\nU = "0.2 mg"\nk = 2\n'
        '[[equipment]]\nid = "BAL-2"\nkind = "balance"\ndescription = "x"\n'
    )
    register = replaced("register.toml", 'linearity = "0.2 mg"\n', certificate)
    records, findings = read_records(write_run(tmp_path, register=register))
    assert records is not None
    assert [(finding.severity, finding.place) for finding in findings] == [("attend", "equipment 1 (BAL-1)")]
    assert "counted twice" in findings[0].found


def test_blanks_diluted_differently(tmp_path: Path) -> None:
    samples = SAMPLES + "BL-3,blank,,,\n"
    solutions = FILES["solutions.csv"] + "BL-3 d,BL-3,P5-1 > F50-2,Zn\n"
    readings = READINGS + "BL-3 d,Zn,213.9,0.003,0.004,\n"
    records, findings = read_records(write_run(tmp_path, samples=samples, solutions=solutions, readings=readings))
    assert records is None
    assert "blanks of Zn 213.9 with different dilution: BL-1, BL-3 d" in findings[0].found


def test_run_without_any_stock_asks_for_attention(tmp_path: Path) -> None:
    stock = '[stocks.Zn]\nitem = "ST-ZN"\ncalculated_with = "1000 mg/L"\n'
    records, findings = read_records(write_run(tmp_path, run=replaced("run.toml", stock, "")))
    assert records is not None
    assert [(finding.severity, finding.place) for finding in findings] == [("attend", "stock Zn")]


def test_one_blank_has_no_scatter(tmp_path: Path) -> None:
    samples = replaced("samples.csv", "BL-2,blank,,,\n", "")
    readings = replaced("readings.csv", "BL-2,Zn,213.9,0.002,0.004,\n", "")
    records, findings = read_records(write_run(tmp_path, samples=samples, readings=readings))
    assert records is not None
    assert [(finding.severity, finding.place) for finding in findings] == [("attend", "blanks of Zn 213.9")]


def test_standards_at_two_levels(tmp_path: Path) -> None:
    run = re.sub(r'Zn = "(0.5|1|2) mg/L"', 'Zn = "1 mg/L"', RUN)
    _, findings = read_records(write_run(tmp_path, run=run))
    assert [finding.found for finding in findings] == ["standards at 2 levels"]


def test_all_standards_at_one_level(tmp_path: Path) -> None:
    run = re.sub(r'Zn = "[0-9.]+ mg/L"', 'Zn = "1 mg/L"', RUN)
    _, findings = read_records(write_run(tmp_path, run=run))
    assert [finding.found for finding in findings] == ["all standards at one level"]


def test_faults_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    _, findings = read_records(
        write_run(
            tmp_path,
            method=replaced("method.toml", "/m*F*R", "/m*F*R*Q"),
            register=replaced("register.toml", "0.06 mL", "0 mL"),
            samples=replaced("samples.csv", "12.0012", "12.0012 g"),
            readings=replaced("readings.csv", "0.205", "<0.2"),
            run=replaced("run.toml", "analyst", "analist"),
        )
    )
    assert {finding.file for finding in findings} == {
        "run.toml",
        "method.toml",
        "register.toml",
        "samples.csv",
        "readings.csv",
    }


def test_formula_text_stays_text(tmp_path: Path) -> None:
    samples = SAMPLES.replace("sample,", "sample,remark,").replace("SED-01,", "SED-01,=1+1,")
    samples = samples.replace("SED-02,", "SED-02,,").replace("BL-1,", "BL-1,,").replace("BL-2,", "BL-2,,")
    records, findings = read_records(write_run(tmp_path, samples=samples))
    assert findings == []
    assert records is not None and records.run is not None
    assert records.run.portions[0].columns["remark"] == "=1+1"


def test_mean_s_and_n(tmp_path: Path) -> None:
    lines = READINGS.splitlines()[1:]
    rows = [",".join(line.split(",")[:3]) + ",0.2,0.01,3" for line in lines]
    levels = [row.replace("0.2,", f"0.{at}01,", 1) for at, row in enumerate(rows)]
    readings = "solution,analyte,line,mean,s,n\n" + "\n".join(levels) + "\n"
    run = RUN.partition("[[exclude_reading]]")[0]
    records, findings = read_records(write_run(tmp_path, readings=readings, run=run))
    assert findings == []
    assert records is not None and records.run is not None
    assert (records.run.readings[1].mean, records.run.readings[1].s, records.run.readings[1].n) == (
        0.101,
        0.01,
        3,
    )
    _, findings = read_records(write_run(tmp_path, readings=readings.replace(",3\n", ",0\n", 1), run=run))
    assert findings[0].place == "row 1 (S0 Zn 213.9), n"


def test_method_alone(tmp_path: Path) -> None:
    method = METHOD.partition("[analytes]")[0].replace("(c*V*f - cb*Vb*fb)/m*F*R", "R")
    method += '[symbols.R]\noperation = "input"\nquantity = "x"\nestimate = 1\nu = 0.1\n'
    path = tmp_path / "alone.toml"
    path.write_text(method, encoding="utf-8")
    records, findings = read_records(path)
    assert findings == []
    assert records is not None
    assert (records.name, records.run, records.register) == ("M-ZN", None, None)
    path.write_text(METHOD, encoding="utf-8")
    records, findings = read_records(path)
    assert records is None
    assert any("which needs a run" in finding.found for finding in findings)


def test_empty_register_entry_is_no_register(tmp_path: Path) -> None:
    _, findings = read_records(write_run(tmp_path, run=replaced("run.toml", 'register = "register.toml"\n', "")))
    assert any("BAL-1, which is not in the register" in finding.found for finding in findings)
