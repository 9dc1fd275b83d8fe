"""The front door: words in, words out; nothing is decided here.

Messages go to stderr, results to stdout. Exit status: 0 done; 1 the tool failed; 2 the input or the call is wrong
(in both nothing was written); 3 done, and something is outstanding under --strict, was not found (find), or does not
hold (verify).
"""

import json
import sys
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from asbuilt import __version__
from asbuilt.cli_find import find
from asbuilt.door import FILE, FOLDER, as_json_option, printed, refusing, say, say_problems

_NOT_BUILT = ("init", "portfolio")


class _Commands(click.Group):
    """Refuses by name what the contract has and this version does not."""

    def resolve_command(self, ctx: click.Context, args: list[str]) -> Any:
        """Find the command, or refuse."""
        if args and args[0] in _NOT_BUILT:
            raise click.UsageError(f"asbuilt {args[0]} is not built yet in version {__version__}", ctx)
        return super().resolve_command(ctx, args)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="asbuilt")
def main() -> None:
    """Turn the fusion records of a polyethylene line into one installed line: map, GeoPackage and joint log.

    Not a utility locate. Findings are prompts for review; decisions belong to the responsible engineer.
    """


_DAY = click.DateTime(["%Y-%m-%d"])
_as_of = click.option("--as-of", type=_DAY, help="Take the end of this day (YYYY-MM-DD) for now; later records count.")
_evening = click.option("--as-of", type=_DAY, help="Tell of the evening of this day (YYYY-MM-DD); else of the last.")
_strict = click.option("--strict", is_flag=True, help="End with status 3 where something is outstanding.")


@main.command()
@click.argument("route", type=FOLDER)
@click.option(
    "-o", "--output", type=FOLDER, required=True, help="Folder to write: new, empty, or an earlier hand-over."
)
@click.option("--redact", is_flag=True, help="Write a copy without people, remarks and source paths, marked as such.")
@click.option("--coarsen", metavar="LENGTH", help='With --redact: round places to a grid, such as "100 m".')
@click.option("--since", type=FOLDER, help="Let the report say what changed since the hand-over in this folder.")
@_as_of
@_strict
@as_json_option
@refusing
def build(route: Path, output: Path, *, as_json: bool, **asked_for: Any) -> None:
    """Read the route in the folder ROUTE and write its hand-over, whole or not at all."""
    from asbuilt import build as journey  # the libraries take half a second
    from asbuilt import folder
    from asbuilt.compare import told_since
    from asbuilt.redact import grid_of, redacted

    if asked_for["since"] and asked_for["redact"]:
        raise click.UsageError("--since tells what changed in full: a redacted copy is written without it")
    asked, output = output, output.resolve()  # a link stays a link: what it leads to is replaced
    say(folder.restore(output))
    folder.refuse_unless_ours(output, route)
    signed = folder.loses_signature(output)
    grid_m = grid_of(asked_for["coarsen"], redact=asked_for["redact"])
    with _Progress(as_json) as step:
        found = _journey(route, asked_for["as_of"], step)
        if asked_for["since"]:
            found = told_since(found, asked_for["since"])
        if asked_for["redact"]:
            found = redacted(found, coarsen_m=grid_m)
        folder.replace_whole(output, lambda place: journey.publish(found, place, step=step))
    say(signed)
    _tell(found, as_json=as_json, closing=f"Written: {asked}")
    sys.exit(3 if asked_for["strict"] and found.counts.outstanding else 0)


@main.command()
@click.argument("route", type=FOLDER)
@click.option(
    "--outstanding", is_flag=True, help="Print what still needs a decision as CSV: filled in, it is a decisions.csv."
)
@_as_of
@_strict
@as_json_option
@refusing
def check(route: Path, outstanding: bool, as_of: datetime | None, strict: bool, as_json: bool) -> None:
    """Read everything in ROUTE, write nothing; say what would be set aside and what a column could be."""
    if outstanding and as_json:
        raise click.UsageError("--outstanding prints CSV: leave out --json")
    with _Progress(as_json) as step:
        found = _journey(route, as_of, step)
    if outstanding:
        _list_what_to_decide(found)
    else:
        _tell(found, as_json=as_json, closing="Nothing was written.", with_rows=True)
    sys.exit(3 if strict and found.counts.outstanding else 0)


@main.command()
@click.argument("route", type=FOLDER)
@click.option("-o", "--output", type=FOLDER, help="Folder for page, chart, tables and map: new, or an earlier one.")
@click.option("--since", type=FOLDER, help="Say what changed since the hand-over in this folder.")
@click.option("--watch", is_flag=True, help="Do it again whenever a file of the route changes, until Ctrl-C.")
@_evening
@as_json_option
@refusing
def progress(route: Path, output: Path | None, as_of: datetime | None, *, as_json: bool, **more: Any) -> None:
    """Say how far the line has come on an evening, day by day and crew by crew, and when the rest may be done."""
    from asbuilt.progress.evening import Asked, keep_watching

    if more["watch"] and as_json:
        raise click.UsageError("--watch says what changed in words: leave out --json")
    asked = Asked(route, output, as_of.date() if as_of else None, more["since"])
    say(asked.prepare())
    before = asked.files
    with _Progress(as_json) as step:
        told = asked.evening(step)
        written = asked.put(told, step)
    printed(told.as_document if as_json else [*told.lines, *(["", written] if written else [])])
    if more["watch"]:
        say("watching; Ctrl-C ends it")
        try:
            keep_watching(asked, told, click.echo, before=before, refused=say_problems)
        except KeyboardInterrupt:
            say("ended")


