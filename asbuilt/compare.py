"""What changed between two records of one line: two hand-overs, or a hand-over and what is about to be one."""

from dataclasses import replace
from pathlib import Path

from asbuilt.as_built import AsBuilt
from asbuilt.second import changes
from asbuilt.second.difference import Difference
from asbuilt.second.handed_over import handed_over
from asbuilt.second.moves import measured, moves, placed_anew
from asbuilt.second.sides import Pairs, Side, paired, side, side_of
from asbuilt.second.telling import difference_said


def compare(old: Side, new: Side) -> Difference:
    """Return what changed from `old` to `new`. Joints are matched by id, see `second.sides.paired`.

    Raises FrameError where the two are in different frames between which there is no way of known accuracy.
    """
    joints = old.tables["joints"], new.tables["joints"]
    pairs = paired(*joints)
    names = _renamed(pairs, old)
    return Difference(
        old=old.title,
        new=new.title,
        counts=changes.counts(old, new),
        added=changes.only_one_side(joints[1], pairs.added),
        removed=changes.what_became(changes.only_one_side(joints[0], pairs.removed), old, new),
        renamed=pairs.renamed,
        moves=moves(old, new, pairs),
        placed_anew=placed_anew(old, new, pairs),
        measured=measured(old, new),
        verdicts=changes.verdicts(old, new, pairs),
        values=changes.values(old, new, pairs),
        decisions=changes.decisions(old, new, names),
        gaps=changes.gaps(old, new, names),
        settings=changes.settings(old, new),
        not_compared=tuple(sorted(old.absent | new.absent)),
    )


def compare_folders(old: Path, new: Path) -> Difference:
    """Return what changed between two hand-overs. Raises InputError or FrameError."""
    found = compare(side(handed_over(old)), side(handed_over(new)))
    return replace(found, folders=(str(old), str(new)))


def told_since(as_built: AsBuilt, earlier: Path) -> AsBuilt:
    """Return the record with what changed since the hand-over in the folder `earlier`, for the report to print.

    Raises InputError or FrameError, as `compare_folders`.
    """
    found = compare(side(handed_over(earlier)), side_of(as_built))
    return replace(as_built, since=tuple(difference_said(found)))


def _renamed(pairs: Pairs, old: Side) -> dict[str, str]:
    """Return old id -> new id, of joints, and of gaps that are named after them."""
    joints = dict(zip(pairs.renamed["old_id"], pairs.renamed["new_id"], strict=True))
    gaps = old.tables["gaps"]
    ends = gaps[gaps["from_joint"].isin(joints) | gaps["to_joint"].isin(joints)]
    told = ends[["gap_id", "line", "from_joint", "to_joint"]].itertuples(index=False)
    return joints | {
        gap: f"{joints.get(first, first) or line + ' start'}--{joints.get(last, last) or line + ' end'}"
        for gap, line, first, last in told
    }
