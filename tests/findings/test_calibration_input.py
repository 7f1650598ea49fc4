"""Each fault of standards, curve, weights and effects gives its finding: at reading, or where only numbers show it.

Data invented: zinc in harbour sediment, as in `small_run`; the prepared standards are made for this test.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.commands.running import run as command
from tests.findings.small_run import FILES, READINGS, RUN, write_run
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.shipped import shipped_folder
from ubudget.records.finding import Finding

R, M, V = "run.toml", "method.toml", "readings.csv"

PREPARED_RUN = (
    re.sub(r"\[\[standard\]\].*(?=\[stocks)", "", RUN, flags=re.DOTALL)
    + """
[[standard]]
label = "S0"
concentration = { Zn = "0 mg/L" }

[[standard]]
label = "S1"
from = "S3"
step = [{ aliquot = "P5-1", to = "F50-2" }]

[[standard]]
label = "S2"
from = "S3"
step = [{ aliquot = "P10-1", to = "F50-2" }]

[[standard]]
label = "S3"
step = [{ aliquot = "P5-1", to = "F50-2" }, { aliquot = "P5-1", to = "F50-2" }]
"""
)
PREPARED_REGISTER = (
    FILES["register.toml"]
    + """
[[equipment]]
id = "P10-1"
kind = "pipette"
description = "pipette 10 mL"
nominal = "10 mL"
tolerance = "0.02 mL"
repeatability = "0.01 mL"

[[equipment.certificate]]
number = "E-4"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"
"""
)
PREPARED_READINGS = (
    READINGS.replace("S1,Zn,213.9,0.101,0.102,0.100", "S1,Zn,213.9,0.201,0.202,0.200")
    .replace("S2,Zn,213.9,0.201,0.202,0.199", "S2,Zn,213.9,0.401,0.402,0.399")
    .replace("S3,Zn,213.9,0.401,0.403,0.399", "S3,Zn,213.9,2.001,2.003,1.999")
)
PREPARED_METHOD = FILES[M].replace("[effects]", '[effects]\n"standard repeatability" = "covered by residual scatter"')
STATED = dict(FILES)
PREPARED = {
    **FILES,
    R: PREPARED_RUN,
    M: PREPARED_METHOD,
    V: PREPARED_READINGS,
    "register.toml": PREPARED_REGISTER,
}
S1_STEP = 'from = "S3"\nstep = [{ aliquot = "P5-1", to = "F50-2" }]'
S3_STEP = 'step = [{ aliquot = "P5-1", to = "F50-2" }, { aliquot = "P5-1", to = "F50-2" }]'
STOCK = '[stocks.Zn]\nitem = "ST-ZN"\ncalculated_with = "1000 mg/L"\n'
OWN = 'scatter = "own"'
STEPS = (-0.0021, 0.0012, 0.0004, -0.0006, 0.0017, -0.0008)
MEANS = (
    ("S0", 0.003),
    ("S1", 0.101),
    ("S2", 0.2),
    ("S3", 0.401),
    ("SED-01", 0.395),
    ("SED-01 d", 0.04),
    ("SED-02", 0.205),
    ("BL-1", 0.005),
    ("BL-2", 0.004),
)
SIX = "solution,analyte,line,r1,r2,r3,r4,r5,r6\n" + "".join(
    f"{name},Zn,213.9,{','.join(f'{mean + step:.4f}' for step in STEPS)}\n" for name, mean in MEANS
)
SUMMARIES = "solution,analyte,line,mean,s,n\n" + "".join(f"{name},Zn,213.9,{mean},0.001,3\n" for name, mean in MEANS)
WITH_SIX = {**STATED, V: SIX}


class Bad(NamedTuple):
    name: str
    files: dict[str, str]
    changes: tuple[tuple[str, str, str], ...]
    """File, old text, new text."""
    severity: str
    file: str
    place: str
    words: str
    """Words that the finding's line holds, separated by `|`."""


def method(*keys: str, scatter: str = "own") -> tuple[str, str, str]:
    """Keys added to the calibration of the method."""
    return M, OWN, "\n".join((f'scatter = "{scatter}"', *keys))


BY_LEVEL, LEVEL_1 = 'weights = "pooled s per level"', "symbol c, level_s 1, s"


KNOWN = ('weights = "noise model"', "noise_constant = 0.002", 'weighted_scatter = "known"')


def left_out(solution: str, replicate: int) -> str:
    return (
        f'\n[[exclude_reading]]\nsolution = "{solution}"\nanalyte = "Zn"\nline = "213.9"\nreplicate = {replicate}\n'
        'reason = "invented"\n'
    )


