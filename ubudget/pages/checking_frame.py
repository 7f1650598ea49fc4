"""What stands around the cells: sheets, what is hidden, protection, names, drop-down lists, formats, foreign parts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ubudget.pages.cells_as_read import Area, BookAsRead, RuleAsRead, SheetAsRead, address_of
from ubudget.pages.check_report import Difference
from ubudget.pages.checking_rows import UNMOVED, Moves, Shift
from ubudget.pages.formula_tokens import Reference, Token, same_tokens, tokens
from ubudget.quantity.spelling import column_letters

_NAMED = 10
"""Places that one line names."""
_PRINTED = {"_xlnm.Print_Area": "area on paper", "_xlnm.Print_Titles": "rows and columns repeated on paper"}
_OF_PROGRAMS = ("_xlnm._FilterDatabase",)
"""Names that programs keep for themselves."""


def permissions(sheet: SheetAsRead, there: SheetAsRead, locks: Sequence[str], shift: Shift) -> Iterator[Difference]:
    """Cells that were unlocked, or locked, one line for each sheet."""
    for locked, what, before, now in (
        (True, "locked", "unlocked", "locked"),
        (False, "unlocked", "locked", "unlocked"),
    ):
        places = [place for address in locks if (place := shift.address(address) or address)]
        mine = [place for place in places if there.cell(place).locked is locked]
        if mine:
            yield Difference(there.name, mine[0], before, now, f"{what}: {_listed(mine)}")


def frame_differences(issued: BookAsRead, found: BookAsRead, moves: Moves) -> Iterator[Difference]:
    """All that differs but the cells themselves."""
    yield from _sheets(issued, found, moves)
    for sheet in issued.sheets:
        if sheet.name in moves.names:
            there = found.by_name[moves.names[sheet.name]]
            yield from _sheet(sheet, there, moves)
    yield from _names(issued, found, moves)
    for words in found.foreign:
        yield Difference("", "", None, words, f"{words}, which no workbook of ubudget has")


def _sheets(issued: BookAsRead, found: BookAsRead, moves: Moves) -> Iterator[Difference]:
    for sheet in issued.sheets:
        name = moves.names.get(sheet.name)
        if name is None:
            yield Difference(sheet.name, "", sheet.name, None, "sheet deleted")
        elif name != sheet.name:
            yield Difference(name, "", sheet.name, name, "sheet renamed")
    known = set(moves.names.values())
    for other in found.sheets:
        if other.name not in known:
            yield Difference(other.name, "", None, other.name, "sheet inserted")
            if not other.visible:
                yield Difference(other.name, "", None, "hidden", "sheet hidden")


def _sheet(sheet: SheetAsRead, there: SheetAsRead, moves: Moves) -> Iterator[Difference]:
    name, shift = there.name, moves.shifts.get(sheet.name, UNMOVED)
    if sheet.visible != there.visible:
        shown = ("hidden", "visible")
        now = "shown" if there.visible else "hidden"
        yield Difference(name, "", shown[sheet.visible], shown[there.visible], f"sheet {now}")
    if sheet.protected != there.protected:
        state = ("unprotected", "protected")
        what_now = "protection of the sheet put on" if there.protected else "protection of the sheet removed"
        yield Difference(name, "", state[sheet.protected], state[there.protected], what_now)
    rows = frozenset(filter(None, map(shift.rows.at, sheet.hidden_rows)))
    columns = frozenset(filter(None, map(shift.columns.at, sheet.hidden_columns)))
    yield from _hidden(name, "row", rows, there.hidden_rows, "A{}".format, str)
    yield from _hidden(name, "column", columns, there.hidden_columns, lambda n: address_of(n, 1), column_letters)
    for what, rules, others in (
        ("drop-down list", sheet.lists, there.lists),
        ("conditional format", sheet.conditions, there.conditions),
    ):
        yield from _rules(name, sheet.name, what, rules, others, moves)


def _hidden(
    sheet: str, what: str, before: frozenset[int], now: frozenset[int], place: object, named: object
) -> Iterator[Difference]:
    assert callable(place) and callable(named)
    for numbers, state in ((now - before, "hidden"), (before - now, "shown")):
        for first, last in _runs(sorted(numbers)):
            words = f"{what} {named(first)}" if first == last else f"{what}s {named(first)} to {named(last)}"
            yield Difference(sheet, place(first), None, state, f"{words} {state}")


def _runs(numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Neighbouring numbers drawn together."""
    first = last = 0
    for number in numbers:
        if first and number == last + 1:
            last = number
            continue
        if first:
            yield first, last
        first = last = number
    if first:
        yield first, last


