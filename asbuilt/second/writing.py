"""What changed, for programs: one JSON document, or one CSV."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from asbuilt.as_built import Title
from asbuilt.errors import OutputError, Problem
from asbuilt.judge.found_again import MOVED_M
from asbuilt.second.difference import Difference
from asbuilt.second.telling import CAUTION, difference_said, measured_line

CSV_COLUMNS = ("change", "id", "line", "station", "what", "old", "new", "plan_m", "along_m", "limit_m")
_RUNS_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def as_document(found: Difference) -> dict[str, Any]:
    """Return everything as plain lists and dicts for JSON; what is not known is None."""
    by = found.moves
    frames = {name: getattr(found, name) for name in ("added", "removed", "renamed")} | {"moved": by.moved}
    seen_at = found.measured["seen_at"].map(lambda moment: moment.isoformat(), na_action="ignore").astype(object)
    frames |= {"placed_anew": found.placed_anew, "measured": found.measured.assign(seen_at=seen_at)}
    frames |= {name: getattr(found, name) for name in ("verdicts", "values", "decisions", "gaps", "settings")}
    return {
        "old": _head(found.old),
        "new": _head(found.new),
        "folders": list(found.folders),
        "said": difference_said(found),
        **{name: _records(frame) for name, frame in frames.items()},
        "counts": [{name: _whole(value) for name, value in row.items()} for row in _records(found.counts)],
        "moved_less": {"joints": by.less, "largest_m": by.largest_m, "largest": by.largest},
        "moved_along": {"joints": by.along, "more_than_m": MOVED_M},
        "restationed": by.restationed,
        "frames": by.way,
        "not_compared": list(found.not_compared),
        "caution": CAUTION,
    }


def _head(title: Title) -> dict[str, Any]:
    return asdict(title) | {"as_of": title.as_of.isoformat()}


def _records(frame: pd.DataFrame) -> list[Mapping[str, Any]]:
    plain = frame.astype(object).where(frame.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in plain.to_dict("records")]


def _whole(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


def write_csv(found: Difference, path: Path, *, apart_from: Iterable[Path]) -> None:
    """Write `as_csv` to `path`, whole or not at all.

    Raises OutputError where it would lie in one of the folders `apart_from`, which a file more would make no whole
    hand-over, where it would replace a file that is no such CSV, and where it cannot be written.
    """
    refuse_unless_free(path, apart_from=apart_from)
    beside = path.with_name(f".{path.name}.new")
    try:
        beside.write_text(as_csv(found), encoding="utf-8-sig", newline="")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        what = f"it cannot be written ({error.strerror or error})"
        raise OutputError(Problem(str(path), what, "check the place and its rights")) from error


def refuse_unless_free(path: Path, *, apart_from: Iterable[Path]) -> None:
    """Raise OutputError where the CSV may not be written to `path`."""
    place = path.resolve()
    if any(folder.resolve() in place.parents for folder in apart_from):
        raise OutputError(Problem(str(path), "it would lie in a hand-over", "name a place elsewhere"))
    if not path.exists():
        return
    with path.open("rb") as file:
        ours = file.read(64).removeprefix(b"\xef\xbb\xbf").startswith(",".join(CSV_COLUMNS).encode())
    if not ours:
        raise OutputError(Problem(str(path), "a file is there that is no list of changes", "name another, or move it"))


def as_csv(found: Difference) -> str:
    """Return every change but counts as one row of CSV, lines ended by CR and LF.

    A text that a spreadsheet would run as a formula gets an apostrophe in front.
    """
    parts = [part.reindex(columns=list(CSV_COLUMNS)) for part in _changes(found)]
    every = pd.concat([part.astype(object) for part in parts if len(part)] or [parts[0]], ignore_index=True)
    for name in CSV_COLUMNS:
        is_metres = name.endswith("_m")
        every[name] = [_cell(value, is_metres) for value in every[name]]
    return str(every.to_csv(index=False, lineterminator="\r\n"))


def _cell(value: object, is_metres: bool) -> str:
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if is_metres:
        return f"{value:.3f}"
    text = str(value)
    return f"'{text}" if text.startswith(_RUNS_AS_FORMULA) else text


def _changes(found: Difference) -> Iterator[pd.DataFrame]:
    names = {"joint_id": "id", "gap_id": "id"}
    added, removed, renamed, moved = found.added, found.removed, found.renamed, found.moves.moved
    yield added.rename(columns=names).assign(change="added", new=_verdicts(added))
    yield removed.rename(columns=names).assign(change="removed", old=_verdicts(removed), new=removed["now"])
    yield renamed.assign(change="renamed", id=renamed["new_id"], old=renamed["old_id"], new=renamed["new_id"])
    stations = {"old_station": "old", "new_station": "new"}
    yield moved.rename(columns=names | stations).assign(change="moved", station=moved["new_station"])
    placed = {"old_placed_by": "old", "new_placed_by": "new"}
    anew = found.placed_anew.rename(columns=names | placed)
    yield anew.assign(change="placed by", station=found.placed_anew["new_station"])
    new = [measured_line(row, found.new.length_unit) for row in found.measured.to_dict("records")]
    yield found.measured.rename(columns=names).assign(change="measured", what=found.measured["method"], new=new)
    yield found.verdicts.rename(columns=names | {"which": "what"}).assign(change="verdict")
    yield found.values.rename(columns=names | {"column": "what"}).assign(change="value")
    sides = {side: _both(found.decisions, side) for side in ("old", "new")}
    yield found.decisions.assign(
        change="decision", what=found.decisions["about"] + " " + found.decisions["what"], **sides
    )
    yield found.gaps.rename(columns=names).assign(change="gap", station=found.gaps["from_station"])
    yield found.settings.rename(columns={"topic": "what", "name": "id"}).assign(change="setting")


def _verdicts(joints: pd.DataFrame) -> pd.Series:
    return "fusion " + joints["fusion_verdict"] + ", position " + joints["position_verdict"]


def _both(decisions: pd.DataFrame, side: str) -> list[str]:
    told = zip(decisions[side], decisions[f"{side}_state"], strict=True)
    return [f"{words} ({state})" if state else "" for words, state in told]