def levels(*stated: tuple[float, float | str], line: str = "") -> str:
    """Tables of (concentration, s); they close the table of the symbol."""
    return "\n".join(f'[[symbols.c.level_s]]\nconcentration = "{x} mg/L"\ns = {s}\nline = "{line}"' for x, s in stated)


PREPARATION = [
    Bad("unknown pipette", PREPARED, ((R, '"P10-1"', '"P99"'),), "stop", R, "standard 3 (S2), step 1, aliquot", "P99"),
    Bad(
        "flask as pipette",
        PREPARED,
        ((R, '"P10-1"', '"F50-2"'),),
        "stop",
        R,
        "standard 3 (S2), step 1, aliquot",
        "F50-2, which is a flask|pipette",
    ),
    Bad(
        "unknown flask",
        PREPARED,
        ((R, S3_STEP, S3_STEP.replace('to = "F50-2" }]', 'to = "F77" }]')),),
        "stop",
        R,
        "standard 4 (S3), step 2, to",
        "F77|flask",
    ),
    Bad(
        "pipette as flask",
        PREPARED,
        ((R, S1_STEP, S1_STEP.replace("F50-2", "P5-1")),),
        "stop",
        R,
        "standard 2 (S1), step 1, to",
        "P5-1, which is a pipette",
    ),
    Bad(
        "taken from an unknown standard",
        PREPARED,
        ((R, 'label = "S1"\nfrom = "S3"', 'label = "S1"\nfrom = "S9"'),),
        "stop",
        R,
        "standard 2 (S1), from",
        "unknown standard S9",
    ),
    Bad(
        "serial loop",
        PREPARED,
        ((R, S3_STEP, 'from = "S1"\n' + S3_STEP),),
        "stop",
        R,
        "standard 4 (S3), from",
        "a circle|S3 is made from itself",
    ),
    Bad(
        "made from itself",
        PREPARED,
        ((R, S3_STEP, 'from = "S3"\n' + S3_STEP),),
        "stop",
        R,
        "standard 4 (S3), from",
        "a circle",
    ),
    Bad(
        "taken from a stated standard",
        PREPARED,
        ((R, S3_STEP, 'concentration = { Zn = "10 mg/L" }'),),
        "stop",
        R,
        "standard 2 (S1), from",
        "S3, which is stated and not prepared|stock",
    ),
    Bad(
        "step and concentration",
        PREPARED,
        ((R, S3_STEP, S3_STEP + '\nconcentration = { Zn = "10 mg/L" }'),),
        "stop",
        R,
        "standard 4 (S3)",
        "both concentration and step",
    ),
    Bad(
        "from without a step",
        PREPARED,
        ((R, S1_STEP, 'from = "S3"'),),
        "stop",
        R,
        "standard 2 (S1), from",
        "without a step",
    ),
    Bad(
        "analytes without a step",
        STATED,
        ((R, 'label = "S1"\n', 'label = "S1"\nanalytes = ["Zn"]\n'),),
        "stop",
        R,
        "standard 2 (S1), analytes",
        "without a step",
    ),
    Bad(
        "neither stated nor prepared",
        STATED,
        ((R, "[stocks.Zn]", '[[standard]]\nlabel = "S4"\n[stocks.Zn]'),),
        "stop",
        R,
        "standard 5 (S4)",
        "neither concentration nor step",
    ),
    Bad(
        "neither stated nor prepared, and read",
        STATED,
        ((R, 'label = "S1"\nconcentration = { Zn = "0.5 mg/L" }', 'label = "S1"'),),
        "stop",
        R,
        "standard 2 (S1)",
        "no concentration of Zn|steps",
    ),
    Bad("no stock", PREPARED, ((R, STOCK, ""),), "stop", R, "standard 4 (S3), analytes", "Zn|no stock solution"),
    Bad(
        "unknown analyte",
        PREPARED,
        ((R, S3_STEP, S3_STEP + '\nanalytes = ["Zn", "Zm"]'),),
        "stop",
        R,
        "standard 4 (S3), analytes",
        "unknown analyte Zm",
    ),
    Bad(
        "read but not named",
        PREPARED,
        (
            (M, 'Zn = ["213.9"]', 'Zn = ["213.9"]\nCu = ["324.8"]'),
            (V, "S0,Zn", "S3,Cu,324.8,0.1,0.2,0.3\nS0,Zn"),
            (R, S3_STEP, S3_STEP + '\nanalytes = ["Zn"]'),
        ),
        "stop",
        R,
        "standard 4 (S3), analytes",
        "no Cu in analytes",
    ),
    Bad(
        "not in the standard it is taken from",
        PREPARED,
        (
            (M, 'Zn = ["213.9"]', 'Zn = ["213.9"]\nCu = ["324.8"]'),
            (R, STOCK, STOCK + STOCK.replace("Zn", "Cu")),
            (R, S1_STEP, S1_STEP + '\nanalytes = ["Cu", "Zn"]'),
            (R, S3_STEP, S3_STEP + '\nanalytes = ["Zn"]'),
        ),
        "stop",
        R,
        "standard 2 (S1), analytes",
        "Cu, which S3 does not contain",
    ),
]

