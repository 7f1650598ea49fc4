"""Comparisons of results as a person reads them: both values, the scores with limits, verdict and source."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.evaluation.comparison import Compared, Comparison
from ubudget.evaluation.material_checks import CertifiedResult
from ubudget.evaluation.scores import Score
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped

DIGITS = 4
TWO_RESULTS = "Give --result with --with and --result2, or with --value and its uncertainty, to compare two results."


def comparison_lines(one: Comparison, width: int = WIDTH) -> Iterator[str]:
    """Two values and all their scores."""
    yield from table_lines(
        [
            TextColumn("", [one.first.name, one.second.name]),
            TextColumn("value", [_figure(each.value) for each in (one.first, one.second)], "right"),
            TextColumn("u", [_figure(each.u) for each in (one.first, one.second)], "right"),
            TextColumn("U", [_figure(each.U) for each in (one.first, one.second)], "right"),
            TextColumn("unit", [one.first.unit, one.first.unit]),
        ],
        width=width,
    )
    yield ""
    yield from wrapped(f"difference  {_figure(one.first.value - one.second.value)}{unit_text(one.first.unit)}")
    yield from wrapped(f"covariance  {_covariance(one)}", "", "            ", width)
    yield ""
    yield from _scores(one.scores, width)
    for remark in one.remarks:
        yield from wrapped(remark, "", "  ", width)


def _covariance(one: Comparison) -> str:
    if not one.covariance:
        return "none counted" + (f" ({one.shared})" if one.shared else "")
    r = one.covariance / (one.first.u * one.second.u)
    return f"{_figure(one.covariance)} {one.first.unit}²".strip() + f", r = {r:.3f}: {one.shared}"


def _scores(scores: Sequence[Score], width: int) -> Iterator[str]:
    yield from table_lines(
        [
            TextColumn("score", [score.name for score in scores]),
            TextColumn("figure", [_figure(score.value) for score in scores], "right"),
            TextColumn("limit", [" / ".join(_figure(limit) for limit in score.limits) for score in scores], "right"),
            TextColumn("verdict", [score.verdict for score in scores]),
            TextColumn("source", [score.source for score in scores]),
        ],
        width=width,
    )
    for score in scores:
        if score.remark and score.remark != "correlation counted":
            yield from wrapped(f"{score.name}: {score.remark}", "", "  ", width)


def material_lines(found: Sequence[tuple[CertifiedResult, Comparison | None]], width: int = WIDTH) -> Iterator[str]:
    """The reference materials of a run, one row each."""
    if not found:
        yield from wrapped("The run has no reference material with a certified value in the register.", width=width)
        yield from wrapped(TWO_RESULTS, width=width)
        return
    seen = [comparison for _, comparison in found if comparison is not None]
    remarks = list(dict.fromkeys(remark for one in seen for remark in one.remarks))
    items = list(dict.fromkeys(one.second.name for one in seen))
    if seen:
        yield from table_lines(
            [
                TextColumn("found", [one.first.name for one in seen]),
                TextColumn("value", [_figure(one.first.value) for one in seen], "right"),
                TextColumn("certified", [_figure(one.second.value) for one in seen], "right"),
                TextColumn("|Δ|", [_figure(one.scores[0].value) for one in seen], "right"),
                TextColumn("U_Δ", [_figure(one.scores[0].limits[0]) for one in seen], "right"),
                TextColumn("zeta", [f"{one.scores[1].value:.2f}" for one in seen], "right"),
                TextColumn("E_n", [f"{one.scores[2].value:.2f}" for one in seen], "right"),
                TextColumn("verdict", ["agrees" if one.scores[0].passed else "differs" for one in seen]),
                *(
                    [TextColumn("", [",".join(str(remarks.index(r) + 1) for r in one.remarks) for one in seen])]
                    if remarks
                    else []
                ),
            ],
            width=width,
        )
        yield ""
    for number, remark in enumerate(remarks, start=1):
        yield from wrapped(remark, f"{number}: ", "   ", width)
    for certified, comparison in found:
        if comparison is None:
            yield from wrapped(f"{certified.item}: a result of it is not available", "", "  ", width)
    for item in items:
        yield f"certified: {item}"
    units = list(dict.fromkeys(one.first.unit for one in seen))
    if seen:
        yield from wrapped(
            f"In {', '.join(units) or '1'}. A material agrees where |Δ| is at most U_Δ, 2 u of the difference (ERM "
            "Application Note 1; ISO Guide 33); |zeta| at most 2, |E_n| at most 1 (ISO 13528:2022, 9.6 and 9.7).",
            width=width,
        )


def _figure(value: float) -> str:
    return plain(value, DIGITS)


def compared_object(one: Compared) -> dict[str, object]:
    """A value for other programs."""
    return {
        "name": one.name,
        "value": one.value,
        "unit": one.unit,
        "standard_uncertainty": one.u,
        "expanded_uncertainty": one.U,
        "basis": one.basis,
    }


def comparison_object(one: Comparison) -> dict[str, object]:
    """A comparison for other programs; numbers unrounded."""
    return {
        "first": compared_object(one.first),
        "second": compared_object(one.second),
        "difference": one.first.value - one.second.value,
        "covariance": one.covariance,
        "covariance_rests_on": one.shared,
        "scores": [
            {
                "name": score.name,
                "value": score.value,
                "limits": list(score.limits),
                "verdict": score.verdict,
                "passed": score.passed,
                "source": score.source,
                "remark": score.remark,
            }
            for score in one.scores
        ],
        "remarks": list(one.remarks),
    }
