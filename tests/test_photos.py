"""Photos that records name: found within the route folder, copied small, without what a camera wrote. All invented."""

import dataclasses
import hashlib
import io
import json
import re
import struct
import sys
import zlib

import pytest
from PIL import Image, ImageCms, ImageDraw, ImageOps, PngImagePlugin

from asbuilt import build, settings
from asbuilt.as_built import Photo, Tiles
from asbuilt.errors import SettingsError
from asbuilt.publish import webmap
from asbuilt.read import photos, pictures
from asbuilt.read.pictures import LONGEST, Copy, small_copy
from tests.conftest import SALTREACH
from tests.making import HEADING, csv_of, make_route
from tests.map_record import NASTY, invented

RED, GREEN, BLUE, WHITE = (200, 30, 30), (30, 160, 30), (30, 30, 200), (255, 255, 255)


def drawn(width=800, height=600):
    """A picture whose four quarters tell how it is turned."""
    image = Image.new("RGB", (width, height), WHITE)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, width // 2, height // 2), fill=RED)
    draw.rectangle((width // 2, 0, width, height // 2), fill=GREEN)
    draw.rectangle((0, height // 2, width // 2, height), fill=BLUE)
    return image


def file_of(image=None, kind="JPEG", **how):
    """The bytes of a picture file."""
    out = io.BytesIO()
    (image or drawn()).save(out, kind, **how)
    return out.getvalue()


def written(place, content):
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(content)
    return place


def route_with(folder, cells, *, heater=None, more="", **changes):
    """A route whose joints J1, J2 ... have these cells in the column of photos; `heater` in °C by joint."""
    rows = [
        f'J{i},2026-03-0{i} 10:00,{500000 + 12 * i},5250000,{(heater or {}).get(f"J{i}", 215)},"{cell}"'
        for i, cell in enumerate(cells, start=1)
    ]
    columns = {"records.columns.photo": "Photo", **changes}
    heading = ",".join((*HEADING, "Photo"))
    return make_route(folder, records=csv_of(*rows, heading=heading), toml_changes=columns, more=more)


def built(folder, cells, **how):
    return build.build(settings.load(route_with(folder, cells, **how)))


def told(as_built):
    """What is said of each photo: its joint, its name, and why it is not carried."""
    return [(photo.joint_id, photo.name, photo.why) for photo in as_built.photos]


def carried_in(text):
    """The photos that a page carries, as its own part has them."""
    part = re.search(r'<script id="photos" type="application/json">(.*?)</script>', text, re.DOTALL)
    return json.loads(part[1]) if part else None


# ---- finding ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "cell", "more"),
    [
        ("photos/one.jpg", "one.jpg", '[photos]\nfolder = "photos"'),
        ("photos/day 3/one.jpg", r"day 3\one.jpg", '[photos]\nfolder = "photos"'),
        ("photos/one.jpg", "photos/one.jpg", '[photos]\nfolder = "photos"'),
        ("photos/one.jpg", "photos/one.jpg", ""),
        ("one.jpg", "one.jpg", ""),
        ("records/one.jpg", "one.jpg", ""),
        ("records/one.JPG", "one", ""),
        ("records/left, then right.jpg", "left, then right.jpg", ""),
    ],
)
def test_a_photo_is_found_where_it_may_lie(tmp_path, place, cell, more):
    written(tmp_path / place, file_of())
    (photo,) = built(tmp_path, [cell], more=more).photos
    assert (photo.joint_id, photo.name, photo.why) == ("J1", cell, "")
    assert Image.open(io.BytesIO(photo.jpeg)).size == (photo.width, photo.height) == (640, 480)


def test_one_cell_may_name_several(tmp_path):
    for name in ("a.jpg", "b.png", "c.webp"):
        written(tmp_path / name, file_of(kind={"jpg": "JPEG", "png": "PNG", "webp": "WEBP"}[name[2:]]))
    found = told(built(tmp_path, ["a.jpg; b.png,c.webp;", "", "a.jpg"]))
    assert found == [("J1", "a.jpg", ""), ("J1", "b.png", ""), ("J1", "c.webp", ""), ("J3", "a.jpg", "")]


def test_the_folder_that_is_named_comes_first(tmp_path):
    written(tmp_path / "photos/one.jpg", file_of(drawn(300, 200)))
    written(tmp_path / "one.jpg", file_of(drawn(200, 300)))
    (photo,) = built(tmp_path, ["one.jpg"], more='[photos]\nfolder = "photos"').photos
    assert (photo.width, photo.height) == (300, 200)


def test_a_file_is_copied_once_however_many_joints_name_it(tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr(photos, "small_copy", lambda path: opened.append(path.name) or small_copy(path))
    written(tmp_path / "all.jpg", file_of())
    assert len({photo.jpeg for photo in built(tmp_path, ["all.jpg"] * 4).photos}) == 1
    assert opened == ["all.jpg"]


def test_what_was_copied_stands_among_the_inputs(tmp_path):
    content = file_of()
    written(tmp_path / "photos/one.jpg", content)
    info = built(tmp_path, ["photos/one.jpg", "photos/two.jpg"]).tables["build_info"]
    named = info[(info["topic"] == "input") & info["name"].str.startswith("photos/")]
    assert list(named["name"]) == ["photos/one.jpg"]
    assert list(named["value"]) == ["sha256 " + hashlib.sha256(content).hexdigest()]


@pytest.mark.parametrize(
    ("key", "says"),
    [
        ('folder = "../photos"', r"photos\.folder.*a path within the route folder"),
        ('folder = "/srv"', r"photos\.folder"),
        ('folder = "fotos"', r"photos\.folder: there is no folder 'fotos'"),
        ('foldr = "photos"', r"photos\.foldr: this key is not known; the nearest known is 'folder'"),
    ],
)
def test_a_wrong_folder_is_refused_by_its_key(tmp_path, key, says):
    (tmp_path / "photos").mkdir()
    with pytest.raises(SettingsError, match=says):
        settings.load(make_route(tmp_path, more=f"[photos]\n{key}"))


# ---- what is not carried ---------------------------------------------------------------------------------------------


def png_that_says(width, height):
    """A PNG of a few hundred bytes whose head (IHDR; W3C PNG, section 11.2.1) says it is large."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(b"\0" * 100_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def png_with_long_text():
    """A PNG whose text unpacks to 200 MB."""
    more = PngImagePlugin.PngInfo()
    more.add_text("Comment", "x" * 200_000_000, zip=True)
    return file_of(drawn(20, 20), "PNG", pnginfo=more)


HOSTILE = {
    "bomb.png": (lambda: png_that_says(30_000, 30_000), pictures.TOO_MANY),
    "warned.png": (lambda: png_that_says(10_000, 10_000), pictures.TOO_MANY),
    "text bomb.png": (png_with_long_text, pictures.UNREADABLE),
    "cut off.jpg": (lambda: file_of()[:4000], pictures.UNREADABLE),
    "cut off.png": (lambda: file_of(kind="PNG")[:-700], pictures.UNREADABLE),
    "empty.jpg": (lambda: b"", pictures.UNREADABLE),
    "page.jpg": (lambda: b"<html><script>alert(1)</script></html>", pictures.UNREADABLE),
    "drawing.svg": (lambda: b'<svg xmlns="http://www.w3.org/2000/svg"/>', pictures.UNREADABLE),
    "moving.gif": (lambda: file_of(kind="GIF"), pictures.UNREADABLE),
    "deep.png": (lambda: file_of(Image.new("I;16", (40, 30), 9000), "PNG"), pictures.TOO_DEEP),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_named_and_stops_nothing(tmp_path, name):
    content, why = HOSTILE[name][0](), HOSTILE[name][1]
    written(tmp_path / name, content)
    written(tmp_path / "good.jpg", file_of())
    found = built(tmp_path, [name, "good.jpg"])
    assert told(found) == [("J1", name, why), ("J2", "good.jpg", "")]
    assert f"1 photo not carried in the map, as each {why}: {name} of joint J1." in found.notes
    assert found.counts.joints == 2


def test_a_file_that_is_too_large_is_not_opened(tmp_path, monkeypatch):
    monkeypatch.setattr(pictures, "_MOST_BYTES", 1000)
    assert len(file_of()) > 1000
    assert small_copy(written(tmp_path / "one.jpg", file_of())) == pictures.TOO_LARGE


def test_what_lies_outside_the_route_folder_is_never_opened(tmp_path):
    route, secret = tmp_path / "route", written(tmp_path / "secret.jpg", file_of())
    route.mkdir()
    (route / "link.jpg").symlink_to(secret)
    (route / "inside.jpg").symlink_to(written(route / "real.jpg", file_of()))
    (route / "ring.jpg").symlink_to(route / "ring.jpg")
    (route / "folder.jpg").mkdir()
    names = [
        "link.jpg",
        "inside.jpg",
        "ring.jpg",
        "folder.jpg",
        "../secret.jpg",
        str(secret),
        r"C:\secret.jpg",
        "n" * 300,
    ]
    found = built(route, names)
    missing = "is not in the route folder or beside its record"
    whys = [photos.LINKED_OUT, "", missing, missing, photos.OUTSIDE, photos.OUTSIDE, photos.OUTSIDE, missing]
    assert told(found) == [(f"J{i}", *pair) for i, pair in enumerate(zip(names, whys, strict=True), start=1)]
    notes = " ".join(found.notes)
    assert all(f"{name} of joint J{i}" in notes for i, name in enumerate(names, start=1) if whys[i - 1])
    assert "inside.jpg" not in notes


def test_a_folder_of_photos_that_leads_out_opens_nothing(tmp_path):
    written(tmp_path / "elsewhere/one.jpg", file_of())
    route = tmp_path / "route"
    route.mkdir()
    (route / "photos").symlink_to(tmp_path / "elsewhere")
    found = built(route, ["one.jpg"], more='[photos]\nfolder = "photos"')
    assert told(found) == [("J1", "one.jpg", photos.LINKED_OUT)]


@pytest.mark.parametrize(
    ("cell", "names"),
    [
        ("https://example.org/a.jpg", ["https://example.org/a.jpg"]),
        ("https://example.org/a?b=1;c=2,d", ["https://example.org/a?b=1;c=2,d"]),
        ("https://example.org/a.jpg; file:///etc/b.jpg", ["https://example.org/a.jpg", "file:///etc/b.jpg"]),
        ("www.example.org/a.jpg", ["www.example.org/a.jpg"]),
    ],
)
def test_an_address_is_shown_and_nothing_is_fetched(tmp_path, cell, names):
    found = built(tmp_path, [cell])
    assert told(found) == [("J1", name, photos.ADDRESS) for name in names]
    assert any(names[0] in note and photos.ADDRESS in note for note in found.notes)


# ---- the copy --------------------------------------------------------------------------------------------------------


def segments(jpeg):
    """The markers of a JPEG file and what stands in their segments (ITU-T T.81, annex B.1.1)."""
    assert jpeg[:2] == b"\xff\xd8"
    at, found = 2, []
    while jpeg[at + 1] != 0xDA:  # start of scan: behind it are pixels
        length = int.from_bytes(jpeg[at + 2 : at + 4], "big")
        found.append((jpeg[at + 1], jpeg[at + 4 : at + 2 + length]))
        at += 2 + length
    return found


def test_nothing_that_a_camera_wrote_is_in_the_page(tmp_path):
    """Exif: tags 271 maker, 272 model, 34853 place (Exif 2.32); also a comment, a colour profile, and XMP."""
    exif = Image.Exif()
    exif[271], exif[272] = "InventedMaker", "InventedModel"
    exif.get_ifd(34853).update({1: "S", 2: (42.0, 51.0, 7.5), 3: "E", 4: (149.0, 13.0, 38.9)})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    source = file_of(
        exif=exif, comment=b"InventedComment", icc_profile=profile, xmp=b"<x:xmpmeta>InventedPlace</x:xmpmeta>"
    )
    secret = (b"Invented", b"Exif", b"ICC_PROFILE", b"xmpmeta")
    assert all(word in source for word in secret)
    assert dict(Image.open(io.BytesIO(source)).getexif().get_ifd(34853))[1] == "S"
    written(tmp_path / "one.jpg", source)
    (photo,) = built(tmp_path, ["one.jpg"]).photos
    found = segments(photo.jpeg)
    assert {marker for marker, _ in found} <= {0xE0, 0xDB, 0xC0, 0xC4}  # JFIF head, tables, size: no other APPn, no COM
    assert [text[:5] for marker, text in found if marker == 0xE0] == [b"JFIF\0"]
    assert not any(word in photo.jpeg for word in secret)
    assert not Image.open(io.BytesIO(photo.jpeg)).getexif()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_stands_upright(tmp_path, orientation):
    """The same turn as the library's own ImageOps.exif_transpose gives."""
    exif = Image.Exif()
    exif[274] = orientation
    path = written(tmp_path / "one.jpg", file_of(drawn(400, 200), exif=exif, quality=95))
    meant = ImageOps.exif_transpose(Image.open(path))
    copy = small_copy(path)
    assert isinstance(copy, Copy)
    seen = Image.open(io.BytesIO(copy.jpeg))
    assert seen.size == (copy.width, copy.height) == meant.size
    for x, y in ((0.1, 0.1), (0.9, 0.1), (0.1, 0.9), (0.9, 0.9)):
        at = (int(x * seen.width), int(y * seen.height))
        assert seen.getpixel(at) == pytest.approx(meant.getpixel(at), abs=12)


@pytest.mark.parametrize(
    ("size", "copied"),
    [((4000, 3000), (640, 480)), ((300, 1200), (160, 640)), ((90, 60), (90, 60)), ((9000, 1), (640, 1))],
)
def test_the_longest_side_is_at_most_640_and_nothing_is_enlarged(tmp_path, size, copied):
    copy = small_copy(written(tmp_path / "one.jpg", file_of(Image.new("RGB", size, RED))))
    assert (copy.width, copy.height) == copied
    assert max(copied) <= LONGEST == 640


@pytest.mark.parametrize(
    ("mode", "kind"), [("L", "JPEG"), ("CMYK", "JPEG"), ("P", "PNG"), ("1", "PNG"), ("RGBA", "WEBP")]
)
def test_other_kinds_of_pixels_keep_their_look(tmp_path, mode, kind):
    image = drawn().convert(mode)
    copy = small_copy(written(tmp_path / "one", file_of(image, kind)))
    seen, meant = Image.open(io.BytesIO(copy.jpeg)), image.convert("RGB").resize((640, 480), Image.Resampling.BOX)
    ours, theirs = (list(i.resize((2, 2), Image.Resampling.BOX).tobytes()) for i in (seen, meant))
    assert len(ours) == 2 * 2 * 3
    assert ours == pytest.approx(theirs, abs=14)


def test_what_is_transparent_becomes_white(tmp_path):
    copy = small_copy(written(tmp_path / "one.png", file_of(Image.new("RGBA", (40, 30), (0, 0, 0, 0)), "PNG")))
    assert Image.open(io.BytesIO(copy.jpeg)).getpixel((20, 15)) == pytest.approx((255, 255, 255), abs=2)


# ---- the page --------------------------------------------------------------------------------------------------------


def test_the_same_photos_give_the_same_page(tmp_path):
    written(tmp_path / "one.jpg", file_of())
    route = route_with(tmp_path, ["one.jpg", "two.jpg"])
    one, two = (webmap.page(build.build(settings.load(route))) for _ in range(2))
    assert one == two
    assert "data:;" in one


def noise(seed, size=(640, 480)):
    """A picture that packs badly."""
    return Image.effect_noise(size, 40 + seed).convert("RGB")


def test_a_full_page_takes_what_stands_out_first_and_says_what_it_leaves(tmp_path, monkeypatch):
    names = [f"{i}.jpg" for i in range(1, 7)]
    for i, name in enumerate(names):
        written(tmp_path / name, file_of(noise(i)))
    sizes = {p.joint_id: photos._in_page(p) for p in built(tmp_path, names).photos}
    room = sizes["J5"] + sizes["J1"] + sizes["J2"] + min(sizes.values()) // 2
    monkeypatch.setattr(photos, "MOST_IN_PAGE", room)
    found = built(tmp_path, names, heater={"J5": 320})
    verdicts = found.tables["joints"].set_index("joint_id")["fusion_verdict"]
    assert list(verdicts.index[verdicts == "out of window"]) == ["J5"]
    assert [p.joint_id for p in found.photos if p.jpeg] == ["J5", "J1", "J2"]
    assert [p.joint_id for p in found.photos if p.why == photos.FULL] == ["J3", "J4", "J6"]
    assert any(note.startswith("3 photos left out of the map: the 6 MB") for note in found.notes)
    text = webmap.page(found)
    assert carried_in(text)["2"] == [["3.jpg", 0, 0, "", photos.FULL]]
    assert sum(len(e[3]) for entries in carried_in(text).values() for e in entries) <= room


def test_a_full_page_opens_no_more_files_and_still_misses_what_is_missing(tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr(photos, "small_copy", lambda path: opened.append(path.name) or small_copy(path))
    monkeypatch.setattr(photos, "MOST_IN_PAGE", 100)
    for name in ("1.jpg", "3.jpg"):
        written(tmp_path / name, file_of())
    found = told(built(tmp_path, ["1.jpg", "2.jpg", "3.jpg"]))
    missing = "is not in the route folder or beside its record"
    assert found == [("J1", "1.jpg", photos.FULL), ("J2", "2.jpg", missing), ("J3", "3.jpg", photos.FULL)]
    assert opened == ["1.jpg"]


def test_six_megabytes_are_what_a_page_holds():
    assert photos.MOST_IN_PAGE == 6_000_000
    assert photos._in_page(Copy(b"x" * 4, 1, 1)) == len("eHh4eA==")  # four bytes take eight characters (RFC 4648)


def policy_of(text):
    return re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]


def test_the_policy_lets_in_what_is_carried_and_no_more():
    record, tiles = invented(), Tiles("https://tiles.example.org/{z}/{x}/{y}.png", "nobody", 19)
    shown, missed = Photo("J0001", "a.jpg", b"x", 1, 1), Photo("J0001", "a.jpg", why="is lost")
    for photo, background, meant in (
        ((), None, None),
        ((missed,), None, None),
        ((shown,), None, "data:"),
        ((), tiles, "https://tiles.example.org data:"),
        ((shown, missed), tiles, "https://tiles.example.org data:"),
    ):
        policy = policy_of(webmap.page(dataclasses.replace(record, photos=photo, tiles=background)))
        assert re.findall(r"img-src ([^;]*);", policy) == ([meant] if meant else [])


def test_a_page_without_photos_has_no_part_for_them(tmp_path):
    text = webmap.page(built(tmp_path, ["", ""]))
    assert carried_in(text) is None
    assert 'id="photos"' not in text


def test_names_cannot_leave_their_place():
    record = invented()
    named = tuple(Photo("J0003", name, why="is invented") for name in NASTY)
    text = webmap.page(dataclasses.replace(record, photos=named))
    assert [entry[0] for entry in carried_in(text)["2"]] == list(NASTY)
    assert text.count("<script") == text.count("</script>") == 5  # the record, the photos, and three that run
    assert NASTY[0] not in text


# ---- the sample route ------------------------------------------------------------------------------------------------


def test_the_sample_route_carries_the_drawings_that_its_script_makes(saltreach, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(SALTREACH))
    for name in [n for n in sys.modules if n.split(".")[0] == "making"]:
        monkeypatch.delitem(sys.modules, name)
    from making.photos import PHOTOS, write_photos  # noqa: PLC0415

    write_photos(tmp_path)
    joints = saltreach.tables["joints"].set_index("joint_id")
    assert told(saltreach) == [(joint, f"{joint}.jpg", "") for joint in ("C-034", "C-055")]
    assert list(joints.loc[list(PHOTOS), "fusion_verdict"]) == ["out of window", "in window"]
    for joint in PHOTOS:
        made, kept = (Image.open(f / f"{joint}.jpg") for f in (tmp_path, SALTREACH / "records" / "photos"))
        assert kept.size == made.size == (960, 720)
        assert list(made.resize((8, 6)).tobytes()) == pytest.approx(list(kept.resize((8, 6)).tobytes()), abs=3)
