"""The counts as sentences that add up: on the terminal, at the head of the map and in README.txt."""

from collections.abc import Sequence

from asbuilt.as_built import AsBuilt, Counts
from asbuilt.look import IN_ORDER, IN_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import LengthUnit


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
    return f"{length}; {gaps}; {unplaced}; {several(counts.outstanding, 'item')} outstanding."


def rows_with_reasons(as_built: AsBuilt) -> list[str]:
    """Return each source row about which something is to be said, as file, row, outcome and reason."""
    records = as_built.tables["records"]
    told = records[records["reason"] != ""]
    return [
        f"{_source(file, sheet)} row {row} ({outcome}): {reason}"
        for file, sheet, row, outcome, reason in told[
            ["source_file", "sheet", "source_row", "outcome", "reason"]
        ].itertuples(index=False)
    ]


def outstanding(as_built: AsBuilt) -> list[str]:
    """Return what somebody has to look at, one line each: joints along the line, gaps, groups, and rows set aside."""
    groups = [
        f"{several(n, 'joint')}: {what}"
        for n, what in as_built.tables["findings"][["joints_n", "statement"]].itertuples(index=False)
    ]
    return [*_open_joints(as_built), *_open_gaps(as_built), *groups, *_open_rows(as_built)]


def _open_joints(as_built: AsBuilt) -> list[str]:
    joints = as_built.tables["joints"]
    stands_out = joints[["fusion_verdict", "position_verdict"]].isin([OUT_OF_WINDOW, NOT_RECORDED]).any(axis=1)
    stands_out |= (joints["placed_by"] == "unplaced") | joints["number_open"].astype(bool)
    told = joints[joints["in_line"].astype(bool) & (stands_out)]
    columns = ["joint_id", "station", "source_file", "source_sheet", "source_row", "reasons"]
    where = "without a place"
    return [
        f"joint {name} {'at ' + station if station else where} ({_source(file, sheet)} row {row}): {reasons}"
        for name, station, file, sheet, row, reasons in told[columns].itertuples(index=False)
    ]


def _source(file: str, sheet: str) -> str:
    return f"{file} sheet {sheet}" if sheet else file


def _open_gaps(as_built: AsBuilt) -> list[str]:
    gaps = as_built.tables["gaps"]
    told = gaps[gaps["missing_records"] > 0]
    columns = ["gap_id", "from_station", "to_station", "missing_records", "evidence"]
    return [
        f"gap {name} from {first} to {last}: {several(missing, 'missing record')}; {evidence}."
        for name, first, last, missing, evidence in told[columns].itertuples(index=False)
    ]


def _open_rows(as_built: AsBuilt) -> list[str]:
    records = as_built.tables["records"]
    told = records[records["outstanding"].astype(bool)]
    columns = ["source_file", "sheet", "source_row", "reason"]
    return [
        f"{_source(file, sheet)} row {row}: {reason}"
        for file, sheet, row, reason in told[columns].itertuples(index=False)
    ]
