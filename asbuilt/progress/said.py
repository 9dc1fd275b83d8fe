"""The figures as tables and sentences: the same words on a terminal, on the page and in the report."""

from collections.abc import Iterator, Sequence

import numpy as np

from asbuilt.progress.calendar import date_text
from asbuilt.progress.figures import Figures
from asbuilt.progress.forecast import Forecast, Remaining
from asbuilt.progress.formulas import required_rate
from asbuilt.progress.missing import missing_between
from asbuilt.progress.planned import Comparison
from asbuilt.progress.rows import Table, each, folded
from asbuilt.sentence import several

LAST_DAYS = 7
_NOTHING = 0.5  # metres: no length that a table shows
_Row = tuple[str, ...]


def said(found: Figures, *, last: int = LAST_DAYS) -> list[str]:
    """Return everything in lines: stages, the last days by crew, the plan, what is left and when it may be done."""
    days = day_table(found, last=last)
    parts = [
        stage_table(found).lines,
        [*days.lines, *folded(quiet_lines(found, last=last))],
        *(table.lines for table in (*plan_tables(found), *left_tables(found))),
    ]
    return [line for part in parts for line in ("", *part)][1:]


def stage_table(found: Figures) -> Table:
    """Return how much of the line has reached each stage."""
    rows = [
        (s.stage, _length(found, s.length_m), _length(found, s.of_m), _percent(s.percent)) for s in each(found.stages)
    ]
    count = f"By count only: {found.joints:,} joints"
    count += f" of {found.expected:,.0f} expected" if np.isfinite(found.expected) else ""
    note = f"{count}; fused and not placed: {found.work.unit.text(found.bank_m, 0)}."
    return Table("", ("stage", found.work.unit.name, "of", "by length"), tuple(rows), notes=(note,))


def _percent(share: float) -> str:
    return f"{share:.1f} %" if np.isfinite(share) else "-"


def _length(found: Figures, length_m: float) -> str:
    return f"{length_m / found.work.unit.metres:,.0f}" if np.isfinite(length_m) else "-"


# ---- day by day ------------------------------------------------------------------------------------------------------


def day_table(found: Figures, *, last: int | None = None) -> Table:
    """Return the daily table: one row a day, crew and machine. `last`: only of so many last days."""
    unit, days = found.work.unit.name, found.days
    days = days[(days["day"] > found.work.evening - last).to_numpy()] if last else days
    rows = tuple(
        (
            date_text(d.day), d.crew, d.machine or "-", f"{d.joints:.0f}", f"{d.tie_ins:.0f}", _length(found, d.new_m),
            _length(found, d.bore_m), f"{d.out_of_window:.0f}", _yield(d.first_good, d.first_made),
            _of_ceiling(d.joints, d.ceiling),
        )
        for d in each(days)
    )  # fmt: skip
    made = ("joints", "tie-ins", f"new\n{unit}", "of it\nin bores", "out of\nwindow", "right\nfirst time")
    title = f"The last {last} days to {date_text(found.work.evening)}" if last else "Day by day"
    notes = (*_day_notes(found), *missing_between(found.work, last=last)) if rows else ("no joint was made",)
    return Table(title, ("day", "crew", "machine", *made, "joints of\nceiling"), rows, words=3, notes=notes)


def _day_notes(found: Figures) -> tuple[str, ...]:
    room = "a shift" if found.work.schedule.shift_h else "the hours from first to last joint"
    return (
        "Right first time: in window and never cut out, of the joints made for the first time. Ceiling: joints for"
        f" which soak and cooling alone leave room in {room}.",
    )


def _yield(good: float, made: float) -> str:
    return f"{good:.0f} of {made:.0f}" if made else "-"


def _of_ceiling(joints: float, ceiling: float) -> str:
    return f"{joints:.0f} of {ceiling:.0f}" if np.isfinite(ceiling) else "-"


