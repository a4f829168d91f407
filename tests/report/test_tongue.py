"""Sheets in other languages: every sentence has one, figures and units stay, names stay, and nobody is deceived."""

from __future__ import annotations

import collections
import dataclasses
import functools
import html
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from babel.messages.pofile import read_po

from routeplan.hazards.catalogue import CATALOGUE
from routeplan.hazards.register import NOT_CHECKED
from routeplan.plan import grip as grips
from routeplan.plan import holds, on_foot, speeds, steer
from routeplan.report import driving, inspection_line, inspection_list, inspection_way, legend, margins
from routeplan.report.briefing import operator, signs
from routeplan.report.briefing.page import briefing_page, briefing_sheets
from routeplan.report.briefing.sheet import CHECK_FIRST
from routeplan.report.inspection import RULES, inspection_page
from routeplan.report.languages import LANGUAGES
from routeplan.report.markup import plain
from routeplan.report.packaged import packaged
from routeplan.report.tongue import PAST, UNCHECKED, Tongue, tongue, unchecked
from routeplan.report.wording import VERDICTS
from routeplan.route.lifelines import Reached
from routeplan.route.model import CAUTIONS, Move
from tests.report import world
from tests.report.test_briefing import BLOCKED, WAY
from tests.report.test_inspection import SHA, lists
from tests.report.test_page import Reader

PLAN, SITE = world.plan(), world.site()
SLOT = re.compile(r"\{[ntx]\d*\}")
#: Figures, and units after a figure or its slot.
FIGURE = re.compile(r"(?<![#\w{])\d(?:[\d.,:-]*\d)?(?!\w)|(?<=[\d}] )(?:mm|m/s|m|kg|kN|deg|%)(?!\w)")
#: What the face of the sheets has: Latin with its extension, Arabic, punctuation, arrows.
FACE = re.compile(r"[\x20-\x7e\xa0-\u017f\u0218-\u021b\u0600-\u06ff\u2010-\u2027\u2030-\u203a\u2190-\u2199\u2212]*")


@functools.cache
def template() -> tuple[str, ...]:
    """Every sentence that a catalogue has to have."""
    found = read_po(io.StringIO(packaged("routeplan.report", "locale/routeplan.pot")))
    return tuple(str(one.id) for one in found if one.id)


def counted(text: str) -> collections.Counter[str]:
    return collections.Counter(FIGURE.findall(text))


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_sentence_is_told_with_the_same_slots_figures_and_units(code: str) -> None:
    told = {str(one.id): str(one.string) for one in tongue(code).catalogue if one.id}
    assert sorted(told) == sorted(template())
    for english, other in told.items():
        assert other and other == other.strip(), english
        assert collections.Counter(SLOT.findall(english)) == collections.Counter(SLOT.findall(other)), english
        assert counted(english) == counted(other), english
        assert FACE.fullmatch(other), (english, other)


def ours() -> Iterator[str]:
    """Texts that sheets are made of, from where they are written."""
    yield from (CHECK_FIRST, operator.RESCUE, operator.ASK_WHOM, UNCHECKED, PAST.replace("{n}", "2026-12-01"))
    yield from (*operator.VOID_IF, *operator.RULED, *CAUTIONS, *RULES, *NOT_CHECKED)
    for reached in (Reached("D1", WAY, ""), BLOCKED):
        yield operator.foot_words(reached, SITE)
    yield f"No way on foot: nobody can stand beside the chassis of AB16: there is no spot {on_foot.WIDTH_M:.2f} m wide."
    yield from driving.TRAVEL_MODES.values()
    yield from driving.STEERING.values()
    yield from driving._STANDS.values()
    yield from (f"{text} before it drives off" for text in driving._CHANGES.values())
    yield from (f"3 mm to spare {where}" for where in margins.BETWEEN.values())
    yield from (line.kind for line in CATALOGUE)
    for verdict in VERDICTS.values():
        yield from (verdict.words, verdict.meaning, verdict.words.lower())
    yield from holds._CHANGES.values()
    yield from steer.SET_TO.values()
    yield grips._DRY
    slow = "No faster than 0.50 m/s between 3 m and 9 m, held steady: the basket bounces"
    yield f"{slow}, and {speeds._LATE.format(2.0)}."
    yield f"{slow}{speeds._ASSUMED.format('a, b')}."
    yield speeds._UNKNOWN.format(", no faster than 0.20 m/s", "a, b")
    yield speeds._UNKNOWN.format("", "a")
    yield from (words for words in legend._KEY.values() if not words.startswith("slope "))
    yield from (f", {text}." for text in inspection_line._FROM.values())
    yield from (f"{text} reading that still lets the move go:" for text in inspection_line._LAST.values())
    yield from inspection_way._AT.values()
    yield from (inspection_way._ANY_PLACE, inspection_list._ANYTHING.title, inspection_list._ANYTHING.look)
    for zone in inspection_list._IN_ZONE.values():
        yield f"the basket may rise 151 mm of 300 mm allowed; arrow end leading {zone}"


