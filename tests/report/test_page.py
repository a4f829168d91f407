"""The page as a file: one piece, no network, the same bytes each time, every word a word."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import math
import re
from html.parser import HTMLParser
from pathlib import Path

import folium
import pytest
from shapely.geometry import Point

from routeplan.errors import NotWritten
from routeplan.machine.read import build_machine
from routeplan.report import margins
from routeplan.report.markup import plain
from routeplan.report.page import map_page, write_map
from routeplan.route.model import Check, Leg, Move, NearMiss, Stand
from routeplan.site.model import Place
from tests import worlds
from tests.report.world import KINDS, NASTY, at, checks, drive, moves, plan, site

PAGE = map_page(plan(), site())
VOID = {"wbr", "meta", "br", "rect", "path", "circle", "use"}


class Reader(HTMLParser):
    """Elements, ids and shown text of a page; open elements must close."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.classes: set[str] = set()
        self.words: list[str] = []
        self.scripts: list[str] = []
        self.data = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for key, value in attrs:
            self.attributes.append((tag, key, value or ""))
            if key == "id":
                self.ids.append(value or "")
            if key == "class":
                self.classes.update((value or "").split())
        if tag == "script" and dict(attrs).get("type") is None:
            self.scripts.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script":
            if data.startswith("{"):
                self.data = data
            else:
                self.scripts[-1] += data
        elif self.open and self.open[-1] != "style":
            self.words.append(data)


@pytest.fixture(scope="module")
def read() -> Reader:
    reader = Reader()
    reader.feed(PAGE)
    reader.close()
    assert reader.open == []
    return reader


def test_the_same_plan_and_site_give_the_same_bytes() -> None:
    assert map_page(plan(), site()) == PAGE


def test_ids_are_unique_and_none_comes_from_a_name(read: Reader) -> None:
    assert len(read.ids) == len(set(read.ids))
    assert all(re.fullmatch(r"[a-zA-Z][\w-]*", ident) for ident in read.ids)


def test_every_label_and_target_points_at_something(read: Reader) -> None:
    for _, key, value in read.attributes:
        if key in ("aria-labelledby", "aria-describedby"):
            assert set(value.split()) <= set(read.ids)
        if key == "href":
            assert value.startswith("#") and value[1:] in read.ids
    used = set(re.findall(r"url\(#([\w-]+)\)", PAGE))
    assert used and used <= set(read.ids)


def test_nothing_on_the_page_is_fetched(read: Reader) -> None:
    assert not {key for _, key, _ in read.attributes} & {"src", "srcset", "data", "poster", "action", "style"}
    assert not [key for _, key, _ in read.attributes if key.startswith("on")]
    styles = "".join(re.findall(r"<style>(.*?)</style>", PAGE, re.DOTALL))
    assert all(target.startswith("#p-") for target in re.findall(r"url\(([^)]*)\)", styles))
    assert "@import" not in styles and "sourceMappingURL" not in PAGE


def test_only_the_page_s_own_scripts_may_run(read: Reader) -> None:
    rule = next(
        value for tag, key, value in read.attributes if (tag, key) == ("meta", "content") and "default-src" in value
    )
    allowed = re.findall(r"'sha256-([^']+)'", rule)
    there = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in read.scripts]
    assert allowed == there and len(there) == 8
    assert "default-src 'none'" in rule and "http" not in rule


def test_folium_is_left_as_it_was_found() -> None:
    scripts = [url for _, url in folium.Map.default_js]
    assert any("leaflet@1.9.3" in url for url in scripts), "the packaged Leaflet is the one that folium links"
    assert "Leaflet 1.9.3," in PAGE
    assert len(scripts) == 4 and len(folium.Map.default_css) == 6


def test_every_move_has_its_verdict_reason_and_every_check(read: Reader) -> None:
    words = " ".join(read.words)
    for shown in ("Pass", "Pass with controls", "Not proven", "Refused", "No route", "Search limit"):
        assert f" {shown} " in words
    for move in moves():
        assert plain(move.reason) in words
    for kind, _, _ in KINDS:
        assert words.count(f" {kind} ") >= 4
    assert "costs at most 10 % above the best on the planner's grid" in words
    assert "crosses 1 walkway" in words and "1 reversal" in words and "mm to spare" in words
    assert not re.search(r"-\d+ mm|margin -", words)


