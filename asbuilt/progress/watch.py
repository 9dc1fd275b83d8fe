"""Watching a route folder: when its files have changed and lie still again, something is done anew.

By asking again and again: no file system tells of a change in the same way, least of all one on a network.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from asbuilt.errors import AsBuiltError

Seen = dict[str, tuple[int, int]]
_EVERY_S = 2.0  # seconds between two looks
_NOT_OURS = (".", "~$")  # of hidden files, and of those that an open spreadsheet leaves beside its own
_HALF = (".tmp", ".part", ".crdownload")


def seen(route: Path) -> Seen:
    """Return size and time of change of every file of a route, by its path within it; half-written ones are none."""
    found = {}
    for path in route.rglob("*"):
        within = path.relative_to(route)
        if any(part.startswith(_NOT_OURS) for part in within.parts) or path.suffix.lower() in _HALF:
            continue
        try:
            told = path.stat()
        except OSError:  # it went while we looked: the next look tells
            continue
        if path.is_file():
            found[within.as_posix()] = (told.st_size, told.st_mtime_ns)
    return found


def difference(before: Seen, now: Seen) -> list[str]:
    """Return what changed between two looks, in words.

    >>> difference({"a.csv": (1, 1)}, {"a.csv": (2, 2), "b.csv": (1, 1)})
    ['new: b.csv', 'changed: a.csv']
    """
    new = [f"new: {name}" for name in sorted(now.keys() - before.keys())]
    gone = [f"gone: {name}" for name in sorted(before.keys() - now.keys())]
    return [
        *new,
        *gone,
        *(f"changed: {name}" for name in sorted(now.keys() & before.keys()) if now[name] != before[name]),
    ]


@dataclass
class Watcher:
    """Tells when a route has changed and lies still: the same in two looks, and not what was done last."""

    done: Seen
    last: Seen = field(default_factory=dict)

    def ready(self, now: Seen) -> list[str]:
        """Return what changed since the last time, once two looks agree; else nothing."""
        still, self.last = now == self.last, now
        if not still or now == self.done:
            return []
        told, self.done = difference(self.done, now), now
        return told


def watch(
    route: Path,
    again: Callable[[list[str]], None],
    refused: Callable[[AsBuiltError], None],
    *,
    before: Seen | None = None,
    pause: Callable[[float], None] = time.sleep,
) -> None:
    """Call `again` with what changed, each time the files of a route have changed and lie still; never ends by itself.

    `before` is what was seen when the route was last read. A file that cannot be read is told to `refused`, and the
    next change is waited for.
    """
    watcher = Watcher(seen(route) if before is None else before)
    while True:
        pause(_EVERY_S)
        told = watcher.ready(seen(route))
        if told:
            try:
                again(told)
            except AsBuiltError as error:
                refused(error)
