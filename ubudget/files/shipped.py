"""Where the worked examples and the workbook templates stand that come with the program.

In a source tree they are folders beside the package, where a reader finds them; a wheel carries them inside.
"""

from pathlib import Path
from typing import Literal

from ubudget.errors import UbudgetError

ShippedName = Literal["worked_examples", "workbook_templates"]

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: ShippedName) -> Path:
    """The folder `name` as installed.

    The installed copy comes first: beside an installed package lie other people's folders.
    Raises UbudgetError if the folder is in neither place, which means that the installation is incomplete.
    """
    places = (_PACKAGE / "_shipped" / name, _PACKAGE.parent / name)
    for place in places:
        if place.is_dir():
            return place
    looked = " and ".join(str(place) for place in places)
    raise UbudgetError(f"the folder {name} that comes with ubudget is missing (looked for {looked}); install it again")
