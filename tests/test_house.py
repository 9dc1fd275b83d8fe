"""The structure is held by reading the code: who imports whom, and how large things have become."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.house import FLOORS, drawing

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "asbuilt"
FLOOR_OF = {room: number for number, (_, rooms) in enumerate(FLOORS) for room in rooms}
MODULES = sorted(PACKAGE.rglob("*.py"))
Function = ast.FunctionDef | ast.AsyncFunctionDef


def room_of(path: Path) -> str:
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts).removesuffix(".__init__")


def imported(path: Path) -> Iterator[str]:
    """Every room that a module imports, lazy imports included."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "asbuilt":
            inside = node.module.removeprefix("asbuilt").removeprefix(".")
            names = [f"{inside}.{a.name}".removeprefix(".") for a in node.names] + [inside]
        elif isinstance(node, ast.Import):
            names = [a.name.removeprefix("asbuilt.") for a in node.names if a.name.startswith("asbuilt.")]
        yield from (n for n in names if (PACKAGE / Path(*n.split("."))).with_suffix(".py").exists() or is_package(n))


def is_package(name: str) -> bool:
    return bool(name) and (PACKAGE / Path(*name.split(".")) / "__init__.py").exists()


def floor_of(room: str) -> int | None:
    """A package stands as high as its highest room."""
    inside = [floor for name, floor in FLOOR_OF.items() if name.startswith(f"{room}.")]
    return FLOOR_OF.get(room, max(inside) if inside else None)


def definitions() -> Iterator[tuple[Path, Function]]:
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, Function):
                yield path, node


@cache
def lines_of_code(path: Path) -> frozenset[int]:
    """The numbers of the lines that are neither blank, nor comment, nor docstring."""
    text, doc = path.read_text(encoding="utf-8"), set()
    for n in ast.walk(ast.parse(text)):
        if isinstance(n, (ast.Module, ast.ClassDef, Function)) and ast.get_docstring(n) is not None:
            doc.update(range(n.body[0].lineno, (n.body[0].end_lineno or 0) + 1))
    lines = enumerate(map(str.strip, text.splitlines()), start=1)
    return frozenset(i for i, line in lines if line and line[0] != "#" and i not in doc)


def size_of(path: Path, node: Function) -> int:
    return sum(i in lines_of_code(path) for i in range(node.lineno, (node.end_lineno or 0) + 1))


@pytest.mark.parametrize("path", MODULES, ids=room_of)
def test_a_room_knows_only_lower_floors(path):
    room = room_of(path)
    if path.name in ("__init__.py", "__main__.py"):
        package = room if path.name == "__init__.py" else ""
        assert all(
            n.startswith(package) or floor_of(n) < floor_of(room) for n in imported(path) if floor_of(n) is not None
        )
        return
    assert room in FLOOR_OF, f"{room} stands on no floor: add it to tests/house.py and to DEVELOPERS.md"
    above = {n for n in imported(path) if floor_of(n) is not None and floor_of(n) >= FLOOR_OF[room]}
    assert not above, f"{room} reaches up or across to {above}"


def test_every_room_of_the_list_exists():
    assert {room_of(p) for p in MODULES if p.name not in ("__init__.py", "__main__.py")} >= set(FLOOR_OF) - {
        "procedures"
    }
    assert is_package("procedures")


@pytest.mark.parametrize(
    ("word", "rooms"),
    [
        (r"\bTransformer\b|\.to_crs\(", {"crs"}),
        (r"^import folium|^from folium", {"publish.webmap"}),
        (r"^import pint|^from pint", {"quantities"}),
        (
            r"^import pyogrio|^from pyogrio",
            {
                "crs",
                "read.sheets",
                "read.polylines",
                "read.context",
                "publish.geopackage",
                "publish.export_shapefile",
                "second.layers",
            },
        ),
        (r"^import xlsxwriter|^from xlsxwriter", {"publish.joint_log"}),
        (r"^\s*import typst|^\s*from typst", {"publish.typeset"}),
    ],
)
def test_each_library_has_its_room(word, rooms):
    found = {room_of(p) for p in MODULES if re.search(word, p.read_text(encoding="utf-8"), re.MULTILINE)}
    assert found == rooms


def test_functions_stay_short_and_modules_small():
    sizes = [(size_of(p, n), f"{room_of(p)}.{n.name}") for p, n in definitions()]
    assert [s for s in sizes if s[0] > 40] == []
    modules = [(len(lines_of_code(p)), room_of(p)) for p in MODULES]
    assert [m for m in modules if m[0] > 200 and m[1] != "tables"] == []  # tables is data
    assert sorted(s for s, _ in sizes)[len(sizes) // 2] <= 8


def test_public_functions_say_what_they_do_and_return():
    every = list(definitions())
    public = [(p, n) for p, n in every if not n.name.startswith("_")]
    nested = {id(m) for _, n in every for m in ast.walk(n) if m is not n and isinstance(m, Function)}
    bare = [
        f"{room_of(p)}.{n.name}" for p, n in public if id(n) not in nested and not (ast.get_docstring(n) and n.returns)
    ]
    assert bare == []


def test_no_broad_except():
    broad = [
        f"{room_of(p)}:{n.lineno}"
        for p in MODULES
        for n in ast.walk(ast.parse(p.read_text(encoding="utf-8")))
        if isinstance(n, ast.ExceptHandler)
        and (n.type is None or (isinstance(n.type, ast.Name) and n.type.id in ("Exception", "BaseException")))
    ]
    assert broad == []


def test_the_drawing_in_developers_is_the_house():
    assert drawing() in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