def quiet_lines(found: Figures, *, last: int | None = None) -> list[str]:
    """Return the days without a joint, by what they are, crews of the same days together; days without a record stand
    apart."""
    quiet = found.quiet
    quiet = quiet[(quiet["day"] > found.work.evening - last).to_numpy()] if last else quiet
    who: dict[str, list[str]] = {}
    for crew, own in quiet.groupby("crew"):
        states = [(state, own.loc[own["state"] == state, "day"]) for state in dict.fromkeys(own["state"])]
        told = "; ".join(f"{state}: {_spans(days.to_numpy(float))}" for state, days in states)
        who.setdefault(told, []).append(str(crew))
    return [f"{', '.join(crews)} made no joint: {told}" for told, crews in who.items()]


def _spans(days: np.ndarray) -> str:
    """Write days, those that follow one another as one span."""
    runs = np.split(days, np.flatnonzero(np.diff(days) > 1) + 1)
    return ", ".join(date_text(r[0]) + (f" to {date_text(r[-1])}" if len(r) > 1 else "") for r in runs)


# ---- against the plan ------------------------------------------------------------------------------------------------


def plan_tables(found: Figures) -> list[Table]:
    """Return planned against actual, of each crew and of all, as one table; none without a plan."""
    if not found.compared:
        return []
    whole, *crews = found.compared
    alone = len(crews) <= 1  # then the place reached last is one crew's in the row of all, too
    rows = (*(_plan_row(found, c, with_place=True) for c in crews), _plan_row(found, whole, with_place=alone))
    lengths = ("done", "planned\nby now", "in all", "ahead (+)\nbehind (-)", "in\ngaps")
    more = ("earned\nschedule", "SPI(t)", "place\nreached last", "early or\nlate there")
    notes = (
        "In gaps: length without records, which counts as not done here. Earned schedule: the working days of the plan"
        " that what is done is worth, of those gone by. SPI(t): the one over the other, below 1 is behind.",
    )
    title = f"Against the plan, lengths in {found.work.unit.name}"
    return [Table(title, ("crew", *lengths, *more), rows, notes=notes)]


def _plan_row(found: Figures, c: Comparison, *, with_place: bool) -> _Row:
    behind = f"{c.variance_m / found.work.unit.metres:+,.0f}"
    lengths = (*(_length(found, m) for m in (c.done_m, c.planned_m, c.scope_m)), behind, _length(found, c.gap_m))
    earned = f"{c.earned_days:.1f} of {several(round(c.elapsed_days), 'day')}"
    index = f"{c.index:.2f}" if np.isfinite(c.index) else "-"
    told = with_place and np.isfinite(c.late_days)
    place = (place_text(found, c.line, c.at_m), _late(round(c.late_days))) if told else ("-", "-")
    return (c.crew or "all crews", *lengths, earned, index, *place)


def _late(days: int) -> str:
    return f"{several(abs(days), 'day')} {'late' if days > 0 else 'early'}" if days else "on the day"


def place_text(found: Figures, line: str, chainage_m: float) -> str:
    """Write a chainage as the station of its line, else with its unit."""
    how = found.work.stationing.get(line)
    return str(how.labels(np.array([chainage_m]))[0]) if how else found.work.unit.text(chainage_m, 0)


# ---- what is left, and when ------------------------------------------------------------------------------------------


def left_tables(found: Figures) -> list[Table]:
    """Return what is left in its parts, when it may be done, and the planned tie-ins that are not made."""
    return [*_left(found), *_when(found), *_open_tie_ins(found)]


def _left(found: Figures) -> Iterator[Table]:
    if found.remaining[-1].left_m < _NOTHING:
        nothing = "No length that the records or the plan know of. Gaps, tests and decisions are told elsewhere."
        yield Table("What is left", (), (), notes=(nothing,))
        return
    plans = {c.crew: c for c in found.compared}
    shown = [r for r in found.remaining if r.of != "no plan" or r.left_m >= _NOTHING]
    rows = tuple(
        (_who(r.of, r.crew), *_in_parts(found, r), *(_needed(found, r, plans.get(r.crew)) if plans else ()))
        for r in shown
    )
    head = ("crew", "left\nin all", "along\nthe line", "at tie-ins\nnot made", "in\nbores")
    more = ("needed a\nworking day", "working days to\nthe planned end", "planned end\nof the length") if plans else ()
    yield Table(f"What is left, lengths in {found.work.unit.name}", (*head, *more), rows)


