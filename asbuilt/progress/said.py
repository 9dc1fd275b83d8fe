"""The figures as lines of text: on a terminal, and in the report."""

from collections.abc import Iterator, Sequence

import numpy as np

from asbuilt.progress.calendar import day_of
from asbuilt.progress.days import NO_RECORD
from asbuilt.progress.figures import Figures
from asbuilt.progress.forecast import Forecast
from asbuilt.progress.planned import Comparison
from asbuilt.progress.rows import each
from asbuilt.sentence import several

_LAST_DAYS = 7


def date_text(day: float) -> str:
    """Write a day with its weekday; "-" where it is not known.

    >>> date_text(20524.0)
    'Thu 2026-03-12'
    """
    return f"{day_of(day):%a %Y-%m-%d}" if np.isfinite(day) else "-"


def table(head: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> list[str]:
    """Return rows of texts under a heading, in columns: the first `left` ones begin together, the others end together.

    >>> table(["a", "b"], [["xx", "1"], ["y", "22"]])
    ['a    b', 'xx   1', 'y   22']
    """
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    return [
        "  ".join(
            c.ljust(w) if i < left else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (head, *rows)
    ]


def said(found: Figures, *, last: int = _LAST_DAYS) -> list[str]:
    """Return everything in lines: stages, the last days by crew, the plan, and when the rest may be done."""
    lines = [*stage_lines(found), "", *day_lines(found, last=last)]
    for heading, part in (
        ("Against the plan:", plan_lines(found)),
        ("When the rest may be done:", forecast_lines(found)),
    ):
        lines += ["", heading, *part] if part else []
    return lines


def stage_lines(found: Figures) -> list[str]:
    """Return how much of the line has reached each stage."""
    unit = found.work.unit
    rows = [
        [
            s.stage,
            _length(found, s.length_m),
            _length(found, s.of_m),
            "-" if np.isnan(s.percent) else f"{s.percent:.1f} %",
        ]
        for s in each(found.stages)
    ]
    count = f"{found.joints:,} joints"
    count += f" of {found.expected:,.0f} expected" if np.isfinite(found.expected) else ""
    bank = f"; fused and not placed: {unit.text(found.bank_m, 0)}"
    return [*table(["stage", unit.name, "of", "by length"], rows), f"By count only: {count}{bank}."]


def _length(found: Figures, length_m: float) -> str:
    return "-" if np.isnan(length_m) else f"{length_m / found.work.unit.metres:,.0f}"


def day_rows(found: Figures, *, last: int | None = None) -> list[list[str]]:
    """Return the daily table as texts: day, crew, machine, joints, tie-ins, new length, of it in bores, out of window,
    first-time yield, and joints against the ceiling. `last`: only of so many last days."""
    days = found.days
    days = days[(days["day"] > found.work.evening - last).to_numpy()] if last else days
    return [
        [
            date_text(d.day), d.crew, d.machine or "-", f"{d.joints:.0f}", f"{d.tie_ins:.0f}", _length(found, d.new_m),
            _length(found, d.bore_m), f"{d.out_of_window:.0f}", _yield(d.first_good, d.first_made),
            _of_ceiling(d.joints, d.ceiling),
        ]
        for d in each(days)
    ]  # fmt: skip


def day_head(found: Figures) -> list[str]:
    """Return the headings of `day_rows`."""
    unit = found.work.unit.name
    return [
        "day",
        "crew",
        "machine",
        "joints",
        "tie-ins",
        f"new {unit}",
        "in bores",
        "out",
        "first time",
        "of ceiling",
    ]


def _yield(good: float, made: float) -> str:
    return f"{good:.0f} of {made:.0f}" if made else "-"


def _of_ceiling(joints: float, ceiling: float) -> str:
    return f"{joints:.0f} of {ceiling:.0f}" if np.isfinite(ceiling) else "-"


def day_lines(found: Figures, *, last: int = _LAST_DAYS) -> list[str]:
    """Return the last days by crew, the total of the evening's day, and the days without a joint."""
    evening = found.work.evening
    rows = day_rows(found, last=last)
    head = f"The last {last} days to {date_text(evening)}:"
    shown = table(day_head(found), rows, left=3) if rows else ["no joint was made"]
    return [head, *shown, *quiet_lines(found, last=last)]


def quiet_lines(found: Figures, *, last: int | None = None) -> list[str]:
    """Return, for each crew, its days without a joint, by what they are; days without a record stand apart."""
    quiet = found.quiet
    quiet = quiet[(quiet["day"] > found.work.evening - last).to_numpy()] if last else quiet
    lines = []
    for crew, own in quiet.groupby("crew"):
        states = [(state, own.loc[own["state"] == state, "day"]) for state in dict.fromkeys(own["state"])]
        told = [f"{state}: {_spans(days.to_numpy(float))}" for state, days in states]
        lines.append(f"{crew} made no joint: {'; '.join(told)}")
    return lines


def without_record(found: Figures) -> int:
    """Return how many crew-days have no record though the calendar counts on work."""
    return int((found.quiet["state"] == NO_RECORD).sum())


def _spans(days: np.ndarray) -> str:
    """Write days, those that follow one another as one span."""
    cuts = np.flatnonzero(np.diff(days) > 1) + 1
    runs = np.split(days, cuts)
    return ", ".join(date_text(r[0]) + (f" to {date_text(r[-1])}" if len(r) > 1 else "") for r in runs)


def plan_lines(found: Figures) -> list[str]:
    """Return planned against actual, of all and by crew."""
    return [_compared(found, c) for c in found.compared]


def plan_head(found: Figures) -> list[str]:
    """Return the headings of `plan_rows`."""
    unit = found.work.unit.name
    words = ["done", "planned by now", "in all", "ahead (+) or behind (-)", "in gaps", "left", "needed a working day"]
    more = [
        "earned schedule, working days",
        "of",
        "SPI(t)",
        "days late (+) or early (-)",
        "planned end",
        "end by SPI(t)",
    ]
    return ["crew", *(f"{word} ({unit})" for word in words), *more]


def plan_rows(found: Figures) -> list[list[str]]:
    """Return planned against actual as texts, of all crews and of each; "-" where a figure says nothing."""
    return [_plan_row(found, c) for c in found.compared]


def _plan_row(found: Figures, c: Comparison) -> list[str]:
    done = c.left_m < 1
    lengths = [c.done_m, c.planned_m, c.scope_m, c.variance_m, c.gap_m, c.left_m, np.nan if done else c.required_m]
    told = [f"{m / found.work.unit.metres:,.0f}" if np.isfinite(m) else "-" for m in lengths]
    told[3] = f"{c.variance_m / found.work.unit.metres:+,.0f}"
    index = f"{c.index:.2f}" if np.isfinite(c.index) else "-"
    late = f"{c.late_days:+.0f}" if np.isfinite(c.late_days) else "-"
    ends = [date_text(c.last), "nothing left" if done else date_text(c.by_index)]
    return [c.crew or "all crews", *told, f"{c.earned_days:.1f}", f"{c.elapsed_days:.0f}", index, late, *ends]


def _compared(found: Figures, c: Comparison) -> str:
    unit = found.work.unit
    text = f"{c.crew or 'all crews'}: {unit.text(c.done_m, 0)} done, {unit.text(c.planned_m, 0)} planned by now"
    text += f" ({unit.text(c.scope_m, 0)} in all): {unit.text(abs(c.variance_m), 0)}"
    text += f" {'ahead' if c.variance_m >= 0 else 'behind'}"
    text += f", of which {unit.text(c.gap_m, 0)} lie in gaps" if c.gap_m >= 1 and c.variance_m < 0 else ""
    text += f"; earned schedule {c.earned_days:.1f} of {several(round(c.elapsed_days), 'working day')}"
    text += f", SPI(t) {c.index:.2f}" if np.isfinite(c.index) else ""
    return text + "".join(_more(found, c)) + "."


def _more(found: Figures, c: Comparison) -> Iterator[str]:
    unit, end = found.work.unit, date_text(c.last)
    if np.isfinite(c.late_days):
        late = f"{several(abs(round(c.late_days)), 'day')} {'late' if c.late_days > 0 else 'early'}"
        yield f"; at {place_text(found, c.line, c.at_m)} {late if c.late_days else 'on the day planned'}"
    if c.left_m < 1:
        yield "; nothing left to fuse"
        return
    yield f"; {unit.text(c.left_m, 0)} left"
    if np.isfinite(c.required_m):
        days = several(c.working_days_left, "working day")
        yield f", needs {unit.text(c.required_m, 0)} on each of {days} to end on {end}"
    else:
        yield f", and the planned end, {end}, is over"
    if np.isfinite(c.by_index):
        yield f"; by SPI(t) done on {date_text(c.by_index)}"


def place_text(found: Figures, line: str, chainage_m: float) -> str:
    """Write a chainage as the station of its line, else with its unit."""
    how = found.work.stationing.get(line)
    return str(how.labels(np.array([chainage_m]))[0]) if how else found.work.unit.text(chainage_m, 0)


def forecast_lines(found: Figures) -> list[str]:
    """Return the forecasts, each with what it was drawn from."""
    lines = [_forecast(found, f) for f in found.forecasts if f.left or f.what == "line"]
    for tie in each(found.tie_ins[found.tie_ins["actual"].isna().to_numpy()]):
        who = f" of {tie.crew}" if tie.crew else ""
        lines.append(
            f"tie-in{who} at {place_text(found, tie.line, tie.at_m)}: not made, planned for {date_text(tie.planned)}."
        )
    if np.isfinite(found.average_end):
        lines.append(f"At the average pace since the first day the length is done on {date_text(found.average_end)}.")
    return lines


def _forecast(found: Figures, f: Forecast) -> str:
    who = {"line": f.crew or "the whole line", "bores": "bores", "tie-ins": "tie-ins"}[f.what]
    left, rate = _amount(found, f, f.left), _amount(found, f, f.rate)
    if f.why:
        return f"{who}: {left} left; {f.why}."
    if f.what == "line" and not f.crew and len(found.compared) > 1:
        return f"{who}: {left} left; {date_text(f.p50)} (P50) to {date_text(f.p80)} (P80), when the last crew is done."
    idle = f", {f.idle_n} of them without any" if f.idle_n else ""
    drawn = f"{rate} a working day over the last {f.days_n}{idle}"
    return f"{who}: {left} left; {date_text(f.p50)} (P50) to {date_text(f.p80)} (P80), at {drawn}."


def _amount(found: Figures, f: Forecast, value: float) -> str:
    if f.what == "tie-ins":
        return f"{value:.2g}"
    return found.work.unit.text(value, 0)
