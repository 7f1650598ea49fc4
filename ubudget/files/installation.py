"""The installation at hand: its files, whether they are those that were released, and the versions around it.

Only the standard library is imported, so that a package with missing parts can still be told."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import platform
import sys
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent
PACKAGES = ("numpy", "scipy", "openpyxl", "pandas", "pint", "pydantic", "typer", "uncertainties")
"""What the results may rest on."""


@dataclass(frozen=True)
class Installation:
    """`compared`: whether a list of released files stands beside the package; a source tree has none."""

    files: int
    fingerprint: str
    """SHA-256 over names and bytes of all files of the package."""
    compared: bool
    altered: tuple[str, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]

    @property
    def passed(self) -> bool:
        return not (self.altered or self.missing or self.added)


def installation(package: Path = PACKAGE) -> Installation:
    """The files of the package, compared with the list of the wheel where it was installed from one (PEP 376, 427)."""
    digests = {}
    whole = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".pyc":
            data = path.read_bytes()
            name = path.relative_to(package.parent).as_posix()
            digests[name] = hashlib.sha256(data).digest()
            whole.update(name.encode("utf-8") + b"\0" + digests[name])
    released = _released(package)
    return Installation(
        len(digests),
        whole.hexdigest(),
        bool(released),
        tuple(name for name, digest in released.items() if digests.get(name, digest) != digest),
        tuple(name for name in released if name not in digests),
        tuple(name for name in digests if released and name not in released),
    )


def _released(package: Path) -> dict[str, bytes]:
    """Name and digest of the package's files as the wheel listed them; empty where it was not installed from one."""
    for record in sorted(package.parent.glob(f"{package.name}-*.dist-info/RECORD")):
        rows = csv.reader(io.StringIO(record.read_text(encoding="utf-8")))
        listed = {}
        for name, told, *_ in rows:
            kind, _, digest = told.partition("=")
            if name.startswith(f"{package.name}/") and kind == "sha256":
                listed[name] = base64.urlsafe_b64decode(digest + "=" * (-len(digest) % 4))
        if listed:
            return listed
    return {}


def versions() -> dict[str, str]:
    """Python, the packages that results may rest on, and the platform."""
    found = {"Python": f"{platform.python_version()} ({platform.python_implementation()})"}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "missing"
    found["platform"] = f"{platform.platform()}, {platform.machine()}, {sys.byteorder}-endian"
    found["computer"] = platform.node() or "without a name"
    return found