OPTIONS = [
    Bad(
        "1/x at a zero standard",
        STATED,
        (method('weights = "1/x"'),),
        "stop",
        M,
        "symbol c, weights",
        "S0|weight_floor",
    ),
    Bad(
        "1/x^2 at a zero standard",
        STATED,
        (method('weights = "1/x^2"'),),
        "stop",
        M,
        "symbol c, weights",
        "S0|add weight_floor",
    ),
    Bad(
        "noise model without numbers",
        STATED,
        (method('weights = "noise model"'),),
        "stop",
        M,
        "symbol c, weights",
        "without its numbers|noise_constant",
    ),
    Bad(
        "relative noise at a reading of zero",
        STATED,
        (method('weights = "noise model"', 'noise_relative = "2 %"'), (V, "0.001,0.002,0.001", "0,0,0")),
        "stop",
        V,
        "row 1 (S0 Zn 213.9)",
        "mean reading of 0|noise_constant",
    ),
    Bad(
        "noise of another rule",
        STATED,
        (method("noise_constant = 0.1"),),
        "attend",
        M,
        "symbol c, noise_constant",
        'weights = "none" does not use',
    ),
    Bad(
        "floor of another rule",
        STATED,
        (method('weights = "1/s^2"', 'weight_floor = "0.1 mg/L"'),),
        "attend",
        M,
        "symbol c, weight_floor",
        'weights = "1/s^2" does not use',
    ),
    Bad(
        "known scatter of an unweighted fit",
        STATED,
        (method('weighted_scatter = "known"'),),
        "stop",
        M,
        "symbol c, weighted_scatter",
        'not 1/s^2 of a reading|"noise model"',
    ),
    Bad(
        "known scatter by 1/y",
        STATED,
        (method('weighted_scatter = "known"', 'weights = "1/y"'),),
        "stop",
        M,
        "symbol c, weighted_scatter",
        "not 1/s^2",
    ),
    Bad(
        "residual s of means",
        STATED,
        (method('fit_on = "means"', scatter="residual"),),
        "stop",
        M,
        "symbol c, scatter",
        "of means|own|pooled",
    ),
    Bad(
        "residual s of given means",
        {**STATED, R: RUN.partition("[[exclude_reading]]")[0], V: SUMMARIES},
        (method(scatter="residual"),),
        "stop",
        V,
        "row 1 (S0 Zn 213.9)",
        "means of the standards|of means",
    ),
    Bad(
        "few readings for 1/s^2",
        STATED,
        (method('weights = "1/s^2"'),),
        "attend",
        V,
        "standards of Zn 213.9",
        "3 readings a level|6 readings|pooled s per level|noise model",
    ),
    Bad(
        "pooled s without levels",
        STATED,
        (method('weights = "pooled s per level"'),),
        "stop",
        M,
        "symbol c, weights",
        "without level_s|[[symbols.c.level_s]]",
    ),
    Bad("negative pooled s", STATED, (method(BY_LEVEL, levels((0, -0.001))),), "stop", M, LEVEL_1, "above zero"),
    Bad("pooled s of zero", STATED, (method(BY_LEVEL, levels((0, 0))),), "stop", M, LEVEL_1, "above zero"),
    Bad(
        "pooled s in another unit",
        STATED,
        (method(BY_LEVEL, levels((0, '"0.001 mg/L"'))),),
        "stop",
        M,
        "symbol c, level_s 1, s",
        "0.001 mg/L|a standard deviation of readings in 1",
    ),
    Bad(
        "level in another unit",
        STATED,
        (method(BY_LEVEL, levels((0, 0.001)).replace("0 mg/L", "0 mg/kg")),),
        "stop",
        M,
        "symbol c, level_s 1, concentration",
        "0 mg/kg|a concentration in mg/L",
    ),
    Bad(
        "levels that do not rise",
        STATED,
        (method(BY_LEVEL, levels((1, 0.001), (0.5, 0.001))),),
        "stop",
        M,
        "symbol c, level_s 2",
        "0.5 mg/L|rising concentration",
    ),
    Bad(
        "line without levels",
        STATED,
        (method(BY_LEVEL, levels((0, 0.001), line="202.5")), (M, '["213.9"]', '["213.9", "202.5"]')),
        "stop",
        M,
        "symbol c, level_s",
        "no level_s for Zn 213.9|levels for every line",
    ),
    Bad(
        "levels of an unknown line",
        STATED,
        (method(BY_LEVEL, levels((0, 0.001), line="999.9")),),
        "stop",
        M,
        "symbol c, level_s 1",
        "the unknown line 999.9|213.9",
    ),
    Bad(
        "levels of another rule",
        STATED,
        (method(levels((0, 0.001))),),
        "attend",
        M,
        "symbol c, level_s",
        'weights = "none" does not use',
    ),
    Bad(
        "zero variance",
        WITH_SIX,
        (method('weights = "1/s^2"'), (V, SIX.splitlines()[2], "S1,Zn,213.9" + 6 * ",0.1")),
        "stop",
        V,
        "row 2 (S1 Zn 213.9)",
        "zero variance",
    ),
    Bad(
        "one reading for 1/s^2",
        STATED,
        (method('weights = "1/s^2"'), (V, "0.101,0.102,0.100", "0.101,,")),
        "stop",
        V,
        "row 2 (S1 Zn 213.9)",
        "one reading",
    ),
    Bad(
        "1/y of a line through zero at a zero standard",
        STATED,
        (method('weights = "1/y"', 'curve = "line through zero"'),),
        "stop",
        M,
        "symbol c, weights",
        "S0|add weight_floor",
    ),
    Bad(
        "exact without a reason",
        STATED,
        (method('standards = "exact"'),),
        "stop",
        M,
        "symbol c, standards",
        "without a reason|standards_exact",
    ),
    Bad(
        "errors in variables without u",
        STATED,
        (method('standards = "errors in variables"'),),
        "stop",
        M,
        "symbol c, standards",
        "no standard_u",
    ),
    Bad(
        "errors in variables of a quadratic",
        STATED,
        (method('standards = "errors in variables"', 'standard_u = "0.5 %"', 'curve = "quadratic"'),),
        "stop",
        M,
        "symbol c, curve",
        'quadratic|curve = "line"',
    ),
    Bad(
        "errors in variables by 1/x",
        STATED,
        (method('standards = "errors in variables"', 'standard_u = "0.5 %"', 'weights = "1/x"'),),
        "stop",
        M,
        "symbol c, weights",
        "1/x|noise model",
    ),
    Bad(
        "errors in variables have no residual s",
        STATED,
        (method('standards = "errors in variables"', 'standard_u = "0.5 %"', scatter="residual"),),
        "stop",
        M,
        "symbol c, scatter",
        "no residual s|own",
    ),
    Bad(
        "u of standards that is not used",
        STATED,
        (method('standard_u = "0.5 %"'),),
        "attend",
        M,
        "symbol c, standard_u",
        'standards = "propagated" does not use',
    ),
    Bad(
        "two levels for a line",
        STATED,
        ((R, '"0.5 mg/L"', '"2 mg/L"'), (R, '"1 mg/L"', '"2 mg/L"')),
        "stop",
        V,
        "standards of Zn 213.9",
        "at 2 levels|3 levels or more",
    ),
    Bad(
        "three levels for a quadratic",
        STATED,
        (method('curve = "quadratic"'), (R, '"1 mg/L"', '"2 mg/L"')),
        "stop",
        V,
        "standards of Zn 213.9",
        "at 3 levels|4 levels or more",
    ),
    Bad(
        "three levels for a rational curve",
        STATED,
        (method('curve = "rational"'), (R, '"1 mg/L"', '"2 mg/L"')),
        "stop",
        V,
        "standards of Zn 213.9",
        "at 3 levels|4 levels or more",
    ),
    Bad(
        "one level for a line through zero",
        STATED,
        (method('curve = "line through zero"'), *((R, f'"{x} mg/L"', '"2 mg/L"') for x in ("0", "0.5", "1"))),
        "stop",
        V,
        "standards of Zn 213.9",
        "all standards at one level",
    ),
    Bad(
        "prepared alike is one level",
        PREPARED,
        ((R, "P10-1", "P5-1"),),
        "stop",
        V,
        "standards of Zn 213.9",
        "at 3 levels|4 levels",
    ),
    Bad(
        "four standards for bracketing",
        STATED,
        (method('curve = "two points"'), (R, '"0.5 mg/L"', '"2 mg/L"'), (R, '"1 mg/L"', '"2 mg/L"')),
        "stop",
        V,
        "standards of Zn 213.9",
        "4 standards|two standards",
    ),
]
OPTIONS[-2] = OPTIONS[-2]._replace(changes=(*OPTIONS[-2].changes, method('curve = "quadratic"')))