Saying = tuple[str, tuple[tuple[Token, ...], ...]]
"""Kind and formulas of a rule."""


def _rules(
    name: str, home: str, what: str, before: Sequence[RuleAsRead], now: Sequence[RuleAsRead], moves: Moves
) -> Iterator[Difference]:
    """Rules by what they say; where one says the same for other cells, these are named."""
    issued, found = _by_saying(before), _by_saying(now)
    for said in list(issued):
        if said not in found:
            same = next((other for other in found if _says_the_same(said, other, home, moves)), None)
            if same is not None:
                found[said] = found.pop(same)
    for said in dict.fromkeys([*issued, *found]):
        here, there = issued.get(said, []), found.get(said, [])
        if _size(here) == _size(there) and (home in moves.shifts or _covers(there, here)):
            continue
        if home in moves.shifts and here and there:
            continue  # grown or shrunk with what moved, which are told
        place = _areas([(there or here)[0]]).partition(":")[0]
        state = "removed" if not there else "added" if not here else "for other cells"
        yield Difference(name, place, _areas(here) or None, _areas(there) or None, f"{what} {state}: {_spelled(said)}")


def _by_saying(rules: Sequence[RuleAsRead]) -> dict[Saying, list[Area]]:
    found: dict[Saying, list[Area]] = {}
    for rule in rules:
        # Programs write a second formula beside that of a list, which means nothing.
        formulas = rule.formulas[:1] if rule.kind.startswith("list ") else rule.formulas
        found.setdefault((rule.kind, tuple(tokens(text) for text in formulas)), []).extend(rule.areas)
    return found


def _says_the_same(issued: Saying, found: Saying, home: str, moves: Moves) -> bool:
    return (
        issued[0] == found[0]
        and len(issued[1]) == len(found[1])
        and all(
            same_tokens(one, other, home) or moves.explain(one, other, home)
            for one, other in zip(issued[1], found[1], strict=True)
        )
    )


def _spelled(said: Saying) -> str:
    formulas = ("".join(_word(token) for token in formula) for formula in said[1])
    return f"{said[0]} {' '.join(formulas)}"[:150]


def _word(token: Token) -> str:
    if isinstance(token, Reference):
        prefix = f"{token.sheet}!" if token.sheet else ""
        columns = ("$" if token.fixed_column else "") + column_letters(token.column)
        return f"{prefix}{columns}{'$' if token.fixed_row else ''}{token.row}"
    return f"{token:g}" if isinstance(token, float) else token


def _size(areas: Sequence[Area]) -> int:
    return sum(area.cells for area in areas)


def _covers(areas: Sequence[Area], wanted: Sequence[Area]) -> bool:
    """Whether areas of equal size are the same cells; corners tell, since ranges are rectangles."""
    corners = [(x, y) for area in wanted for x in (area.left, area.right) for y in (area.top, area.bottom)]
    return all(any(area.holds(x, y) for area in areas) for x, y in corners)


def _areas(areas: Sequence[Area]) -> str:
    told = [
        address_of(area.left, area.top) + (f":{address_of(area.right, area.bottom)}" if area.cells > 1 else "")
        for area in areas[:_NAMED]
    ]
    return " ".join(told)


def _names(issued: BookAsRead, found: BookAsRead, moves: Moves) -> Iterator[Difference]:
    before = {_renamed(name, moves): text for name, text in issued.names.items()}
    for name in sorted({*before, *found.names}):
        sheet, _, bare = name.rpartition("!")
        if bare in _OF_PROGRAMS:
            continue
        was, stands = before.get(name), found.names.get(name)
        if was is not None and stands is not None and _same_place(was, stands, moves):
            continue
        if was is not None and stands is None and sheet and sheet not in found.by_name:
            continue  # gone with its sheet
        state = "added" if was is None else "removed" if stands is None else "changed"
        if was and stands and bare in _PRINTED and not moves.none:
            continue  # printed areas follow what moved
        yield Difference(sheet, "", was, stands, f"{_PRINTED.get(bare, f'name {bare}')} {state}")


def _renamed(name: str, moves: Moves) -> str:
    sheet, mark, bare = name.rpartition("!")
    return f"{moves.names.get(sheet, sheet)}{mark}{bare}"


def _same_place(one: str, other: str, moves: Moves) -> bool:
    return tokens(one) == tokens(other) or (not moves.none and moves.explain(tokens(one), tokens(other), ""))


def _listed(places: Sequence[str]) -> str:
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return ", ".join(places[:_NAMED]) + more
