"""SHA256SUMS, in the form that `sha256sum -c` reads."""

import hashlib
from pathlib import Path

NAME = "SHA256SUMS"


def write_checksums(folder: Path) -> None:
    """Write the checksum of every other file in the folder."""
    lines = [f"{digest(path)}  {path.name}\n" for path in sorted(folder.iterdir()) if path.name != NAME]
    (folder / NAME).write_text("".join(lines), encoding="utf-8", newline="\n")


def digest(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def listed(folder: Path) -> set[str]:
    """Return the names that the folder's SHA256SUMS lists; empty where there is none."""
    path = folder / NAME
    if not path.is_file():
        return set()
    return {line.split(maxsplit=1)[1].strip() for line in path.read_text(encoding="utf-8").splitlines() if " " in line}