def _who(of: str, crew: str) -> str:
    return {"no plan": "in no crew's plan", "line": "the whole line", "bores": "bores", "tie-ins": "tie-ins"}.get(
        "" if crew else of, crew
    )


def _in_parts(found: Figures, r: Remaining) -> Iterator[str]:
    """Write what is left and its parts, rounded so that the figures shown add up."""
    parts = np.array([r.along_m, r.at_tie_ins_m, r.in_bores_m]) / found.work.unit.metres
    ends = np.round(np.append(0.0, np.cumsum(parts)))
    yield from (f"{length:,.0f}" for length in (ends[-1], *np.diff(ends)))


def _needed(found: Figures, r: Remaining, c: Comparison | None) -> _Row:
    if c is None or r.of == "no plan":
        return ("-", "-", "-")
    if r.left_m < _NOTHING:
        return ("-", "-", date_text(c.last))
    rate = required_rate(r.left_m, c.working_days_left)
    days = "over" if c.last <= found.work.evening else f"{c.working_days_left}"
    return (_length(found, rate), days, date_text(c.last))


def _when(found: Figures) -> Iterator[Table]:
    open_now = [f for f in found.forecasts if f.left >= _NOTHING or f.what == "line"]
    if found.remaining[-1].left_m < _NOTHING and not any(f.left >= _NOTHING for f in open_now):
        return
    ends = {c.crew: date_text(c.by_index) for c in found.compared if c.left_m >= _NOTHING}
    rows = [(*_forecast(found, f), ends.get(f.crew, "-") if f.what == "line" else "-") for f in open_now]
    told = tuple(row for row in rows if set(row[1:]) != {"-"})  # of the others the reason below says all
    head = ("crew", "in half of\nthe runs (P50)", "in four of\nfive (P80)", "recent pace\na working day", "drawn from")
    yield Table("When it may be done", (*head, "by SPI(t)"), told, notes=(*_why(open_now), _three_ends(found)))


def _forecast(found: Figures, f: Forecast) -> _Row:
    pace = f"{f.rate:.2g}" if f.what == "tie-ins" else found.work.unit.text(f.rate, 0)
    drawn = several(f.days_n, "day") + (f", {f.idle_n} idle" if f.idle_n else "")
    of_crews = f.what == "line" and not f.crew and len(found.compared) > 1  # the last of them: no pace of its own
    basis = ("-", "-") if of_crews or np.isnan(f.p50) else (pace, drawn)
    return (_who(f.what, f.crew), date_text(f.p50), date_text(f.p80), *basis)


def _why(open_now: Sequence[Forecast]) -> Iterator[str]:
    """Say why what is not foretold is not, those of one reason together."""
    who: dict[str, list[str]] = {}
    for f in open_now:
        if f.why:
            why = "nothing is left along the line" if f.left < _NOTHING else f.why
            who.setdefault(why, []).append(_who(f.what, f.crew))
    yield from (f"{', '.join(names)}: {why}." for why, names in who.items())


def _three_ends(found: Figures) -> str:
    """Say which question each end answers: they differ because their questions do."""
    told = "P50 and P80 answer for the length along the line alone: each coming day is drawn from the crew's last ones."
    if len(found.compared) > 1:
        told += " The whole line is done when its last crew is."
    if found.compared:
        told += " By SPI(t) is the whole plan, tie-ins and bores with it, stretched by how it went since its first day."
    if np.isfinite(found.average_end):
        told += f" At the average pace since the first day all that is left is done on {date_text(found.average_end)}."
    return told


def _open_tie_ins(found: Figures) -> Iterator[Table]:
    ties = found.tie_ins[found.tie_ins["actual"].isna().to_numpy()]
    rows = tuple(
        (tie.crew or "-", place_text(found, tie.line, tie.at_m), date_text(tie.planned), _over(found, tie.planned))
        for tie in each(ties)
    )
    if rows:
        yield Table("Planned tie-ins that are not made", ("crew", "place", "planned for", "days over"), rows)


def _over(found: Figures, day: float) -> str:
    late = found.work.evening - day
    return f"{late:.0f}" if late > 0 else "-"
