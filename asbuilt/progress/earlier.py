"""Progress as an earlier hand-over has it: its tables, on its own evening, with the plan and the crews of today."""

from pathlib import Path

from asbuilt.as_built import AsBuilt, Schedule
from asbuilt.progress.calendar import day_number
from asbuilt.progress.changes import Changes, changes
from asbuilt.progress.figures import Figures, figures_of
from asbuilt.progress.work import work_on
from asbuilt.second.handed_over import handed_over

_TABLES = ("alignment", "joints", "gaps", "strings", "test_sections", "window_checks")


def since(folder: Path, now: Figures, as_built: AsBuilt) -> Changes:
    """Return what changed since the hand-over in `folder`. Raises InputError where that is none, or is damaged."""
    old = handed_over(folder)
    tables = {name: old.table(name) for name in _TABLES}
    title = old.title
    schedule: Schedule = now.work.schedule
    work = work_on(
        tables,
        day_number(title.as_of.date()),
        schedule=schedule,
        unit=as_built.title.length_unit,
        stationing=as_built.stationing,
    )
    return changes(figures_of(work), now, f"{folder.name}, revision {title.revision}")
