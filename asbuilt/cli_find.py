"""The door of `asbuilt find`."""

import sys
from pathlib import Path
from typing import Any

import click

from asbuilt.door import FILE, as_json_option, printed, refusing, say


@click.command(context_settings={"ignore_unknown_options": True})  # "-42.85, 149.2" is a position
@click.argument("out", type=click.Path(path_type=Path))
@click.argument("what", nargs=-1, required=True)
@click.option("--crs", "frame", default="", help="Frame of positions that name none; else WGS 84 for degrees.")
@click.option("--to", default="", metavar="CRS", help="Also tell places in this frame.")
@click.option("--line", default="", help="Line of a station or chainage, where there are several.")
@click.option("--nearest", default=3, type=click.IntRange(1, 100), help="How many joints to list beside a place.")
@click.option("--accuracy", metavar="LENGTH", help='95 % radius of the receiver at a position, such as "5 m".')
@click.option("--sheet", type=FILE, help="Write the one-page locate sheet of the joint (PDF).")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Of the sheet; else by the units of the route.")
@click.option("--gpx", type=FILE, help="Write the joints found as waypoints (WGS 84).")
@click.option("--kml", type=FILE, help="Write the joints found with their search boxes (WGS 84).")
@as_json_option
@refusing
def find(out: Path, what: tuple[str, ...], *, as_json: bool, **asked: Any) -> None:
    """Find a joint in the hand-over OUT: where it is, how sure that is, what is beside it.

    WHAT is a joint's id or a part of it (case, signs and zeros in front of a number do not matter); a station such as
    1+250, or a chainage such as "1250 m"; or a position: "-42.85, 149.22", "42 51 08 S 149 13 38 E",
    geo:-42.85,149.22, "EPSG:7855 681275 5252855". What has a space in it goes in quotes. Status 3: not found.
    """
    from asbuilt.find import giving, told
    from asbuilt.find.answer import NothingFound
    from asbuilt.find.record import record
    from asbuilt.find.search import Wanted
    from asbuilt.find.search import find as search

    if wrong := [text for text in what if text.startswith("--")]:
        raise click.UsageError(f"there is no option {wrong[0]}; asbuilt find --help lists those that there are")
    paths = {f"--{name}": asked[name] for name in ("sheet", "gpx", "kml") if asked[name]}
    of = record(out)
    for option, path in paths.items():
        giving.refuse_unless_free(option, path, apart_from=[of.folder])
    accuracy = _length_m("--accuracy", asked["accuracy"])
    wanted = Wanted(asked["frame"], asked["to"], asked["line"], asked["nearest"], accuracy)
    answers = search(of, what, wanted)
    missing = [answer for answer in answers if isinstance(answer, NothingFound)]
    if not missing:
        giving.write(_files(of, answers, paths, asked["paper"]))
    if as_json:
        printed(giving.as_document(answers, of.title))
    for answer in answers:
        is_missing = isinstance(answer, NothingFound)
        if is_missing or not as_json:
            click.echo("\n".join(told.said(answer, of.title)), err=is_missing)
    for do in dict.fromkeys(answer.do for answer in missing):
        click.echo(f"{do}.", err=True)
    for path in paths.values():
        say(f"{'not written' if missing else 'written'}: {path}")
    sys.exit(3 if missing else 0)


def _files(of: Any, answers: Any, paths: dict[str, Path], paper: str | None) -> dict[Path, bytes]:
    """Make what is asked for beside the words."""
    from asbuilt.find import giving, sheet, waypoints

    made = {}
    if path := paths.get("--sheet"):
        paper = paper or ("Letter" if of.title.length_unit.name == "ft" else "A4")
        made[path] = sheet.locate_sheet(of, giving.for_the_sheet(of, answers), paper=paper)
    joints = waypoints.found_joints(of, answers) if {"--gpx", "--kml"} & set(paths) else []
    if path := paths.get("--gpx"):
        made[path] = waypoints.gpx(joints, of.title)
    if path := paths.get("--kml"):
        made[path] = waypoints.kml(of, joints)
    return made


def _length_m(option: str, text: str | None) -> float:
    """Return a length in metres, NaN where none is given."""
    from asbuilt.quantities import UnitError, quantity

    try:
        return quantity(text, "m") if text else float("nan")
    except UnitError as error:
        raise click.UsageError(f'{option}: a length with its unit, such as "5 m"; {error}') from error
