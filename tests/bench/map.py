"""What the map weighs, and how quickly it answers, beside a plain marker for each joint in the same run.

`python -m tests.bench.map --joints 1000 10000 100000` builds invented records (as `tests.bench.journey` makes them),
writes our page and a page with one `folium.CircleMarker` a joint, opens both in headless Chromium without a network,
and prints for each: size, bytes a joint beyond the first 0.5 MB, seconds of Python, seconds from the start to
the first frame after the scripts are done, the longest frame while the map is dragged and zoomed by mouse, and the
JavaScript heap. Frames are measured in the page, from one `requestAnimationFrame` to the next.
"""

import argparse
import shutil
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import folium
from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from asbuilt import build as journey
from asbuilt import settings
from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap
from tests.bench.journey import make
from tests.map_pages import until

_FIRST = 500_000  # bytes that a page may have before its joints count
_FRAMES = """() => { window.frames_ms = []; let last = performance.now();
  (function next(now) { window.frames_ms.push(now - last); last = now; requestAnimationFrame(next); })(last); }"""
_READY = """() => { const start = () => requestAnimationFrame(() => requestAnimationFrame(() => {
    window.first_frame_ms = performance.now(); }));
  const wait = () => (window.asbuilt || window.plain_is_done) ? start() : setTimeout(wait, 2); wait(); }"""


def plain_page(as_built: AsBuilt, path: Path) -> None:
    """Write the page that anybody would write first: a marker with a popup for each joint, drawn on a canvas."""
    joints = as_built.tables["joints"]
    placed = joints[joints["latitude"].notna()]
    made = folium.Map([placed["latitude"].mean(), placed["longitude"].mean()], tiles=None, prefer_canvas=True)
    made.default_js, made.default_css = [], []
    rows = placed[["latitude", "longitude", "joint_id", "station", "fusion_verdict"]].itertuples(index=False)
    for latitude, longitude, name, station, verdict in rows:
        folium.CircleMarker([latitude, longitude], radius=4, popup=f"{name} {station} {verdict}").add_to(made)
    ends = placed[["latitude", "longitude"]]
    made.fit_bounds([ends.min().tolist(), ends.max().tolist()])
    figure: Any = made.get_root()
    made.render()
    leaflet = [webmap._asset(f"leaflet/leaflet.{kind}") for kind in ("css", "js")]
    path.write_text(
        f"<!DOCTYPE html><meta charset='utf-8'><style>{leaflet[0]} html, body {{ height: 100%; margin: 0 }}</style>"
        f"<body>{figure.html.render()}<script>{leaflet[1]}</script><script>{figure.script.render()}</script>"
        "<script>window.plain_is_done = true;</script></body>",
        encoding="utf-8",
    )


def opened(browser: Browser, path: Path) -> Page:
    """Open a page with no network, and note when its first frame after the scripts was drawn."""
    context = browser.new_context(viewport={"width": 1440, "height": 900}, offline=True)
    page = context.new_page()
    page.set_default_timeout(300_000)
    page.add_init_script(f"({_READY})()")
    page.goto(path.as_uri())
    until(page, "() => window.first_frame_ms !== undefined")
    return page


def worst_frames(page: Page) -> tuple[float, float]:
    """Return the longest frame while the map is dragged to and fro, and while it is zoomed in and out, ms."""
    box = page.locator(".leaflet-container").bounding_box() or {}
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    return _watched(page, lambda: _drag(page, x, y)), _watched(page, lambda: _zoom(page, x, y))


def _watched(page: Page, act: Callable[[], None]) -> float:
    page.evaluate(_FRAMES)
    page.wait_for_timeout(300)
    page.evaluate("() => { window.frames_ms.length = 0; }")
    act()
    page.wait_for_timeout(600)
    return float(page.evaluate("() => Math.max(...window.frames_ms)"))


def _drag(page: Page, x: float, y: float) -> None:
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(60):
        page.mouse.move(x + 8 * (30 - abs(step - 30)), y + 4 * (30 - abs(step - 30)))
        page.wait_for_timeout(16)
    page.mouse.up()


def _zoom(page: Page, x: float, y: float) -> None:
    page.mouse.move(x, y)
    for wheel in (-120, -120, -120, 120, 120, 120):
        page.mouse.wheel(0, wheel)
        page.wait_for_timeout(450)


def heap_mb(page: Page) -> float:
    """Return the JavaScript heap in use after a collection, MB."""
    session: CDPSession = page.context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    return float(page.evaluate("performance.memory.usedJSHeapSize")) / 1e6


Write = Callable[[AsBuilt, Path], None]


def measured(browser: Browser, as_built: AsBuilt, write: Write, path: Path) -> dict[str, float]:
    """Return the figures of one page."""
    start = time.process_time()
    write(as_built, path)
    spent = time.process_time() - start
    size, joints = path.stat().st_size, len(as_built.tables["joints"])
    page = opened(browser, path)
    first = float(page.evaluate("window.first_frame_ms")) / 1000
    pan, zoom = worst_frames(page)
    found = {"MB": size / 1e6, "B a joint": max(0, size - _FIRST) / joints, "Python s": spent, "first frame s": first}
    found |= {"drag ms": pan, "zoom ms": zoom, "heap MB": heap_mb(page)}
    page.context.close()
    return found


def record(joints: int) -> AsBuilt:
    """Build an invented record of so many joints."""
    with tempfile.TemporaryDirectory() as name:
        make(Path(name), joints=joints, vertices=2_000)
        return journey.build(settings.load(Path(name)))


def _rows(browser: Browser, counts: Iterable[int], plain_up_to: int) -> Iterable[tuple[str, dict[str, float]]]:
    with tempfile.TemporaryDirectory() as name:
        for joints in counts:
            as_built = record(joints)
            yield f"ours, {joints:,}", measured(browser, as_built, webmap.write_map, Path(name) / "ours.html")
            if joints <= plain_up_to:
                yield f"plain, {joints:,}", measured(browser, as_built, plain_page, Path(name) / "plain.html")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--joints", type=int, nargs="+", default=[1_000, 10_000, 100_000])
    parser.add_argument("--plain-up-to", type=int, default=100_000, help="leave the plain page out above this")
    asked = parser.parse_args()
    flags = ["--no-sandbox", "--disable-gpu", "--enable-precise-memory-info"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        for n, (name, figures) in enumerate(_rows(browser, asked.joints, asked.plain_up_to)):
            if n == 0:
                print(f"{'':<18}" + "".join(f"{title:>15}" for title in figures))
            print(f"{name:<18}" + "".join(f"{figure:>15.2f}" for figure in figures.values()), flush=True)
        browser.close()


if __name__ == "__main__":
    main()
