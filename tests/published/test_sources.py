"""No value without its source: every check in this folder says where its value stands, and how well it is known."""

from pathlib import Path

import pytest

STATUSES = ("seen", "second_hand", "computed", "from_memory")


@pytest.mark.computed("the rule of this folder")
def test_every_check_names_one_source_and_its_status(request: pytest.FixtureRequest) -> None:
    here = [item for item in request.session.items if item.path.parent == Path(__file__).parent]
    stated = {item.nodeid: [m.args for m in item.iter_markers() if m.name in STATUSES] for item in here}
    unsaid = [name for name, marks in stated.items() if len(marks) != 1 or len(marks[0]) != 1 or not marks[0][0]]
    assert here
    assert not unsaid
