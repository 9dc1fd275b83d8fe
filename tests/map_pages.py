"""How the tests open the map: as a reader opens it, in a browser, without a network; and what they ask of the page."""

import os
import re
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

from asbuilt.as_built import AsBuilt
from asbuilt.publish import webmap

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
             "--disable-sync", "--no-first-run"]  # fmt: skip
PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1440, "height": 900}}
DEVICES = pytest.mark.parametrize("device", [DESK, PHONE], ids=["desk", "phone"])
READY = "() => window.asbuilt !== undefined"
CALM = {"reduced_motion": "reduce"}  # then the map moves at once

Open = Callable[..., Page]  # of a record (or a file) and a device; more goes to the browser's context


def chromium_or_stop() -> str:
    """The path of the browser. Without one the test is skipped loudly, and in CI it fails."""
    path = shutil.which("chromium")
    if path is None:
        stop = pytest.fail if os.environ.get("CI") else pytest.skip
        stop("NO BROWSER: the program chromium was not found, so that THE MAP WAS NOT OPENED by any test")
    return str(path)


def until(page: Page, script: str, argument: Any = None, *, seconds: float = 30) -> None:
    """Wait until a script of the page tells something true.

    Not Playwright's own `wait_for_function`: it evaluates text within the page each time it looks again, and the page's
    Content-Security-Policy forbids that, so that it fails wherever the first look came too early.
    """
    end = time.monotonic() + seconds
    while not page.evaluate(script, argument):
        assert time.monotonic() < end, f"within {seconds} s this did not become true: {script}"
        page.wait_for_timeout(20)


_PAGES: list[tuple[AsBuilt, str]] = []  # the last few, for several tests open the map of one record


def _page_of(record: AsBuilt) -> str:
    kept = next((page for known, page in _PAGES if known is record), None)
    if kept is None:
        kept = webmap.page(record)
        _PAGES[:] = [*_PAGES[-3:], (record, kept)]
    return kept


class Opener:
    """Opens maps, and remembers what they asked for and complained of: nothing of either may be left at the end."""

    def __init__(self, browser: Browser, folder: Path) -> None:
        self.browser, self.folder = browser, folder
        self.contexts: list[Any] = []
        self.strangers: list[str] = []
        self.complaints: list[str] = []

    def __call__(
        self, record: AsBuilt | Path, device: dict[str, Any], *, script: str = "", ready: str = READY, **context: Any
    ) -> Page:
        """Open the map of a record, or a file. `script` runs before the page's own; `ready` tells when it is open."""
        path = record if isinstance(record, Path) else self.folder / "map.html"
        if not isinstance(record, Path):
            path.write_text(_page_of(record), encoding="utf-8", newline="\n")
        self.contexts.append(self.browser.new_context(**device, **CALM, **context))
        page = self.contexts[-1].new_page()
        page.route("**/*", self._ask)
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (self.complaints.append(dialog.message), dialog.dismiss()))
        if script:
            page.add_init_script(script)
        page.goto(path.as_uri())
        if context.get("java_script_enabled", True):
            until(page, ready)
        return page

    def _ask(self, route: Route) -> None:
        if route.request.url.startswith("file:"):
            route.continue_()
        else:
            self.strangers.append(route.request.url)
            route.abort()

    def close(self) -> None:
        """Close every page, and hold that none asked for anything or complained."""
        for context in self.contexts:
            context.close()
        assert self.strangers == []
        assert self.complaints == []


def find(page: Page, text: str) -> None:
    """Type into the search and take the first that it offers."""
    page.fill("#find", text)
    page.press("#find", "Enter")


def card(page: Page) -> str:
    """The text of the card."""
    return str(page.locator("#card").evaluate("card => card.textContent"))


def keep(page: Page, name: str) -> None:
    """Save a picture of what is seen, where ASBUILT_SCREENS names a folder for them; for whoever wants to look."""
    if folder := os.environ.get("ASBUILT_SCREENS"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


def chosen(page: Page) -> Any:
    """What the page says is chosen."""
    return page.evaluate("window.asbuilt.chosen()")


def embedded(text: str) -> dict[str, Any]:
    """The document that a page carries."""
    return webmap.unpacked(re.search(r'<script id="record" type="text/plain">(.*?)</script>', text, re.DOTALL)[1])


def colour_at(page: Page, joint_id: str) -> str:
    """Return the colour of the map's canvas where a joint stands, as #RRGGBB."""
    x, y = page.evaluate("id => window.asbuilt.pixelOf(id)", joint_id)
    return colour_of(page, ".leaflet-overlay-pane canvas", x, y)


def colour_of(page: Page, canvas: str, x: float, y: float) -> str:
    """Return the colour of a canvas at a point of the window, as #RRGGBB."""
    bytes_ = page.evaluate(
        """([what, x, y]) => {
          const canvas = document.querySelector(what), box = canvas.getBoundingClientRect();
          const ratio = canvas.width / box.width;
          const at = [Math.round((x - box.left) * ratio), Math.round((y - box.top) * ratio)];
          const one = Object.assign(document.createElement("canvas"), {width: 1, height: 1}).getContext("2d");
          one.drawImage(canvas, at[0], at[1], 1, 1, 0, 0, 1, 1);
          return Array.from(one.getImageData(0, 0, 1, 1).data);
        }""",
        [canvas, x, y],
    )
    return "#" + "".join(f"{b:02X}" for b in bytes_[:3])
