"""What verify catches: damage, and a hand-over whose checksums were made anew after it was changed."""

import base64
import json
import os
import subprocess
import zlib
from dataclasses import replace

import openpyxl
import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519

from asbuilt import build, cli, verify
from asbuilt.errors import InputError
from asbuilt.publish import checksums
from asbuilt.second import signature
from asbuilt.second.files import name_fault
from asbuilt.second.handed_over import handed_over
from tests.conftest import SALTREACH
from tests.handed import (
    RECORD,
    copied,
    edit_geopackage,
    edit_page,
    edit_text,
    failing,
    hand_over,
    needs_openssl,
    needs_sha256sum,
    resum,
    rows,
)

DECISIONS = """joint_id,gap_id,decision,name,role,date,reason,reference
J5,,accept as is,A. Person (invented),engineer,2026-03-10,looked at,R-1
"""
NAMES = (
    "README.txt", "SHA256SUMS", "alignment_sheets.pdf", "asbuilt.gpkg", "handover.pdf", "joint_log.csv",
    "joint_log.xlsx", "joint_map.html", "joints.gpx",
)  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Ten joints, one missing, one too cool, one row that is no joint; with a decision."""
    place = tmp_path_factory.mktemp("made")
    (place / "route").mkdir()
    (place / "route/decisions.csv").write_text(DECISIONS, encoding="utf-8")
    records = rows(without=(8,), changed={5: (60.0, 0.0, 180)}) + ",2026-03-02 10:00,,,,,\n"
    return hand_over(place, records)


@pytest.fixture
def out(made, tmp_path):
    return copied(made[1], tmp_path / "out")


def run(*words):
    return CliRunner().invoke(cli.main, [str(w) for w in words])


# ---- what holds ------------------------------------------------------------------------------------------------------


def test_the_sample_route_holds_and_the_command_says_so(handover):
    result = run("verify", handover)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert [line.split(":")[0] for line in lines[:-1]] == [*(name for name, _ in verify.CHECKS), "signature"]
    assert all(": holds (" in line for line in lines[:-2])
    assert lines[-2] == "signature: not looked at (not signed)"
    assert result.stderr == ""


def test_a_small_one_holds_and_looks_at_what_is_there(out):
    checks = {check.name: check for check in verify.verify(out)}
    assert {name for name, check in checks.items() if check.state != "holds"} == {"signature"}
    assert checks["source rows"].at == "10 source rows and 9 joints"
    assert checks["decisions"].at == "1 decision, 1 thing closed"


def test_the_result_is_one_document_for_programs(out):
    found = json.loads(run("verify", out, "--json").stdout)
    assert found["holds"] is True
    assert {check["state"] for check in found["checks"]} == {"holds", "not looked at"}


@needs_sha256sum
def test_a_plain_sha256sum_agrees(out):
    command = ["sha256sum", "-c", "--strict", checksums.NAME]
    assert subprocess.run(command, cwd=out, capture_output=True, check=False).returncode == 0
    with (out / "joints.gpx").open("ab") as file:
        file.write(b"\n")
    assert subprocess.run(command, cwd=out, capture_output=True, check=False).returncode == 1
    assert "checksums" in failing(out)


# ---- files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("part", [0.05, 0.5, 0.95])
def test_one_changed_byte_is_caught_and_told_by_its_file(out, name, part):
    change_a_byte(out / name, part)
    found = failing(out, "checksums")["checksums"]
    assert name == "SHA256SUMS" or [fault for fault in found if fault.startswith(f"{name} is not the file")]


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_byte_never_ends_in_a_fault_of_ours(out, name):
    change_a_byte(out / name, 0.5)
    result = run("verify", out)
    assert result.exit_code == 3
    assert "checksums: does not hold" in result.stdout


def change_a_byte(path, part):
    data = bytearray(path.read_bytes())
    data[int(part * len(data))] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "SHA256SUMS"])
@pytest.mark.parametrize("again", [False, True])
def test_a_missing_file_is_caught_also_when_nothing_lists_it(out, name, again):
    (out / name).unlink()
    if again:
        resum(out)
    found = failing(out, "files", "checksums")
    assert any(name in fault for fault in found["files"])
    assert ("checksums" in found) is not again


@pytest.mark.parametrize("name", ["more.pdf", "joint_log (1).csv", "\x1b[2Jx"])
def test_a_file_more_is_caught(out, name):
    (out / name).write_text("x", encoding="utf-8")
    assert any("is not listed" in fault for fault in failing(out, "files")["files"])
    resum(out)
    assert any("is not named in README.txt" in fault for fault in failing(out, "files")["files"])


@pytest.mark.parametrize("kind", ["link", "folder", "pipe"])
def test_what_is_no_plain_file_is_refused_by_name_and_never_opened(out, kind):
    (out / "joint_log.csv").unlink()
    if kind == "link":
        (out / "joint_log.csv").symlink_to("/etc/passwd")
    elif kind == "folder":
        (out / "joint_log.csv").mkdir()
    else:
        os.mkfifo(out / "joint_log.csv")  # whoever opened it would wait for ever
    what = {"link": "a link", "folder": "a folder", "pipe": "no plain file"}[kind]
    assert f"joint_log.csv: it is {what}, and is not followed" in failing(out, "joint log")["joint log"][0]


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "..", "a/../b", "..\\x", "C:x"])
def test_a_listed_name_that_leads_out_is_refused_by_line(out, name):
    with (out / checksums.NAME).open("a", encoding="utf-8") as file:
        file.write(f"{'0' * 64}  {name}\n")
    number = len((out / checksums.NAME).read_text(encoding="utf-8").splitlines())
    assert any(
        f"line {number} '{'0' * 64}  " in fault and "leads out" in fault
        for fault in failing(out, "checksums")["checksums"]
    )
    assert name_fault(name)


@pytest.mark.parametrize(
    "line",
    ["", "no sum", "0" * 63 + "  a", "0" * 64 + " a", "{first}", "\\" + "0" * 64 + "  a\\nb", "0" * 64 + "  a\r"],
)
def test_a_line_that_sha256sum_does_not_read_is_told(out, line):
    text = (out / checksums.NAME).read_text(encoding="utf-8")
    with (out / checksums.NAME).open("a", encoding="utf-8", newline="") as file:
        file.write(line.format(first=text.splitlines()[0]) + "\n")
    assert failing(out, "checksums")["checksums"][0].startswith(f"line {text.count(chr(10)) + 1} ")


# ---- tables ----------------------------------------------------------------------------------------------------------


def test_one_joint_less_in_the_geopackage_is_caught(out):
    edit_geopackage(out, "DELETE FROM joints WHERE joint_id = 'J3'")
    found = failing(out)
    assert {"references", "source rows", "counts", "joint log", "workbook", "map", "waypoints"} <= set(found)
    assert "checksums" not in found
    assert any("J3" in fault for fault in found["references"])


@pytest.mark.parametrize("name", ["joint_log.csv", "joint_map.html", "joint_log.xlsx", "joints.gpx"])
def test_one_joint_less_in_one_other_file_is_caught(made, out, tmp_path, name):
    less = tmp_path / "less"
    less.mkdir()
    build.publish(_without(made[0], "J3"), less)
    (out / name).write_bytes((less / name).read_bytes())
    resum(out)
    of = {
        "joint_log.csv": "joint log",
        "joint_map.html": "map",
        "joint_log.xlsx": "workbook",
        "joints.gpx": "waypoints",
    }
    assert of[name] in failing(out, of[name])


def test_one_joint_less_in_every_file_is_caught_by_its_source_row(made, tmp_path):
    place = tmp_path / "less"
    place.mkdir()
    build.publish(_without(made[0], "J3"), place)
    found = failing(place)
    assert "joint log" not in found
    assert any("became a joint which is not there" in fault for fault in found["source rows"])


def _without(record, joint):
    frames = dict(record.tables)
    for name in ("joints", "window_checks", "positions"):
        frames[name] = frames[name][frames[name]["joint_id"] != joint].reset_index(drop=True)
    return replace(record, tables=frames)


@pytest.mark.parametrize("which", ["fusion_verdict", "position_verdict"])
def test_a_verdict_edited_in_the_geopackage_only_is_caught(out, which):
    edit_geopackage(out, f"UPDATE joints SET {which} = 'cannot tell' WHERE joint_id = 'J5'")  # noqa: S608
    found = failing(out)
    assert {"joint log", "workbook", "map", "waypoints", "counts"} <= set(found)
    assert all("J5" in found[name][0] for name in ("joint log", "workbook", "map"))
    assert ("verdicts" in found) is (which == "fusion_verdict")


def test_a_verdict_edited_in_the_log_only_is_caught(out):
    edit_text(out, "joint_log.csv", ",out of window,", ",in window,")
    found = failing(out)
    assert list(found) == ["joint log"]
    assert found["joint log"] == ("1 row, J5: joint_log.csv and the GeoPackage differ in Fusion verdict",)


def test_a_verdict_edited_in_the_workbook_only_is_caught(out):
    book = openpyxl.load_workbook(out / "joint_log.xlsx")
    sheet = book["Joints"]
    column = [cell.value for cell in sheet[1]].index("Fusion verdict") + 1
    at = [cell.value for cell in sheet["A"]].index("J5") + 1
    assert sheet.cell(at, column).value == "out of window"
    sheet.cell(at, column).value = "in window"
    book.save(out / "joint_log.xlsx")
    found = failing(resum(out))
    assert found["workbook"] == ("1 row, J5: joint_log.xlsx sheet Joints and the GeoPackage differ in Fusion verdict",)


def test_a_verdict_edited_in_the_map_only_is_caught(out):
    edit_page(out, lambda page: page["joints"]["columns"].update(fusion_verdict={"all": "in window"}))
    found = failing(out)
    assert list(found) == ["map"]
    assert found["map"] == ("1 row, J5: joint_map.html, joints and the GeoPackage differ in fusion_verdict",)


def test_a_check_edited_in_the_map_only_is_caught(out):
    edit_page(out, lambda page: page["checks"]["columns"].update(verdict={"all": "in window"}))
    assert list(failing(out)) == ["checks in the map"]


def test_a_verdict_edited_in_every_file_is_caught_by_its_checks(made, tmp_path):
    joints = made[0].tables["joints"].copy()
    joints["fusion_verdict"] = "in window"
    place = tmp_path / "changed"
    place.mkdir()
    build.publish(replace(made[0], tables={**made[0].tables, "joints": joints}), place)
    found = failing(place)
    assert found["verdicts"] == ("1 row, J5: its fusion verdict does not follow from its checks",)


def test_a_chainage_edited_in_one_file_is_caught(out):
    edit_geopackage(out, "UPDATE joints SET chainage_m = chainage_m + 0.1 WHERE joint_id = 'J4'")
    assert {"places", "joint log", "workbook", "map"} <= set(failing(out))


def test_a_point_that_is_not_where_its_columns_say_is_caught(out):
    edit_geopackage(
        out, "UPDATE joints SET geom = (SELECT geom FROM joints WHERE joint_id = 'J1') WHERE joint_id = 'J2'"
    )
    assert failing(out) == {"places": ("1 row, J2: its point is not at its easting and northing",)}


def test_a_waypoint_that_moved_is_caught(out):
    text = (out / "joints.gpx").read_text(encoding="utf-8")
    at = text.index('<wpt lat="') + len('<wpt lat="-42.898')
    (out / "joints.gpx").write_text(text[:at] + str((int(text[at]) + 5) % 10) + text[at + 1 :], encoding="utf-8")
    assert list(failing(resum(out))) == ["waypoints"]


@pytest.mark.parametrize(
    ("statement", "check", "says"),
    [
        ("INSERT INTO records (source_file, source_row, outcome, joint_id) SELECT source_file, source_row, 'duplicate',"
         " joint_id FROM records WHERE source_row = 3", "source rows", "source row with two fates"),
        ("UPDATE records SET outcome = 'lost' WHERE source_row = 3", "source rows", "source row without a fate"),
        ("UPDATE records SET joint_id = 'J1' WHERE outcome = 'set aside'", "source rows", "set aside and yet"),
        ("DELETE FROM records WHERE source_row = 3", "source rows", "joint whose source row is not told"),
        ("UPDATE joints SET in_line = 0 WHERE joint_id = 'J2'", "source rows", "in line, and its row says otherwise"),
        ("UPDATE window_checks SET joint_id = 'J99' WHERE joint_id = 'J1'", "references", "window_checks.joint_id"),
        ("UPDATE positions SET joint_id = 'J99' WHERE joint_id = 'J1'", "references", "positions.joint_id leads to no"),
        ("UPDATE gaps SET from_joint = 'J99' WHERE from_joint IS NOT NULL", "references", "gaps.from_joint leads"),
        ("UPDATE decisions SET joint_id = 'J99'", "references", "decisions.joint_id leads to no joint"),
        ("UPDATE records SET source_file = 'other.csv' WHERE source_row = 3", "references", "without a checksum"),
        ("UPDATE joints SET joint_id = 'J1' WHERE joint_id = 'J2'", "references", "stands on more than one row"),
        ("UPDATE joints SET closed = 1 WHERE joint_id = 'J1'", "decisions", "closed without a decision that holds"),
        ("UPDATE decisions SET state = 'stale'", "decisions", "joint_id closed without a decision that holds"),
        ("UPDATE joints SET fusion_verdict = 'fine' WHERE joint_id = 'J1'", "tables", "no word that"),
        ("UPDATE build_info SET value = '7' WHERE name = 'joints' AND topic = 'count'", "counts", "says joints 7"),
        ("UPDATE build_info SET value = 'P09' WHERE name = 'revision'", "revision and frame", "says revision 'P01'"),
        ("UPDATE gaps SET missing_records = 2 WHERE from_joint = 'J7'", "outstanding", "does not list: gap"),
        ("UPDATE joints SET reasons = 'all is well' WHERE joint_id = 'J5'", "map", "differ in reasons"),
        ("UPDATE window_checks SET value = 900 WHERE joint_id = 'J1'", "verdicts", "outside its window is told"),
        ("ALTER TABLE joints DROP COLUMN decision", "tables", "there is no column joints.decision"),
    ],
)  # fmt: skip
def test_an_edit_of_the_geopackage_is_caught(out, statement, check, says):
    edit_geopackage(out, statement)
    found = failing(out, check)
    assert any(says in fault for fault in found[check]), found


def test_words_for_people_that_were_edited_are_caught(out):
    text = (out / "README.txt").read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if "out of window" in line)
    edit_text(out, "README.txt", line, line.replace("1 out of window", "0 out of window"))
    assert [
        fault
        for fault in failing(out, "counts as said")["counts as said"]
        if fault.startswith("README.txt does not say: Fusion")
    ]


def test_a_thing_taken_off_the_list_of_what_is_outstanding_is_caught(out):
    text = (out / "README.txt").read_bytes().decode()
    head, rest = text.split("OUTSTANDING\r\n")
    listed, behind = rest.split("\r\n\r\n", 1)
    assert listed.count("  - ") == 3  # two gaps, and the row set aside; a decision closes J5
    (out / "README.txt").write_bytes(f"{head}OUTSTANDING\r\n  nothing\r\n\r\n{behind}".encode())
    found = failing(resum(out))
    assert list(found) == ["outstanding"]
    assert sum("does not list" in fault for fault in found["outstanding"]) == 3


# ---- hostile files ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statements", "says"),
    [
        (
            ("ALTER TABLE joints RENAME TO j", "CREATE VIEW joints AS SELECT * FROM j"),
            "'joints' is a view, not a table",
        ),
        (("ALTER TABLE gpkg_contents RENAME TO c", "CREATE VIEW gpkg_contents AS SELECT * FROM c"), "is a view"),
        (("DROP TABLE gaps",), "gaps"),
        (("DROP TABLE joints", "DROP TABLE gpkg_contents"), "no hand-over of ours"),
        (("UPDATE joints SET chainage_m = 'far'",), "joints.chainage_m holds values that are not of its kind"),
        (("UPDATE joints SET operator = x'00ff'",), "joints.operator holds values that are not of its kind"),
        (("UPDATE joints SET fused_at = 'yesterday'",), "table 'joints' cannot be read"),
        (
            (
                "DELETE FROM joints WHERE joint_id = 'J3'",
                "UPDATE gpkg_ogr_contents SET feature_count = 9 WHERE table_name = 'joints'",
            ),
            "count of rows is wrong",
        ),
        (("UPDATE joints SET remarks = printf('%.*c', 5000000, 'x') WHERE fid = 1",), "a text of more than 4,000,000"),
    ],
)
def test_a_hostile_geopackage_is_refused_by_name(out, statements, says):
    edit_geopackage(out, *statements)
    found = failing(out, "tables")
    assert any(says in fault for faults in found.values() for fault in faults), found
    result = run("compare", out, out)
    assert result.exit_code == 2
    assert says in result.stderr


def test_what_could_not_be_made_is_named_and_its_reason_is_said_once(out):
    (out / "asbuilt.gpkg").write_bytes(b"no database at all" * 100)
    lines = run("verify", resum(out)).stdout.splitlines()
    assert sum("file is not a database" in line for line in lines) == 1
    head = next(line for line in lines if line.startswith("tables, "))
    names = head.split(":")[0].split(", ")
    assert {"tables", "references", "source rows", "counts", "places", "joint log", "revision and frame"} <= set(names)
    assert head.endswith(f": could not be made ({len(names)} checks)")
    of_files = len(verify.CHECKS) - len(names)
    assert lines[-1].startswith(f"18 checks: {of_files} hold, {len(names)} could not be made, 1 not looked at. Do not")
    found = json.loads(run("verify", out, "--json").stdout)
    assert [check["name"] for check in found["checks"] if not check["made"]] == names
    assert found["holds"] is False


@pytest.mark.parametrize(
    ("names", "says"),
    [
        ([], "17 hold, 0 do not, 1 not looked at."),
        (["joints.gpx"], "16 hold, 1 does not, 1 not looked at."),
        (["joints.gpx", "more.pdf"], "15 hold, 2 do not, 1 not looked at."),
    ],
)
def test_one_is_said_otherwise_than_many(out, names, says):
    for name in names:
        with (out / name).open("ab") as file:
            file.write(b"\n")
    assert f"18 checks: {says}" in run("verify", out).stdout.splitlines()[-1]


@pytest.mark.parametrize("data", [b"", b"SQLite format 3\0" + b"\xff" * 4000, b"no database at all" * 100])
def test_a_geopackage_that_is_none_is_refused(out, data):
    (out / "asbuilt.gpkg").write_bytes(data)
    result = run("compare", out, out)
    assert result.exit_code == 2
    assert result.stderr.startswith("asbuilt: asbuilt.gpkg: it ")
    assert "Traceback" not in run("verify", out).output


def _page_with(text):
    return f"<html>{RECORD}{text}</script></html>".encode()


def _packed(data):
    return base64.b64encode(zlib.compress(data)).decode()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("joint_map.html", b"<html></html>", "it does not carry one record of ours"),
        ("joint_map.html", _page_with("!"), "its record cannot be read"),
        ("joint_map.html", _page_with(_packed(b"[" * 100000)), "cannot be read"),
        ("joint_map.html", _page_with(_packed(b"{}")), "part 'joints' is missing"),
        ("joint_log.xlsx", b"PK no workbook", "it is no workbook"),
        ("joint_log.csv", b'a,b\n"1', "it is no CSV"),
        ("joint_log.csv", b"a,b\n1\n", "row 2: it has not the 2 cells of the heading"),
        ("joint_log.csv", b"\xff\xfe\x00", "byte 1 is not UTF-8"),
        ("joint_log.csv", b"", "it is empty"),
        ("joints.gpx", b'<!DOCTYPE x [<!ENTITY a "b">]><gpx>&a;</gpx>', "it holds a declaration"),
        ("joints.gpx", b"<gpx", "it is no GPX of ours"),
        ("README.txt", b"nothing of ours", "it has no section"),
    ],
)  # fmt: skip
def test_a_damaged_file_is_told_by_name_and_never_ends_in_a_fault_of_ours(out, name, data, says):
    (out / name).write_bytes(data)
    found = failing(resum(out), "files", "joint log", "workbook", "map", "waypoints")
    assert any(says in fault and name in fault for faults in found.values() for fault in faults), found


@pytest.mark.parametrize(
    "change",
    [
        lambda page: page["joints"].update(rows="many"),
        lambda page: page["joints"].update(rows=10**9),
        lambda page: page["joints"]["columns"].update(line={"words": ["a"], "at": [5] * 9}),
        lambda page: page["joints"]["columns"].update(chainage_m={"unit": "x", "steps": [1] * 9}),
        lambda page: page.update(title=None, shift={"origin": 1}),
        lambda page: page.update(checks=7),
    ],
)
def test_a_map_whose_record_is_damaged_is_told(out, change):
    edit_page(out, change)
    result = run("verify", out)
    assert result.exit_code == 3
    assert "joint_map.html" in result.output


def test_what_a_terminal_would_obey_is_shown_by_its_number(out):
    edit_geopackage(out, "UPDATE joints SET joint_id = 'J' || char(27) || '[2J' WHERE joint_id = 'J3'")
    result = run("verify", out)
    assert "\x1b" not in result.output
    assert "[U+001B][2J" in result.output


@pytest.mark.parametrize("place", ["nowhere", "."])
def test_what_is_no_hand_over_is_refused(tmp_path, place):
    result = run("verify", tmp_path / place)
    assert result.exit_code == 2
    assert "name the folder that a build has written" in result.stderr


# ---- signature -------------------------------------------------------------------------------------------------------


def keys(place, name="key", key=None, phrase=None):
    key = key or ed25519.Ed25519PrivateKey.generate()
    how = serialization.BestAvailableEncryption(phrase) if phrase else serialization.NoEncryption()
    private = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, how)
    public = key.public_key().public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    (place / f"{name}.pem").write_bytes(private)
    (place / f"{name}_public.pem").write_bytes(public)
    return place / f"{name}.pem", place / f"{name}_public.pem"


def test_a_signed_one_holds_and_a_changed_or_a_strangers_one_does_not(out, tmp_path):
    private, public = keys(tmp_path)
    _, stranger = keys(tmp_path, "stranger")
    assert run("sign", out, "--key", private).exit_code == 0
    assert (out / checksums.SIGNATURE).stat().st_size == 64
    result = run("verify", out, "--signed-by", public)
    assert result.exit_code == 0
    assert "signature: holds (SHA256SUMS.sig by the key key_public.pem)" in result.stdout
    assert "signed: name the signer's public key" in run("verify", out).stdout
    assert list(failing(out, "files", signed_by=stranger)) == ["signature"]
    with (out / "joints.gpx").open("ab") as file:
        file.write(b"\n")
    signed = (out / checksums.SIGNATURE).read_bytes()
    resum(out)
    (out / checksums.SIGNATURE).write_bytes(signed)
    assert list(failing(out, "files", signed_by=public)) == ["signature"]
    (out / checksums.SIGNATURE).write_bytes(signed[:-1])
    assert "has 63 bytes" in failing(out, "files", signed_by=public)["signature"][0]


def test_an_unsigned_one_does_not_hold_where_a_signature_is_asked_for(out, tmp_path):
    found = failing(out, "files", signed_by=keys(tmp_path)[1])
    assert "SHA256SUMS.sig: it is not there" in found["signature"][0]


@needs_openssl
def test_openssl_checks_our_signature_and_we_check_theirs(out, tmp_path):
    """Outside the project: the openssl command, which knows nothing of us (Ed25519, RFC 8032)."""
    private, public = tmp_path / "private.pem", tmp_path / "public.pem"
    openssl("genpkey", "-algorithm", "ed25519", "-out", private)
    openssl("pkey", "-in", private, "-pubout", "-out", public)
    signature.sign(handed_over(out), private, str)
    sums, signed = out / checksums.NAME, out / checksums.SIGNATURE
    check = ("pkeyutl", "-verify", "-pubin", "-inkey", public, "-rawin", "-in", sums, "-sigfile", signed)
    assert openssl(*check) == 0
    ours = signed.read_bytes()
    openssl("pkeyutl", "-sign", "-inkey", private, "-rawin", "-in", sums, "-out", signed)
    assert signed.read_bytes() == ours  # Ed25519 draws nothing by chance
    assert failing(out, "checksums", signed_by=public) == {}
    sums.write_bytes(sums.read_bytes()[:-1])
    assert openssl(*check) != 0


def openssl(*words):
    return subprocess.run(["openssl", *map(str, words)], capture_output=True, check=False).returncode


def test_a_key_with_a_passphrase_is_asked_for_it(out, tmp_path):
    private, public = keys(tmp_path, phrase=b"seven gulls")
    result = CliRunner().invoke(cli.main, ["sign", str(out), "--key", str(private)], input="seven gulls\n")
    assert result.exit_code == 0, result.output
    assert failing(out, "checksums", signed_by=public) == {}
    wrong = CliRunner().invoke(cli.main, ["sign", str(out), "--key", str(private)], input="six gulls\n")
    assert wrong.exit_code == 2


def test_keys_that_will_not_do_are_refused_with_what_to_do(out, tmp_path):
    private, public = keys(tmp_path)
    other, other_public = keys(tmp_path, "other", key=ec.generate_private_key(ec.SECP256R1()))
    for words in (("sign", "--key", public), ("sign", "--key", other), ("sign", "--key", tmp_path / "none.pem")):
        result = run(words[0], out, *words[1:])
        assert result.exit_code == 2
    for key in (private, other_public, out / "README.txt"):
        found = failing(out, "files", signed_by=key)["signature"][0]
        assert "openssl pkey -in private.pem -pubout" in found
    assert not (out / checksums.SIGNATURE).exists()


def test_a_hand_over_that_does_not_hold_is_not_signed(out, tmp_path):
    (out / "joints.gpx").write_text("changed", encoding="utf-8")
    with pytest.raises(InputError, match="sign a whole hand-over only"):
        signature.sign(handed_over(out), keys(tmp_path)[0], str)


def test_without_the_library_the_commands_say_what_to_install(out, tmp_path, monkeypatch):
    private, public = keys(tmp_path)
    monkeypatch.setattr(signature, "find_spec", lambda _: None)
    for words in (("sign", out, "--key", private), ("verify", out, "--signed-by", public)):
        result = run(*words)
        assert result.exit_code == 2
        assert "pip install 'asbuilt[sign]'" in result.stderr
    assert run("verify", out).exit_code == 0


def test_a_new_build_takes_the_place_of_a_signed_one_and_says_so(tmp_path):
    out = tmp_path / "out"
    run("build", SALTREACH, "-o", out)
    run("sign", out, "--key", keys(tmp_path)[0])
    assert (out / checksums.SIGNATURE).is_file()
    result = run("build", SALTREACH, "-o", out)
    assert result.exit_code == 0
    assert "the signature went with the hand-over that it was for" in result.stderr
    assert not (out / checksums.SIGNATURE).exists()
