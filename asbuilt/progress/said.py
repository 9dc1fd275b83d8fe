"""The figures as lines of text: on a terminal, and in the report."""

from collections.abc import Iterator, Sequence

import numpy as np

from asbuilt.progress.calendar import day_of
from asbuilt.progress.days import NO_RECORD
from asbuilt.progress.figures import Figures
from asbuilt.progress.forecast import Forecast
from asbuilt.progress.planned import Comparison
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
        "  ".join(c.ljust(w) if i < left else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))).rstrip()
        for row in (head, *rows)
    ]


def said(found: Figures, *, last: int = _LAST_DAYS) -> list[str]:
    """Return everything in lines: stages, the last days by crew, the plan, and when the rest may be done."""
    lines = [*stage_lines(found), "", *day_lines(found, last=last)]
    for heading, part in (("Against the plan:", plan_lines(found)), ("When the rest may be done:", forecast_lines(found))):
        lines += ["", heading, *part] if part else []
    return lines


def stage_lines(found: Figures) -> list[str]:
    """Return how much of the line has reached each stage."""
    unit = found.work.unit
    rows = [
        [s.stage, _length(found, s.length_m), _length(found, s.of_m), "-" if np.isnan(s.percent) else f"{s.percent:.1f} %"]
        for s in found.stages.itertuples(index=False)
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
        for d in days.itertuples(index=False)
    ]  # fmt: skip


def day_head(found: Figures) -> list[str]:
    """Return the headings of `day_rows`."""
    unit = found.work.unit.name
    return ["day", "crew", "machine", "joints", "tie-ins", f"new {unit}", f"in bores", "out", "first time", "of ceiling"]


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


def _compared(found: Figures, c: Comparison) -> str:
    unit = found.work.unit
    who = c.crew or "all crews"
    side = "ahead" if c.variance_m >= 0 else "behind"
    text = f"{who}: {unit.text(c.done_m, 0)} done of {unit.text(c.planned_m, 0)} planned by now"
    text += f" and {unit.text(c.scope_m, 0)} in all, {unit.text(abs(c.variance_m), 0)} {side}"
    text += f"; earned schedule {c.earned_days:.1f} of {c.elapsed_days:.0f} working days"
    text += f", SPI(t) {c.index:.2f}" if np.isfinite(c.index) else ""
    return text + "".join(_more(found, c)) + "."


def _more(found: Figures, c: Comparison) -> Iterator[str]:
    unit = found.work.unit
    if np.isfinite(c.late_days):
        label = found.work.stationing[c.line].labels(np.array([c.at_m]))[0] if c.line in found.work.stationing else ""
        yield f"; at {label or unit.text(c.at_m, 0)} {several(abs(round(c.late_days)), 'day')} {'late' if c.late_days > 0 else 'early'}"
    if c.left_m >= 1 and np.isfinite(c.required_m):
        yield f"; {unit.text(c.left_m, 0)} left, {unit.text(c.required_m, 0)} on each of {several(c.working_days_left, 'working day')} to {date_text(c.last)}"
    elif c.left_m >= 1:
        yield f"; {unit.text(c.left_m, 0)} left, and the planned end, {date_text(c.last)}, is over"
    if np.isfinite(c.by_index) and c.left_m >= 1:
        yield f"; by SPI(t) done on {date_text(c.by_index)}"


def forecast_lines(found: Figures) -> list[str]:
    """Return the forecasts, each with what it was drawn from."""
    return [_forecast(found, f) for f in found.forecasts if f.left or f.what == "line"]


def _forecast(found: Figures, f: Forecast) -> str:
    who = {"line": f.crew or "the whole line", "bores": "bores", "tie-ins": "tie-ins"}[f.what]
    left, rate = _amount(found, f, f.left), _amount(found, f, f.rate)
    if f.why:
        return f"{who}: {left} left; {f.why}."
    idle = f", {f.idle_n} of them without any" if f.idle_n else ""
    drawn = f"{rate} a working day over the last {f.days_n}{idle}"
    return f"{who}: {left} left; {date_text(f.p50)} (P50) to {date_text(f.p80)} (P80), at {drawn}."


def _amount(found: Figures, f: Forecast, value: float) -> str:
    if f.what == "tie-ins":
        return f"{value:.2g}"
    return found.work.unit.text(value, 0)
