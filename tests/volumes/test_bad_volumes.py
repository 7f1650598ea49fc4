"""Bad input about ware, part volumes and temperature: each gives its finding, and no exception."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.volumes.titration import METHOD, REGISTER, SAMPLES, titration
from ubudget.files.reading import read_records


class Bad(NamedTuple):
    name: str
    file: str
    old: str
    new: str
    severity: str
    place: str
    words: str
    """Words that the finding's line holds, separated by `|`."""


M, G, S = "method.toml", "register.toml", "samples.csv"
TEXTS = {M: METHOD, G: REGISTER, S: SAMPLES}
BURETTE = 'division = "0.05 mL"\naccuracy_class = "AS"'
FLASK = 'nominal = "0.25 L"\naccuracy_class = "A"'

BAD = [
    Bad(
        "nominal that the table lacks",
        G,
        FLASK,
        'nominal = "75 mL"\naccuracy_class = "A"',
        "stop",
        "equipment 2 (F250), nominal",
        "75 mL|ISO 1042:1998, class A|1, 2, 5, 10, 20, 25, 50, 100|state tolerance",
    ),
    Bad(
        "piston pipette that the table lacks",
        G,
        'nominal = "5 mL"',
        'nominal = "0.3 mL"',
        "stop",
        "equipment 5 (PP5), nominal",
        "ISO 8655-2:2002|in µL: 1, 2, 5",
    ),
    Bad(
        "division that the table lacks",
        G,
        BURETTE,
        'division = "0.5 mL"\naccuracy_class = "AS"',
        "stop",
        "equipment 1 (BUR), nominal",
        "25 mL in divisions of 0.5 mL|25 (0.05), 25 (0.1)",
    ),
    Bad(
        "division not told",
        G,
        'division = "0.05 mL"\n',
        "",
        "stop",
        "equipment 1 (BUR), division",
        "several divisions|0.05 mL, 0.1 mL|add the division",
    ),
    Bad(
        "class that the row lacks",
        G,
        'nominal = "25 mL"\ndivision = "0.05 mL"\naccuracy_class = "AS"',
        'nominal = "10 mL"\ndivision = "0.02 mL"\naccuracy_class = "B"',
        "stop",
        "equipment 1 (BUR), nominal",
        "ISO 385:2005, class B|10 (0.05)",
    ),
    Bad(
        "class that the standard lacks",
        G,
        FLASK,
        'nominal = "250 mL"\naccuracy_class = "AS"',
        "stop",
        "equipment 2 (F250), accuracy_class",
        "class AS|ISO 1042:1998|A, B",
    ),
    Bad("unknown class", G, FLASK, FLASK.replace('"A"', '"C"'), "stop", "equipment 2 (F250), accuracy_class", "C|AS"),
    Bad(
        "class of a piston pipette",
        G,
        'nominal = "5 mL"',
        'nominal = "5 mL"\naccuracy_class = "A"',
        "stop",
        "equipment 5 (PP5), accuracy_class",
        "no class",
    ),
    Bad(
        "class of a tube",
        G,
        'kind = "flask"',
        'kind = "tube"',
        "stop",
        "equipment 2 (F250)",
        "accuracy class of a tube|tolerance",
    ),
    Bad(
        "unknown standard",
        G,
        FLASK,
        FLASK + '\nstandard = "ISO 1043"',
        "stop",
        "equipment 2 (F250), standard",
        "ISO 1043|ISO 1042|tolerance_source",
    ),
    Bad(
        "standard of other ware",
        G,
        FLASK,
        FLASK + '\nstandard = "ISO 648"',
        "stop",
        "equipment 2 (F250), standard",
        "ISO 648 (pipette) for a flask|ISO 1042",
    ),
    Bad(
        "neither tolerance nor class",
        G,
        FLASK,
        'nominal = "250 mL"',
        "stop",
        "equipment 2 (F250)",
        "without tolerance, accuracy_class and certificate",
    ),
    Bad(
        "value and column",
        M,
        'value_column = "titrant"',
        'value_column = "titrant"\nvalue = "3 mL"',
        "stop",
        "symbol V_t",
        "value and value_column together",
    ),
    Bad("column without ware", M, 'ware = "BUR"\n', "", "stop", "symbol V_t", "a value_column without ware"),
    Bad(
        "reading of ware filled to its mark",
        M,
        'ware = "F250"',
        'ware = "F250"\nreading_half_width = "0.1 mL"',
        "stop",
        "symbol V_f, reading_half_width",
        "not read|meniscus",
    ),
    Bad(
        "meniscus twice",
        M,
        'reading_half_width = "0.02 mL"',
        'reading_half_width = "0.02 mL"\nmeniscus = "0.02 mL"',
        "attend",
        "symbol V_t",
        "counted twice",
    ),
    Bad(
        "limits beside ware of the register",
        M,
        'ware = "F250"',
        'ware = "F250"\ntolerance = "0.1 mL"',
        "attend",
        "symbol V_f",
        "tolerance beside ware of the register",
    ),
    Bad("no column of volumes", S, "titrant [mL]", "burette [mL]", "stop", "headings", "no column titrant"),
    Bad("no volume", S, "18.64", "0", "stop", "row 1 (HW-1), titrant", "0|above zero"),
    Bad("more than the burette holds", S, "18.64", "26.1", "attend", "row 1 (HW-1), titrant", "26.1 mL from BUR|25 mL"),
    Bad("more than the pipette holds", M, "2.5 mL", "7.5 mL", "attend", "symbol V_w, value", "7.5 mL from PP5|5 mL"),
    Bad(
        "correction of a certificate not applied",
        M,
        'ware_column = "pipette"',
        'ware_column = "pipette"\nvalue = "20 mL"',
        "attend",
        "symbol V_a",
        "part volumes of P25, certified 25.006 mL|V-1|not applied",
    ),
    Bad(
        "expansion and liquid",
        M,
        'liquid = "water"',
        'liquid = "water"\nexpansion = "2e-4 1/K"',
        "stop",
        "symbol V_t, temperature",
        "both or neither of expansion and liquid",
    ),
    Bad("no expansion", M, 'liquid = "water"\n', "", "stop", "symbol V_t, temperature", "both or neither"),
    Bad(
        "unknown liquid",
        M,
        'liquid = "water"',
        'liquid = "brine"',
        "stop",
        "symbol V_t, temperature, liquid",
        "brine|toluene|kerosene|state expansion",
    ),
    Bad(
        "unknown material",
        M,
        "borosilicate 3.3",
        "oak",
        "stop",
        "symbol V_t, temperature, ware_material",
        "oak|polypropylene",
    ),
    Bad(
        "one liquid, two uncertainties",
        M,
        'expansion_u = "10 %"',
        'expansion_u = "5 %"',
        "stop",
        "symbol V_f, temperature, expansion_u",
        "expansion_u of water other than for symbol V_t",
    ),
    Bad(
        "one temperature, two deviations",
        M,
        'deviation = "3.4 K"',
        'deviation = "3 K"',
        "stop",
        "symbol V_f, temperature",
        "another deviation than for symbol V_t",
    ),
]


