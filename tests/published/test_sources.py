"""No value without its source: every check in this folder says where its value stands, and how well it is known."""

from pathlib import Path

import pytest

STATUSES = ("seen", "second_hand", "computed", "from_memory")


def test_every_check_names_one_source_and_its_status(request: pytest.FixtureRequest) -> None:
    this = Path(__file__)
    here = [item for item in request.session.items if item.path.parent == this.parent and item.path != this]
    if not here:
        pytest.skip("no other check of this folder was collected")
    stated = {item.nodeid: [m.args for m in item.iter_markers() if m.name in STATUSES] for item in here}
    unsaid = [name for name, marks in stated.items() if len(marks) != 1 or len(marks[0]) != 1 or not marks[0][0]]
    assert not unsaid