OPTIONS += [
    Bad(
        "term between levels in another unit",
        STATED,
        (method('between_levels = "0.5 mL"'),),
        "stop",
        M,
        "symbol c, between_levels",
        "0.5 mL|% or mg/L",
    ),
    Bad(
        "term between levels beside errors in variables",
        STATED,
        (method('between_levels = "0.5 %"', 'standards = "errors in variables"', 'standard_u = "0.5 %"'),),
        "stop",
        M,
        "symbol c, between_levels",
        "standard_u is such a term",
    ),
    Bad(
        "term between levels beside residuals of means",
        STATED,
        (method('between_levels = "0.5 %"', 'fit_on = "means"'),),
        "attend",
        M,
        "symbol c, between_levels",
        "counted twice|on means",
    ),
    Bad(
        "term between levels without scatter within",
        {**STATED, R: RUN.partition("[[exclude_reading]]")[0], V: SUMMARIES},
        (method('between_levels = "0.5 %"'),),
        "stop",
        V,
        "standards of Zn 213.9",
        "no standard with two single readings|between_levels",
    ),
]

BRACKETED_RUN = re.sub(r'\[\[standard\]\]\nlabel = "S[12]".*?\n\n', "", RUN, flags=re.DOTALL)
BRACKETED = {
    **STATED,
    R: BRACKETED_RUN,
    V: "".join(row for row in READINGS.splitlines(keepends=True) if not row.startswith(("S1", "S2"))),
}
SUMMARISED = {**STATED, R: RUN.partition("[[exclude_reading]]")[0], V: SUMMARIES}
READ_ONCE = re.sub(r"^(S\d,Zn,213.9,[^,]*),.*$", r"\1,,", READINGS, flags=re.MULTILINE)
UNCERTAIN = ('standards = "errors in variables"', 'standard_u = "0.5 %"')
OPTIONS += [
    Bad(
        "errors in variables on one reading a level",
        {**STATED, V: READ_ONCE},
        (method(*UNCERTAIN),),
        "stop",
        V,
        "standards of Zn 213.9",
        "no standard with two single readings|pools its u_y|noise model",
    ),
    Bad(
        "errors in variables on summaries",
        SUMMARISED,
        (method(*UNCERTAIN),),
        "stop",
        V,
        "standards of Zn 213.9",
        "no standard with two single readings",
    ),
    Bad(
        "bracketing with one reading of each standard",
        {**BRACKETED, V: re.sub(r"^(S\d,Zn,213.9,[^,]*),.*$", r"\1,,", BRACKETED[V], flags=re.MULTILINE)},
        (method('curve = "two points"'),),
        "stop",
        V,
        "standards of Zn 213.9",
        "no standard with two single readings|takes its scatter",
    ),
    Bad(
        "bracketing with weights",
        BRACKETED,
        (method('curve = "two points"', *KNOWN[:2]),),
        "stop",
        M,
        "symbol c, weights",
        "goes through both standards|without weights",
    ),
    Bad(
        "bracketing with one standard left out",
        {**BRACKETED, R: BRACKETED_RUN + left_out("S3", 1) + left_out("S3", 2) + left_out("S3", 3)},
        (method('curve = "two points"'),),
        "stop",
        V,
        "standards of Zn 213.9",
        "all standards at one level|two standards",
    ),
    Bad(
        "known scatter of summaries",
        SUMMARISED,
        (method(*KNOWN),),
        "stop",
        V,
        "row 1 (S0 Zn 213.9)",
        "a mean of 3 readings|single readings",
    ),
    Bad(
        "s pooled over a standard",
        STATED,
        (method('pooled_over = ["S1"]', scatter="pooled"),),
        "stop",
        M,
        "pooled_over",
        "the standard S1|samples and blanks",
    ),
    Bad(
        "internal standard beside summaries",
        SUMMARISED,
        (method('[symbols.c.internal_standard]\nanalyte = "Y"\nonline = true'),),
        "stop",
        V,
        "row 1 (S0 Zn 213.9)",
        "mean, s and n, where the internal standard needs each reading",
    ),
    Bad(
        "drift beside summaries",
        SUMMARISED,
        (method('[symbols.c.drift]\ncheck = "S9"'),),
        "stop",
        V,
        "row 1 (S0 Zn 213.9)",
        "mean, s and n, where the drift correction needs each reading",
    ),
]

