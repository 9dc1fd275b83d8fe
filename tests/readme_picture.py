"""`python -m tests.readme_picture` takes the picture of the map that README.md shows. Needs Chromium on the path."""

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from asbuilt import build, settings
from asbuilt.publish.webmap import write_map

ROOT = Path(__file__).parents[1]


def main() -> None:
    """Build the sample route, open its map at desktop size, and keep what is seen."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        page_file = Path(folder) / "joint_map.html"
        write_map(build.build(settings.load(ROOT / "sample_routes/saltreach")), page_file)
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(page_file.as_uri())
        page.wait_for_timeout(1000)
        page.screenshot(path=ROOT / "outputs/README-map.png")
        browser.close()


if __name__ == "__main__":
    main()