def test_state_invention_validity_cautions_and_gaps_are_on_the_page(read: Reader) -> None:
    words = " ".join(read.words)
    made = plan()
    assert words.count("DRAFT") == words.count("INVENTED DATA") == 1 + len(made.moves)
    assert words.count("2026-12-07 18:00 UTC") == 1 + len(made.moves)
    for caution in made.cautions:
        assert words.count(caution) == 1 + len(made.moves)
    for gap in made.not_checked:
        assert gap in words


def test_an_issued_plan_of_real_data_says_so() -> None:
    page = map_page(dataclasses.replace(plan(planned=()), status="issued", invented=False, valid_until=None), site())
    assert ">ISSUED<" in page and ">DRAFT<" not in page and "INVENTED DATA" not in page
    assert "<strong>not stated</strong>" in page


def test_nasty_names_are_words_in_the_page_and_in_its_data(read: Reader) -> None:
    words = "".join(read.words)
    for text in NASTY:
        assert plain(text) in words
    assert "\u202e" not in PAGE and "\u2028" not in PAGE
    labels = {shape[3][0] for shape in json.loads(read.data)["base"] if shape[3]}
    assert plain(NASTY[0]) in labels and plain(NASTY[3]) in labels


def test_every_look_has_a_rule_and_every_look_that_carries_meaning_is_in_the_legend(read: Reader) -> None:
    styles = "".join(re.findall(r"<style>(.*?)</style>", PAGE, re.DOTALL))
    looks = {name[2:] for name in read.classes if name.startswith("s-")}
    for look in looks:
        family = re.sub(r"^(defect|zone-bounce|zone-slope|zone-low-gap)(-.*)?$", r"\1", look)
        assert f".s-{look}" in styles or f's-{family}"]' in styles, look
    legend = re.findall(r'<details class="legend".*?</details>', PAGE, re.DOTALL)[0]
    explained = set(re.findall(r'class="[sm]-([\w-]+)"', legend))
    explained_by_another = {"arrow", "zone-link"} | {look for look in looks if look.startswith("defect-")}
    assert looks - explained == explained_by_another
    assert {name[2:] for name in read.classes if name.startswith("m-")} <= explained


def test_map_data_is_in_whole_centimetres_from_a_local_origin(read: Reader) -> None:
    data = json.loads(read.data)
    assert data["origin"] == [4000, 7000]
    assert data["bounds"] == [0, 0, 25000, 20000]
    shapes = [*data["base"], *(shape for move in data["moves"] for shape in move["shapes"])]
    assert all(isinstance(value, int) for shape in shapes for part in shape[2] for ring in part for value in ring)


def test_a_check_that_was_not_made_is_open_and_has_no_figures_and_no_place() -> None:
    nan = math.nan
    row = Check("head gap", "not proven", nan, nan, nan, "m", nan, nan, nan, (nan, nan), "docs/method.md", ("soffits",))
    page = map_page(plan(planned=(dataclasses.replace(moves()[4], checks=(row,)),)), site())
    assert "<dt>Not proven</dt><dd><bdi>head gap was not made</bdi></dd>" in page
    assert page.count(">not made<") == 1 and "no place" not in page
    assert '<bdi>soffits</bdi></div></td><td data-label="Checks"><div>head gap<' in page
    assert "NaN" not in page.split('id="drawing"')[0] and ">nan" not in page


def test_a_barrier_is_called_by_title_and_id_and_by_what_stands_there() -> None:
    door = Place("door-1", "door", "Pump house door", Point(at(166, 92)), 90.0, 0.25)
    world = dataclasses.replace(site(), places={**site().places, "door-1": door})
    inside = NearMiss("side clearance", at(165.5, 92), 100.0, "side clearance is short by 100 mm or more here")
    outside = NearMiss("side clearance", at(240, 150), 100.0, "side clearance is short by 90 mm here")
    page = map_page(plan(planned=(dataclasses.replace(moves()[4], nearest_misses=(inside, outside)),)), world)
    called = "<bdi>side clearance</bdi>, <bdi>Pump house door (door-1)</bdi>, <bdi>pump house</bdi>"
    assert f'<td data-label="What blocks"><div>{called}</div></td>' in page
    assert '<td data-label="What blocks"><div><bdi>side clearance</bdi></div></td>' in page