MARK = '"standard repeatability" = "covered by residual scatter"\n'
TEMPERATURE = '\n[symbols.V.temperature]\nhalf_range = "4 K"\nexpansion = "2.1e-4 1/K"\nshared = true\n'
EFFECTS = [
    Bad("not mentioned", PREPARED, ((M, MARK, ""),), "attend", M, "effects", "standard repeatability|residual scatter"),
    Bad(
        "counted beside residuals",
        PREPARED,
        ((M, MARK, '"standard repeatability" = "counted"\n'), method(scatter="residual")),
        "attend",
        M,
        "effects, standard repeatability",
        'counted twice|show in the residuals|"covered by residual scatter"',
    ),
    Bad(
        "counted beside a term between levels",
        PREPARED,
        ((M, MARK, '"standard repeatability" = "counted"\n'), method('between_levels = "0.5 %"', scatter="residual")),
        "attend",
        M,
        "effects, standard repeatability",
        "counted twice: between_levels holds",
    ),
    Bad(
        "counted beside errors in variables",
        PREPARED,
        (
            (M, MARK, '"standard repeatability" = "counted"\n'),
            method('standards = "errors in variables"', 'standard_u = "0.5 %"'),
        ),
        "attend",
        M,
        "effects, standard repeatability",
        "counted twice|standard_u",
    ),
    Bad(
        "covered by residuals that have no part",
        PREPARED,
        (method(*KNOWN),),
        "attend",
        M,
        "effects, standard repeatability",
        'residuals have no part|"counted"',
    ),
    Bad(
        "steps beside a stated preparation",
        PREPARED,
        (method('[symbols.c.preparation]\nu = "0.3 %"'),),
        "attend",
        M,
        "symbol c, preparation",
        "counted twice|pipettes and flasks",
    ),
    Bad(
        "residuals cover nothing else",
        PREPARED,
        ((M, '"delivery repeatability" = "counted"', '"delivery repeatability" = "covered by residual scatter"'),),
        "stop",
        M,
        "effects, delivery repeatability",
        "covered by residual scatter",
    ),
    Bad(
        "one shared temperature with two half ranges",
        STATED,
        ((M, "[symbols.f]", TEMPERATURE + TEMPERATURE.replace(".V.", ".Vb.").replace("4 K", "3 K") + "[symbols.f]"),),
        "stop",
        M,
        "symbol Vb, temperature",
        "3 K|for symbol V 4 K|one half_range",
    ),
]


