"""The folder of progress: page, chart, tables and the map, written whole or not at all."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from asbuilt import folder
from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.errors import OutputError, Problem
from asbuilt.progress.calendar import day_of
from asbuilt.progress.changes import Changes, as_rows
from asbuilt.progress.chart import chart
from asbuilt.progress.figures import Figures, as_data
from asbuilt.progress.page import MAP, NAME, page, title_of
from asbuilt.publish import checksums, webmap
from asbuilt.publish.typeset import as_png

SVG, PNG, DATA = "time_chainage.svg", "time_chainage.png", "progress.json"
TABLES = {
    "days.csv": "days",
    "days_without_joints.csv": "days_without_joints",
    "stages.csv": "stages",
    "plan_and_actual.csv": "planned_against_actual",
    "what_is_left.csv": "what_is_left",
    "forecasts.csv": "forecasts",
    "tie_ins.csv": "tie_ins",
}
_OURS = {NAME, MAP, SVG, PNG, DATA, *TABLES, checksums.NAME}
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")
Step = Callable[[str], None]


def document(as_built: AsBuilt, found: Figures, changed: Changes | None = None) -> dict[str, Any]:
    """Return everything as one document for a program: the title, the figures, what changed, the cautions."""
    more = {"changes": as_rows(changed)} if changed else {}
    return {"title": title_of(as_built), **as_data(found), **more, "cautions": list(CAUTIONS)}


def refuse_unless_progress(out: Path, route: Path) -> None:
    """Raise OutputError where `out` holds anything but an earlier progress, or overlaps the route."""
    place, home = out.resolve(), route.resolve()
    if place == home or place in home.parents or home in place.parents:
        raise OutputError(Problem(str(out), "it and the route folder lie in one another", "name a folder elsewhere"))
    if not out.exists():
        return
    there = {path.name for path in out.iterdir()} if out.is_dir() else {"a file"}
    if there - _OURS or (there and NAME not in there):
        shown = ", ".join(sorted(there - _OURS or there)[:3])
        raise OutputError(
            Problem(str(out), f"it holds {shown} and is no progress folder", "name another, or an empty one")
        )


def write(as_built: AsBuilt, found: Figures, out: Path, changed: Changes | None = None, *, step: Step) -> None:
    """Write the folder `out`, whole or not at all. Raises OutputError where it cannot be written."""

    def fill(place: Path) -> None:
        step("writing progress")
        drawn = chart(found, f"{as_built.title.name}: progress")
        _put(place / SVG, drawn)
        width, height = map(float, re.findall(r' (?:width|height)="([\d.]+)"', drawn[:400])[:2])
        (place / PNG).write_bytes(as_png(drawn, width=width, height=height))
        _put(place / NAME, page(as_built, found, drawn, changed))
        data = document(as_built, found, changed)
        _put(place / DATA, json.dumps(data, ensure_ascii=False, indent=1) + "\n")
        for name, key in TABLES.items():
            _write_csv(place / name, data[key])
        step(f"writing {MAP}")
        webmap.write_map(as_built, place / MAP)
        checksums.write_checksums(place)

    folder.replace_whole(out, fill)


def _put(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    """Write rows as CSV as the joint log is: UTF-8 with a mark; what would run as a formula has an apostrophe."""
    frame = pd.DataFrame([{name: _guarded(value) for name, value in row.items()} for row in rows])
    frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")


def _guarded(value: Any) -> Any:
    return "'" + value if isinstance(value, str) and value.startswith(_RUNS_AS_FORMULA) else value


def written(out: Path, found: Figures) -> str:
    """Say what was written."""
    return f"Written: {out}, as of {day_of(found.work.evening)}"