def test_every_sentence_is_known_where_it_is_written() -> None:
    unknown = [text for text in ours() if tongue("pl").say(text) is None]
    assert unknown == []


def texts(page: str) -> list[tuple[str, str]]:
    """Shown texts of HTML, each with the element that it stands in."""
    bare = re.sub(r"<(style|script)[^>]*>.*?</\1>", "", page, flags=re.DOTALL)
    found = re.findall(r"<(/?[a-z0-9]+)[^>]*>([^<]+)", bare)
    return [(tag, html.unescape(text).strip()) for tag, text in found if text.strip()]


def names() -> set[str]:
    """What stands on sheets and is nobody's sentence."""
    things: list[Any] = [*SITE.defects, *SITE.soffits, *SITE.obstacles, *SITE.walkways, *SITE.areas, *SITE.surfaces]
    called = {text for thing in things for text in (thing.id, getattr(thing, "title", ""))}
    called |= {text for one in SITE.places.values() for text in (one.id, one.title)}
    called |= {one.role for one in SITE.contacts} | {one.call_sign for one in SITE.contacts}
    called |= {PLAN.site_name, PLAN.revision, PLAN.site_revision, *(move.id for move in PLAN.moves)}
    called |= {text for one in PLAN.machines.values() for text in (one.id, one.title)}
    return called | {move.reason for move in PLAN.moves} | set(PLAN.not_checked)


def own_words(move: Move) -> list[str]:
    """What the hand-made moves say in words of their own."""
    told: list[Any] = [*move.controls, *move.holds, *move.zones]
    return [one.text.rstrip(".") for one in told]


def test_nothing_of_ours_stays_english_on_a_sheet_or_list() -> None:
    shown = [one.html for one in briefing_sheets(PLAN, SITE) if one.kind == "operator"]
    shown.append(inspection_page(PLAN, SITE, lists(), sha256=SHA))
    theirs = {plain(name) for name in names()} | {text for move in PLAN.moves for text in own_words(move)}
    for tag, text in {pair for page in shown for pair in texts(page)}:
        words = re.sub(r"UTC|\[U\+\w+\]", "", text)
        known = tongue("pl").say(text) is not None or not re.search(r"[A-Za-z]{3}", words)
        assert known or tag == "title" or any(name and name in text for name in theirs), (tag, text)


def figures_of(sheet: str) -> collections.Counter[str]:
    """Figures and units of a sheet but for its picture, whose scale depends on the room that is left."""
    told = re.sub(r"<svg.*?</svg>|<ul class=.key.*?</ul>", "", sheet, flags=re.DOTALL)
    return counted(html.unescape(re.sub(r"<[^>]*>", " ", re.sub(r"</?bdi[^>]*>", "", told))))


@pytest.mark.parametrize("code", LANGUAGES)
def test_figures_and_units_are_the_same_in_every_language(code: str) -> None:
    english = [one for one in briefing_sheets(PLAN, SITE) if one.kind == "operator"]
    both = [one for one in briefing_sheets(PLAN, SITE, (), [tongue(code)]) if one.kind == "operator"]
    assert [one.html for one in both[::2]] == [one.html for one in english]
    for one, other in zip(english, both[1::2], strict=True):
        assert figures_of(one.html) == figures_of(other.html)
        assert f'lang="{code}"' in other.html and 'lang="' not in one.html


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_translation_that_nobody_checked_says_so_in_both_languages(code: str) -> None:
    told = unchecked(tongue(code))
    assert not tongue(code).checked and UNCHECKED in told and str(tongue(code).say(UNCHECKED)) in told
    checked = Tongue(code)
    checked.__dict__["_text"] = tongue(code)._text.replace("X-Checked: no", "X-Checked: site manager, 2026-12-01")
    assert checked.checked and unchecked(checked) == ""
    bare = Tongue(code)
    bare.__dict__["_text"] = tongue(code)._text.replace('"X-Checked: no\\n"\n', "")
    assert not bare.checked


