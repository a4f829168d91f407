"""The static plan: well formed, true to scale, inside its window, with a text equivalent."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.report.drawing import draw_site
from routeplan.report.plan_svg import UNIT_M, WIDTH_UNITS, fitted, plan_svg
from routeplan.report.route_drawing import draw_move
from routeplan.report.shapes import Layer, line, mark
from tests.report.world import NASTY, moves, plan, site

SITE = site()
BASE = draw_site(SITE)


def picture(index: int) -> ET.Element:
    drawing = draw_move(moves()[index], plan=plan(), site=SITE)
    assert drawing.bounds is not None
    text = plan_svg((*BASE, *drawing.layers), fitted(drawing.bounds), ident="p", title=NASTY[0], description=NASTY[2])
    return ET.fromstring(text)


@given(
    st.floats(-1e5, 1e6),
    st.floats(-1e5, 1e7),
    st.floats(0.0, 3000.0),
    st.floats(0.0, 3000.0),
    st.sampled_from([300, 430, 560]),
)
def test_the_window_holds_the_bounds_at_a_round_scale(
    west: float, south: float, wide: float, high: float, room: int
) -> None:
    window = fitted((west, south, west + wide, south + high), height=room)
    left, low = window.units((west, south))
    right, top = window.units((west + wide, south + high))
    assert 25.9 <= left <= right <= WIDTH_UNITS - 25.9
    assert 25.9 <= top <= low <= window.height - 25.9
    assert window.height <= room
    assert window.scale % 50 == 0


@pytest.mark.parametrize("index", range(6))
def test_every_move_has_a_well_formed_picture_with_words(index: int) -> None:
    root = picture(index)
    assert root.get("role") == "img"
    assert (root.find("title").text, root.find("desc").text) == (NASTY[0], NASTY[2])  # type: ignore[union-attr]
    assert root.get("aria-labelledby") == "p-t p-d"


def test_the_scale_bar_is_true_on_paper() -> None:
    root = picture(0)
    words = "".join(root.itertext())
    scale = int(re.findall(r"1 : (\d+) when", words)[0])
    bar_m = next(
        float((item.text or "").removesuffix(" m")) for item in root.iter("text") if item.get("class") == "mid"
    )
    halves = [
        float(re.findall(r"h([\d.]+)v", path.get("d", ""))[0])
        for path in root.findall("./g[@class='furniture']/path")
        if path.get("class") in ("dark", "light")
    ]
    (ruler,) = root.findall("./g[@class='furniture']/path[@class='ruler']")
    assert float(re.findall(r"h([\d.]+)v", ruler.get("d", ""))[0]) * UNIT_M == pytest.approx(0.1, rel=1e-9)
    assert sum(halves) * UNIT_M * scale == pytest.approx(bar_m, rel=1e-3)


def test_nothing_is_drawn_far_outside_the_window() -> None:
    root = picture(2)
    _, _, wide, high = (float(value) for value in root.get("viewBox", "").split())
    for path in root.findall("./g[1]/path"):
        for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.get("d", "")):
            assert -10.0 <= float(x) <= wide + 10.0 and -10.0 <= float(y) <= high + 10.0


def test_a_snug_picture_is_no_higher_than_what_it_holds() -> None:
    window = fitted((0.0, 0.0, 60.0, 20.0), height=560, snug=True)
    assert window.scale == 400 and window.height == pytest.approx(20.0 / 0.1 + 52.0)
    assert fitted((0.0, 0.0, 60.0, 20.0), height=560).height == 560


def test_a_mark_that_gives_way_on_paper_keeps_a_line_to_its_place() -> None:
    marks = (mark("stop", (5.0, 5.0), "1"), mark("end", (5.0, 5.0), "A"), mark("place", (5.0, 5.0), "G"))
    window = fitted((0.0, 0.0, 10.0, 10.0))
    root = ET.fromstring(plan_svg([Layer("all", "", marks)], window, ident="p", title="", description=""))
    spots = {
        item.get("class"): tuple(map(float, re.findall(r"[\d.]+", item.get("transform", ""))))
        for item in root.iter("g")
        if item.get("transform") and str(item.get("class")).startswith("m-")
    }
    there = window.units((5.0, 5.0))
    assert spots["m-end"] == spots["m-place"] == pytest.approx(there, abs=0.1)
    leaders = [item.get("d", "") for item in root.iter("path") if item.get("class") == "leader"]
    assert len(leaders) == 1
    x0, y0, x1, y1 = map(float, re.findall(r"[\d.]+", leaders[0])[:4])
    assert (x0, y0) == spots["m-stop"] and (x1, y1) == pytest.approx(there, abs=0.1)
    assert (x0 - x1) ** 2 + (y0 - y1) ** 2 == pytest.approx(25.0**2, rel=0.01)


def test_a_name_of_the_site_never_hides_the_way() -> None:
    way = line("way", [(0.0, 5.0), (10.0, 5.0)])
    spots = [mark("place", (1.0 + n, 5.6), "P", label=f"place {n}") for n in range(0, 9, 2)]
    window = fitted((0.0, 0.0, 10.0, 10.0))
    root = ET.fromstring(plan_svg([Layer("all", "", (way, *spots))], window, ident="p", title="", description=""))
    level = window.units((0.0, 5.0))[1]
    labels = [float(item.get("y", "")) for item in root.iter("text") if item.get("class", "").startswith("label")]
    assert labels and not any(y - 10.0 < level + 3.0 and level - 3.0 < y + 3.0 for y in labels)


def test_labels_never_lie_over_one_another_or_over_a_mark() -> None:
    spots = [mark("place", (float(n % 7), float(n // 7)), "P", label=f"a rather long name {n}") for n in range(49)]
    root = ET.fromstring(
        plan_svg([Layer("places", "", tuple(spots))], fitted((0.0, 0.0, 7.0, 7.0)), ident="p", title="", description="")
    )
    labels = [item for item in root.iter("text") if item.get("class", "").startswith("label l-")]
    assert 3 < len(labels) < 49
    boxes = [
        (float(item.get("x", "")) - 3.2 * len(item.text or ""), float(item.get("y", "")), 6.4 * len(item.text or ""))
        for item in labels
    ]
    for number, (x, y, wide) in enumerate(boxes):
        for other_x, other_y, other_wide in boxes[:number]:
            assert abs(y - other_y) >= 10.0 or x + wide <= other_x + 1e-6 or other_x + other_wide <= x + 1e-6


@given(st.text(max_size=20))
def test_labels_are_text_whatever_they_hold(text: str) -> None:
    svg = plan_svg(
        [Layer("places", "", (mark("place", (1.0, 1.0), text[:1], label=text),))],
        fitted((0.0, 0.0, 9.0, 9.0)),
        ident="p",
        title=text,
        description=text,
    )
    assert {item.tag for item in ET.fromstring(svg).iter()} <= {
        "svg",
        "title",
        "desc",
        "clipPath",
        "rect",
        "g",
        "use",
        "text",
        "path",
    }
