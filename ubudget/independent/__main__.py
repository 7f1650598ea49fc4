"""`python -m ubudget.independent FILE.json`: an exported single budget calculated anew, as JSON on standard output."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from ubudget.independent.propagation import recalculated


def main(names: list[str]) -> int:
    if len(names) != 1:
        print("accepted: one file, as ubudget validate --into writes it into the folder inputs", file=sys.stderr)
        return 2
    try:
        exported = json.loads(Path(names[0]).read_text(encoding="utf-8"))
        figures = recalculated(exported)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ArithmeticError) as fault:
        print(f"{names[0]}: no exported single budget ({fault})", file=sys.stderr)
        return 2
    print(json.dumps(figures, ensure_ascii=False, indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
