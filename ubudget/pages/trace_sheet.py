"""Sheet `traceability`: each item once, with its evidence and the analytes that use it, and the chain drawn in cells.

Figures that stand elsewhere in the workbook are taken from there by formula; whether a certificate was in force is
a formula over its dates.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan, sqrt

from ubudget.evaluation.certificates import Evidence, Register
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.traceability import Chain, telling_chains
from ubudget.pages.book import Band, BandColumn, LooseCell, Sheet, Value
from ubudget.pages.layout import FIRST_BAND, TRACEABILITY, headline
from ubudget.pages.placement import Placement, Placements
from ubudget.pages.trace_tree import Node, ending_words, item_name, method_tree
from ubudget.quantity.graph import Label
from ubudget.quantity.spelling import column_letters

NOTE = "Every item behind a result: the certificate of the day of use, and where its chain of calibrations ends."
VALUES, UNCERTAINTIES = ("volume", "certified", "value"), ("u calibration", "u")
"""Columns of the tables of items that hold value and u."""
TEXTS = 11
"""Columns of words before the first number."""
BOX_WIDE, STEP, DRAWN_FROM = 2, 3, 2
"""Columns of a drawn box, columns from one box to the next, and the first column of the drawing."""


@dataclass(frozen=True)
class _Row:
    evidence: Evidence
    users: tuple[str, ...]
    operations: tuple[str, ...]
    ending: str
    home: tuple[Placement, int] | None
    """Where its figures stand in the workbook."""


def traceability_sheet(evaluation: Evaluation, placements: Placements) -> Sheet | None:
    """None where the run has no register."""
    if evaluation.records.register is None:
        return None
    found = telling_chains(evaluation)
    rows = _rows(evaluation, found, placements)
    bands: list[Band] = []
    top = FIRST_BAND
    for name, title, chosen in (
        ("items in the results", "Items of the register whose figures enter the results", [r for r in rows if r.home]),
        ("other items", "Items cited or used for checks, and what stands above", [r for r in rows if not r.home]),
    ):
        if chosen:
            bands.append(Band(name, top, 1, _columns(evaluation, chosen, top + Band.HEADING_ROWS), title))
            top = bands[-1].last_row + 4
    if not bands:
        return None
    drawing, branches = _drawing(method_tree(evaluation, found), top)
    cells = [*headline(TRACEABILITY, NOTE), *drawing]
    whole = ((top, branches[-1][1]), *branches) if branches else ()
    return Sheet(TRACEABILITY, tuple(bands), tuple(cells), repeat_columns=1, pages_across=2, whole=whole)


def _rows(evaluation: Evaluation, found_chains: Sequence[Chain], placements: Placements) -> list[_Row]:
    register = Register(evaluation.records)
    homes = _homes(placements)
    users: dict[tuple[str, str], dict[str, None]] = {}
    operations: dict[tuple[str, str], dict[str, None]] = {}
    evidence: dict[tuple[str, str], Evidence] = {}
    for chain in found_chains:
        for link in chain.links:
            certified = link.evidence.certified
            key = (link.evidence.item, certified.analyte if certified else "")
            evidence.setdefault(key, link.evidence)
            users.setdefault(key, {}).update(dict.fromkeys([chain.analyte]))
            operations.setdefault(key, {}).update(dict.fromkeys(link.operations))
    named = {item for item, _ in evidence}
    for item in register.uses:
        if item not in named and item in register.items:
            for analyte in evaluation.records.method.analytes:
                found = register.evidence(item, analyte)
                key = (item, found.certified.analyte if found.certified else "")
                evidence.setdefault(key, found)
    rows = []
    for key, found in evidence.items():
        walk = register.walk(found)
        last = walk.links[-1] if walk.links else found
        end = last.item if last.role == "reference" else last.traceable_to
        home = next((homes[known] for known in _names(found, users.get(key, {})) if known in homes), None)
        words = ending_words(walk.ending, end)
        rows.append(_Row(found, tuple(users.get(key, {})), tuple(operations.get(key, {})), words, home))
    return rows


def _names(evidence: Evidence, users: Mapping[str, None]) -> list[tuple[str, str]]:
    return [*((evidence.item, analyte) for analyte in users), (evidence.item, "")]


def _homes(placements: Placements) -> dict[tuple[str, str], tuple[Placement, int]]:
    """Item and analyte → row of the table that holds its certified figures."""
    homes: dict[tuple[str, str], tuple[Placement, int]] = {}
    for placement in placements.values():
        table = placement.table
        names = set(table.by_name)
        whole = {"U", "k"} <= names and names & set(VALUES) and names & set(UNCERTAINTIES)
        if not whole or not isinstance(table.by_name.get("item"), Label):
            continue
        analytes = table.texts("analyte") if "analyte" in table.by_name else ("",) * table.size
        for row, (item, analyte) in enumerate(zip(table.texts("item"), analytes, strict=True)):
            homes.setdefault((item, analyte), (placement, row))
    return homes


def _columns(evaluation: Evaluation, rows: Sequence[_Row], first: int) -> tuple[BandColumn, ...]:
    evidence = [row.evidence for row in rows]
    certificates = [one.certificate for one in evidence]
    linked = all(row.home for row in rows)

    def texts(heading: str, values: Sequence[str], width: float = 13.0) -> BandColumn:
        return BandColumn(heading, [value or None for value in values], "text", width=width)

    words = (
        BandColumn("item", [item_name(one) for one in evidence], "label", width=13.0),
        texts("description", [one.description for one in evidence], 22.0),
        texts("kind", [one.kind for one in evidence]),
        texts("lot", [one.lot for one in evidence]),
        texts("used for", [_used_for(row) for row in rows]),
        texts("enters by", [", ".join(row.operations) for row in rows]),
        texts("certificate", [c.number if c else "" for c in certificates]),
        texts("issuer", [c.issuer if c else "" for c in certificates], 18.0),
        texts("accreditation", [c.accreditation if c else "" for c in certificates]),
        texts("route", [c.route or "none" if c else "" for c in certificates]),
        texts("evidence", [c.evidence if c else "" for c in certificates], 18.0),
    )
    assert len(words) == TEXTS
    numbers = _linked(evaluation, rows) if linked else _recorded(rows, first)
    return (
        *words,
        *numbers,
        *_validity(evidence, TEXTS + len(numbers) + 1, first),
        texts("traceable to", [one.traceable_to for one in evidence], 22.0),
        texts("chain ends at", [row.ending for row in rows], 22.0),
    )


def _used_for(row: _Row) -> str:
    return ", ".join(row.users) if row.users else "a check"


def _linked(evaluation: Evaluation, rows: Sequence[_Row]) -> tuple[BandColumn, ...]:
    """Figures taken from where they stand in the workbook."""

    def column(heading: str, names: Sequence[str], remark: str = "") -> BandColumn:
        values: list[Value] = []
        formulas: list[str | None] = []
        for row in rows:
            assert row.home is not None
            placement, number = row.home
            name = next((known for known in names if known in placement.table.by_name), None)
            value = float("nan") if name is None else float(evaluation.column(name, placement.table.name)[number])
            values.append(None if isnan(value) else value)
            formulas.append(None if isnan(value) or name is None else placement.cell(name, number, TRACEABILITY))
        return BandColumn(heading, values, "number", "", formulas, width=11.0, remark=remark)

    units = []
    for row in rows:
        assert row.home is not None
        table = row.home[0].table
        name = next(known for known in VALUES if known in table.by_name)
        units.append(getattr(table.by_name[name], "unit", "") or "1")
    return (
        column("value", VALUES),
        BandColumn("unit", units, "text", width=9.0),
        column("U", ("U",)),
        column("k", ("k",)),
        column("u", UNCERTAINTIES, "U/k, or limits"),
    )


def _recorded(rows: Sequence[_Row], first: int) -> tuple[BandColumn, ...]:
    """Figures that stand nowhere else, as the register has them; u by formula."""
    evidence = [row.evidence for row in rows]
    U, k, stated = (column_letters(TEXTS + number) for number in (3, 4, 5))
    formulas: list[str | None] = []
    results: list[Value] = []
    for number, one in enumerate(evidence):
        row = first + number
        if one.U is not None:
            factor = one.k if one.k is not None else sqrt(3)
            formulas.append(f"{U}{row}/{f'{k}{row}' if one.k is not None else 'SQRT(3)'}")
            results.append(float(f"{one.U:.15g}") / factor)
        elif one.u is not None:
            formulas.append(f"{stated}{row}")
            results.append(float(f"{one.u:.15g}"))
        else:
            formulas.append(None)
            results.append(None)

    def fixed(heading: str, values: Sequence[float | None]) -> BandColumn:
        shown: list[Value] = [None if value is None else float(f"{value:.15g}") for value in values]
        return BandColumn(heading, shown, "fixed", width=11.0)

    return (
        fixed("value", [one.value for one in evidence]),
        BandColumn("unit", [one.unit or None for one in evidence], "text", width=9.0),
        fixed("U", [one.U for one in evidence]),
        fixed("k", [one.k for one in evidence]),
        fixed("u stated", [one.u if one.U is None else None for one in evidence]),
        BandColumn("u", results, "number", "", formulas, width=11.0, remark="U/k, or as stated"),
    )


def _validity(evidence: Sequence[Evidence], left: int, first: int) -> tuple[BandColumn, ...]:
    """Dates of certificate, lot and use, and what follows from them; the first stands in column `left`."""
    issued, due, expiry, used, last = (column_letters(left + number) for number in range(5))
    formulas: list[str | None] = []
    for number, one in enumerate(evidence):
        row = first + number
        if one.status in ("valid", "expired", "not yet valid") and one.uses:
            over = f"{due}{row}<{last}{row}"
            over = f"OR({over},{expiry}{row}<{last}{row})" if one.expiry and one.certificate else over
            formulas.append(f'IF({issued}{row}>{used}{row},"not yet valid",IF({over},"expired","valid"))')
        else:
            formulas.append(None)

    def dates(heading: str, days: Sequence[dt.date | None]) -> BandColumn:
        return BandColumn(heading, list(days), "date", width=11.0)

    return (
        dates("issued", [one.certificate.issued if one.certificate else one.prepared for one in evidence]),
        dates("due", [one.certificate.due if one.certificate else one.expiry for one in evidence]),
        dates("lot expires", [one.expiry if one.certificate else None for one in evidence]),
        dates("first use", [one.uses[0].day if one.uses else None for one in evidence]),
        dates("last use", [one.uses[-1].day if one.uses else None for one in evidence]),
        BandColumn(
            "status", [one.status for one in evidence], "result", "", formulas, width=13.0, remark="on the days of use"
        ),
    )


def _drawing(tree: Node, top: int) -> tuple[list[LooseCell], list[tuple[int, int]]]:
    """The tree as framed cells from left to right, with arrows between them, and the rows of each of its branches; an
    arrow reads: rests on."""
    cells = [LooseCell(top, 1, "chain", "label")]
    cells.append(LooseCell(top, DRAWN_FROM, f"{tree.title}. An arrow reads: rests on.", "box", across=BOX_WIDE + STEP))
    row = top + 2
    branches = []
    for child in tree.children:
        below = _draw(child, row, DRAWN_FROM, cells)
        branches.append((row, below - 1))
        row = below
    return cells, branches


def _draw(node: Node, row: int, column: int, cells: list[LooseCell]) -> int:
    """Draws a node and what is above it from `row` on; gives the first free row."""
    text = f"{node.title} (! {node.fault})" if node.fault else node.title
    cells.append(LooseCell(row, column, text, "box", across=BOX_WIDE))
    below = row
    for number, child in enumerate(node.children):
        cells.append(LooseCell(below, column + BOX_WIDE, "→" if number == 0 else "↳", "note"))
        below = _draw(child, below, column + STEP, cells)
    return max(below, row + 1)
