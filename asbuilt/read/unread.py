"""Tables that lie in a route and that nothing reads: a file that came too late for a pattern is not to be lost."""

from collections.abc import Collection
from pathlib import Path

_TABLES = frozenset({".csv", ".xlsx", ".xls", ".ods"})
_SIDES = ("decisions", "tally", "survey", "tests", "plan", "features", "found", "people", "machines")
_NOT_OURS = (".", "~$")  # hidden files, and what an open spreadsheet leaves beside its own


def unread(folder: Path, read: Collection[str]) -> tuple[str, ...]:
    """Say which tables lie at the head of a route, or beside a file of records, and were not read.

    `read` has the paths of the files that were, within the route.
    """
    beside = {(folder / name).parent for name in read if Path(name).suffix.lower() in _TABLES} | {folder}
    found = sorted(path for place in beside for path in place.iterdir() if _is_table(path))
    names = [path.relative_to(folder).as_posix() for path in found]
    return tuple(f"{name}: not read, nothing in route.toml names it{_hint(name)}" for name in names if name not in read)


def _is_table(path: Path) -> bool:
    return path.suffix.lower() in _TABLES and not path.name.startswith(_NOT_OURS) and path.is_file()


def _hint(name: str) -> str:
    """Return what would read a file whose name is like that of a side file; "" for others."""
    like = next((side for side in _SIDES if Path(name).name.casefold().startswith(side)), None)
    return f'; in [{like}] files = ["{like}.csv", "{name}"] would' if like else ""
