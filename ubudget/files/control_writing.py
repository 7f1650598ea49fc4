"""Control charts for other programs: JSON, pictures, a workbook."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ubudget.errors import NotWritable, UbudgetError
from ubudget.evaluation.control_charts import Charted
from ubudget.files.workbook_writer import write_book
from ubudget.pages.control_book import control_book
from ubudget.pages.control_picture import control_picture
from ubudget.version import __version__


def chart_object(one: Charted) -> dict[str, Any]:
    """A chart in plain objects, numbers unrounded."""
    limits = one.limits
    return {
        "id": one.chart.id,
        "unit": one.chart.unit,
        "centre": limits.centre,
        "s": limits.s,
        "warning": list(limits.warning),
        "action": list(limits.action),
        "limits_from": limits.source,
        "points": [
            {"date": entry.date.isoformat(), "run": entry.run, "value": value, "in_s": zone}
            for entry, value, zone in zip(one.entries, one.points, one.zones, strict=True)
        ],
        "signals": [
            {
                "date": one.entries[signal.at].date.isoformat(),
                "point": signal.at + 1,
                "rule": signal.rule.number,
                "words": signal.rule.words,
            }
            for signal in one.signals
        ],
        "to_look_at": list(one.told),
    }


def picture_files(charts: Sequence[Charted], folder: Path) -> dict[Path, bytes]:
    """Each chart as SVG, named by its id. Raises `NotWritable` where the folder cannot be made, `UbudgetError` for two
    ids of one name."""
    files: dict[Path, bytes] = {}
    for one in charts:
        name = re.sub(r"[^A-Za-z0-9._-]+", "-", one.chart.id).strip(".-") or "chart"
        path = folder / f"{name}.svg"
        if path in files:
            raise UbudgetError(f"{path.name}: two charts of this name; accepted: ids that differ in letters or digits")
        files[path] = control_picture(one).encode("utf-8")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as refusal:
        raise NotWritable(
            f"{folder}: cannot be made ({refusal.strerror or refusal}); a folder is needed; choose another place"
        ) from refusal
    return files


def write_control_book(charts: Sequence[Charted], title: str, path: Path, *, force: bool) -> None:
    """The charts as a workbook. Raises as `write_book`."""
    write_book(control_book(charts, title, f"ubudget {__version__}"), path, force=force)
