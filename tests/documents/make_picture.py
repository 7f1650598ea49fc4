"""Makes the picture of the budget sheet that the README shows.

    python -m tests.documents.make_picture

The demonstration's workbook is written anew, printed by LibreOffice, and the page of the budget sheet is cut out of it
by pdftoppm. To be run by hand when the sheet's look or the demonstration's numbers change.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import ubudget
from tests.engines import libreoffice_pdf, pdf_page_texts

EXAMPLE = Path(__file__).resolve().parents[2] / "worked_examples" / "harbour_sediment"
PICTURE = EXAMPLE / "budget-sheet.png"
HEADLINE = "Uncertainty budget of one result"
DOTS_PER_INCH = 84
LEFT, TOP, WIDTH, HEIGHT = 0.35, 0.6, 11.05, 7.1
"""The part of the page to keep, in inches (landscape A4: 11.7 by 8.3)."""


def make_picture(picture: Path) -> None:
    """Writes the picture as PNG; `picture` ends with `.png`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        book = folder / "budget.xlsx"
        ubudget.write_workbook(ubudget.evaluate(ubudget.read_run(EXAMPLE)), book)
        pdf = libreoffice_pdf(book, folder / "printed")
        page = 1 + next(number for number, text in enumerate(pdf_page_texts(pdf)) if HEADLINE in text)
        cut = {"-x": LEFT, "-y": TOP, "-W": WIDTH, "-H": HEIGHT}
        options = [word for key, inches in cut.items() for word in (key, str(round(inches * DOTS_PER_INCH)))]
        command = ["pdftoppm", "-png", "-singlefile", "-r", str(DOTS_PER_INCH), "-f", str(page), "-l", str(page)]
        subprocess.run([*command, *options, str(pdf), str(picture.with_suffix(""))], check=True, timeout=120)


if __name__ == "__main__":
    make_picture(PICTURE)
    print(PICTURE)
