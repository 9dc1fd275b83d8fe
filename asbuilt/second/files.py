"""The files of a hand-over as they lie in the folder. A link, a folder or a device among them is never followed.

Whoever made the folder may not mean well: names that lead out of it are refused before anything is opened.
"""

import re
import stat
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import InputError, Problem
from asbuilt.publish import checksums, readme

_LINE = re.compile(r"([0-9a-fA-F]{64}) [ *]([^\r\n]+)")
_MOST_BYTES = 1 << 20  # of a list of checksums
_AGAIN = "take the hand-over anew from whoever made it"


@dataclass(frozen=True)
class Sums:
    """The list of checksums: SHA-256 in lower case by name, and every line that is not as `sha256sum -c` reads it."""

    by_name: dict[str, str]
    faults: tuple[str, ...]


def refuse_unless_handed_over(folder: Path) -> None:
    """Raise InputError where `folder` is no folder, or holds no hand-over of ours."""
    if not folder.is_dir():
        raise InputError(Problem(str(folder), "there is no such folder", "name the folder that a build has written"))
    if not {checksums.NAME, readme.NAME} & {path.name for path in folder.iterdir()}:
        do = "name the folder that a build has written"
        raise InputError(Problem(str(folder), f"it has neither {checksums.NAME} nor {readme.NAME}", do))


def plain_file(folder: Path, name: str) -> Path:
    """Return the path of a file that lies in the folder or in one within it. Raises InputError, and opens nothing."""
    if fault := name_fault(name):
        raise InputError(Problem(str(folder), f"{name!r} {fault}", _AGAIN))
    path = folder / name
    try:
        mode = path.lstat().st_mode
        within = [parent.lstat().st_mode for parent in path.parents[: name.count("/")]]
    except OSError as error:
        raise InputError(Problem(name, f"it is not there ({error.strerror})", _AGAIN)) from error
    if not all(map(stat.S_ISDIR, within)):
        raise InputError(Problem(name, "it lies behind a link, and is not followed", _AGAIN))
    if not stat.S_ISREG(mode):
        what = "a link" if stat.S_ISLNK(mode) else "a folder" if stat.S_ISDIR(mode) else "no plain file"
        raise InputError(Problem(name, f"it is {what}, and is not followed", _AGAIN))
    return path


def name_fault(name: str) -> str:
    """Say why a name is none of a file in the folder or in one within it; empty: it is one.

    >>> name_fault("exports/joints.shp"), name_fault("../../etc/passwd"), name_fault("/etc/passwd")
    ('', 'leads out of the folder', 'leads out of the folder')
    """
    if {"", ".", ".."} & set(name.split("/")) or "\\" in name or re.match("[A-Za-z]:", name):
        return "leads out of the folder"
    return "" if name.isprintable() else "has characters that no name of ours has"


def contents(folder: Path, name: str, most_bytes: int) -> bytes:
    """Return the bytes of a file of the folder. Raises InputError where it is missing, no plain file, or too long."""
    path = plain_file(folder, name)
    if (size := path.stat().st_size) > most_bytes:
        what = f"it has {size:,} bytes, more than the {most_bytes:,} that one of ours may have"
        raise InputError(Problem(name, what, _AGAIN))
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(Problem(name, f"it cannot be read ({error.strerror})", "check its rights")) from error


def text_of(folder: Path, name: str, most_bytes: int) -> str:
    """Return a file of the folder as text. Raises InputError as `contents`, and where it is not UTF-8."""
    try:
        return contents(folder, name, most_bytes).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(Problem(name, f"byte {error.start + 1} is not UTF-8", _AGAIN)) from error


def sums_of(folder: Path) -> Sums:
    """Return what SHA256SUMS lists. Raises InputError where there is no such file, or it is no text."""
    text = text_of(folder, checksums.NAME, _MOST_BYTES)
    by_name: dict[str, str] = {}
    faults = [] if text.endswith("\n") else ["the last line does not end"]
    for number, line in enumerate(text.split("\n")[: -1 if text.endswith("\n") else None], start=1):
        found = _LINE.fullmatch(line)
        fault = "is not: 64 hexadecimal digits, two spaces, a name" if not found else name_fault(found[2])
        if found and not fault and found[2] in by_name:
            fault = "is of a file that was listed before"
        if fault:
            faults.append(f"line {number} {line[:120]!r} {fault}")
        elif found:
            by_name[found[2]] = found[1].lower()
    return Sums(by_name, tuple(faults))
