"""Zinc of the rinse-water example read on a second line (invented), calculated anew with the package uncertainties.

What the two lines share - stock solution, preparation, pipette, flask - is one number there; readings and curves are
the line's own. The precision between runs is the one or the other, as the method says.
"""

from __future__ import annotations

import math
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from uncertainties import ufloat

from tests.derived.rinse_water import EXAMPLE, NOMINAL, STOCK

FIRST, SECOND = "213.857", "206.200"
SAMPLES = ("RINSE-1", "RINSE-2", "OUT-1", "OUT-2", "OUT-3", "OUT-1-F")
DILUTED = {"RINSE-1": "RINSE-1-D", "RINSE-2": "RINSE-2-D"}
WOBBLE = (3, -5, 2, 4, -4, 1, -2)


def second_line() -> list[str]:
    """Rows of readings on the second line: 0.6 of the first one's, moved by a few counts."""
    rows = []
    for number, row in enumerate((EXAMPLE / "readings.csv").read_text(encoding="utf-8").splitlines()):
        parts = row.split(",")
        if parts[1:3] == ["Zn", FIRST]:
            moved = [
                0.6 * float(value) + 2.5 * WOBBLE[(3 * number + place) % 7] for place, value in enumerate(parts[3:])
            ]
            rows.append(",".join([parts[0], "Zn", SECOND, *(f"{value:.0f}" for value in moved)]))
    return rows


def two_line_run(folder: Path, rule: str, *, readings: dict[tuple[str, str], str] | None = None) -> Path:
    """The example with the second line and a rule; `readings` replaces those of a solution and line."""
    place = folder / "run"
    shutil.copytree(EXAMPLE, place)
    method = (place / "method.toml").read_text(encoding="utf-8")
    method = method.replace(f'Zn = ["{FIRST}"]', f'Zn = ["{FIRST}", "{SECOND}"]')
    (place / "method.toml").write_text(f"{method}\n[several_lines]\n{rule}\n", encoding="utf-8", newline="\n")
    rows = [*(place / "readings.csv").read_text(encoding="utf-8").splitlines(), *second_line()]
    for (solution, line), values in (readings or {}).items():
        start = f"{solution},Zn,{line},"
        assert any(row.startswith(start) for row in rows), start
        rows = [start + values if row.startswith(start) else row for row in rows]
    (place / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
    return place


@dataclass
class Zinc:
    """Results on both lines; the same name is the same deviation. `shared`: the lines have one precision d_L."""

    place: Path
    shared: bool
    known: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        rows = [row.split(",") for row in (self.place / "readings.csv").read_text(encoding="utf-8").splitlines()[1:]]
        self.read = {(row[0], row[2]): [float(value) for value in row[3:]] for row in rows if row[1] == "Zn"}

    def quantity(self, name: str, estimate: float, u: float) -> Any:
        if name not in self.known:
            self.known[name] = ufloat(estimate, u, tag=name)
        return self.known[name]

    def result(self, sample: str, line: str) -> Any:
        solution = DILUTED.get(sample, sample)
        x = np.repeat(NOMINAL["Zn"], 3) * STOCK["Zn"][0] / 1000
        y = np.concatenate([self.read[f"S{level}", line] for level in range(5)])
        square = ((x - x.mean()) ** 2).sum()
        b = ((x - x.mean()) * (y - y.mean())).sum() / square
        s = math.sqrt(((y - y.mean() - b * (x - x.mean())) ** 2).sum() / (len(x) - 2))
        centroid = self.quantity(f"own centroid {line}", y.mean(), s / math.sqrt(len(x)))
        slope = self.quantity(f"own slope {line}", b, s / math.sqrt(square))
        mean = float(np.mean(self.read[solution, line]))
        reading = self.quantity(f"own reading {solution} {line}", mean, s / math.sqrt(3))
        c = x.mean() + (reading - centroid) / slope
        c = c * self.quantity("stock", 1.0, STOCK["Zn"][1] / STOCK["Zn"][0]) * self.quantity("preparation", 1.0, 0.003)
        if sample in DILUTED:
            flask = self.quantity(f"flask {sample}", 50.0, math.hypot(0.06 / math.sqrt(6), 0.02))
            c = c * flask / (self.quantity("P5", 5.004, 0.004) + self.quantity(f"delivery {sample}", 0.0, 0.006))
        name = "between runs" if self.shared else f"own between runs {line}"
        return c * (1 + self.quantity(name, 0.0, 0.012))

    def both(self, sample: str) -> tuple[Any, Any]:
        return self.result(sample, FIRST), self.result(sample, SECOND)


def unshared_variance(number: Any) -> float:
    """Of what the other line does not have."""
    return sum(u**2 for variable, u in number.error_components().items() if variable.tag.startswith("own"))
