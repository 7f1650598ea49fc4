"""Makes the workbooks of `workbook_templates/fill-in`, one for each pattern:

python -m tests.fill_in.make_templates
"""

from __future__ import annotations

from pathlib import Path

from ubudget.files.starting import pattern_workbook, patterns

TEMPLATES = Path(__file__).resolve().parents[2] / "workbook_templates" / "fill-in"


def main() -> None:
    TEMPLATES.mkdir(exist_ok=True)
    for old in TEMPLATES.glob("*.xlsx"):
        if old.stem not in patterns():
            old.unlink()
    for name in patterns():
        (TEMPLATES / f"{name}.xlsx").write_bytes(pattern_workbook(name))


if __name__ == "__main__":
    main()