@pytest.mark.parametrize("bad", BAD, ids=[bad.name for bad in BAD])
def test_bad_volume(bad: Bad, tmp_path: Path) -> None:
    assert bad.old in TEXTS[bad.file]
    changed = {bad.file.partition(".")[0]: TEXTS[bad.file].replace(bad.old, bad.new, 1)}
    records, findings = read_records(titration(tmp_path, shared=True, **changed))  # type: ignore[arg-type]
    found = [f for f in findings if f.severity == bad.severity and f.file == bad.file and f.place == bad.place]
    assert found, [finding.line() for finding in findings]
    text = found[0].line()
    assert not [word for word in bad.words.split("|") if word not in text], text
    assert (records is None) == (bad.severity == "stop")


def test_the_run_itself_has_no_finding(tmp_path: Path) -> None:
    assert read_records(titration(tmp_path))[1] == []


def test_several_blanks_with_volumes_of_their_own(tmp_path: Path) -> None:
    """Only one blank titration can be the blank volume."""
    method = METHOD.replace("V_t/V_w", "(V_t - V_b)/V_w").replace(
        "[symbols.V_f]",
        '[symbols.V_b]\noperation = "volume"\nquantity = "blank titration"\nunit = "mL"\nof = "blank"\n'
        'ware = "BUR"\nvalue_column = "titrant"\n\n[symbols.V_f]',
        1,
    )
    samples = SAMPLES.replace("sample,", "sample,kind,").replace("HW-1,", "HW-1,,").replace("HW-2,", "HW-2,,")
    one = samples + "BL-1,blank,,0.15\n"
    assert read_records(titration(tmp_path, method=method, samples=one))[1] == []
    _, findings = read_records(titration(tmp_path, method=method, samples=one + "BL-2,blank,,0.20\n"))
    assert [finding.place for finding in findings] == ["titrant"]
    assert "2 blanks" in findings[0].line()
