"""Which results of some runs used an item, and what becomes of them with other figures of its certificate.

Other figures are edits of the record: the run is read again with them and evaluated anew, nothing is corrected after
the fact (ISO/IEC 17025:2017, 7.10: significance of a wrong figure for earlier results).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ubudget.errors import UbudgetError, UnusableInput
from ubudget.evaluation.certificates import Evidence, Register
from ubudget.evaluation.evaluate import Evaluation, Result, evaluate
from ubudget.evaluation.traceability import Link, chains
from ubudget.files.reading import records_from_texts
from ubudget.records.amount import Amount, parse_amount
from ubudget.records.records import Edit


@dataclass(frozen=True)
class Figures:
    """New figures of an item's certificate; None stays as it is. `analyte` chooses where a certificate has several."""

    value: Amount | None = None
    U: Amount | None = None
    analyte: str = ""


@dataclass(frozen=True)
class ItemUse:
    """One result that used the item. `contribution` is |c·u| of its input quantities together, in the unit of the
    result, None for an item that stands above others; `now` is the result with the new figures."""

    run: str
    result: Result
    contribution: float | None
    share: float | None
    now: Result | None


def figures(value: str | None, U: str | None, analyte: str | None) -> Figures | None:
    """New figures from what a person wrote; None where nothing is new. Raises `UbudgetError`."""
    if value is None and U is None:
        return None
    given = {"--value": value, "--U": U}
    amounts: dict[str, Amount | None] = {}
    for name, text in given.items():
        try:
            amounts[name] = None if text is None else parse_amount(text)
        except ValueError as error:
            raise UbudgetError(f"{name} {text}: {error}; write it like that") from None
    return Figures(amounts["--value"], amounts["--U"], analyte or "")


def uses_of_item(evaluations: Sequence[Evaluation], item: str, new: Figures | None = None) -> list[ItemUse]:
    """All results that rest on the item, run by run. Raises `UbudgetError` where no register knows it or where it has
    no such figures, `UnusableInput` where the new ones cannot be used."""
    known = list(dict.fromkeys(name for evaluation in evaluations for name in Register(evaluation.records).items))
    if item not in known:
        nearest = ", ".join(difflib.get_close_matches(item, known, n=5, cutoff=0.3) or known[:5]) or "none"
        raise UbudgetError(
            f"item {item}: no register of these runs has it; accepted: the id of an item; e.g. {nearest}"
        )
    found: list[ItemUse] = []
    for evaluation in evaluations:
        links = {
            number: link
            for number, chain in enumerate(chains(evaluation))
            for link in chain.links
            if link.evidence.item == item and _meant(link.evidence, new)
        }
        changed = None
        if new is not None and links:
            changed = _evaluated_with(evaluation, _edits(item, links.values(), new))
        for number, link in links.items():
            result = evaluation.results[number]
            now = changed.results[number] if changed else None
            found.append(ItemUse(evaluation.records.name, result, link.contribution, link.share, now))
    return found


def _meant(evidence: Evidence, new: Figures | None) -> bool:
    """Whether a link rests on the certified value that gets new figures."""
    own = evidence.certified.analyte if evidence.certified else ""
    return new is None or not new.analyte or own in ("", new.analyte)


def _edits(item: str, links: Iterable[Link], new: Figures) -> list[Edit]:
    """The edits that put the new figures into the certificates that were used."""
    places: dict[tuple[str | int, ...], Evidence] = {}
    for link in links:
        if place := _place(link.evidence):
            places.setdefault(place, link.evidence)
    if not places:
        raise UbudgetError(f"item {item}: it has no certified value; --value and --U need one; edit its limits instead")
    analytes = {evidence.certified.analyte: place for place, evidence in places.items() if evidence.certified}
    if len(places) > 1:
        listed = ", ".join(analytes)
        raise UbudgetError(
            f"item {item}: it has several certified values; accepted: one; choose with --analyte: {listed}"
        )
    (place,) = places
    return [
        Edit("register", (*place, key), amount.value, amount.unit)
        for key, amount in (("value", new.value), ("U", new.U))
        if amount is not None
    ]


def _place(evidence: Evidence) -> tuple[str | int, ...] | None:
    if evidence.certified is None or evidence.certificate is None or evidence.certificate_number is None:
        return None
    prop = evidence.certificate.properties.index(evidence.certified)
    return (evidence.table, evidence.number, "certificate", evidence.certificate_number, "property", prop)


def _evaluated_with(evaluation: Evaluation, edits: Sequence[Edit]) -> Evaluation:
    records, findings = records_from_texts(evaluation.records.texts, (*evaluation.records.edits, *edits))
    if records is None:
        raise UnusableInput(findings)
    changed, findings = evaluate(records)
    if changed is None:
        raise UnusableInput(findings)
    return changed


def uses_object(uses: Sequence[ItemUse], item: str) -> dict[str, object]:
    """The same as plain objects for other programs."""
    return {"item": item, "results": [_use_object(use) for use in uses]}


def _use_object(use: ItemUse) -> dict[str, object]:
    result, now = use.result, use.now
    return {
        "run": use.run,
        "sample": result.sample,
        "analyte": result.analyte,
        "line": result.line,
        "unit": result.unit,
        "value": result.value,
        "expanded_uncertainty": result.expanded_uncertainty,
        "contribution": use.contribution,
        "share": use.share,
        "new_value": now.value if now else None,
        "new_expanded_uncertainty": now.expanded_uncertainty if now else None,
    }