def changed(bad: Bad) -> dict[str, str]:
    """Texts of a run with its faults, by role."""
    files = dict(bad.files)
    for file, old, new in bad.changes:
        assert old in files[file], f"{old!r} is not in {file}"
        files[file] = files[file].replace(old, new, 1)
    return by_role(files)


def by_role(files: dict[str, str]) -> dict[str, str]:
    return {name.partition(".")[0]: text for name, text in files.items()}


def findings_of(folder: Path, files: dict[str, str]) -> list[Finding]:
    """Findings of reading and, where that succeeds, of evaluating."""
    records, findings = read_records(write_run(folder, **files))
    return findings if records is None else evaluate(records)[1]


CASES = PREPARATION + OPTIONS + EFFECTS


@pytest.mark.parametrize("bad", CASES, ids=[bad.name for bad in CASES])
def test_fault_gives_its_finding(bad: Bad, tmp_path: Path) -> None:
    _, findings = read_records(write_run(tmp_path, **changed(bad)))
    lines = "\n".join(f"{finding.severity} {finding.line()}" for finding in findings)
    fitting = [one for one in findings if (one.severity, one.file, one.place) == (bad.severity, bad.file, bad.place)]
    assert any(all(word in one.line() for word in bad.words.split("|")) for one in fitting), lines
    assert all(one.found and one.accepted and one.remedy and "\n" not in one.line() for one in findings)


