"""The parts of README.md that are made from the code: `python -m tests.readme_parts` writes them anew.

Each stands between `<!-- made: NAME -->` and `<!-- end -->`; a test compares them with what the code says now.
"""

import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner

from asbuilt import cli, procedures, tables
from asbuilt.cautions import CAUTIONS
from asbuilt.fields import FIELDS

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
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


def windows() -> str:
    """Procedure, quantity, source and status of every shipped limit."""
    found = [procedures.load(name, ROOT) for name in procedures.shipped()]
    rows = [(p.name, w.check.replace("_", " "), w.source, w.status) for p in found for w in p.window]
    return _table(("procedure", "quantity", "limit and where it was read", "status"), rows)


def cautions() -> str:
    """The cautions, as every output carries them."""
    return "\n".join(f"- {caution}" for caution in CAUTIONS)


def commands() -> str:
    """The help of the tool and of its commands."""
    texts = [
        CliRunner().invoke(cli.main, words, prog_name="asbuilt").output
        for words in (["-h"], ["build", "-h"], ["check", "-h"])
    ]
    return "```\n" + "\n".join(texts).strip() + "\n```"


PARTS: dict[str, Callable[[], str]] = {f.__name__: f for f in (summary, columns, fields, windows, cautions, commands)}


def rewritten(text: str) -> str:
    """Return the text of README.md with every made part as the code has it now."""
    return _PART.sub(lambda found: f"{found[1]}{PARTS[found[2]]()}\n{found[3]}", text)


if __name__ == "__main__":
    README.write_text(rewritten(README.read_text(encoding="utf-8")), encoding="utf-8")