def test_a_figure_that_no_sheet_can_give_asks_for_a_person_and_not_for_the_sheet() -> None:
    asked = "platform_floor_m is missing: read it from the machine's plate or sheet"
    track = "track_m is a class figure: read it from the machine's plate or sheet"
    spider = build_machine("SP", {"class": "tracked-spider-20m"}, where="test")
    row = dataclasses.replace(checks(moves()[2].poses)[5], verdict="not proven", assumed=(asked, track))
    move = dataclasses.replace(moves()[2], machine="SP", checks=(row,), zones=())
    made = dataclasses.replace(plan(planned=(move,)), machines={"SP": spider})
    words = "".join(re.findall(r"<article.*</article>", map_page(made, site()), re.DOTALL))
    assert asked.replace("'", "&#39;") not in words and "read it from the machine&#39;s plate or sheet" in words
    assert (
        words.count("without platform_floor_m: no sheet can settle it. The check stays open: a competent person") == 3
    )
    assert margins.rests_on(row, spider)[1] == track
    assert margins.rests_on(row, plan().machines["SC12"]) == (asked, track)


def test_a_sheet_says_its_steering_how_it_was_left_and_its_legs() -> None:
    boom = build_machine("TB26", {"class": "telescopic-boom-26m"}, where="test")
    way = tuple(pose._replace(travel_mode="beside_rails_folded") for pose in moves()[0].poses)
    half_m = moves()[0].length_m / 2.0
    legs = (
        Leg("gate-2", "park", half_m, half_m, "pass", (), (), 0.0, half_m, "beside_rails_folded"),
        Leg("park", "bay-3", half_m, half_m, "pass", (), (), half_m, 2.0 * half_m, "beside_rails_folded"),
    )
    left = dataclasses.replace(moves()[0], poses=way, legs=legs)
    ridden = dataclasses.replace(moves()[2], on=left.on)
    page = map_page(dataclasses.replace(plan(planned=(left, ridden)), machines={"TB26": boom}), site())
    first, second = re.findall(r"<article.*?</article>", page, re.DOTALL)
    assert "<dt>Steering</dt><dd>front wheels only; select it before driving off" in first
    assert "<dt>After</dt><dd>it is left with the rails folded" in first and "<dt>Before</dt>" not in first
    assert "<dt>Before</dt><dd>move D1, the same day, leaves it with the rails folded" in second
    assert "put the rails up and lock them before it drives off" in second and "<dt>After</dt>" not in second
    assert '<td data-label="To"><div><bdi>Plant park</bdi></div></td>' in first and 'class="legs"' not in second


def test_the_key_says_what_the_letters_in_marks_stand_for() -> None:
    key = re.findall(r'<ul class="key".*?</ul>', PAGE)[0]
    assert "Squares: A start, Z finish; " in key and "G gate" in key and "W workface" in key
    assert "Triangles: " in key and "P pothole" in key


def fourteen_moves() -> tuple[Move, ...]:
    way = drive((8, 12), (60, 14), (78, 105), (100, 118), (176, 118), (190, 106), (186, 92), (230, 40), (100, 10))[
        :3000
    ]
    rows = checks(way)
    return tuple(dataclasses.replace(moves()[2], id=f"M{number}", poses=way, checks=rows) for number in range(14))


def test_a_large_plan_stays_a_small_file() -> None:
    many = fourteen_moves()
    assert {len(move.poses) for move in many} == {3000}
    assert len(map_page(plan(planned=many), site()).encode()) < 3_000_000


def test_the_page_is_written_whole_or_the_fault_is_named(tmp_path: Path) -> None:
    write_map(plan(), site(), tmp_path / "map.html")
    assert (tmp_path / "map.html").read_bytes() == PAGE.encode()
    with pytest.raises(NotWritten, match="cannot be written"):
        write_map(plan(), site(), tmp_path / "no such folder" / "map.html")


def test_a_move_says_which_end_leads_which_is_uphill_and_how_high_it_is_raised() -> None:
    stand = Stand(0.0, 9.0, "basket end", "uphill", "trailing")
    move = dataclasses.replace(moves()[0], platform_height_m=5.0, stands=(stand,))
    page = map_page(plan(planned=(move,)), site())
    assert "platform raised, its floor 5.00 m up" in page
    assert "basket end trailing, basket end uphill from 0.0 to 9.0 m" in page
    assert "platform raised" not in PAGE


def test_elevated_zones_are_on_the_map_with_what_they_are_accepted_for() -> None:
    nobodys = dataclasses.replace(worlds.zone(6.0, 0.0, 9.0, 5.0, zone_id="Y"), acceptance=None)
    world = dataclasses.replace(site(), elevated_zones=(worlds.zone(0.0, 0.0, 5.0, 5.0), nobodys))
    page = map_page(plan(), world)
    assert "Elevated zone Z" in page and "floor up to 6.00 m, machines of up to 3000 kg" in page
    assert "accepted by nobody: no machine travels here with its platform raised" in page
