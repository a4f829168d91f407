"""The page in a real browser: offline, with and without scripts, on a phone, by keyboard, and on paper."""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
from pathlib import Path
from typing import Any

import pytest

from routeplan.report.markup import plain
from routeplan.report.page import write_map
from routeplan.route.model import Control, Hold, Leg, Plan
from routeplan.site.model import Site
from tests.report.browser import DESK, PHONE, opened
from tests.report.world import KINDS, NASTY, moves, plan, site


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "map.html"
    write_map(plan(), site(), path)
    return path.as_uri()


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("index", range(1, 7))
def test_each_move_opens_without_error_request_or_sideways_scroll(
    browser: Any, address: str, size: tuple[int, int], index: int
) -> None:
    with opened(browser, f"{address}#move-{index}", size) as (page, seen):
        assert page.locator(".move:visible").count() == 1
        assert page.locator(f"#move-{index} .verdict").is_visible()
        assert page.locator(".live").is_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert page.evaluate("window.bad === undefined")
        assert seen == []


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("index", [1, 2, 3, 4])
def test_a_chosen_way_lies_wholly_in_view_and_its_labels_are_neither_cut_nor_over_one_another(
    browser: Any, address: str, size: tuple[int, int], index: int
) -> None:
    with opened(browser, f"{address}#move-{index}", size) as (page, _):
        page.wait_for_selector(".live .pin-end")
        frame = page.locator(".live").bounding_box()
        buttons = [item.bounding_box() for item in page.locator(".live .leaflet-control").all()]
        ways = page.locator(".live path.s-way:not(.faint), .live path.s-refused, .live .pin-end use")
        assert ways.count() >= 3
        for box in (item.bounding_box() for item in ways.all()):
            assert frame["x"] <= box["x"] and box["x"] + box["width"] <= frame["x"] + frame["width"]
            assert frame["y"] <= box["y"] and box["y"] + box["height"] <= frame["y"] + frame["height"]
        ends = [item.bounding_box() for item in page.locator(".live .pin-end use").all()]
        labels = [item.bounding_box() for item in page.locator(".live .tag:not(.gone)").all()]
        assert len(labels) > 3
        for box in labels:
            assert frame["x"] <= box["x"] and box["x"] + box["width"] <= frame["x"] + frame["width"]
        for number, box in enumerate(labels):
            assert not any(_overlap(box, other) for other in (*labels[:number], *buttons))
        assert not any(_overlap(end, button) for end in ends for button in buttons)


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("index", [1, 2, 3, 4, 5])
def test_the_marks_of_a_move_do_not_hide_one_another(
    browser: Any, address: str, size: tuple[int, int], index: int
) -> None:
    with opened(browser, f"{address}#move-{index}", size) as (page, _):
        page.wait_for_selector(".live .pin-end")
        kinds = ("end", "governing", "objection", "miss", "stop", "watch")
        pins = page.locator(", ".join(f".live .pin-{kind}" for kind in kinds)).all()
        spots = [
            (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2) for pin in pins if (box := pin.bounding_box())
        ]
        assert len(spots) >= 3
        assert all(math.dist(one, two) >= 18.5 for one, two in itertools.combinations(spots, 2))


