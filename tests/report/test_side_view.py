"""The machine from its side: what is drawn, that it is to scale, that its words and its figure are the row's own."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, box

from routeplan.machine.model import Machine
from routeplan.report.packaged import asset
from routeplan.report.page import write_map
from routeplan.report.side_svg import gap_text, side_data, side_figure
from routeplan.report.side_view import SideView, side_view, stands
from routeplan.route.model import Move, Pose, SectionRow
from routeplan.site.ground import levels_at
from routeplan.site.model import Defect, Excavation, LineCorridor, LineHeight, SafetyDistance, Site, Soffit
from tests.report import world
from tests.report.browser import DESK, PHONE, opened
from tests.worlds import boom, flat_site, scissor

LEVEL_M = 10.0


def row(head_m: float = math.nan, *, at_m: float = 0.0, pitch_deg: float = 0.0, level_m: float = LEVEL_M) -> SectionRow:
    return SectionRow(at_m, level_m, pitch_deg, 0.0, 9.0, 9.0, head_m, 0.2, 0.2, math.nan, math.nan, 0.5)


def move(*rows: SectionRow, mode: str = "ridden", gear: int = 1, **changes: Any) -> Move:
    """Driven east along y = 15 m from x = 10 m, a pose every row."""
    poses = tuple(
        Pose(10.0 + one.chainage_m, 15.0, 90.0, gear, mode, "front", "stowed", 0.5, one.chainage_m) for one in rows
    )
    return replace(world.move("M", "pass", "a", "b", poses), section=rows, **changes)


def yard(**layers: Any) -> Site:
    z = layers.pop("z", np.full((121, 161), LEVEL_M))
    return flat_site(z=z, **layers)


def seen(site: Site, *rows: SectionRow, machine: Machine | None = None, **changes: Any) -> SideView:
    view = side_view(move(*(rows or (row(),)), **changes), machine or scissor(), site)
    assert view is not None
    return view


def soffit(x0: float, x1: float, **how: Any) -> Soffit:
    given: dict[str, Any] = {"level_m": LEVEL_M + 4.5, "clear_m": None, "fall_x": 0.0, "fall_y": 0.0} | how
    return Soffit("beam", box(x0, 10.0, x1, 20.0), "beam", sigma_m=0.01, survey="S1", **given)


def hole(y0: float, y1: float, *, depth_m: float = 0.08, height_m: float = 0.0, kind: Any = "pothole") -> Defect:
    return Defect("P7", kind, box(10.2, y0, 10.8, y1), 0.6, depth_m, height_m, "open")


# The figure


@pytest.mark.parametrize(
    ("head_m", "told"),
    [
        (0.9169, "916 mm to spare overhead"),
        (0.5999999, "599 mm to spare overhead"),
        (0.0, "0 mm to spare overhead"),
        (-0.0301, "short by 31 mm overhead"),
        (2.0, "2000 mm to spare overhead"),
    ],
)
def test_the_figure_is_the_row_s_rounded_down_whatever_the_drawing_has(head_m: float, told: str) -> None:
    """Over the drawn machine there are 4.5 m less its head and gap: more, or less, than the row has."""
    view = seen(yard(soffits=(soffit(8.0, 14.0),)), row(head_m))
    (one,) = view.rows
    assert one.spare is not None and gap_text(one) == told
    figures = [int(text) for text in re.findall(r"(\d+) mm", side_figure(1, view, 0))]
    assert figures and set(figures) == {int(re.findall(r"\d+", told)[0])}
    assert f"{told.split(' mm')[0]} mm" in one.words[0] and "least over this half metre" in one.words[0]


@pytest.mark.parametrize(("verdict", "lead"), [("not proven", "Not proven: "), ("fail", "Fails: "), ("pass", "")])
def test_a_figure_of_an_open_or_broken_check_says_so_first(verdict: Any, lead: str) -> None:
    made = world.checks(move(row(0.5)).poses, worst=("overhead clearance", verdict, 0.4))
    view = seen(yard(soffits=(soffit(8.0, 14.0),)), row(0.5), checks=made)
    assert gap_text(view.rows[0]) == f"{lead}500 mm to spare overhead"
    assert view.rows[0].words[0].startswith(f"{lead}500 mm")
    assert f">{lead}500 mm</text>" in side_figure(1, view, 0)


def test_every_row_of_a_move_says_its_own_figure() -> None:
    planned = world.moves()[0]
    view = side_view(planned, boom(), world.site())
    assert view is not None and len(view.rows) == len(planned.section)
    data = side_data(view)
    for one, drawn in zip(planned.section, data["rows"], strict=True):
        told = re.findall(r"(\d+) mm to spare", data["words"][drawn[5]])
        assert told == ([str(math.floor(one.head_m * 1000 + 1e-6))] if math.isfinite(one.head_m) else [])


def test_the_drawn_gap_lies_between_what_must_be_kept_free_and_the_underside() -> None:
    view = seen(yard(soffits=(soffit(8.0, 14.0),)), row(0.5))
    spare, rig = view.rows[0].spare, view.rigs[0]
    assert spare is not None and spare.to_m == pytest.approx(4.5)
    head_m = rig.body.basket.floor_height_m + 2.0 + 0.3
    assert spare.from_m == pytest.approx(max(head_m, *(top.height_m + top.kept_m for top in rig.tops)))


def test_nothing_overhead_is_said_and_so_is_what_nobody_knows() -> None:
    assert seen(yard()).rows[0].words[0] == "Nothing overhead near."
    ahead = seen(yard(soffits=(soffit(13.0, 16.0),))).rows[0]
    assert ahead.words[0] == "Nothing over the machine in this half metre." and ahead.over and ahead.spare is None
    nobody = np.full((121, 161), math.nan)
    over = seen(yard(z=nobody, soffits=(soffit(8.0, 14.0),)), row(level_m=math.nan)).rows[0]
    assert over.words[0] == "How much is to spare overhead is not known."
    clear = soffit(8.0, 14.0, level_m=None, clear_m=4.0)
    assert "how high over the machine is not known" in seen(yard(z=nobody, soffits=(clear,))).rows[0].words[1]


# The ground


def test_the_ground_is_the_survey_s_along_the_machine_s_axis() -> None:
    planned, site = world.moves()[0], world.site()
    view = side_view(planned, boom(), site)
    assert view is not None
    for number in (0, 40, 300):
        pose, one = stands(planned)[number], view.rows[number]
        bearing = math.radians(pose.bearing_deg)
        along = view.from_m + 0.25 * np.arange(len(one.ground_m))
        line = np.column_stack([pose.x + along * math.sin(bearing), pose.y + along * math.cos(bearing)])
        levels = levels_at(site.ground, line)
        assert np.allclose(np.diff(one.ground_m), np.diff(levels), atol=1e-9)
        assert abs(float(np.interp(view.middle_m, along, one.ground_m))) < 0.02


def test_ground_that_nobody_surveyed_is_hatched_and_said() -> None:
    z = np.full((121, 161), LEVEL_M)
    z[:, 42:46] = math.nan
    view = seen(yard(z=z))
    assert "Ground under the machine is not known in part, and drawn so." in view.rows[0].words
    html = side_figure(1, view, 0)
    hatched = re.search(r'class="unknown"[^>]*d="([^"]*)"', html)
    assert hatched is not None
    west, east = (int(value) for value in re.findall(r"M(-?\d+) .*H(-?\d+)V", hatched.group(1))[0])
    assert west <= 25 and east >= 125
    ground = re.search(r'class="ground" d="([^"]*)"', html)
    assert ground is not None and ground.group(1).count("M") == 2
    assert None in side_data(view)["rows"][0][0]
    whole = side_figure(1, seen(yard()), 0)
    assert 'class="unknown" fill="url(#side-1-h)" d=""' in whole and "not known" not in seen(yard()).rows[0].words


@pytest.mark.parametrize(
    ("low", "high", "where"),
    [
        (15.2, 16.0, "under the left wheels' line"),
        (14.0, 14.8, "under the right wheels' line"),
        (14.0, 16.0, "under the left and right wheels' line"),
        (14.9, 15.1, "between the wheels"),
    ],
)
def test_a_hole_lies_under_the_wheel_that_runs_over_it(low: float, high: float, where: str) -> None:
    (one,) = seen(yard(defects=(hole(low, high),))).rows[0].below
    assert one.words == f"A: pothole P7, open, 80 mm deep, {where}."
    assert (one.from_m, one.to_m) == pytest.approx((0.2, 0.8))
    assert (one.edge_m, one.bottom_m) == pytest.approx((0.0, -0.08))
    assert one.under == ("between" not in where)


def test_kerbs_stand_up_covers_lie_flush_and_a_pit_has_no_known_depth() -> None:
    kerb = seen(yard(defects=(hole(14.0, 16.0, depth_m=0.0, height_m=0.1, kind="kerb"),))).rows[0].below[0]
    assert kerb.bottom_m == pytest.approx(0.1) and "100 mm high" in kerb.words
    cover = seen(yard(defects=(hole(14.0, 16.0, depth_m=0.0, kind="cover"),))).rows[0].below[0]
    assert cover.bottom_m == cover.edge_m and "flush" in cover.words
    pit = Excavation("EX", box(13.0, 10.0, 16.0, 20.0), 2.0)
    view = seen(yard(excavations=(pit,)))
    assert math.isnan(view.rows[0].below[0].bottom_m) and "depth not known" in view.rows[0].below[0].words
    assert "deep-unknown" in side_figure(1, view, 0)


# What hangs overhead


def test_a_sloping_underside_is_drawn_as_low_as_its_lower_edge() -> None:
    (one,) = seen(yard(soffits=(soffit(8.0, 14.0, fall_x=0.1, fall_y=0.05),))).rows[0].over
    half_m = (one.low_to_m - one.low_from_m) / (one.to_m - one.from_m)
    assert half_m == pytest.approx(0.1)
    axis_m = 4.5 + 0.1 * (10.0 + one.from_m - 11.0)
    assert one.low_from_m < axis_m - 0.03


def test_an_underside_over_uneven_ground_is_drawn_nowhere_too_high() -> None:
    x = np.arange(161) * 0.25
    z = np.tile(LEVEL_M - 0.4 * np.exp(-((x - 11.0) ** 2)), (121, 1))
    view = seen(yard(z=z, soffits=(soffit(9.0, 13.0, level_m=None, clear_m=3.0),)))
    (one,) = view.rows[0].over
    along = view.from_m + 0.25 * np.arange(len(view.rows[0].ground_m))
    for at_m, low_m in zip(along, view.rows[0].ground_m, strict=True):
        if one.from_m <= at_m <= one.to_m:
            assert one.height_at(float(at_m)) <= low_m + 3.0 + 1e-9
    assert one.label == "A clear 3.00 m"


def test_a_line_is_passed_below_its_safety_distance_or_not_at_all() -> None:
    corridor = LineString([(12.0, 0.0), (12.0, 30.0)]).buffer(1.0)
    known = LineCorridor(
        "L", corridor, 1.0, SafetyDistance(11.0, 2.0, "plant", "a table"), LineHeight(20.0, 0.5, 0.1, "S1")
    )
    (one,) = seen(yard(line_corridors=(known,))).rows[0].over
    assert one.low_m == pytest.approx(20.0 - 0.5 - 2.0 - LEVEL_M) and "below level 17.50" in one.words
    bare = seen(yard(line_corridors=(LineCorridor("L", corridor, 1.0),))).rows[0]
    assert "no machine enters" in bare.over[0].words and bare.words[0].startswith("Nothing over")


# The picture


def _box(html: str) -> tuple[float, float, float, float]:
    found = re.search(r'viewBox="(\S+) (\S+) (\S+) (\S+)"', html)
    assert found is not None
    x, y, wide, high = map(float, found.groups())
    return x, y, wide, high


@pytest.mark.parametrize("pitch_deg", [0.0, 12.0, -12.0])
@pytest.mark.parametrize("machine", [scissor(), boom()])
def test_person_basket_and_what_is_kept_free_lie_inside_the_drawing(machine: Machine, pitch_deg: float) -> None:
    view = seen(yard(), row(pitch_deg=pitch_deg), machine=machine)
    html = side_figure(1, view, 0)
    x, y, wide, high = _box(html)
    assert (wide, high) == pytest.approx((100 * (view.to_m - view.from_m), 100 * (view.high_m - view.low_m)), abs=1)
    assert f'transform="rotate({-pitch_deg:g} {100 * view.middle_m:.0f} 0)"' in html
    rig = view.rigs[0]
    corners = [(xi, up) for top in rig.tops for xi in (top.from_m, top.to_m) for up in (0.0, top.height_m + top.kept_m)]
    turn, inside = math.radians(pitch_deg), shapely.box(x, y, x + wide, y + high)
    for xi, up in corners:
        ahead = view.middle_m + (xi - view.middle_m) * math.cos(turn) - up * math.sin(turn)
        height = (xi - view.middle_m) * math.sin(turn) + up * math.cos(turn)
        assert inside.contains(shapely.Point(100 * ahead, -100 * height))
    head = re.search(r'class="person"><circle cx="(\S+)" cy="(\S+)" r="(\S+)"', html)
    assert head is not None
    at, middle, radius = map(float, head.groups())
    assert -(middle - radius) == pytest.approx(100 * (rig.body.basket.floor_height_m + 2.0), abs=1)
    assert 100 * min(p[0] for p in rig.body.basket.ring) < at < 100 * max(p[0] for p in rig.body.basket.ring)


def test_a_move_without_rows_or_without_a_way_has_no_picture() -> None:
    planned = move(row())
    assert side_view(replace(planned, section=()), scissor(), yard()) is None
    assert side_view(replace(planned, poses=()), scissor(), yard()) is None


def test_whoever_walks_beside_is_not_drawn_in_the_basket() -> None:
    beside, ridden = (seen(yard(), mode=mode) for mode in ("beside_rails_up", "ridden"))
    assert 'class="person"' not in side_figure(1, beside, 0) and "Nobody rides" in beside.rows[0].words[-1]
    assert 'class="person"' in side_figure(1, ridden, 0) and "Nobody" not in " ".join(ridden.rows[0].words)


def test_a_machine_of_which_nobody_knows_how_it_leans_is_drawn_level_and_said() -> None:
    view = seen(yard(), row(pitch_deg=math.nan))
    assert view.rows[0].words[-1].startswith("How it leans is not known, it is drawn level")
    assert f'transform="rotate(-0 {100 * view.middle_m:.0f} 0)"' in side_figure(1, view, 0)


def test_a_raised_platform_is_drawn_raised() -> None:
    view = seen(yard(), platform_height_m=5.0)
    assert view.rigs[0].body.basket.floor_height_m == 5.0 and view.high_m > 5.0 + 2.0 + 0.3


def test_the_picture_has_a_title_and_all_its_words_beside_it() -> None:
    view = seen(yard(soffits=(soffit(8.0, 14.0),), defects=(hole(15.2, 16.0),)), row(0.5, pitch_deg=-3.0), gear=-1)
    html, words = side_figure(3, view, 0), " ".join(view.rows[0].words)
    assert 'role="img" aria-labelledby="side-3-t side-3-d"' in html and '<title id="side-3-t">' in html
    assert f'<desc id="side-3-d">{words.replace(chr(39), "&#39;")}</desc>' in html
    assert f'<span class="side-words">{words.replace(chr(39), "&#39;")}</span>' in html
    for told in ("500 mm to spare", "A: beam, underside at level 14.50", "B: pothole", "Front down 3.0", "backwards"):
        assert told in words
    assert re.findall(r'class="(?:over|under)"[^>]*>([^<]+)<', html) == ["A level 14.50", "B 80 mm"]


def test_names_from_a_site_stay_names() -> None:
    nasty = replace(soffit(8.0, 14.0), id=world.NASTY[0])
    assert "<script" not in side_figure(1, seen(yard(soffits=(nasty,)), row(0.5)), 0)


# In a browser


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("page") / "map.html"
    write_map(world.plan(), world.site(), path)
    return path.as_uri()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_the_picture_follows_the_walk_to_one_scale_and_asks_for_nothing(
    browser: Any, address: str, size: tuple[int, int]
) -> None:
    with opened(browser, f"{address}#move-1", size) as (page, complaints):
        section = page.locator(".under .long")
        looks = "e => [...e.querySelectorAll('path, text')].map(one => one.getAttribute('d') || one.textContent).join()"
        still = section.locator(".side-view").evaluate(looks)
        section.locator("[data-walk=tightest]").click()
        assert section.locator(".side-view").evaluate(looks) == still, "the script draws what the page came with"
        rows = page.evaluate("JSON.parse(document.getElementById('drawing').textContent).moves[0].walk")
        section.focus()
        page.keyboard.press("Home")
        for number in range(1, 59):
            page.keyboard.press("ArrowRight")
            if number > 40 or number < 3:
                words = " ".join(rows["side"]["words"][at] for at in rows["side"]["rows"][number][6])
                assert section.locator(".side-words").text_content() == words
                assert section.locator("desc").text_content() == words
        left_mm = math.floor(world.moves()[0].section[58].head_m * 1000 + 1e-6)
        assert section.locator(".gap b").text_content() == f"{left_mm} mm to spare overhead"
        matrix = section.locator(".side-view").evaluate("e => (m => [m.a, m.b, m.c, m.d])(e.getScreenCTM())")
        assert matrix[0] == pytest.approx(matrix[3]) and matrix[0] > 0 and matrix[1:3] == [0, 0]
        letters = section.locator(".side-view text").first.evaluate("e => e.getBoundingClientRect().height")
        assert letters >= 11.0
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0] and complaints == []


def test_without_scripts_the_tightest_place_stands_there(browser: Any, address: str) -> None:
    with opened(browser, address, DESK, scripts=False) as (page, _):
        figure = page.locator("#move-1 .side")
        assert figure.locator("svg").is_visible() and "the tightest place" in figure.locator(".gap").text_content()
        assert figure.locator(".side-words").is_visible()


def test_no_colour_alone_tells_what_hangs_what_is_unknown_and_what_is_a_hole() -> None:
    z = np.full((121, 161), LEVEL_M)
    z[:, 42:46] = math.nan
    view = seen(yard(z=z, soffits=(soffit(8.0, 14.0),), defects=(hole(14.9, 15.1),)), row(0.5))
    html = side_figure(1, view, 0)
    assert 'class="over" fill="url(#side-1-o)"' in html and 'class="unknown" fill="url(#side-1-h)"' in html
    assert html.count("<pattern ") == 2 and 'class="hole between"' not in html, "a level beside it is not known"
    assert ">B 80 mm</text>" in html and any("pothole P7" in words for words in view.rows[0].words)
    looks = asset("style.css")
    for look in ("unknown", "between", "kept", "head-height", "kept-out"):
        assert re.search(rf"\.side-view \.{look}\b[^}}]*stroke-dasharray", looks), look
