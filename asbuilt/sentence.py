"""The counts as sentences that add up: on the terminal, at the head of the map and in README.txt."""

import re
from collections.abc import Hashable, Iterable, Mapping, Sequence

from asbuilt.as_built import AsBuilt, Counts
from asbuilt.look import IN_ORDER, IN_WINDOW, OUT_OF_WINDOW
from asbuilt.outstanding import open_findings, open_gaps, open_joints, open_rows
from asbuilt.quantities import LengthUnit

_QUOTED = re.compile(r"'[^']*'")
_FIGURES = re.compile(r"[\d.,]*\d")
_EACH = 5  # so many lines alike are still told one by one


def several(count: int, one: str, many: str = "") -> str:
    """Write a count with its noun.

    >>> several(1, "joint"), several(0, "gap"), several(2, "duplicate row")
    ('1 joint', '0 gaps', '2 duplicate rows')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def some(names: Sequence[str], most: int = 5) -> str:
    """Name a few and count the rest.

    >>> some(["A", "B", "C"]), some(["A", "B", "C"], most=2)
    ('A, B, C', 'A, B and 1 more')
    """
    rest = len(names) - most
    return ", ".join(names[:most]) + (f" and {rest} more" if rest > 0 else "")


def summary(as_built: AsBuilt) -> list[str]:
    """Return the state of the line in a few sentences."""
    counts = as_built.counts
    when = as_built.title.as_of.strftime("%Y-%m-%d %H:%M %Z").strip()
    return [
        f"As of {when}: {_rows(counts)}",
        _verdicts(_fusion(as_built), counts.fusion),
        _verdicts("Position", counts.position),
        _line(counts, as_built.title.length_unit),
    ]


def _rows(counts: Counts) -> str:
    parts = [
        several(counts.joints, "joint"),
        *([several(counts.duplicates, "duplicate")] if counts.duplicates else []),
        *([f"{counts.superseded:,} superseded"] if counts.superseded else []),
        *([several(counts.trials, "trial")] if counts.trials else []),
        *([f"{counts.set_aside:,} set aside"] if counts.set_aside else []),
    ]
    return f"{several(counts.rows, 'source row')} = {' + '.join(parts)}."


def _fusion(as_built: AsBuilt) -> str:
    """Say by how many of the procedure's quantities the joints were judged: a verdict is worth what was recorded."""
    joints = as_built.tables["joints"]
    joints = joints[joints["in_line"].astype(bool)]
    if joints.empty:
        return "Fusion"
    least, most = joints["recorded_n"].min(), joints["recorded_n"].max()
    span = f"{least}" if least == most else f"{least} to {most}"
    return f"Fusion, by {span} of the {joints['procedure_n'].max()} quantities of the procedure"


def _verdicts(what: str, verdicts: object) -> str:
    found = dict(verdicts)  # type: ignore[call-overload]
    shown = [f"{found[word]:,} {word}" for word in IN_ORDER if found.get(word) or word in (IN_WINDOW, OUT_OF_WINDOW)]
    return f"{what}: {', '.join(shown)}."


def _line(counts: Counts, unit: LengthUnit) -> str:
    length = f"{counts.covered_m / unit.metres:,.0f} of {counts.length_m / unit.metres:,.0f} {unit.name} covered"
    gaps = f"{several(counts.gaps, 'gap')} with {several(counts.missing_records, 'missing record')}"
    unplaced = several(counts.unplaced, "unplaced joint")
    closed = f", {counts.closed:,} closed by a decision" if counts.closed else ""
    return f"{length}; {gaps}; {unplaced}; {several(counts.outstanding, 'item')} outstanding{closed}."


def rows_with_reasons(as_built: AsBuilt, *, each: bool = True) -> list[str]:
    """Return each source row about which something is to be said, as file, row, outcome and reason.

    Unless `each` is asked for, many rows of a sheet whose reasons differ by what they quote of a cell are one line.
    """
    records = as_built.tables["records"]
    told = records[records["reason"] != ""]
    lines = [
        f"{_source(file, sheet)} row {row} ({outcome}): {reason}"
        for file, sheet, row, outcome, reason in told[
            ["source_file", "sheet", "source_row", "outcome", "reason"]
        ].itertuples(index=False)
    ]
    keys = zip(told["source_file"], told["sheet"], told["outcome"], told["reason"], strict=True)
    return lines if each else _once(lines, keys, "row", names=told["source_row"].astype(str))


