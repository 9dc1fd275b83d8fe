"""The counts as sentences that add up: on the terminal, at the head of the map and in README.txt."""

from asbuilt.as_built import AsBuilt, Counts
from asbuilt.look import CANNOT_TELL, IN_WINDOW, NO_WINDOW, NOT_RECORDED, OUT_OF_WINDOW
from asbuilt.quantities import LengthUnit

_ORDER = (IN_WINDOW, OUT_OF_WINDOW, CANNOT_TELL, NOT_RECORDED, NO_WINDOW)


def several(count: int, one: str, many: str = "") -> str:
    """Write a count with its noun.

    >>> several(1, "joint"), several(0, "gap"), several(2, "duplicate row")
    ('1 joint', '0 gaps', '2 duplicate rows')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def summary(as_built: AsBuilt) -> list[str]:
    """Return the state of the line in a few sentences."""
    counts = as_built.counts
    when = as_built.title.as_of.strftime("%Y-%m-%d %H:%M %Z").strip()
    return [
        f"As of {when}: {_rows(counts)}",
        _verdicts("Fusion", counts.fusion),
        _verdicts("Position", counts.position),
        _line(counts, as_built.title.length_unit),
    ]


def _rows(counts: Counts) -> str:
    parts = [
        several(counts.joints, "joint"),
        several(counts.duplicates, "duplicate"),
        f"{counts.superseded:,} superseded",
        several(counts.trials, "trial"),
        f"{counts.set_aside:,} set aside",
    ]
    return f"{several(counts.rows, 'source row')} = {' + '.join(parts)}."


def _verdicts(what: str, verdicts: object) -> str:
    found = dict(verdicts)  # type: ignore[call-overload]
    shown = [f"{found[word]:,} {word}" for word in _ORDER if found.get(word) or word in (IN_WINDOW, OUT_OF_WINDOW)]
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
        f"{file}{f' sheet {sheet}' if sheet else ''} row {row} ({outcome}): {reason}"
        for file, sheet, row, outcome, reason in told[
            ["source_file", "sheet", "source_row", "outcome", "reason"]
        ].itertuples(index=False)
    ]
