"""A hand-over is whole or not at all, whatever happens in between."""

from pathlib import Path

import pytest

from asbuilt import folder
from asbuilt.errors import OutputError
from asbuilt.publish import checksums, readme


def hand_over(text):
    def fill(place):
        (place / readme.NAME).write_text(f"{readme.FIRST_WORDS}\n{text}", encoding="utf-8")
        checksums.write_checksums(place)

    return fill


def says(place):
    return (place / readme.NAME).read_text(encoding="utf-8").splitlines()[1]


@pytest.fixture
def out(tmp_path):
    place = tmp_path / "out"
    folder.replace_whole(place, hand_over("first"))
    return place


def test_a_new_one_takes_the_place_of_the_old(out, tmp_path):
    folder.replace_whole(out, hand_over("second"))
    assert says(out) == "second"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_failure_while_filling_leaves_the_old_one(out, tmp_path):
    def fails(place):
        (place / "half").write_text("half", encoding="utf-8")
        raise KeyError("a fault of ours")

    with pytest.raises(KeyError, match="a fault of ours"):
        folder.replace_whole(out, fails)
    assert says(out) == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("nth", [1, 2])
def test_killed_between_the_renames_the_next_command_restores_a_whole_one(out, tmp_path, monkeypatch, nth):
    """A killed process runs no handler: the renames after the nth are lost, and nothing is cleaned up."""
    done = []
    rename = Path.rename

    class KilledError(BaseException):
        pass

    def dies(path, target):
        if len(done) == nth:
            raise KilledError
        done.append(target)
        return rename(path, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "rename", dies)
        patch.setattr(folder.shutil, "rmtree", lambda *_, **__: dies(out, out) if len(done) == nth else None)
        with pytest.raises(KilledError):
            folder.replace_whole(out, hand_over("second"))
    folder.restore(out)
    assert says(out) in ("first", "second")
    folder.replace_whole(out, hand_over("third"))
    assert says(out) == "third"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_full_disk_is_a_refusal_and_the_old_one_stays(out):
    def full(_):
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left"):
        folder.replace_whole(out, full)
    assert says(out) == "first"


def test_an_empty_folder_in_the_way_does_not_cost_the_old_one(out, tmp_path):
    out.rename(tmp_path / ".out.old")
    out.mkdir()
    assert "put back" in folder.restore(out)
    assert says(out) == "first"


def test_something_else_in_the_way_is_refused_and_the_old_one_stays(out, tmp_path):
    out.rename(tmp_path / ".out.old")
    out.mkdir()
    (out / "photo.jpg").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="an earlier hand-over waits in"):
        folder.restore(out)
    assert says(tmp_path / ".out.old") == "first"


def test_a_folder_that_is_not_ours_is_refused(tmp_path):
    place = tmp_path / "holiday"
    place.mkdir()
    (place / "photo.jpg").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match=r"holds photo\.jpg and is no hand-over"):
        folder.refuse_unless_ours(place, tmp_path / "route")
    assert (place / "photo.jpg").exists()


def test_a_hand_over_with_something_of_the_users_in_it_is_refused(out, tmp_path):
    (out / "my notes.txt").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match=r"my notes\.txt is not of the hand-over"):
        folder.refuse_unless_ours(out, tmp_path / "route")


@pytest.mark.parametrize("place", ["route", "route/inside", "."])
def test_the_route_itself_is_never_written_over(tmp_path, place):
    (tmp_path / "route").mkdir()
    with pytest.raises(OutputError, match="lie in one another"):
        folder.refuse_unless_ours(tmp_path / place, tmp_path / "route")


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="it is a file"):
        folder.refuse_unless_ours(tmp_path / "out", tmp_path / "route")
