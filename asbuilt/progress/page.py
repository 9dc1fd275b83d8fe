"""The page of progress: one file that needs no network, runs no script and loads nothing, with the chart in it."""

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files

from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.progress.calendar import date_text, day_of
from asbuilt.progress.changes import Changes, change_lines
from asbuilt.progress.figures import Figures, assumptions
from asbuilt.progress.rows import Table
from asbuilt.progress.said import day_table, left_tables, plan_tables, quiet_lines, stage_table
from asbuilt.progress.svg import escaped

NAME = "progress.html"
MAP = "joint_map.html"
_SAYS = "what to know"


def page(as_built: AsBuilt, found: Figures, drawn: str, changed: Changes | None = None) -> str:
    """Return the page. `drawn` is the chart as SVG, ours: it stands in the page as it is."""
    title, style = as_built.title, _asset("page.css")
    evening = date_text(found.work.evening)
    parts = {
        "policy": escaped(_policy([style, *re.findall(r"<style>(.*?)</style>", drawn, re.DOTALL)])),
        "style": style,
        "title": escaped(f"{title.name}, progress, {day_of(found.work.evening)}"),
        "route": escaped(title.name),
        "issue": escaped(f"Progress as of the evening of {evening}. Revision {title.revision}."),
        "first_caution": escaped(CAUTIONS[0]),
        "stages": _stages(found),
        "changes": _section(f"Since {changed.since}", change_lines(changed, found)) if changed else "",
        "plan": "".join(map(_part, plan_tables(found))),
        "left": "".join(map(_part, left_tables(found))),
        "chart": drawn,
        "map": MAP,
        "days": _days(found),
        "quiet": _section("Days without a joint", quiet_lines(found)),
        "assumptions": _list(assumptions(found)),
        "cautions": _list(CAUTIONS),
    }
    return re.sub(r"\{\{ (\w+) \}\}", lambda place: parts[place[1]], _asset("page.html"))


def _asset(name: str) -> str:
    return (files("asbuilt") / "assets" / "progress" / name).read_text(encoding="utf-8")


def _policy(styles: Iterable[str]) -> str:
    """Return a Content-Security-Policy under which only these styles count, and nothing else is loaded or run."""
    allowed = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in styles)
    return f"default-src 'none'; style-src {allowed}; base-uri 'none'; form-action 'none'"


def _list(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escaped(text)}</li>" for text in texts) + "</ul>"


def _section(heading: str, texts: Sequence[str]) -> str:
    return f"<section><h2>{escaped(heading)}</h2>\n{_list(texts)}</section>" if texts else ""


def _part(table: Table) -> str:
    """Return a table under its own heading."""
    rows = [_row(table, [escaped(cell) for cell in row]) for row in table.rows]
    return f"<section><h2>{escaped(table.title)}</h2>\n{_table(table, rows, caption=table.title)}</section>"


def _table(table: Table, rows: Sequence[str], *, caption: str, long: str = "") -> str:
    """Return a table with its notes, in a box that scrolls by itself; `rows` are HTML already. `long` heads a further
    column of sentences.

    On a narrow screen each row is laid out as a card, which some browsers take for the end of the table: the roles
    keep it one.
    """
    told = "".join(f'<p class="note">{escaped(note)}</p>' for note in table.notes)
    notes = f'<div class="notes">{told}</div>' if told else ""
    if not rows:
        return notes
    heads = ["<br>".join(map(escaped, text.split("\n"))) for text in table.head]
    cells = "".join(f"<th{_HEAD}{_kind(i < table.words)}>{head}</th>" for i, head in enumerate(heads))
    cells += f"<th{_HEAD}{_kind(True)}>{escaped(long)}</th>" if long else ""
    return (
        f'<div class="part"><div class="wide" tabindex="0" role="region" aria-label="{escaped(caption)}">'
        f'<table role="table"><thead role="rowgroup"><tr role="row">{cells}</tr></thead>'
        f'<tbody role="rowgroup">{"".join(rows)}</tbody></table></div>{notes}</div>'
    )


_HEAD = ' scope="col" role="columnheader"'


def _kind(is_words: bool) -> str:
    return ' class="words"' if is_words else ""


def _row(table: Table, cells: Sequence[str], *, long: str = "", first: bool = False) -> str:
    """Return a row; its cells, and the sentence at its end, are HTML already. A number carries its heading along, for
    where it does not stand under it."""
    told = "".join(
        f'<td role="cell"{_kind(i < table.words)}{_headed(table, i)}>{cell}</td>' for i, cell in enumerate(cells)
    )
    told += f'<td role="cell" class="words long">{long}</td>' if long else ""
    rule = ' class="first"' if first else ""
    return f'<tr role="row"{rule}>{told}</tr>'


def _headed(table: Table, i: int) -> str:
    return "" if i < table.words else f' data-head="{escaped(table.head[i].replace(chr(10), " "))}"'


def _stages(found: Figures) -> str:
    table = stage_table(found)
    rows = [
        _row(table, [*map(escaped, row)], long=escaped(says))
        for row, says in zip(table.rows, found.stages["says"], strict=True)
    ]
    return _table(table, rows, caption="Stages by length", long=_SAYS)


def _days(found: Figures) -> str:
    numbers, table = found.days["day"].to_numpy(float), day_table(found)
    rows = []
    for i in range(len(table.rows) - 1, -1, -1):  # the latest day is what a reader looks for
        first = i == len(table.rows) - 1 or numbers[i + 1] != numbers[i]
        cells = [escaped(cell) for cell in table.rows[i]]
        link = f'<a href="{MAP}#evening={day_of(numbers[i])}">{cells[0]}</a>'
        rows.append(_row(table, [link, *cells[1:]], first=first))
    return _table(table, rows, caption="Joints and length by day, crew and machine")


def title_of(as_built: AsBuilt) -> Mapping[str, str]:
    """Return what stands at the head of the figures as data."""
    title = as_built.title
    return {"name": title.name, "revision": title.revision, "as_of": title.as_of.isoformat()}
