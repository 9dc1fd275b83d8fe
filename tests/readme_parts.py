"""The parts of the three README.md that are made from the code: `python -m tests.readme_parts` writes them anew.

Each stands between `<!-- made: NAME -->` and `<!-- end -->`; a test compares them with what the code says now.
"""

import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner

from asbuilt import cli, tables
from asbuilt.cautions import CAUTIONS
from asbuilt.fields import FIELDS
from asbuilt.procedures import Correction, Piece, ProcedureWindow, load, shipped
from asbuilt.window import Span

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
PAGES = (README, ROOT / "sample_routes" / "README.md", ROOT / "outputs" / "README.md")
_PART = re.compile(r"(<!-- made: (\S+) -->\n).*?(<!-- end -->)", re.DOTALL)


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join(f"| {' | '.join(cell.replace('|', '/') for cell in line)} |" for line in lines)


def summary() -> str:
    """What the terminal says of the sample route."""
    with tempfile.TemporaryDirectory() as folder:
        out = f"{folder}/out"
        result = CliRunner().invoke(cli.main, ["build", str(ROOT / "sample_routes/saltreach"), "-o", out])
        return f"```\n{result.output.replace(out, 'outputs/saltreach').strip()}\n```"


def progress() -> str:
    """What the terminal says of the sample route's progress on an evening in its midst."""
    words = ["progress", str(ROOT / "sample_routes/saltreach"), "--as-of", "2026-02-25"]
    return f"```\n{CliRunner().invoke(cli.main, words).output.strip()}\n```"


def columns() -> str:
    """Every layer and table with its columns."""
    parts = []
    for table in tables.ALL:
        kind = table.geometry.lower() or "no geometry"
        rows = [(f"`{c.name}`", c.unit or ("" if c.kind == "real" else c.kind), c.says) for c in table.columns]
        body = _table(("column", "unit or kind", "what it holds"), rows)
        parts.append(
            f"<details><summary><code>{table.name}</code> ({kind}): {table.says}</summary>\n\n{body}\n\n</details>"
        )
    return "\n".join(parts)


def fields() -> str:
    """The fields of a joint record."""
    rows = [(f"`{f.name}`", f.unit or f.kind, ", ".join(f.headings)) for f in FIELDS.values()]
    return _table(("field", "stored as", "headings matched without being mapped"), rows)


def _number(value: float) -> str:
    return f"{value:.6g}"


def _bounds(span: Span) -> str:
    return f" for {span.over.replace('_', ' ')} {span.says}" if span.says else ""


def _piece(piece: Piece) -> str:
    """One piece of a limit in words; a wall and the like in the unit that the piece has, else as stored."""
    over = f"{piece.over.replace('_', ' ')} ({piece.unit or FIELDS[piece.over].unit})"
    powers = {0: "", 1: f" × {over}", 2: f" × {over}²"}
    terms = [f"{_number(c)}{powers[n]}" for n, c in enumerate(piece.polynomial) if c or len(piece.polynomial) == 1]
    told = " + ".join(over if term == f"1{powers[1]}" else term for term in terms).replace("+ -", "- ")
    pairs = "; ".join(f"{_number(x)}: {_number(y)}" for x, y in piece.points or piece.steps)
    how = f"by {over}, {'linear between' if piece.points else 'each up to'} {pairs}" if pairs else told
    cap = f", no more than {_number(piece.at_most)}" if piece.at_most < float("inf") else ""
    return how + cap + _bounds(piece) + "".join(map(_bounds, piece.where))


def _limit(window: ProcedureWindow) -> str:
    sides = [
        f"{word} {' / '.join(map(_piece, side))}"
        for word, side in (("at least", window.low), ("at most", window.high))
        if side
    ]
    unit = (window.unit or FIELDS[window.check].unit).replace("deg", "°")
    kind = f" {window.pressure}" if window.pressure else ""
    return f"{unit}{kind}: {'; '.join(sides)}{_corrected(window.correction)}"


def _corrected(per: Correction | None) -> str:
    if per is None:
        return ""
    over = per.over.replace("_", " ")
    return f"; {per.percent:g} % for each degree of {over} from {per.reference:g}, outside ± {per.within:g}"


def _sources(window: ProcedureWindow) -> list[tuple[str, str]]:
    """Source and status of a window, and those of its pieces that have their own."""
    own = [(p.source or window.source, p.status or window.status) for p in (*window.low, *window.high)]
    return list(dict.fromkeys([(window.source, window.status), *own]))


def procedures() -> str:
    """Procedure, quantity, limit, source and status of everything that is shipped."""
    head = ("quantity", "limit", "where it was read", "status")
    parts = []
    for p in (load(name, ROOT) for name in shipped()):
        told = [(w.check, w) for w in p.window] + [(f"{w.check}, not applied: {w.name}", w) for w in p.alternative]
        rows = [
            (name.replace("_", " "), _limit(w), *("; ".join(dict.fromkeys(x)) for x in zip(*_sources(w), strict=True)))
            for name, w in told
        ]
        rows += [(f"{f.quantity}: told, not judged", f.says, f.source, f.status) for f in p.further]
        covers = "".join(f"; {s.over.replace('_', ' ')} {s.says} only" for s in p.applies)
        body = _table(head, rows)
        parts.append(f"<details><summary><b>{p.name}</b>: {p.edition}{covers}</summary>\n\n{body}\n\n</details>")
    return "\n".join(parts)


def cautions() -> str:
    """The cautions, as every output carries them."""
    return "\n".join(f"- {caution}" for caution in CAUTIONS)


def commands() -> str:
    """The help of the tool and of its commands."""
    texts = [
        CliRunner().invoke(cli.main, words, prog_name="asbuilt").output
        for words in (
            ["-h"],
            ["build", "-h"],
            ["check", "-h"],
            ["progress", "-h"],
            ["find", "-h"],
            ["compare", "-h"],
            ["verify", "-h"],
            ["sign", "-h"],
        )
    ]
    return "```\n" + "\n".join(texts).strip() + "\n```"


_ALL = (summary, progress, columns, fields, procedures, cautions, commands)
PARTS: dict[str, Callable[[], str]] = {f.__name__: f for f in _ALL}


def rewritten(text: str) -> str:
    """Return a text with every made part as the code has it now."""
    return _PART.sub(lambda found: f"{found[1]}{PARTS[found[2]]()}\n{found[3]}", text)


if __name__ == "__main__":
    for page in PAGES:
        page.write_text(rewritten(page.read_text(encoding="utf-8")), encoding="utf-8")
