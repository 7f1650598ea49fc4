"""Makes the workbooks of `workbook_templates/fill-in`, one for each pattern, and that of the calibration of ware:

python -m tests.fill_in.make_templates
"""

from __future__ import annotations

from pathlib import Path

from ubudget.files.starting import pattern_workbook, patterns
from ubudget.files.ware_form import FORM, shipped_record, ware_form_bytes

TEMPLATES = Path(__file__).resolve().parents[2] / "workbook_templates" / "fill-in"
WARE_TEMPLATE = TEMPLATES / f"{FORM}.xlsx"


def main() -> None:
    TEMPLATES.mkdir(exist_ok=True)
    for old in TEMPLATES.glob("*.xlsx"):
        if old.stem not in patterns() and old != WARE_TEMPLATE:
            old.unlink()
    for name in patterns():
        (TEMPLATES / f"{name}.xlsx").write_bytes(pattern_workbook(name))
    WARE_TEMPLATE.write_bytes(ware_form_bytes(shipped_record()))


if __name__ == "__main__":
    main()
