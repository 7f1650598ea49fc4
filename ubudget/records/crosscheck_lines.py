"""The rule for several lines against its method."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.finding import Finding
from ubudget.records.method import Method, Precision
from ubudget.records.several_lines import FIRST, SeveralLines


def line_rule_findings(method: Method, file: str) -> list[Finding]:
    """A rule that has nothing to choose from, and precision of which it does not say whether lines share it."""
    rule = method.several_lines
    if rule is None:
        return []
    if not any(len(lines) > 1 for lines in method.analytes.values()):
        found, accepted = "a rule for several lines in a method without such", "an analyte with two lines or more"
        remedy = "list the lines in [analytes], or delete the rule"
        return [Finding("attend", file, "several_lines", found, accepted, remedy)]
    return [*_named(method, rule, file), *_precisions(method, rule, file)]


def _named(method: Method, rule: SeveralLines, file: str) -> Iterator[Finding]:
    known = [name for name, symbol in method.symbols.items() if isinstance(symbol, Precision)]
    for key, names in (("shared", rule.shared), ("own", rule.own)):
        for name in names:
            if name not in known:
                accepted = f"symbols of the operation precision: {', '.join(known) or 'none yet'}"
                yield Finding("stop", file, f"several_lines, {key}", f"the symbol {name}", accepted, "correct it")
    for name in rule.shared:
        if name in rule.own:
            found = f"the symbol {name} both shared and own"
            yield Finding("stop", file, "several_lines", found, "one of the two", "delete one")


def _precisions(method: Method, rule: SeveralLines, file: str) -> Iterator[Finding]:
    for name, symbol in method.symbols.items():
        if not isinstance(symbol, Precision):
            continue
        if name not in (*rule.shared, *rule.own):
            if rule.rule != FIRST:
                found = f"no word on {name}, which falls in a mean if each line has its own"
                accepted = "each symbol of precision in shared or in own"
                remedy = f"name {name} in shared where it comes from digestion or sub-sampling, else in own"
                yield Finding("attend", file, "several_lines", found, accepted, remedy)
            continue
        if name not in rule.shared:
            continue
        if any(case.line or case.banded for case in symbol.cases):
            found = f"{name}, shared by lines, with a parameter by line or level"
            accepted = "one standard deviation for what lines share"
            yield Finding(
                "stop", file, f"symbol {name}, for", found, accepted, "take the line or level out, or name it own"
            )
        if method.effects.get("reading scatter", "").strip() == f"covered by {name}":
            found = f"readings, which lines do not share, covered by {name}, which they share"
            accepted = "readings counted, or covered by a precision of each line"
            remedy = f"count the readings and leave them out of {name}, or name {name} in own"
            yield Finding("attend", file, "effects, reading scatter", found, accepted, remedy)
