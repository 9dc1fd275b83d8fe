"""Paths of `route.toml` and of records: within the route folder, and nowhere else."""

import re
from pathlib import Path, PurePosixPath
from typing import Any


def as_path(text: str) -> str:
    """Return a path of `route.toml` with plain slashes."""
    return str(PurePosixPath(text.replace("\\", "/")))


def is_inside(value: Any) -> bool:
    """Whether the value is a path (or a pattern of paths) that cannot lead out of the route folder."""
    path = PurePosixPath(as_path(value)) if isinstance(value, str) else PurePosixPath()
    out = path.is_absolute() or ".." in path.parts or re.search(r"[:\x00]", str(path))
    return bool(path.parts) and not out and not any("**" in part != "**" for part in path.parts)


def is_file(path: Path) -> bool:
    """Whether a file stands there; a name that is too long, or a folder that may not be looked into, is none."""
    try:
        return path.is_file()
    except OSError:
        return False


def matching(folder: Path, pattern: str) -> list[Path]:
    """Return the files that a path or a pattern names, in order. A name with brackets in it may be meant as it is."""
    if (folder / as_path(pattern)).is_file():
        return [folder / as_path(pattern)]
    return sorted(path for path in folder.glob(as_path(pattern)) if path.is_file())