def test_a_mark_that_gives_way_keeps_a_line_to_its_place(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    first = moves()[1]
    at_start = dataclasses.replace(first.holds[0], chainage_m=0.0, place=(first.poses[0].x, first.poses[0].y))
    write_map(plan(planned=(dataclasses.replace(first, holds=(at_start,)),)), site(), path)
    with opened(browser, path.as_uri()) as (page, _):
        end, stop = page.locator(".live .pin-end").first, page.locator(".live .pin-stop").first
        moved = [stop.bounding_box()[side] - end.bounding_box()[side] for side in ("x", "y")]
        assert math.hypot(*moved) == pytest.approx(25.0, abs=1.5)
        to = [float(number) for number in stop.locator(".leader").get_attribute("d").split("L")[1].split(",")]
        assert to == pytest.approx([-moved[0], -moved[1]], abs=1.5)


def test_what_a_move_comes_nowhere_near_is_named_only_close_up(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-3") as (page, _):
        far = page.locator(".live .tag", has_text="H1").first
        mark = page.locator(".live .pin[title='Pothole H1']")
        assert "gone" in far.get_attribute("class") and "passed-by" in mark.get_attribute("class")
        page.evaluate("map_site.setView([41, 62], 5.5, {animate: false})")
        assert "gone" not in far.get_attribute("class") and "passed-by" not in mark.get_attribute("class")


def _overlap(one: dict[str, float], other: dict[str, float]) -> bool:
    return all(
        one[edge] + 0.5 < other[edge] + other[size] and other[edge] + 0.5 < one[edge] + one[size]
        for edge, size in (("x", "width"), ("y", "height"))
    )


def test_picking_a_move_shows_it_on_the_map_and_in_the_list(browser: Any, address: str) -> None:
    with opened(browser, address, PHONE) as (page, _):
        assert page.locator(".live path.s-refused").count() == 0
        page.locator("summary", has_text="Moves").click()
        page.locator(".picker a").nth(3).click()
        page.wait_for_selector(".live path.s-refused")
        assert page.locator("#picked").inner_text() == "D4: Refused"
        assert page.locator(".picker a[aria-current=true]").count() == 1
        assert page.locator(".move:visible h2").inner_text() == "Move D4: Gate 2 to Bay 3"
        assert not page.locator(".picker ol").is_visible()


def test_a_hazard_opens_by_keyboard_with_its_figures(browser: Any, address: str) -> None:
    with opened(browser, address) as (page, _):
        page.locator(".pin[title='Pothole H2']").focus()
        page.keyboard.press("Enter")
        card = page.locator(".leaflet-popup-content")
        card.wait_for()
        assert re.sub(r"\s+", " ", card.inner_text()).startswith(
            "Pothole H2 Kind pothole Depth 75 mm Height 0 mm Width 600 mm State open"
        )
        assert page.locator(".leaflet-popup-close-button").evaluate("item => item === document.activeElement")
        page.keyboard.press("Escape")
        card.wait_for(state="detached")
        assert page.evaluate("document.activeElement.title") == "Pothole H2"


def test_nasty_names_are_shown_as_they_are_written(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-5") as (page, seen):
        page.locator(f".pin[title='Place slab-e'], .pin[title='Finish: {plain(NASTY[3])}']").last.focus()
        page.keyboard.press("Enter")
        assert page.locator(".leaflet-popup-content b").inner_text() == f"Finish: {plain(NASTY[3])}"
        shown = page.locator(".tag").all_text_contents()
        for text in (NASTY[0], NASTY[1], NASTY[3]):
            assert plain(text) in shown
        assert page.locator("img").count() == 0
        assert page.evaluate("window.bad === undefined") and seen == []


HOSTILE = "</script><b onclick='window.bad=1'>${7*7} \\\\n \\' \U00020bb7\U0001f6a7 {{x}} <!--"


def hostile_plan() -> tuple[Plan, Site, int]:
    """The sample with the same hostile text in every field that holds words from outside, each numbered; how many."""
    numbers = itertools.count(1)
    change = dataclasses.replace

    def text() -> str:
        return f"{HOSTILE}{next(numbers)};"

    was, made = site(), plan()
    world = change(
        was,
        obstacles=tuple(change(item, id=text(), kind=text()) for item in was.obstacles[:3]),
        soffits=tuple(change(item, id=text(), kind=text(), survey=text()) for item in was.soffits),
        surfaces=tuple(
            change(item, id=text(), kind=text(), acceptance=item.acceptance and change(item.acceptance, role=text()))
            for item in was.surfaces
        ),
        defects=tuple(change(item, id=text(), state=text()) for item in was.defects),
        walkways=tuple(change(item, id=text(), kind=text()) for item in was.walkways),
        line_corridors=tuple(change(item, id=text()) for item in was.line_corridors),
        excavations=tuple(change(item, id=text()) for item in was.excavations),
        areas=tuple(change(item, id=text(), title=text()) for item in was.areas),
        places={key: change(item, title=text(), kind=text()) for key, item in was.places.items()},
        contacts=tuple(change(item, role=text(), call_sign=text()) for item in was.contacts),
    )
    planned = tuple(
        change(
            item,
            id=text(),
            reason=text(),
            purpose=text(),
            holds=tuple(change(hold, text=text()) for hold in item.holds),
            controls=tuple(change(control, text=text()) for control in item.controls),
            zones=tuple(change(zone, text=text()) for zone in item.zones),
            checks=tuple(change(check, source=text(), assumed=(text(),)) for check in item.checks),
            nearest_misses=tuple(change(miss, kind=text(), text=text()) for miss in item.nearest_misses),
            refused=item.refused
            and change(
                item.refused,
                objections=tuple(change(said, kind=text(), text=text()) for said in item.refused.objections),
            ),
        )
        for item in made.moves
    )
    machines = {key: change(item, title=text()) for key, item in made.machines.items()}
    return (
        change(
            made,
            site_name=text(),
            site_revision=text(),
            revision=text(),
            supersedes=text(),
            valid_until=text(),
            issued=text(),
            machines=machines,
            moves=planned,
            cautions=(text(), text()),
            not_checked=(text(),),
        ),
        world,
        next(numbers) - 1,
    )


def test_every_text_from_outside_is_shown_literally_in_page_cards_and_labels(browser: Any, tmp_path: Path) -> None:
    made, world, count = hostile_plan()
    path = tmp_path / "map.html"
    write_map(made, world, path)
    shown = ""
    for index in range(1, 1 + len(made.moves)):
        with opened(browser, f"{path.as_uri()}#move-{index}") as (page, seen):
            shown += page.evaluate(
                """() => {
                  const body = document.body.cloneNode(true);
                  body.querySelectorAll("script").forEach(script => script.remove());
                  let words = body.textContent;
                  map_site.eachLayer(layer => {
                    if (layer instanceof L.Popup || !layer.getPopup || !layer.getPopup()) { return; }
                    layer.openPopup();
                    words += layer.getPopup().getElement().textContent;
                  });
                  return words;
                }"""
            )
            assert page.locator("body b[onclick], img").count() == 0
            assert page.evaluate("window.bad === undefined") and seen == []
    told = {int(number) for number in re.findall(re.escape(HOSTILE) + r"(\d+);", shown)}
    assert told == set(range(1, count + 1)) and count > 200


def test_a_place_in_a_table_moves_the_map_there(browser: Any, address: str) -> None:
    with opened(browser, f"{address}#move-3") as (page, _):
        button = page.locator("#move-3 .go").first
        east, north = float(button.get_attribute("data-x")), float(button.get_attribute("data-y"))
        button.click()
        middle = page.evaluate("[map_site.getCenter().lng, map_site.getCenter().lat]")
        assert (middle[0] + 4000.0, middle[1] + 7000.0) == pytest.approx((east, north), abs=3.0)


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_everything_that_is_pressed_is_large_enough_for_a_glove(
    browser: Any, address: str, size: tuple[int, int]
) -> None:
    with opened(browser, f"{address}#move-2", size) as (page, _):
        page.locator(".pin[title='Pothole H2']").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector(".leaflet-popup-close-button")
        targets = page.locator(
            "button:visible, summary:visible, .picker a:visible, .leaflet-bar a:visible, .pin, "
            "a.leaflet-popup-close-button"
        )
        assert targets.count() > 25
        for box in (target.bounding_box() for target in targets.all()):
            assert round(box["width"], 2) >= 44 and round(box["height"], 2) >= 44


def test_without_scripts_everything_that_matters_is_there(browser: Any, address: str) -> None:
    with opened(browser, address, PHONE, scripts=False) as (page, seen):
        assert page.locator(".move:visible").count() == 6
        assert page.locator("svg.plan:visible").count() == 7
        assert not page.locator(".live").is_visible() and page.locator(".go:visible").count() == 0
        words = page.locator("body").inner_text()
        for text in (
            "PASS WITH CONTROLS",
            "NOT PROVEN",
            "REFUSED",
            "NO ROUTE",
            "SEARCH LIMIT",
            *plan().cautions,
            *plan().not_checked,
        ):
            assert text in words
        assert page.locator("#move-1 .checks tbody tr").count() == len(KINDS)
        assert page.locator("#move-2 svg.plan .m-stop").count() == 3
        assert page.locator("#move-1 svg.plan .m-watch").count() >= 2
        assert seen == []


def test_the_static_plan_draws_the_way_and_its_labels_as_text(browser: Any, address: str) -> None:
    with opened(browser, address, scripts=False) as (page, _):
        for index, look in enumerate(("way", "way-reverse", "zone-bounce-ground", "refused"), 1):
            assert page.locator(f"#move-{index} svg.plan path.s-{look}").count() >= 1
        labels = page.locator("#move-5 svg.plan text.label").all_text_contents()
        assert plain(NASTY[3]) in labels


def test_paper_has_one_sheet_a_move_with_its_state_and_cautions(browser: Any, address: str) -> None:
    with opened(browser, address) as (page, _):
        made: bytes = page.pdf(prefer_css_page_size=True)
        sheets = len(re.findall(rb"/Type\s*/Page\b", made))
        assert sheets == len(moves())
        page.emulate_media(media="print")
        for index in range(1, 1 + len(moves())):
            sheet = page.locator(f"#move-{index}").inner_text()
            assert "DRAFT" in sheet and "INVENTED DATA" in sheet and "2026-12-07 18:00 UTC" in sheet
            assert all(caution in sheet for caution in plan().cautions)
            for line in ("Driver", "Radio channel", "Rescue: who, and how"):
                assert line in sheet
            assert page.locator(f"#move-{index} svg.plan").is_visible()
        assert not page.locator(".live").is_visible()


def test_a_sheet_with_legs_stops_and_something_open_stays_one_side_of_paper(browser: Any, tmp_path: Path) -> None:
    open_move = moves()[2]
    length_m, half_m = open_move.length_m, open_move.length_m / 2.0
    legs = (
        Leg("bay-3", "hold point 1", half_m, half_m, "pass", (), ("H1",), 0.0, half_m, "ridden"),
        Leg("hold point 1", "north", half_m, half_m, "not proven", (), (), half_m, length_m, "ridden"),
    )
    holds = tuple(Hold(half_m + 3.0 * n, open_move.poses[0][:2], "Stop. Wait to be called on.") for n in range(4))
    path = tmp_path / "map.html"
    write_map(plan(planned=(dataclasses.replace(open_move, legs=legs, holds=holds),)), site(), path)
    with opened(browser, path.as_uri()) as (page, _):
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 1
        page.emulate_media(media="print")
        table = page.locator("#move-1 table.legs")
        assert table.is_visible() and table.locator("tbody tr").count() == 2
        frame = page.locator("#move-1").bounding_box()
        for cell in page.locator("#move-1 td:visible").all():
            box = cell.bounding_box()
            assert box["x"] + box["width"] <= frame["x"] + frame["width"] + 0.5
            assert cell.evaluate("item => item.scrollWidth <= item.clientWidth + 1")


def test_a_sheet_that_runs_over_repeats_its_state_and_cautions(browser: Any, tmp_path: Path) -> None:
    long = dataclasses.replace(
        moves()[1],
        controls=tuple(
            Control("speed", 3.0 * n, f"Creep past marker {n}. " + "Watch the tail. " * 9) for n in range(40)
        ),
    )
    path = tmp_path / "map.html"
    write_map(plan(planned=(long,)), site(), path)
    with opened(browser, path.as_uri()) as (page, _):
        made: bytes = page.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", made)) >= 2
        page.emulate_media(media="print")
        display = page.evaluate(
            "[...document.querySelectorAll('.sheet-head, .sheet-foot')].map(e => getComputedStyle(e))"
            ".map(style => [style.display, style.breakInside])"
        )
        assert display == [["table-header-group", "avoid"], ["table-footer-group", "avoid"]]
        assert "Move D2" in page.locator(".sheet-head").inner_text()
