"""Units in the notation of D-SI: `mg/kg` is `\\milli\\gram\\kilogram\\tothe{-1}`.

D-SI XML schema 2.2 (DOI 10.5281/zenodo.3366901): names with a backslash as in the SI Brochure (9th edition, tables 2,
4, 7 and 8), prefix before unit, power behind it; the kilogram is one name. Percent and bar, and the spelling of names
that the brochure writes as two words, are from memory.
"""

from __future__ import annotations

import re

_PREFIXES = {
    "da": "deca", "h": "hecto", "k": "kilo", "M": "mega", "G": "giga", "T": "tera", "d": "deci", "c": "centi",
    "m": "milli", "µ": "micro", "μ": "micro", "u": "micro", "n": "nano", "p": "pico", "f": "femto",
}  # fmt: skip
_PREFIXED = {
    "m": "metre", "g": "gram", "s": "second", "A": "ampere", "K": "kelvin", "mol": "mole", "cd": "candela",
    "L": "litre", "l": "litre", "Hz": "hertz", "N": "newton", "Pa": "pascal", "J": "joule", "W": "watt",
    "C": "coulomb", "V": "volt", "F": "farad", "Ω": "ohm", "S": "siemens", "T": "tesla", "bar": "bar",
    "Bq": "becquerel", "kat": "katal",
}  # fmt: skip
_ALONE = {
    "kg": r"\kilogram", "kilogram": r"\kilogram", "%": r"\percent", "percent": r"\percent", "min": r"\minute",
    "h": r"\hour", "d": r"\day", "t": r"\tonne", "°C": r"\degreecelsius", "degC": r"\degreecelsius",
}  # fmt: skip
_NAMES = {
    **{
        spelled: rf"\{word}\{name}"
        for symbol, name in _PREFIXED.items()
        for prefix, word in _PREFIXES.items()
        for spelled in (prefix + symbol, word + name)
    },
    **{spelled: rf"\{name}" for symbol, name in _PREFIXED.items() for spelled in (symbol, name)},
    **_ALONE,
}
"""Later entries hold where two spellings meet: `cd` is the candela, `min` the minute, the kilogram one name."""
_TOKEN = re.compile(r"\s*(?:(?P<name>[A-Za-zµμΩ°%]+)|(?P<number>\d+)|(?P<sign>[*·/^()-]))")


def d_si_unit(unit: str) -> str | None:
    """The notation of a unit such as `mg/kg`, `m^3/h` or `1/K`; the plain number is `\\one`. None where it cannot be
    spelled: an unknown name, or a number other than 1 in it, as in `mg/(100 g)`."""
    if unit.strip() in ("", "1"):
        return r"\one"
    tokens = _tokens(unit.strip())
    factors = _product(tokens, 1) if tokens else None
    if not factors or tokens:
        return None
    return "".join(name if power == 1 else f"{name}\\tothe{{{power}}}" for name, power in factors)


def _tokens(unit: str) -> list[str]:
    tokens: list[str] = []
    place = 0
    while place < len(unit):
        match = _TOKEN.match(unit, place)
        if match is None:
            return []
        tokens.append(match[0].strip())
        place = match.end()
    return tokens


def _product(tokens: list[str], sign: int) -> list[tuple[str, int]] | None:
    """Names and powers up to the end or a closing bracket; what is read is taken off `tokens`."""
    factors: list[tuple[str, int]] = []
    side = sign
    while True:
        part = _factor(tokens, side)
        if part is None:
            return None
        factors += part
        if not tokens or tokens[0] == ")":
            return factors
        side = sign
        if tokens[0] in "*·/":
            side = -sign if tokens.pop(0) == "/" else sign


def _factor(tokens: list[str], sign: int) -> list[tuple[str, int]] | None:
    token = tokens.pop(0) if tokens else ""
    if token == "(":
        inner = _product(tokens, 1)
        if inner is None or not tokens or tokens.pop(0) != ")":
            return None
    elif token == "1":
        inner = []
    else:
        name = _NAMES.get(token)
        if name is None:
            return None
        inner = [(name, 1)]
    power = _power(tokens)
    return None if power is None else [(name, own * power * sign) for name, own in inner]


def _power(tokens: list[str]) -> int | None:
    if not tokens or tokens[0] != "^":
        return 1
    tokens.pop(0)
    negative = bool(tokens) and tokens[0] == "-"
    if negative:
        tokens.pop(0)
    if not tokens or not tokens[0].isdecimal() or not int(tokens[0]):
        return None
    power = int(tokens.pop(0))
    return -power if negative else power
