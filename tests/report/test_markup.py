"""Text survives the way into a page as text, whatever it holds."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

from hypothesis import example, given
from hypothesis import strategies as st

from routeplan.report.markup import data_block, escape, name, plain
from tests.report.world import NASTY

TEXT = st.text(st.characters(), max_size=60)


class _Reader(HTMLParser):
    """Collects what a browser would show, and every element and attribute it met."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.shown: list[str] = []
        self.elements: list[tuple[str, list[tuple[str, str | None]]]] = []

    def handle_data(self, data: str) -> None:
        self.shown.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, attrs))


def read(html: str) -> _Reader:
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return reader


@given(TEXT)
@example(NASTY[0])
@example(NASTY[3])
@example("]]> <!-- --> &amp; \x00 \ud800")
def test_a_page_shows_the_text_and_nothing_else(text: str) -> None:
    reader = read(f'<p title="{escape(text)}">{escape(text)}</p>')
    assert "".join(reader.shown) == plain(text)
    assert reader.elements == [("p", [("title", plain(text))])]


@given(TEXT)
def test_svg_stays_well_formed_and_shows_the_text(text: str) -> None:
    root = ET.fromstring(f"<svg><text id='{escape(text)}'>{escape(text)}</text></svg>")
    assert root[0].text == (plain(text) or None)
    assert root[0].get("id") == plain(text)


@given(st.recursive(TEXT | st.integers(), lambda inner: st.lists(inner) | st.dictionaries(TEXT, inner), max_leaves=8))
def test_a_data_block_cannot_be_left_and_gives_the_same_back(value: object) -> None:
    block = data_block(value)
    assert block.isascii()
    assert not set("<>&") & set(block)
    assert json.loads(block) == json.loads(json.dumps(value))


@given(TEXT)
def test_plain_text_is_seen_whole_and_spelled_once(text: str) -> None:
    shown = plain(text)
    assert plain(shown) == shown
    assert not any(character in shown for character in "\u202a\u202b\u202d\u202e\u2066\u2067\u2069\u2028\x00\n\x1b")
    shown.encode("utf-8")


def test_ordinary_names_of_any_script_stay_as_they_are() -> None:
    for text in ("Gate 2", "Fußgängerweg", "بوابة", "門 3", "\U0001f6a7 crossing"):
        assert plain(text) == text


def test_a_name_is_kept_apart_from_the_direction_of_its_neighbours() -> None:
    assert name("\u05d0<b>") == "<bdi>\u05d0&lt;b&gt;</bdi>"


def test_only_a_word_that_nobody_writes_may_break() -> None:
    assert "<wbr>" not in name("x" * 40 + " " + "y" * 40)
    assert name("x" * 41) == f"<bdi>{'x' * 20}<wbr>{'x' * 20}<wbr>x</bdi>"
    assert name("<" * 41).count("&lt;") == 41 and name("a\x00b") == "<bdi>a[U+0000]b</bdi>"
