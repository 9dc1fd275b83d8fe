"""What every door of the house has: kinds of arguments, and the voice of results, messages and refusals."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from asbuilt.errors import AsBuiltError

FOLDER = click.Path(path_type=Path, file_okay=False)
FILE = click.Path(path_type=Path, dir_okay=False)
as_json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")


def refusing(command: Callable[..., None]) -> Callable[..., None]:
    """Turn a refusal into its lines on stderr and status 2. Anything else that goes wrong is ours: status 1."""

    def run(**words: Any) -> None:
        try:
            command(**words)
        except AsBuiltError as error:
            say_problems(error)
            count = len(error.problems)
            click.echo(f"asbuilt: {count} problem{'s' * (count != 1)}; nothing was written", err=True)
            sys.exit(2)

    run.__name__, run.__doc__ = command.__name__, command.__doc__
    return run


def printed(result: Any) -> None:
    """Print lines as they are, and a document as JSON."""
    text = "\n".join(result) if isinstance(result, list) else json.dumps(result, ensure_ascii=False, indent=2)
    click.echo(text)


def say(text: str) -> None:
    """Say something on stderr; nothing where there is no text."""
    if text:
        click.echo(f"asbuilt: {text}", err=True)


def say_problems(error: AsBuiltError) -> None:
    """Say every problem of a refusal on stderr, a line each."""
    for problem in error.problems:
        say(str(problem))
