"""The pictures of the tutorial, from what its commands wrote: ``python -m tests.docs.pictures``.

Runs the commands (some minutes) and puts the pictures into ``docs/pictures``; with a folder, takes what they wrote from
there. Each is of a fixed size, whatever fonts a browser has, and carries the title of what it shows.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image
from PIL.PngImagePlugin import PngInfo

from tests.docs.tutorial import run, steps, workplace
from tests.report.conftest import CHROMIUM, QUIET
from tests.samples.writing import ROOT

PICTURES = ROOT / "docs" / "pictures"
#: The move that the tutorial follows, and its place in the list.
MOVE, NUMBER = "R3", 6
_COLOURS = 128


@dataclass(frozen=True)
class Picture:
    """A picture in a few colours and the title of the sheet or page that it was taken of."""

    name: str
    title: str
    image: Image.Image

    def save(self, folder: Path) -> None:
        """Write it with its title inside."""
        told = PngInfo()
        told.add_text("Title", self.title)
        # Small signs keep their colours: all that there are count, and not only what covers most.
        few = self.image.convert("RGB").quantize(
            _COLOURS, method=Image.Quantize.MAXCOVERAGE, kmeans=3, dither=Image.Dither.NONE
        )
        few.save(folder / f"{self.name}.png", optimize=True, pnginfo=told)


def _shot(page: Any, x: float, y: float, wide: int, high: int) -> Image.Image:
    clip = {"x": x, "y": y, "width": wide, "height": high}
    return Image.open(BytesIO(page.screenshot(clip=clip, animations="disabled")))


def _of_the_map(browser: Any, address: str) -> Iterator[Picture]:
    """The page as it opens on a move, and that move's long section with the machine at its tightest place."""
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.goto(f"{address}#move-{NUMBER}")
    page.wait_for_timeout(1000)  # the map glides to the move
    picked = page.locator("#picked").inner_text()
    yield Picture("map", f"{page.title()}; {picked}", _shot(page, 0, 0, 1280, 800))
    page.set_viewport_size({"width": 1280, "height": 1800})
    section = page.locator("section.long:visible")
    section.locator("button[data-walk=tightest]").click()
    page.wait_for_timeout(300)
    box = section.bounding_box()
    yield Picture(
        "long-section", section.get_attribute("aria-label"), _shot(page, round(box["x"]), round(box["y"]), 796, 640)
    )


def _of_paper(document: Any, name: str, *words: str, scale: float) -> Picture:
    """The first page that says all of some words."""
    for page in document:
        said = page.get_textpage().get_text_range()
        if all(word in said for word in words):
            return Picture(name, ", ".join(words), page.render(scale=scale).to_pil())
    raise LookupError(f"no page says {words}")


def pictures(folder: Path) -> Iterator[Picture]:
    """Every picture of the tutorial.

    Parameters
    ----------
    folder
        Where its commands were run.
    """
    import pypdfium2
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield from _of_the_map(browser, (folder / "out" / "map.html").as_uri())
        page = browser.new_page()
        page.goto((folder / "out2" / "changes.html").as_uri())
        printed = page.pdf(prefer_css_page_size=True)
        browser.close()
    with closing(pypdfium2.PdfDocument(folder / "out" / "briefing.pdf")) as paper:
        yield _of_paper(paper, "board-sheet", "BOARD SHEET", "Revision 1", scale=1.0)
        yield _of_paper(paper, "operator-sheet", "OPERATOR'S SHEET", f"Move {MOVE}", "Revision 1", scale=1.2)
    with closing(pypdfium2.PdfDocument(printed)) as sheet:
        yield _of_paper(sheet, "diff-sheet", "what has changed", "Revision 2", scale=1.2)


def main() -> None:
    """Make them, from a folder where the commands were run, or from one where they are run now."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else workplace(Path(made) / "clone")
        for step in () if len(sys.argv) > 1 else steps():
            print(step.commands, end="", flush=True)
            run(step, folder).check_returncode()
        PICTURES.mkdir(exist_ok=True)
        for picture in pictures(folder):
            picture.save(PICTURES)


if __name__ == "__main__":
    main()