@pytest.mark.parametrize(
    ("files", "keys"),
    [
        (STATED, ()),
        (STATED, ('weights = "1/x"', 'weight_floor = "0.5 mg/L"')),
        (STATED, ('curve = "line through zero"',)),
        (STATED, ('curve = "line through zero"', 'weights = "1/y"', 'weight_floor = "0.5 mg/L"')),
        # The zero standard reads below zero; its ordinate on the line does not.
        ({**STATED, V: READINGS.replace("0.001,0.002,0.001", "-0.001,-0.0005,0.001")}, ('weights = "1/y"',)),
        (STATED, ('fit_on = "means"',)),
        (STATED, ('between_levels = "0.5 %"',)),
        (STATED, ('standards = "exact"', 'standards_exact = "bought ready made, certificate 0.1 %"')),
        (STATED, ('standards = "errors in variables"', 'standard_u = "0.5 %"')),
        (BRACKETED, ('curve = "two points"',)),
        (WITH_SIX, ('weights = "1/s^2"', 'weighted_scatter = "known"')),
        (STATED, (BY_LEVEL, levels((0, 0.0005), (2, 0.002)))),
        (STATED, (BY_LEVEL, 'weighted_scatter = "known"', levels((0, 0.0015)))),
        (PREPARED, ()),
        (PREPARED, ('curve = "quadratic"',)),
        (PREPARED, ('[symbols.c.temperature]\nhalf_range = "4 K"\nexpansion = "2.1e-4 1/K"',)),
        ({**PREPARED, M: PREPARED_METHOD.replace(MARK, '"standard repeatability" = "counted"\n')}, KNOWN),
    ],
)
def test_sound_calibrations_have_no_finding(files: dict[str, str], keys: tuple[str, ...], tmp_path: Path) -> None:
    findings = findings_of(tmp_path, changed(Bad("", files, (method(*keys),), "", "", "", "")))
    assert [finding for finding in findings if finding.severity != "note"] == []


def with_means(mean_of: Callable[[float], float], scatter: float = 0.001) -> str:
    """Readings of the stated standards about a curve, three each; the other rows as they are."""
    rows = []
    for label, x in (("S0", 0.0), ("S1", 0.5), ("S2", 1.0), ("S3", 2.0)):
        values = [f"{mean_of(x) + step:.6g}" for step in (-scatter, 0.0, scatter)]
        rows.append(f"{label},Zn,213.9,{','.join(values)}")
    lines = READINGS.splitlines()
    return "\n".join((lines[0], *rows, *lines[5:])) + "\n"


SEVERITIES = {1: "attend", 2: "stop"}
NUMERIC = [
    ("zero slope", (), with_means(lambda x: 0.2, 0.0), 2, "zero slope"),
    ("slopes that cancel", (), with_means(lambda x: {0: 0.2, 0.5: 0.3, 1: 0.45, 2: 0.18}[x]), 1, "slope of"),
    (
        "non-monotonic curve",
        ('curve = "quadratic"',),
        with_means(lambda x: 0.6 * x - 0.25 * x * x),
        2,
        "not monotonic: it turns within its range",
    ),
    (
        "more scatter than stated",
        ('weights = "noise model"', "noise_constant = 0.0003", 'weighted_scatter = "known"'),
        with_means(lambda x: 0.001 + 0.2 * x, 0.002),
        1,
        "more scatter about the curve than was stated",
    ),
    (
        "no weight at zero",
        ('weights = "1/y"',),
        with_means(lambda x: 0.2 * x - 0.004),
        2,
        "the rule of weights gives no weight above zero",
    ),
    ("lack of fit", (), with_means(lambda x: 0.001 + 0.24 * x - 0.02 * x * x), 1, "significant lack of fit"),
]


@pytest.mark.parametrize(
    ("keys", "readings", "status", "words"), [one[1:] for one in NUMERIC], ids=[n[0] for n in NUMERIC]
)
def test_exit_status_of_what_only_numbers_show(
    keys: tuple[str, ...], readings: str, status: int, words: str, tmp_path: Path
) -> None:
    files = changed(Bad("", {**STATED, V: readings}, (method(*keys, scatter="residual"),), "", "", "", ""))
    done = command("evaluate", write_run(tmp_path, **files), folder=tmp_path)
    assert done.status == status
    told = " ".join((done.out + done.err).split())
    assert f"{SEVERITIES[status]}: readings.csv: calibration curve of Zn 213.9: found" in told and words in told
    assert (done.out == "") == (status == 2)


CURVED = with_means(lambda x: 0.001 + 0.24 * x - 0.02 * x * x)


def test_a_term_between_levels_explains_scatter_beyond_the_known_one(tmp_path: Path) -> None:
    known = ('weights = "noise model"', "noise_constant = 0.001", 'weighted_scatter = "known"')
    for stated, words in (("0.002 mg/L", "beyond what between_levels states"), ("0.08 mg/L", "")):
        keys = (*known, f'between_levels = "{stated}"')
        files = changed(Bad("", {**STATED, V: CURVED}, (method(*keys, scatter="residual"),), "", "", "", ""))
        folder = tmp_path / ("small" if words else "large")
        folder.mkdir()
        lines = [finding.line() for finding in findings_of(folder, files)]
        assert len(lines) == bool(words) and all(words in line for line in lines)


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ("", "on level means|state between_levels"),
        ("0.1 %", "beyond what between_levels states|larger"),
        ("0.08 mg/L", ""),
    ],
)
def test_lack_of_fit_and_the_term_that_explains_it(stated: str, words: str, tmp_path: Path) -> None:
    """Levels off a line by some per cent: told with both remedies, told where the term is too small, else silent."""
    keys = (f'between_levels = "{stated}"',) if stated else ()
    files = changed(Bad("", {**STATED, V: CURVED}, (method(*keys, scatter="residual"),), "", "", "", ""))
    lines = [finding.line() for finding in findings_of(tmp_path, files)]
    assert len(lines) == bool(words) and all(word in line for line in lines for word in words.split("|"))


