"""The small run of the findings with a clean chain: every certificate ends somewhere and is in force; invented."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import FILES

RUN = (
    FILES["run.toml"]
    .replace(
        'register = "register.toml"',
        'register = "register.toml"',
    )
    .replace(
        "\n[[standard]]",
        "\n[run.dates]\npreparation = 2026-03-09\nweighing = 2026-03-04\ndigestion = 2026-03-05\n"
        "measurement = 2026-03-10\n\n[[standard]]",
        1,
    )
)
METHOD = FILES["method.toml"].replace(
    'estimate = 1\nU = "2 %"\nk = 2\n',
    'estimate = 1.01\nU = 0.02\nk = 2\nitem = "FACTOR"\n',
)
REGISTER = (
    FILES["register.toml"]
    .replace('linearity = "0.2 mg"\n', "")
    .replace(
        'traceable_to = "kilogram"\nends_at = "SI"\n',
        'traceable_to = "NS-MASS"\n[[equipment.certificate.property]]\nvalue = "0 mg"\nU = "0.2 mg"\nk = 2\n',
        1,
    )
    .replace('traceable_to = "mole"\nends_at = "SI"\n', 'traceable_to = "PRIMARY"\n')
    + """
[[reference_material]]
id = "CHECK"
kind = "matrix reference material"
description = "sediment with certified zinc"
lot = "L2"

[[reference_material.certificate]]
number = "C-90"
issuer = "Another invented producer"
accreditation = "X 3"
route = "accredited producer"
issued = 2025-01-07
due = 2028-01-07
traceable_to = "zinc content by two methods"
ends_at = "named reference"

[[reference_material.certificate.property]]
analyte = "Zn"
value = "400 mg/kg"
U = "20 mg/kg"
k = 2

[[equipment]]
id = "FACTOR"
kind = "other"
description = "recovery standard"

[[equipment.certificate]]
number = "F-2"
issuer = "Invented institute"
route = "national institute"
issued = 2026-01-05
due = 2028-01-05
traceable_to = "ratio of two masses"
ends_at = "SI"
[[equipment.certificate.property]]
value = 1.01
U = 0.02
k = 2

[[equipment.certificate]]
number = "F-1"
issuer = "Invented institute"
route = "national institute"
issued = 2024-01-05
due = 2026-01-05
traceable_to = "ratio of two masses"
ends_at = "SI"
[[equipment.certificate.property]]
value = 1.01
U = 0.03
k = 2

[[reference]]
id = "NS-MASS"
description = "national standard of mass"
kind = "national standard"
traceable_to = "KG"

[[reference]]
id = "KG"
description = "kilogram"
kind = "SI unit"

[[reference]]
id = "PRIMARY"
description = "primary zinc solution"
kind = "named reference"
value = "10 g/L"
u = "0.1 %"
"""
)
SAMPLES = FILES["samples.csv"].replace("moisture [%]", "moisture [%],material")
SAMPLES = (
    "\n".join(line if not number or not line else f"{line}," for number, line in enumerate(SAMPLES.split("\n")))
    + "CHK,reference material,12.0,12.5,1.0,CHECK\n"
)
READINGS = FILES["readings.csv"] + "CHK,Zn,213.9,0.395,0.396,0.394\n"

TEXTS = {
    **FILES,
    "run.toml": RUN,
    "method.toml": METHOD,
    "register.toml": REGISTER,
    "samples.csv": SAMPLES,
    "readings.csv": READINGS,
}


def write_chain_run(folder: Path, *changes: tuple[str, str, str]) -> Path:
    """The run in `folder`, with (file, old, new) changed, each once."""
    texts = dict(TEXTS)
    for name, old, new in changes:
        assert old in texts[name], f"{old!r} is not in {name}"
        texts[name] = texts[name].replace(old, new, 1)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder
