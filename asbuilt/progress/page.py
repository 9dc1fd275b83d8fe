"""The page of progress: one file that needs no network, runs no script and loads nothing, with the chart in it."""

import base64
import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files

import numpy as np

from asbuilt.as_built import AsBuilt
from asbuilt.cautions import CAUTIONS
from asbuilt.progress.calendar import day_of
from asbuilt.progress.changes import Changes, change_lines
from asbuilt.progress.figures import Figures, assumptions
from asbuilt.progress.rows import each
from asbuilt.progress.said import date_text, day_head, day_rows, forecast_lines, plan_head, plan_rows, quiet_lines
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
        "plan": _plan(found),
        "forecasts": _section("When the rest may be done", forecast_lines(found)),
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
    return f"<h2>{escaped(heading)}</h2>\n{_list(texts)}" if texts else ""


def _table(head: Sequence[str], rows: Iterable[str], *, words: int, caption: str) -> str:
    is_words = [i < words or text == _SAYS for i, text in enumerate(head)]
    cells = "".join(f'<th scope="col"{_kind(w)}>{escaped(text)}</th>' for w, text in zip(is_words, head, strict=True))
    label = escaped(caption)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{label}"><table>'
        f"<thead><tr>{cells}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _kind(is_words: bool) -> str:
    return ' class="words"' if is_words else ""


def _row(cells: Sequence[str], *, words: int, first: bool = False) -> str:
    """Return a row; its cells are HTML already."""
    told = "".join(f"<td{_kind(i < words)}>{cell}</td>" for i, cell in enumerate(cells))
    rule = ' class="first"' if first else ""
    return f"<tr{rule}>{told}</tr>"


def _stages(found: Figures) -> str:
    unit = found.work.unit
    rows = []
    for s in each(found.stages):
        known = np.isfinite(s.length_m)
        length = f"{s.length_m / unit.metres:,.0f}" if known else "not known"
        share = f"{s.percent:.1f} %" if known else "–"
        told = [escaped(s.stage), length, f"{s.of_m / unit.metres:,.0f}", share]
        rows.append(_row(told, words=1)[:-5] + f'<td class="words long">{escaped(s.says)}</td></tr>')
    count = f"By count only: {found.joints:,} joints"
    count += f" of {found.expected:,.0f} expected" if np.isfinite(found.expected) else ""
    count += f". Fused and not placed: {unit.text(found.bank_m, 0)}."
    head = ["stage", unit.name, "of", "by length", _SAYS]
    return _table(head, rows, words=1, caption="Stages by length") + f'<p class="note">{escaped(count)}</p>'


def _plan(found: Figures) -> str:
    if not found.compared:
        return ""
    rows = [_row(list(map(escaped, cells)), words=1) for cells in plan_rows(found)]
    table = _table(plan_head(found), rows, words=1, caption="Planned against actual")
    says = "Late or early: at the place of the plan that was reached last, in calendar days. Gaps earn nothing."
    return f'<h2>Against the plan</h2>\n{table}<p class="note">{escaped(says)}</p>'


def _days(found: Figures) -> str:
    numbers = found.days["day"].to_numpy(float)
    rows, shown = [], day_rows(found)
    for i in range(len(shown) - 1, -1, -1):  # the latest day is what a reader looks for
        first = i == len(shown) - 1 or numbers[i + 1] != numbers[i]
        cells = [escaped(cell) for cell in shown[i]]
        link = f'<a href="{MAP}#evening={day_of(numbers[i])}">{cells[0]}</a>'
        rows.append(_row([link, *cells[1:]], words=3, first=first))
    return _table(day_head(found), rows, words=3, caption="Joints and length by day, crew and machine")


def title_of(as_built: AsBuilt) -> Mapping[str, str]:
    """Return what stands at the head of the figures as data."""
    title = as_built.title
    return {"name": title.name, "revision": title.revision, "as_of": title.as_of.isoformat()}