def _kind(text: str) -> str:
    """Return what says the same of another cell: without what it quotes of it, and without the figures then."""
    return _FIGURES.sub("", _QUOTED.sub("", text)) if _QUOTED.search(text) else text


def _once(lines: Sequence[str], keys: Iterable[tuple[str, ...]], noun: str, *, names: Iterable[str]) -> list[str]:
    """Return the lines, of many with one key, but for what it quotes, the first alone with the names of the others."""
    alike: dict[tuple[str, ...], list[tuple[int, str]]] = {}
    for at, (key, name) in enumerate(zip(keys, names, strict=True)):
        alike.setdefault(tuple(map(_kind, key)), []).append((at, name))
    told: dict[int, str] = {}
    for (first, _), *others in alike.values():
        if len(others) < _EACH:
            told |= {at: lines[at] for at in (first, *(at for at, _ in others))}
        else:
            more = several(len(others), f"more {noun}")
            told[first] = f"{lines[first]} The like of {more}: {some([name for _, name in others])}."
    return [told[at] for at in sorted(told)]


def outstanding(as_built: AsBuilt, *, each: bool = True) -> list[str]:
    """Return what somebody has to look at, one line each: joints along the line, gaps, groups, and rows set aside.

    What a decision closes is left out; one that closes nothing stands beside its item. Unless `each` is asked for, many
    joints of a sheet whose reasons differ by what they quote of a cell are one line.
    """
    findings = as_built.tables["findings"]
    columns = ["joints_n", "statement", "decision"]
    groups = [
        f"{several(n, 'joint')}: {what}{_decided(decision)}"
        for n, what, decision in findings.loc[open_findings(findings), columns].itertuples(index=False)
    ]
    return [*_open_joints(as_built, each=each), *_open_gaps(as_built), *groups, *_open_rows(as_built)]


def decisions(as_built: AsBuilt) -> list[str]:
    """Return every decision that was read, one line each, with its state and what that means."""
    rows = as_built.tables["decisions"]
    about = ["joint_id", "gap_id", "row_id", "finding_id"]
    return [
        f"{name.removesuffix('_id')} {row[name]}: {decision_words(row)} ({row['state']}). {row['said']}"
        for row in rows.to_dict("records")
        for name in about
        if row[name]
    ]


def decision_words(row: Mapping[Hashable, str]) -> str:
    """Return a decision as it stands beside a verdict; what is not stated is left out.

    >>> row = {"decision": "repair", "name": "A. Person", "role": "", "date": "2026-03-25"}
    >>> decision_words(row | {"reason": "", "reference": "R-1"})
    'repair; A. Person, 2026-03-25; R-1'
    """
    who = ", ".join(row[name] for name in ("name", "role", "date") if row[name])
    return "; ".join(filter(None, (row["decision"], who, row["reason"], row["reference"])))


def _decided(decision: str) -> str:
    return f" Decision: {decision}." if decision else ""


def _open_joints(as_built: AsBuilt, *, each: bool) -> list[str]:
    joints = as_built.tables["joints"]
    told = joints[open_joints(joints)]
    columns = ["joint_id", "station", "source_file", "source_sheet", "source_row"]
    where = "without a place"
    said = told["reasons"] + told["decision"].map(_decided)
    lines = [
        f"joint {name} {'at ' + station if station else where} ({_source(file, sheet)} row {row}): {reasons}"
        for (name, station, file, sheet, row), reasons in zip(told[columns].itertuples(index=False), said, strict=True)
    ]
    keys = zip(told["source_file"], told["source_sheet"], said, strict=True)
    return lines if each else _once(lines, keys, "joint", names=told["joint_id"])


def _source(file: str, sheet: str) -> str:
    return f"{file} sheet {sheet}" if sheet else file


def _open_gaps(as_built: AsBuilt) -> list[str]:
    gaps = as_built.tables["gaps"]
    told = gaps[open_gaps(gaps)]
    columns = ["gap_id", "from_station", "to_station", "missing_records", "evidence", "decision"]
    return [
        f"gap {name} from {first} to {last}: {several(missing, 'missing record')}; {evidence}.{_decided(decision)}"
        for name, first, last, missing, evidence, decision in told[columns].itertuples(index=False)
    ]


def _open_rows(as_built: AsBuilt) -> list[str]:
    records = as_built.tables["records"]
    told = records[open_rows(records)]
    columns = ["source_file", "sheet", "source_row", "reason", "decision"]
    return [
        f"{_source(file, sheet)} row {row}: {reason}{_decided(decision)}"
        for file, sheet, row, reason, decision in told[columns].itertuples(index=False)
    ]
