"""What a report must say of recovery: whether results are corrected for it (IUPAC harmonised guidelines on recovery,
Pure Appl. Chem. 71 (1999) 337)."""

from __future__ import annotations

from collections.abc import Iterable

from ubudget.bench.cases import best_rows
from ubudget.evaluation.evaluate import Result
from ubudget.records.method import Method
from ubudget.records.recovery import CORRECTED, COVERED, DEFINED, NOT_SIGNIFICANT, Recovery

_WORDS = {
    CORRECTED: "corrected for recovery",
    NOT_SIGNIFICANT: "not corrected for recovery, which does not differ from 1 significantly; "
    "its uncertainty is included",
}
_WIDENED = "not corrected for recovery, which differs from 1; the uncertainty is widened for it"


def recovery_sentences(results: Iterable[Result], method: Method) -> list[str]:
    """One sentence for each treatment, with the analytes it holds for where there are several."""
    lines = [result.lines or ((result.analyte, result.line or ""),) for result in results]
    pairs = list(dict.fromkeys(line for each in lines for line in each))
    sentences = []
    for symbol in method.symbols.values():
        if not isinstance(symbol, Recovery):
            continue
        analytes: dict[str, list[str]] = {}
        for analyte, line in pairs:
            chosen = best_rows(symbol.treatments, analyte, line, "")
            if chosen:
                words = _words(symbol.treatments[chosen[0]].treatment.strip(), method)
                analytes.setdefault(words, []).append(analyte)
        for words, named in analytes.items():
            of = f" of {', '.join(dict.fromkeys(named))}" if len(analytes) > 1 else ""
            sentences.append(f"Results{of} are {words}.")
    return sentences


def _words(treatment: str, method: Method) -> str:
    covered, defined = COVERED.fullmatch(treatment), DEFINED.fullmatch(treatment)
    if covered:
        return f"not corrected for recovery; its uncertainty is part of: {method.symbols[covered.group(1)].quantity}"
    if defined:
        return f"not corrected for recovery, by definition of the method: {defined.group(1).rstrip('. ')}"
    return _WORDS.get(treatment, _WIDENED)