def test_a_name_is_not_told_even_if_it_is_a_word_of_ours() -> None:
    polish = tongue("pl")
    assert polish.tell("<p>Stop</p>") == f"<p>{polish.say('Stop')}</p>" != "<p>Stop</p>"
    for name in ("Stop", "Finish", "Roof garden", "D1: Stop"):
        assert polish.tell(f"<b><bdi>{name}</bdi></b>") == f"<b><bdi>{name}</bdi></b>"
    told = polish.tell("<td><bdi>canopy &lt;b&gt;: 96 mm to spare above the operator&#39;s head</bdi></td>")
    assert "canopy &lt;b&gt;" in told and "96 mm" in told and "to spare" not in told


def test_a_sentence_of_which_a_part_is_nobody_s_stays_as_it_is() -> None:
    polish = tongue("pl")
    assert polish.say("3 mm to spare under the chassis") and polish.say("3 mm to spare beside the canteen") is None
    assert polish.tell("<p>3 mm to spare beside the canteen</p>") == "<p>3 mm to spare beside the canteen</p>"
    assert polish.say("Stop. Go round the canteen.") is None


def test_arabic_is_read_from_the_right_and_its_figures_from_the_left() -> None:
    arabic = tongue("ar")
    assert arabic.direction == "rtl" and tongue("pl").direction == "ltr"
    told = arabic.tell("<td><bdi>96 mm to spare above the operator&#39;s head</bdi></td>")
    assert '<bdi dir="ltr">96 mm</bdi>' in told and "&#39;" not in re.sub(r"<[^>]*>", "", told)
    in_picture = arabic.tell("<svg><text>96 mm to spare</text></svg>")
    assert "<bdi" not in in_picture and "96 mm" in in_picture


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_pages_stay_well_formed_and_unique_in_their_ids(code: str) -> None:
    briefing = briefing_page(PLAN, briefing_sheets(PLAN, SITE, (), [tongue(code)]))
    for page in (briefing, inspection_page(PLAN, SITE, lists(), sha256=SHA, tongue=tongue(code))):
        read = Reader()
        read.feed(page.replace("<input", "<use"))
        read.close()
        assert read.open == [] and len(set(read.ids)) == len(read.ids)
        assert not [one for one in read.attributes if one[1].startswith("on")]
        assert f'data-past="{html.escape(tongue(code).template(PAST))}"' in page
    assert briefing.count(f'lang="{code}" dir="{tongue(code).direction}"') == len(PLAN.moves)
    assert re.findall(r'<nav.*?href="#operator-2"', briefing, re.DOTALL)


@pytest.mark.parametrize("code", LANGUAGES)
def test_a_sheet_stays_on_one_page_of_paper_in_every_language(code: str) -> None:
    pytest.importorskip("plutoprint", reason="the library that sets the PDF is not made for this machine")
    from routeplan.report.briefing.paper import books

    told = [one for one in briefing_sheets(PLAN, SITE, (), [tongue(code)]) if one.kind == "operator"]
    for book in books(told, PLAN):
        assert book.get_page_count() == 1
        assert book.get_document_width() <= 1.004 * book.get_viewport_width()


def test_there_is_no_other_language() -> None:
    with pytest.raises(KeyError):
        tongue("xx")
    with pytest.raises(KeyError):
        tongue("pl").template("no sentence of ours")


def test_signs_are_told_with_what_they_say() -> None:
    for move in PLAN.moves:
        raised = dataclasses.replace(move, platform_height_m=4.0)
        assert all(tongue("pl").say(words) for one in (move, raised) for _, words in signs.signs_of(one))
