"""SHA256SUMS, in the form that `sha256sum -c` reads."""

import hashlib
import os
from pathlib import Path

NAME = "SHA256SUMS"
SIGNATURE = "SHA256SUMS.sig"  # of that list, by a key of the user: it may lie beside, and is not listed


def write_checksums(folder: Path) -> None:
    """Write the checksum of every other file in the folder."""
    files = {name: folder / name for name in held(folder) if name != NAME}
    lines = [f"{digest(files[name])}  {name}\n" for name in sorted(files)]
    (folder / NAME).write_text("".join(lines), encoding="utf-8", newline="\n")


def held(folder: Path) -> set[str]:
    """Return what lies in a folder and in folders within it, each by its path there; an empty folder counts as a file.

    Links are not followed.
    """
    found = set()
    for place, folders, files in os.walk(folder):
        within = Path(place).relative_to(folder)
        links = [name for name in folders if (Path(place) / name).is_symlink()]
        found |= {(within / name).as_posix() for name in (*files, *links)}
        if not folders and not files and place != str(folder):
            found.add(within.as_posix())
    return found


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
