"""Whether a hand-over is whole, unchanged, and says one thing in all its files: a list of small checks.

Adding a check is adding one function to `second/` and one row here. None of them trusts the folder: a file that
cannot be read does not hold, and says why.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from asbuilt.second import of_copies, of_files, of_tables, of_words, signature
from asbuilt.second.check import DOES_NOT_HOLD, HOLDS, NOT_LOOKED_AT, Check, Look, checked
from asbuilt.second.handed_over import handed_over
from asbuilt.second.plain import plain_text
from asbuilt.sentence import several

CHECKS: tuple[tuple[str, Look], ...] = (
    ("checksums", of_files.sums_hold),
    ("files", of_files.files_are_listed),
    ("tables", of_tables.tables_are_whole),
    ("references", of_tables.keys_lead_somewhere),
    ("source rows", of_tables.rows_have_one_fate),
    ("counts", of_words.counts_add_up),
    ("counts as said", of_words.counts_are_said_alike),
    ("verdicts", of_tables.verdicts_follow_from_checks),
    ("decisions", of_tables.decisions_close_what_is_closed),
    ("outstanding", of_words.outstanding_is_listed),
    ("places", of_tables.places_agree),
    ("joint log", of_copies.log_agrees),
    ("workbook", of_copies.workbook_agrees),
    ("map", of_copies.map_agrees),
    ("checks in the map", of_copies.map_checks_agree),
    ("waypoints", of_copies.waypoints_agree),
    ("revision and frame", of_words.heads_agree),
)
_SHOWN = 20


def verify(
    folder: Path,
    *,
    signed_by: Path | None = None,
    looks: Iterable[tuple[str, Look]] = CHECKS,
    step: Callable[[str], None] = lambda _: None,
) -> list[Check]:
    """Return every check of the hand-over in `folder`, in order; `signed_by` is the PEM file of a public key.

    `looks` are the checks to make besides the signature, `step` is told what is being looked at. Raises InputError
    where the folder holds no hand-over, or where there is no library to look at a signature with.
    """
    out = handed_over(folder)
    if signed_by:
        signature.refuse_without_library()
    about = partial(signature.signature_holds, key=signed_by) if signed_by else signature.signature_is_looked_at
    found = []
    for name, look in (*looks, ("signature", about)):
        step(f"looking at {name}")
        found.append(checked(name, look, out))
    return found


def holds(checks: Sequence[Check]) -> bool:
    """Whether nothing was found that does not hold."""
    return all(check.state != DOES_NOT_HOLD for check in checks)


def as_document(checks: Sequence[Check]) -> dict[str, Any]:
    """Return the result as plain lists and dicts for JSON."""
    return {"holds": holds(checks), "checks": [asdict(check) for check in checks], "said": _closing(checks)}


def said(checks: Sequence[Check]) -> list[str]:
    """Return one line a check, what does not hold below it, and what that comes to.

    Checks that could not be made for one and the same reason are one line, so that the reason is said once.
    """
    lines = []
    for names, check in _alike(checks):
        head = f"{check.state} ({plain_text(check.at)})" if check.made else f"could not be made{_count(names)}"
        lines.append(f"{', '.join(names)}: {head}")
        lines += [f"  {plain_text(fault)}" for fault in check.faults[:_SHOWN]]
        more = len(check.faults) - _SHOWN
        lines += [f"  and {more:,} more"] if more > 0 else []
    return [*lines, _closing(checks)]


def _alike(checks: Sequence[Check]) -> Iterator[tuple[list[str], Check]]:
    """Yield each check with its name; of those that could not be made for one reason the first, with all names."""
    unmade: dict[tuple[str, ...], list[str]] = {}
    for check in checks:
        if not check.made:
            unmade.setdefault(check.faults, []).append(check.name)
    for check in checks:
        names = [check.name] if check.made else unmade.pop(check.faults, [])
        if names:
            yield names, check


def _count(names: Sequence[str]) -> str:
    return f" ({len(names)} checks)" if len(names) > 1 else ""


def _closing(checks: Sequence[Check]) -> str:
    unmade = sum(not check.made for check in checks)
    many = {state: sum(check.state == state for check in checks) for state in (HOLDS, DOES_NOT_HOLD, NOT_LOOKED_AT)}
    wrong = many[DOES_NOT_HOLD] - unmade
    parts = [
        several(many[HOLDS], "holds", "hold"),
        *([several(wrong, "does not", "do not")] if wrong or not unmade else []),
        *([f"{unmade} could not be made"] if unmade else []),
        *([f"{many[NOT_LOOKED_AT]} not looked at"] if many[NOT_LOOKED_AT] else []),
    ]
    counts = f"{several(len(checks), 'check')}: {', '.join(parts)}."
    if many[DOES_NOT_HOLD]:
        return f"{counts} Do not rely on this hand-over: take it anew from whoever made it."
    signed = any(check.name == "signature" and check.state == HOLDS for check in checks)
    who = "" if signed else " Without a signature nobody can tell who made it."
    return f"{counts} The files say one thing; whether that is so in the ground, no check of files can tell.{who}"
