"""What is written for people, read back as bare text: README.txt and the PDF files."""

import io
import re
from pathlib import Path

from pypdf import PdfReader
from pypdf.errors import PyPdfError

from asbuilt.errors import InputError, Problem
from asbuilt.publish import readme
from asbuilt.second.files import contents, text_of

_MOST_BYTES = 1 << 28
_AGAIN = "take the hand-over anew from whoever made it"
_FILE = re.compile(r"  (\S+) +\S")


def bare(text: str) -> str:
    """Return a text without any white space: lines are broken here and there, also within words.

    >>> bare("358 joints,\\n  1 dupli\\ncate")
    '358joints,1duplicate'
    """
    return "".join(text.split())


def read_text(folder: Path) -> str:
    """Return README.txt. Raises InputError."""
    return text_of(folder, readme.NAME, _MOST_BYTES)


def section(text: str, heading: str) -> list[str]:
    """Return the items of one section of README.txt, each without white space; those that begin with a hyphen.

    >>> section("OUTSTANDING\\n  - joint 7:\\n    no fix\\n  - gap\\n\\nDECISIONS\\n  none\\n", "OUTSTANDING")
    ['joint7:nofix', 'gap']
    """
    inside = _lines_of(text, heading)
    items: list[str] = []
    for line in inside:
        if line.startswith("  - "):
            items.append(line[4:])
        elif items:
            items[-1] += line
    return [bare(item) for item in items]


def files_named(text: str) -> set[str]:
    """Return the files that README.txt says the hand-over has."""
    return {found[1] for line in _lines_of(text, "FILES") if (found := _FILE.match(line)) and line[2] != " "}


def _lines_of(text: str, heading: str) -> list[str]:
    lines = text.splitlines()
    if heading not in lines:
        raise InputError(Problem(readme.NAME, f"it has no section {heading}", _AGAIN))
    inside = []
    for line in lines[lines.index(heading) + 1 :]:
        if line and not line.startswith(" "):
            break
        inside.append(line)
    return inside


def read_pdf(folder: Path, name: str) -> str:
    """Return the text of a PDF, page after page, without white space. Raises InputError."""
    data = contents(folder, name, _MOST_BYTES)
    try:
        return bare("".join(page.extract_text() for page in PdfReader(io.BytesIO(data), strict=False).pages))
    except (PyPdfError, ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError, OSError) as error:
        raise InputError(Problem(name, f"it is no PDF that can be read ({error})", _AGAIN)) from error
