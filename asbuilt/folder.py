"""A hand-over is whole or not at all: new beside, old aside, new in, old away; and only a folder of ours is replaced.

Whatever happens in between, an old one that was left aside is put back by the next command.
"""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from asbuilt.errors import OutputError, Problem
from asbuilt.publish import checksums, readme


def _beside(folder: Path, what: str) -> Path:
    return folder.with_name(f".{folder.name}.{what}")


def restore(folder: Path) -> str:
    """Put back an old hand-over that an interrupted run left aside; return what was done, empty: nothing."""
    old = _beside(folder, "old")
    if not old.is_dir():
        return ""
    if (folder / checksums.NAME).is_file():  # the new one was in place: only the clearing away was interrupted
        shutil.rmtree(old)
        return ""
    if folder.exists() and any(folder.iterdir()):
        do = f"move what it holds elsewhere, or delete {old} if that is not wanted"
        raise OutputError(Problem(str(folder), f"an earlier hand-over waits in {old}", do))
    if folder.exists():
        folder.rmdir()
    old.rename(folder)
    return f"{folder}: put back the hand-over that an interrupted run had moved aside"


def refuse_unless_ours(folder: Path, route: Path) -> None:
    """Raise OutputError where `folder` may not be written: it is a file, holds other things, or overlaps the route."""
    place, home = folder.resolve(), route.resolve()
    if place == home or place in home.parents or home in place.parents:
        raise OutputError(Problem(str(folder), "it and the route folder lie in one another", "name a folder elsewhere"))
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(Problem(str(folder), "it is a file", "name a folder"))
    there = {path.name for path in folder.iterdir()}
    text = folder / readme.NAME
    ours = text.is_file() and text.read_text(encoding="utf-8", errors="replace").startswith(readme.FIRST_WORDS)
    if there and not ours:
        do = "name another folder, or an empty one"
        raise OutputError(Problem(str(folder), f"it holds {_some(there)} and is no hand-over", do))
    others = checksums.held(folder) - checksums.listed(folder) if ours else set()
    if others := others - {checksums.NAME, checksums.SIGNATURE}:
        raise OutputError(Problem(str(folder), f"{_some(others)} is not of the hand-over", "move it elsewhere first"))


def loses_signature(folder: Path) -> str:
    """Say that a signature goes with the hand-over that it was given for; empty: there is none."""
    if not (folder / checksums.SIGNATURE).is_file():
        return ""
    return f"{folder}: it was signed; the signature went with the hand-over that it was for"


def _some(names: set[str]) -> str:
    shown = sorted(names)
    return ", ".join(shown[:3]) + (f" and {len(shown) - 3} more" if len(shown) > 3 else "")


def replace_whole(folder: Path, fill: Callable[[Path], None]) -> None:
    """Let `fill` write a new folder, then put it in the place of `folder`. Raises OutputError where it cannot be."""
    new, old = _beside(folder, "new"), _beside(folder, "old")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(new, ignore_errors=True)
        new.mkdir()
        fill(new)
        _flush(new)
        if folder.exists():
            folder.rename(old)
        new.rename(folder)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        restore(folder)
        what = f"it cannot be written ({error.strerror or error})"
        raise OutputError(Problem(str(folder), what, "check the place, its rights and the space left")) from error
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _flush(folder: Path) -> None:
    """Have the files on the disk before the old ones are moved aside."""
    for name in checksums.held(folder):
        with (folder / name).open("rb") as file:
            os.fsync(file.fileno())
