"""Targets and plans as a person reads them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.planning import Planned, Tried
from ubudget.evaluation.shrinking import Part, parts_of
from ubudget.pages.figures import percent, plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.results_table import result_label
from ubudget.pages.target_words import MET, MISSED, NO_RESULT

DIGITS = 4
NO_TARGET = "no target"
WITHOUT = "The method states no target uncertainty: target_uncertainty in [method], or tables [[target]]."
MOST_PARTS = 8
DOWN_TO = (
    "Down to: the part of its present u that alone would meet the target, all else and k as they are; cannot: the rest "
    "alone exceeds the target."
)


def verdict(planned: Planned) -> str:
    """Met or not, or why that cannot be said."""
    if planned.result.value is None:
        return NO_RESULT
    if planned.ratio is None:
        return NO_TARGET
    return MET if planned.met else MISSED


def overview_lines(evaluation: Evaluation, planned: Sequence[Planned], width: int = WIDTH) -> Iterator[str]:
    """All results beside their targets, with the largest group and how far it would have to shrink."""
    firsts = [_first_group(evaluation, one) for one in planned]
    judged = [one for one in planned if one.ratio is not None]
    columns = [
        TextColumn("result", [result_label(one.result) for one in planned]),
        TextColumn("U", [_figure(one.result.expanded_uncertainty) for one in planned], "right"),
    ]
    if judged:
        columns += [
            TextColumn("target", [_figure(one.target or None) for one in planned], "right"),
            TextColumn("U/target", [_ratio(one) for one in planned], "right"),
            TextColumn("", [verdict(one) for one in planned]),
        ]
    columns += [
        TextColumn("largest", [part.name if part else "" for part in firsts]),
        TextColumn("share", [percent(part.share) if part else "" for part in firsts], "right"),
    ]
    if any(not one.met for one in judged):
        down_to = [_down_to(one, part) for one, part in zip(planned, firsts, strict=True)]
        columns.append(TextColumn("down to", down_to, "right"))
    yield from table_lines(columns, width=width)
    yield ""
    if judged:
        yield f"{sum(one.met for one in judged)} of {len(judged)} results meet their target."
        if not all(one.met for one in judged):
            yield from wrapped(DOWN_TO, width=width)
    else:
        yield from wrapped(WITHOUT, width=width)


def _first_group(evaluation: Evaluation, planned: Planned) -> Part | None:
    if planned.result.value is None:
        return None
    groups, _ = parts_of(evaluation, planned.row, planned.target)
    return groups[0] if groups else None


def _down_to(planned: Planned, part: Part | None) -> str:
    if part is None or planned.ratio is None or planned.met:
        return ""
    return "cannot" if part.factor is None else f"{100 * part.factor:.1f} %"


def result_lines(evaluation: Evaluation, planned: Planned, width: int = WIDTH) -> Iterator[str]:
    """One result: its target, the groups and inputs by share, and what each alone would have to come down to."""
    result = planned.result
    yield result_label(result)
    if result.value is None:
        yield from wrapped("; ".join(result.flags), "  ", "  ", width)
        return
    unit = unit_text(result.unit)
    yield from wrapped(
        f"value {_figure(result.value)}{unit}, U = {_figure(result.expanded_uncertainty)}{unit}"
        f" (k = {result.coverage_factor:.2f})",
        "  ",
        "  ",
        width,
    )
    if planned.ratio is None:
        yield from wrapped(WITHOUT, "  ", "  ", width)
    else:
        share = f" ({100 * planned.target / abs(result.value):.3g} % of the value)" if result.value else ""
        yield from wrapped(
            f"target U = {_figure(planned.target)}{unit}{share}: {verdict(planned)}, U/target = {_ratio(planned)}",
            "  ",
            "  ",
            width,
        )
    groups, inputs = parts_of(evaluation, planned.row, planned.target)
    for heading, parts in (("group", groups), ("input quantity", inputs)):
        yield ""
        shown = parts[:MOST_PARTS]
        columns = [
            TextColumn(heading, [part.name for part in shown]),
            TextColumn("share of u²", [percent(part.share) for part in shown], "right"),
        ]
        if planned.ratio is not None and not planned.met:
            columns.append(TextColumn("down to", [_down_to(planned, part) for part in shown], "right"))
        if heading != "group":
            columns.append(TextColumn("quantity", [part.quantity for part in shown]))
        yield from table_lines(columns, "  ", width)
        if len(parts) > len(shown):
            rest = sum(part.share for part in parts[MOST_PARTS:])
            yield f"  and {len(parts) - MOST_PARTS} more with {percent(rest)} together"
    if planned.ratio is not None and not planned.met:
        yield ""
        yield from wrapped(DOWN_TO, "  ", "  ", width)


def tried_lines(now: Sequence[Planned], tried: Sequence[Tried], width: int = WIDTH) -> Iterator[str]:
    """What each option would give: for one result its figures, for several how many meet their target."""
    yield "Evaluated anew from changed records:"
    if len(now) == 1:
        rows = [now[0], *(one.planned[0] for one in tried)]
        yield from table_lines(
            [
                TextColumn("option", [one.option.text if one.option else "as it is" for one in rows]),
                TextColumn("value", [_figure(one.result.value) for one in rows], "right"),
                TextColumn("U", [_figure(one.result.expanded_uncertainty) for one in rows], "right"),
                TextColumn("unit", [one.result.unit for one in rows]),
                TextColumn("U/target", [_ratio(one) for one in rows], "right"),
                TextColumn("", [verdict(one) for one in rows]),
                TextColumn("largest", [one.largest for one in rows]),
            ],
            width=width,
        )
        known = set(now[0].result.flags)
        for planned in rows[1:]:
            for flag in planned.result.flags:
                if flag not in known and planned.option:
                    yield from wrapped(f"{planned.option.text}: {flag}", "", "  ", width)
    elif not any(one.ratio is not None for one in now):
        yield from wrapped(
            "No result has a target: choose one with --result to see its U under each option.", width=width
        )
    else:
        sets = [now, *(one.planned for one in tried)]
        names = ["as it is", *(one.option.text for one in tried)]
        yield from table_lines(
            [
                TextColumn("option", names),
                TextColumn("met", [_count(planned) for planned in sets], "right"),
                TextColumn("largest U/target", [_worst(planned) for planned in sets], "right"),
                TextColumn("of", [_worst_label(planned) for planned in sets]),
            ],
            width=width,
        )
    yield ""
    for remark in dict.fromkeys(remark for one in tried for remark in one.remarks):
        yield from wrapped(f"{remark}.", "", "  ", width)


def _count(planned: Sequence[Planned]) -> str:
    judged = [one for one in planned if one.ratio is not None]
    return f"{sum(one.met for one in judged)} of {len(judged)}"


def _largest(planned: Sequence[Planned]) -> Planned | None:
    judged = [one for one in planned if one.ratio is not None]
    return max(judged, key=lambda one: one.ratio or 0.0) if judged else None


def _worst(planned: Sequence[Planned]) -> str:
    found = _largest(planned)
    return _ratio(found) if found else ""


def _worst_label(planned: Sequence[Planned]) -> str:
    found = _largest(planned)
    return result_label(found.result) if found else ""


def _ratio(planned: Planned) -> str:
    return "" if planned.ratio is None else f"{planned.ratio:.2f}"


def _figure(value: float | None) -> str:
    return "" if value is None else plain(value, DIGITS)


def targets_object(evaluation: Evaluation, now: Sequence[Planned], tried: Sequence[Tried]) -> dict[str, object]:
    """The same for other programs, numbers unrounded; a factor is null where the rest alone exceeds the target."""
    results = []
    for number, planned in enumerate(now):
        usable = planned.result.value is not None
        groups, inputs = parts_of(evaluation, planned.row, planned.target) if usable else ([], [])
        results.append(
            {
                **_planned_object(planned),
                "groups": [_part_object(part, planned) for part in groups],
                "inputs": [_part_object(part, planned) for part in inputs],
                "options": [
                    {"option": one.option.text, **_planned_object(one.planned[number]), "remarks": list(one.remarks)}
                    for one in tried
                ],
            }
        )
    return {"findings": [finding.as_json() for finding in evaluation.findings], "results": results}


def _planned_object(planned: Planned) -> dict[str, object]:
    result: Result = planned.result
    return {
        "sample": result.sample,
        "analyte": result.analyte,
        "line": result.line,
        "value": result.value,
        "unit": result.unit,
        "standard_uncertainty": result.standard_uncertainty,
        "coverage_factor": result.coverage_factor,
        "expanded_uncertainty": result.expanded_uncertainty,
        "target": planned.target or None,
        "ratio": planned.ratio,
        "met": None if planned.ratio is None else planned.met,
        "largest_group": planned.largest,
        "flags": list(result.flags),
    }


def _part_object(part: Part, planned: Planned) -> dict[str, object]:
    factor = part.factor if planned.ratio is not None else None
    return {
        "name": part.name,
        "group": part.group,
        "quantity": part.quantity,
        "share": part.share,
        "factor": factor,
        "reachable": None if planned.ratio is None else part.factor is not None,
    }