@main.command()
@click.argument("old", type=FOLDER)
@click.argument("new", type=FOLDER)
@click.option("--csv", "table", type=FILE, help="Write every change as one row of this CSV.")
@as_json_option
@refusing
def compare(old: Path, new: Path, table: Path | None, as_json: bool) -> None:
    """Say what changed between two hand-overs: joints, places, verdicts, values, decisions, gaps, settings."""
    from asbuilt.compare import compare_folders
    from asbuilt.second.listing import as_text
    from asbuilt.second.writing import as_document, refuse_unless_free, write_csv

    if table:
        refuse_unless_free(table, apart_from=(old, new))
    found = compare_folders(old, new)
    if table:
        write_csv(found, table, apart_from=(old, new))
    printed(as_document(found) if as_json else as_text(found))


main.add_command(find)


@main.command()
@click.argument("out", type=FOLDER)
@click.option("--signed-by", type=FILE, help="Public Ed25519 key (PEM) that SHA256SUMS.sig has to be by.")
@as_json_option
@refusing
def verify(out: Path, signed_by: Path | None, as_json: bool) -> None:
    """Check the hand-over in the folder OUT: checksums, and that all its files say one thing. Status 3: they do not."""
    from asbuilt import verify as looking

    with _Progress(as_json) as step:
        checks = looking.verify(out, signed_by=signed_by, step=step)
    printed(looking.as_document(checks) if as_json else looking.said(checks))
    sys.exit(0 if looking.holds(checks) else 3)


@main.command()
@click.argument("out", type=FOLDER)
@click.option("--key", type=FILE, required=True, help="Private Ed25519 key (PEM, PKCS 8).")
@refusing
def sign(out: Path, key: Path) -> None:
    """Sign the hand-over in the folder OUT: writes SHA256SUMS.sig, the Ed25519 signature of SHA256SUMS."""
    from asbuilt.second import signature
    from asbuilt.second.handed_over import handed_over

    def ask() -> str:
        return str(click.prompt("Passphrase of the key", hide_input=True, err=True))

    click.echo(f"Written: {signature.sign(handed_over(out), key, ask)}")


def _journey(route: Path, as_of: datetime | None, step: Callable[[str], None]) -> Any:
    from asbuilt import build, settings

    return build.build(settings.load(route), as_of_date=as_of.date() if as_of else None, step=step)


class _Progress:
    """One line on a terminal that says what is being done; silent elsewhere."""

    def __init__(self, silent: bool) -> None:
        self.on = sys.stderr.isatty() and not silent

    def __enter__(self) -> Callable[[str], None]:
        return self.show

    def show(self, text: str) -> None:
        """Write over the line."""
        if self.on:
            click.echo(f"\r\033[K{text} ...", err=True, nl=False)

    def __exit__(self, *_: object) -> None:
        if self.on:
            click.echo("\r\033[K", err=True, nl=False)


def _list_what_to_decide(found: Any) -> None:
    """Print the list, and on stderr what the decisions are worth that were made already."""
    from asbuilt.cautions import DECIDING
    from asbuilt.publish.to_decide import as_csv
    from asbuilt.sentence import summary

    click.echo(as_csv(found.tables), nl=False)
    for text in (summary(found)[-1], *found.of_decisions, DECIDING):
        say(text)


def _tell(found: Any, *, as_json: bool, closing: str, with_rows: bool = False) -> None:
    from asbuilt.sentence import outstanding, rows_with_reasons, summary

    rows = rows_with_reasons(found, each=as_json) if with_rows else []
    open_ = outstanding(found, each=as_json) if with_rows or as_json else []
    if as_json:
        title = asdict(found.title) | {"as_of": found.title.as_of.isoformat()}
        result = {"title": title, "counts": asdict(found.counts), "statements": found.statements, "notes": found.notes}
        result |= {"outstanding": open_} | ({"rows": rows} if with_rows else {})
        click.echo(json.dumps(result, ensure_ascii=False, indent=2))
        return
    click.echo(f"{found.title.name}, revision {found.title.revision}")
    for text in (*summary(found), *found.statements, *(f"Note: {note}" for note in found.notes)):
        click.echo(text)
    for heading, texts in (("Rows with something to say:", rows), ("Outstanding:", open_)):
        click.echo("\n".join([f"\n{heading}", *(f"  {text}" for text in texts)]) if texts else "", nl=bool(texts))
    click.echo(closing)
