"""An invented run without readings: calcium in hard water by titration, ware by class, part volumes by sample.

Two samples are taken by a numbered burette of class AS and a flask of class A; the water is delivered by a piston
pipette set to a part of its nominal volume.
"""

from __future__ import annotations

from pathlib import Path

from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records

METHOD = """
[method]
id = "M-TITR"
title = "Calcium in hard water by titration"
version = "1"
status = "approved"
measurand = "amount concentration of calcium"
unit = "mmol/L"
equation = "c_Ca = k*c_t*V_t/V_w*V_f/V_a"

[coverage]
rule = "t"

[symbols.k]
operation = "constant"
quantity = "conversion"
value = "1000 mmol/mol"

[symbols.c_t]
operation = "input"
quantity = "concentration of the titrant"
unit = "mol/L"
estimate = "0.01004 mol/L"
U = "0.00004 mol/L"
k = 2
source = "invented"

[symbols.V_t]
operation = "volume"
quantity = "volume of titrant"
unit = "mL"
ware = "BUR"
value_column = "titrant"
reading_half_width = "0.02 mL"
drop_half_width = "0.025 mL"
source = "invented"

[symbols.V_t.temperature]
half_range = "2 K"
deviation = "3.4 K"
liquid = "water"
ware_material = "borosilicate 3.3"
expansion_u = "10 %"
shared = SHARED
source = "thermometer of the room, invented"

[symbols.V_f]
operation = "volume"
quantity = "volume of the diluted water"
unit = "mL"
ware = "F250"

[symbols.V_f.temperature]
half_range = "2 K"
deviation = "3.4 K"
liquid = "water"
ware_material = "borosilicate 3.3"
expansion_u = "10 %"
shared = SHARED
source = "thermometer of the room, invented"

[symbols.V_a]
operation = "volume"
quantity = "volume of water diluted"
unit = "mL"
ware_column = "pipette"

[symbols.V_w]
operation = "volume"
quantity = "volume titrated"
unit = "mL"
ware = "PP5"
value = "2.5 mL"
source = "invented"

[effects]
"filling repeatability" = "EFFECT"
"sample homogeneity" = "negligible: clear water"
"""

REGISTER = """
title = "Invented register"
revision = "1"
date = 2026-01-15

[[equipment]]
id = "BUR"
kind = "burette"
description = "burette 25 mL"
nominal = "25 mL"
division = "0.05 mL"
accuracy_class = "AS"

[[equipment]]
id = "F250"
kind = "flask"
description = "flask 250 mL"
nominal = "0.25 L"
accuracy_class = "A"
tolerance_distribution = "rectangular"
meniscus = "0.05 mL"
repeatability = "0.04 mL"
repeatability_dof = 9

[[equipment]]
id = "P50"
kind = "pipette"
description = "pipette 50 mL"
nominal = "50 mL"
accuracy_class = "B"
use = "one of a set"

[[equipment]]
id = "P25"
kind = "pipette"
description = "pipette 25 mL"
nominal = "25 mL"
accuracy_class = "A"
meniscus = "0.01 mL"

[[equipment.certificate]]
number = "V-1"
issuer = "Invented service"
route = "accredited laboratory"
accreditation = "invented"
traceable_to = "kilogram"
ends_at = "SI"
issued = 2026-01-10
due = 2028-01-10

[[equipment.certificate.property]]
value = "25.006 mL"
U = "0.008 mL"
k = 2

[[equipment]]
id = "PP5"
kind = "piston pipette"
description = "piston pipette 5 mL"
nominal = "5 mL"
"""

RUN = """
[run]
id = "TITR-1"
date = 2026-03-10
analyst = "A. Invented"
method = "method.toml"
register = "register.toml"
samples = "samples.csv"
"""

SAMPLES = "sample,pipette,titrant [mL]\nHW-1,P50,18.64\nHW-2,P25,9.35\n"


def titration(
    folder: Path,
    *,
    shared: bool = False,
    effect: str = "counted",
    method: str = METHOD,
    register: str = REGISTER,
    samples: str = SAMPLES,
) -> Path:
    """The run in `folder`."""
    texts = {
        "method.toml": method.replace("SHARED", str(shared).lower()).replace("EFFECT", effect),
        "register.toml": register,
        "run.toml": RUN,
        "samples.csv": samples,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def evaluated(place: Path) -> Evaluation:
    records, findings = read_records(place)
    assert records is not None, [finding.line() for finding in findings]
    evaluation, findings = evaluate(records)
    assert evaluation is not None, [finding.line() for finding in findings]
    return evaluation