def test_lack_of_fit_of_a_fit_on_means_is_in_its_scatter(tmp_path: Path) -> None:
    readings = with_means(lambda x: 0.001 + 0.24 * x - 0.02 * x * x)
    files = changed(Bad("", {**STATED, V: readings}, (method('fit_on = "means"'),), "", "", "", ""))
    (finding,) = findings_of(tmp_path, files)
    assert finding.severity == "note" and "quadratic term significant at 1 %" in finding.found


@pytest.mark.parametrize(
    ("keys", "told"),
    [((), True), (('weights = "noise model"', "noise_relative = '1 %'", "noise_constant = 0.001"), False)],
    ids=["without weights", "weighted"],
)
def test_unequal_variances_are_noted_unless_the_fit_is_weighted(
    keys: tuple[str, ...], told: bool, tmp_path: Path
) -> None:
    """s of 0.0014 at the zero standard, ten times as much at the highest: F = 100 with 5 and 5 degrees of freedom."""
    wide = f"S3,Zn,213.9,{','.join(f'{0.401 + 10 * step:.4f}' for step in STEPS)}"
    files = changed(Bad("", {**STATED, V: SIX.replace(SIX.splitlines()[4], wide)}, (method(*keys),), "", "", "", ""))
    noted = [finding for finding in findings_of(tmp_path, files) if "variances at the two ends" in finding.found]
    assert [finding.severity for finding in noted] == (["note"] if told else [])


@pytest.mark.parametrize(
    ("keys", "old", "new", "place"),
    [
        (('weights = "1/y"',), "BL-1,Zn,213.9,0.003,0.004,", "BL-1,Zn,213.9,-0.003,-0.004,", "row 8 (BL-1 Zn 213.9)"),
        (('weights = "1/s^2"',), "0.040,0.041,0.040", "0.040,0.040,0.040", "row 6 (SED-01 d Zn 213.9)"),
    ],
    ids=["1/y of a negative reading", "1/s^2 of equal readings"],
)
def test_unknown_without_a_weight_of_its_own(
    keys: tuple[str, ...], old: str, new: str, place: str, tmp_path: Path
) -> None:
    changes = (method(*keys, scatter="residual"), (V, old, new))
    findings = findings_of(tmp_path, changed(Bad("", STATED, changes, "", "", "", "")))
    stops = [one for one in findings if one.severity == "stop"]
    assert [(one.file, one.place) for one in stops] == [(V, place)]
    assert "own weight w0" in stops[0].found


def test_less_than_one_effective_degree_of_freedom(tmp_path: Path) -> None:
    changes = ((M, 'U = "2 %"\nk = 2', 'u = "50 %"\ndof = 0.5'),)
    findings = findings_of(tmp_path, changed(Bad("", STATED, changes, "", "", "", "")))
    assert [(one.severity, one.file, one.place) for one in findings] == [
        ("attend", R, "result SED-01/Zn/213.9 and 1 more"),
    ]
    assert "effective degrees of freedom" in findings[0].found


def test_the_demo_has_no_finding() -> None:
    records, findings = read_records(shipped_folder("worked_examples") / "harbour_sediment")
    assert records is not None
    assert [*findings, *evaluate(records)[1]] == []


def test_a_bend_and_scatter_that_rises_are_noted() -> None:
    """The demonstration's lead standards with a slight bend, its zinc standards with a quiet zero standard."""
    records, _ = read_records(shipped_folder("worked_examples") / "harbour_sediment")
    assert records is not None
    changed = {"18418,18349,18407": "18378,18309,18367", "S0,Zn,213.857,48,135,85": "S0,Zn,213.857,91,93,84"}
    texts = []
    for text in records.texts:
        for old, new in changed.items():
            assert text.role != "readings" or old in text.text
            text = replace(text, text=text.text.replace(old, new))
        texts.append(text)
    again, findings = records_from_texts(texts)
    assert again is not None
    bend, scatter = [*findings, *evaluate(again)[1]]
    assert (bend.severity, scatter.severity) == ("note", "note")
    assert "quadratic term" in bend.found and "220.353" in bend.found
    assert "variances" in scatter.found and "213.857" in scatter.found
