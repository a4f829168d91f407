"""The tutorial: its commands run, print what it quotes, and write what its pictures show."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat

from tests.docs.pictures import PICTURES, Picture, pictures
from tests.docs.tutorial import PAGE, Step, run, steps, workplace
from tests.report.conftest import CHROMIUM, needed

#: How far, of 255, the small grey picture of what is made now may be from the one that is shown, on average.
ALIKE = 8.0
MOST_BYTES = 150_000
TEXT = PAGE.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return workplace(tmp_path_factory.mktemp("tutorial"))


@pytest.fixture(scope="module")
def ran(folder: Path) -> list[tuple[Step, subprocess.CompletedProcess[str]]]:
    """Every block, run in order."""
    return [(step, run(step, folder)) for step in steps()]


@pytest.fixture(scope="module")
def made(ran: object, folder: Path) -> dict[str, Picture]:
    if CHROMIUM is None:
        needed("chromium is not installed")
    return {picture.name: picture for picture in pictures(folder)}


def unsaid(quoted: tuple[str, ...], printed: str) -> list[str]:
    """Quoted lines that were not printed, in the order in which they are quoted."""
    lines = iter(line.rstrip() for line in printed.splitlines())
    return [line for line in quoted if not any(line == other for other in lines)][:1]


def test_every_block_is_run() -> None:
    fences = re.findall(r"^```(\w*)$", TEXT, flags=re.MULTILINE)
    opened = fences[::2]
    assert set(fences[1::2]) == {""} and set(opened) == {"sh", "text"}
    assert len(steps()) == opened.count("sh") and sum(bool(step.quoted) for step in steps()) == opened.count("text")


def test_commands_print_what_is_quoted(ran: list[tuple[Step, subprocess.CompletedProcess[str]]]) -> None:
    for step, told in ran:
        assert told.returncode == 0, step.commands + told.stdout + told.stderr
        assert unsaid(step.quoted, told.stdout) == [], step.commands + told.stdout


def test_a_line_that_was_not_printed_is_seen() -> None:
    assert unsaid(("a", "c"), "a\nb \nc\n") == []
    assert unsaid(("b",), "a\nb \nc\n") == []
    assert unsaid(("c", "a"), "a\nb\nc\n") == ["a"]
    assert unsaid(("bb",), "a\nb\nc\n") == ["bb"]


def test_every_picture_is_shown_with_words_and_is_small() -> None:
    shown = re.findall(r"!\[([^\]]*)\]\(pictures/([\w-]+)\.png\)", TEXT)
    assert sorted(name for _, name in shown) == sorted(path.stem for path in PICTURES.iterdir())
    assert all(len(words) > 40 for words, _ in shown)
    assert all(path.stat().st_size < MOST_BYTES for path in PICTURES.iterdir())


def small(image: Image.Image) -> Image.Image:
    return image.convert("L").resize((64, 64), Image.Resampling.BOX)


def apart(one: Image.Image, other: Image.Image) -> float:
    """How far two pictures are apart, of 255, each made small: what fonts and edges do falls away."""
    return float(ImageStat.Stat(ImageChops.difference(small(one), small(other))).mean[0])


@pytest.mark.parametrize("name", sorted(path.stem for path in PICTURES.glob("*.png")))
def test_a_picture_is_of_what_is_written_now(made: dict[str, Picture], name: str) -> None:
    with Image.open(PICTURES / f"{name}.png") as shown:
        assert shown.size == made[name].image.size
        assert shown.info["Title"] == made[name].title
        assert apart(shown, made[name].image) < ALIKE, "python -m tests.docs.pictures"


def test_what_the_text_reads_off_the_map_stands_there(ran: object, folder: Path) -> None:
    page = (folder / "out" / "map.html").read_text(encoding="utf-8")
    assert "61 mm to spare" in page and "61 mm" in TEXT
    assert "-0.69 to 5.27" in page and "5.27 degrees" in TEXT


def test_another_picture_is_seen() -> None:
    names = sorted(path.stem for path in PICTURES.glob("*.png"))
    for number, name in enumerate(names):
        one, other = (Image.open(PICTURES / f"{each}.png") for each in (name, names[number - 1]))
        assert apart(one, other) > 2 * ALIKE
