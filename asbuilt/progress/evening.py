"""One evening of a route: the journey again, its figures, what changed since, and the folder that tells it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from asbuilt import build, folder
from asbuilt.as_built import AsBuilt
from asbuilt.errors import AsBuiltError
from asbuilt.progress.calendar import date_text
from asbuilt.progress.changes import Changes, change_lines, changes
from asbuilt.progress.earlier import since as since_handover
from asbuilt.progress.figures import Figures, figures
from asbuilt.progress.outlet import document, refuse_unless_progress, write, written
from asbuilt.progress.said import said
from asbuilt.progress.watch import Seen, seen, watch
from asbuilt.settings import load

Say = Callable[[str], None]


@dataclass(frozen=True)
class Asked:
    """What is asked for: a route, where to write (None: nowhere), of which evening (None: the route's as-of), and the
    earlier hand-over to compare with."""

    route: Path
    out: Path | None = None
    as_of: date | None = None
    since: Path | None = None

    @property
    def files(self) -> Seen:
        """What the files of the route are like now."""
        return seen(self.route)

    def evening(self, step: Say) -> "Evening":
        """Run the journey and return the figures. Raises AsBuiltError for wrong input."""
        made = build.build(load(self.route), as_of_date=self.as_of, step=step)
        step("counting")
        found = figures(made)
        return Evening(made, found, since_handover(self.since, found, made) if self.since else None)

    def put(self, told: "Evening", step: Say) -> str:
        """Write the folder that is asked for, whole or not at all; return what is to be said of it."""
        if self.out is None:
            return ""
        write(told.as_built, told.figures, self.out.resolve(), told.changed, step=step)
        return written(self.out, told.figures)

    def prepare(self) -> str:
        """Refuse a folder that is not ours, and put back what an interrupted run left; return what was done."""
        if self.out is None:
            return ""
        done = folder.restore(self.out.resolve())
        refuse_unless_progress(self.out.resolve(), self.route)
        return done


@dataclass(frozen=True)
class Evening:
    """The record and its figures, and what changed since an earlier hand-over where that was asked."""

    as_built: AsBuilt
    figures: Figures
    changed: Changes | None = None

    @property
    def as_document(self) -> dict[str, Any]:
        """Everything for a program."""
        return document(self.as_built, self.figures, self.changed)

    @property
    def lines(self) -> list[str]:
        """Everything for a person."""
        title = self.as_built.title
        evening = date_text(self.figures.work.evening)
        head = f"{title.name}, revision {title.revision}: progress to the evening of {evening}"
        told = [head, "", *said(self.figures)]
        if self.changed:
            told += ["", f"Since {self.changed.since}:", *change_lines(self.changed, self.figures)]
        return told


def keep_watching(
    asked: Asked, first: Evening, say: Say, *, before: Seen, refused: Callable[[AsBuiltError], None]
) -> None:
    """Do it again each time the files of the route change, and say what changed; until it is interrupted.

    `before` is what the files were like before `first` read them: what came meanwhile is not missed.
    """
    last = [first]

    def again(files: list[str]) -> None:
        say(f"\n{', '.join(files)}")
        told = asked.evening(lambda _: None)
        found = changes(last[0].figures, told.figures, "the last time")
        for line in change_lines(found, told.figures):
            say(f"  {line}")
        if done := asked.put(told, lambda _: None):
            say(f"  {done}")
        last[0] = told

    watch(asked.route, again, refused, before=before)
