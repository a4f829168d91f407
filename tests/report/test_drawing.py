"""What is drawn of a site and of its moves."""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPoint, Point, Polygon, box
from shapely.ops import unary_union

from routeplan.machine.model import Configuration
from routeplan.report.drawing import draw_site
from routeplan.report.route_drawing import closed_areas, draw_move
from routeplan.report.shapes import Layer, Shape, area, bounds_of, line
from routeplan.report.stops import Entry, place_at, reversals_of, stops_of
from routeplan.report.sweep import BAND_TOLERANCE_M, BAND_WIDENED_M, placements, swept
from routeplan.report.tight import tight_places
from routeplan.route.model import Check, Conditions, Control, Hold, Move, Pose
from routeplan.site.bearing import Bearing, Clay, Drained, HardGround, Platform
from routeplan.site.model import LineHeight, SafetyDistance, Soffit
from tests.report.world import NASTY, at, drive, moves, plan, site

SITE = site()
PLAN = plan()
LAYERS = draw_site(SITE)


def layer(layer_id: str) -> Layer:
    return next(item for item in LAYERS if item.id == layer_id)


def drawn(move: Move) -> dict[str, tuple[Shape, ...]]:
    return {item.id: item.shapes for item in draw_move(move, plan=PLAN, site=SITE).layers}


def test_everything_on_the_site_is_drawn() -> None:
    counts = {item.id: len(item.shapes) for item in LAYERS}
    slopes = counts.pop("slope")
    assert slopes == 4
    assert counts == {
        "ground": 3,
        "unknown": 1,
        "areas": 2,
        "walkways": 1,
        "lines": 1,
        "excavations": 2,
        "obstacles": 22,
        "soffits": 4,
        "defects": 20,
        "boundary": 1,
        "places": 6,
    }


def test_coordinates_are_whole_centimetres_inside_the_extent() -> None:
    for shape in (shape for item in LAYERS for shape in item.shapes):
        for value in (value for part in shape.parts for ring in part for point in ring for value in point):
            assert round(value, 2) == value
    west, south, east, north = bounds_of(LAYERS) or (0.0,) * 4
    assert (west, south) == (4000.0 - 1.5, 7000.0 - 6.0) or west <= 4000.0
    assert east >= 4250.0 and north == 7200.0


def test_a_hazard_shows_depth_width_and_state() -> None:
    trench = next(shape for shape in layer("defects").shapes if shape.title == "Trench TR2")
    assert dict(trench.details) == {
        "Rule": "no wheel on it, whatever its state",
        "Kind": "trench",
        "Depth": "900 mm",
        "Height": "0 mm",
        "Width": "800 mm",
        "State": "backfilled and untested",
        "Place": dict(trench.details)["Place"],
    }
    unsaid = next(shape for shape in layer("defects").shapes if shape.title == "Kerb K1")
    assert dict(unsaid.details)["State"] == "nobody said"


def test_headroom_is_never_shown_higher_and_a_top_never_lower_than_it_is() -> None:
    soffit = Soffit("tight", Polygon([(0, 0), (1, 0), (1, 1)]), "beam", None, 2.0199, 0.0, 0.0, None, None)
    low = dataclasses.replace(
        SITE, soffits=(soffit,), obstacles=(dataclasses.replace(SITE.obstacles[1], top_m=12.4001),)
    )
    shapes = {item.id: item.shapes for item in draw_site(low)}
    assert shapes["soffits"][0].label == "tight clear 2.01\u00a0m"
    assert dict(shapes["soffits"][0].details)["Standard deviation"].startswith("nobody said")
    lowest_m = 10.0 - 0.015 * 48.5
    assert shapes["obstacles"][0].label == f"stack 1, up to {math.ceil((12.4001 - lowest_m) * 100) / 100:.2f} m high"
    assert dict(shapes["obstacles"][0].details)["Top"].endswith("level 12.41 m")
    unseen = dataclasses.replace(SITE.obstacles[1], geometry=box(*at(225, 190), *at(235, 195)))
    blind = {item.id: item.shapes for item in draw_site(dataclasses.replace(SITE, obstacles=(unseen,)))}
    assert blind["obstacles"][0].label == "stack 1, top at level 12.40\u00a0m"


def test_a_line_says_what_may_pass_below_it_rounded_down_and_by_which_table() -> None:
    asked = SafetyDistance(11.0, 1.8291, "cranes", "a law")
    wire = dataclasses.replace(SITE.line_corridors[0], safety=asked, height=LineHeight(18.0049, 0.4, 0.05, "S1"))
    shapes = {item.id: item.shapes for item in draw_site(dataclasses.replace(SITE, line_corridors=(wire,)))}
    told = dict(shapes["lines"][0].details)
    assert told["Safety distance"] == "1.83 m round that: cranes; a law" and told["Voltage"] == "11 kV"
    assert told["Hangs no lower than"] == "level 17.60 m, sag of 0.40 m included"
    assert told["Rule"] == "passed under between goal posts, all below level 15.77 m"
    assert dict(layer("lines").shapes[0].details)["Rule"] == "no machine enters"


def test_ground_without_an_acceptance_has_its_own_look_and_says_so() -> None:
    soft = next(shape for shape in layer("ground").shapes if shape.title == "Surface soft corner")
    assert soft.style == "surface-open" and soft.label == "soft corner: not accepted"


@pytest.mark.parametrize(
    ("bearing", "said"),
    [
        (HardGround("deck's maker", 29.96), "29.9 kN on one wheel"),
        (Clay("engineer", 40.0, 2.001, 150.9), "clay of 40.0 kPa, safety 2.01, ruts at 150 kPa; wet: nobody said"),
        (
            Platform("engineer", 0.459, 30.0, 90.0, 0.557),
            "platform of 0.45 m, at 30.0 degrees, on 90 kPa; wet 55 % of it",
        ),
        (
            Platform("engineer", 0.45, 30.0, Drained(31.5, 10.0, 2.0), 1.0),
            "platform of 0.45 m, at 30.0 degrees, on soil of 31.5 degrees; wet 100 % of it",
        ),
    ],
)  # fmt: skip
def test_what_a_surface_bears_is_shown_with_whose_word_it_is(bearing: Bearing, said: str) -> None:
    first = dataclasses.replace(SITE.surfaces[0], bearing=bearing)
    (ground,) = (item for item in draw_site(dataclasses.replace(SITE, surfaces=(first,))) if item.id == "ground")
    details = dict(next(shape for shape in ground.shapes if shape.title == f"Surface {first.id}").details)
    assert (details["Bears"], details["As told by"]) == (said, bearing.role)


def test_an_area_keeps_its_holes_and_its_label_inside() -> None:
    ring = Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(1, 1), (8, 1), (8, 8), (1, 8)]])
    shape = area("area", ring, label="hollow")
    assert len(shape.parts[0]) == 2
    assert shape.label_at is not None and ring.contains(Point(shape.label_at))


def test_a_line_leaves_its_course_by_ten_millimetres_at_most() -> None:
    course = [(float(n), 0.004 * (n % 2)) for n in range(50)]
    assert line("way", course).parts == ((((0.0, 0.0), (49.0, 0.0)),),)


TURNS = st.lists(st.tuples(st.floats(-0.25, 0.25), st.sampled_from([1, -1])), min_size=2, max_size=12)


@settings(max_examples=30)
@given(TURNS)
def test_the_band_covers_the_machine_at_every_pose(turns: list[tuple[float, int]]) -> None:
    ring = ((-1.7, -1.2), (7.1, -1.2), (7.1, 1.2), (-1.7, 1.2))
    x, y, heading, chainage, poses = 0.0, 0.0, 0.3, 0.0, []
    for curvature, gear in turns:
        for _ in range(20):
            bearing = (90.0 - math.degrees(heading)) % 360.0
            poses.append(Pose(x, y, bearing, gear, "ridden", "front", "stowed", 0.5, chainage))
            heading += 0.1 * gear * curvature
            x, y, chainage = x + 0.1 * gear * math.cos(heading), y + 0.1 * gear * math.sin(heading), chainage + 0.1
    shape = area("band", swept(poses, ring))
    band = unary_union([Polygon(rings[0], rings[1:]) for rings in shape.parts])
    for corners in placements(poses, ring):
        assert band.covers(MultiPoint(corners).convex_hull)


def test_the_band_of_a_straight_way_is_as_wide_as_the_machine() -> None:
    way = tuple(Pose(0.1 * n, 0.0, 90.0, 1, "ridden", "front", "stowed", 0.5, 0.1 * n) for n in range(201))
    west, south, east, north = swept(way, ((-1.0, -0.5), (2.0, -0.5), (2.0, 0.5), (-1.0, 0.5))).bounds
    spare = BAND_WIDENED_M + BAND_TOLERANCE_M
    assert (west, south, east, north) == pytest.approx((-1.0, -0.5, 22.0, 0.5), abs=spare)


def test_a_way_shows_gear_direction_and_the_machine_at_its_ends() -> None:
    way = drawn(moves()[1])["way"]
    styles = [shape.style for shape in way]
    assert styles.count("way") == 1 and styles.count("way-reverse") == 1
    assert styles.count("machine") == 3
    assert styles.count("arrow") > 5


def test_stops_are_numbered_in_driving_order_and_near_ones_are_one() -> None:
    stops = stops_of(moves()[1])
    assert [stop.number for stop in stops] == [1, 2, 3, 4]
    assert stops[0].place is None and "Creep speed" in stops[0].lines[0]
    assert len(stops[1].lines) == 2 and stops[1].lines[0].startswith("Stop short of walkway")
    assert stops[2].lines == (f"Control: {NASTY[0]}",)
    assert stops[3].lines == ("From here drive backwards.",)
    assert [stop.chainage_m for stop in stops] == sorted(stop.chainage_m for stop in stops)


def test_a_control_that_says_what_its_hold_says_is_told_once() -> None:
    way = tuple(Pose(1.0 * n, 0.0, 90.0, 1, "ridden", "front", "stowed", 0.5, 1.0 * n) for n in range(9))
    holds = (Hold(4.0, (4.0, 0.0), "Fold the rails."),)
    controls = (Control("c", 4.0, "Fold the rails."), Control("c", 8.0, "Fold the rails."))
    stops = stops_of(dataclasses.replace(moves()[0], poses=way, holds=holds, controls=controls))
    assert [stop.lines for stop in stops] == [("Hold: Fold the rails.",), ("Control: Fold the rails.",)]


@settings(max_examples=50)
@given(st.lists(st.floats(0.0, 27.0), max_size=8), st.lists(st.floats(0.0, 27.0), max_size=8))
def test_no_hold_and_no_control_is_ever_lost(holds: list[float], controls: list[float]) -> None:
    way = tuple(Pose(1.0 * n, 0.0, 90.0, 1, "ridden", "front", "stowed", 0.5, 1.0 * n) for n in range(28))
    made = dataclasses.replace(
        moves()[0],
        poses=way,
        holds=tuple(Hold(s, (s, 0.0), f"h{n}") for n, s in enumerate(holds)),
        controls=tuple(Control("c", s, f"c{n}") for n, s in enumerate(controls)),
    )
    stops = stops_of(made)
    assert sorted(text for stop in stops for text in stop.lines) == sorted(
        [f"Hold: h{n}" for n in range(len(holds))] + [f"Control: c{n}" for n in range(len(controls))]
    )
    assert all(stop.place is not None and stop.place[0] == pytest.approx(stop.chainage_m, abs=1.0) for stop in stops)


def test_a_reversal_is_told_once_with_the_way_to_drive_on() -> None:
    turned = moves()[1]
    back = turned.poses[reversals_of(turned.poses)[0]]
    control = Control("reversal", back.chainage_m, "Stop and drive on against the chassis arrow.")
    lines = [text for stop in stops_of(dataclasses.replace(turned, controls=(control,))) for text in stop.lines]
    assert lines[-1] == "Control: Stop and drive on against the chassis arrow. From here drive backwards."
    assert sum("drive backwards" in text for text in lines) == 1


def test_pivots_are_not_reversals() -> None:
    gears = (1, 1, 0, 1, -1, 0, -1, 0, 1)
    way = [Pose(0.0, 0.0, 0.0, gear, "ridden", "front", "stowed", 0.5, float(n)) for n, gear in enumerate(gears)]
    assert reversals_of(way) == (4, 8)


def test_a_place_along_the_way_lies_between_its_rows() -> None:
    way = drive((0, 0), (10, 0))
    assert place_at(way, 3.05) == pytest.approx(at(3.05, 0.0), abs=1e-6)
    assert place_at(way, 11.0) is None and place_at((), 0.0) is None


def test_zones_show_the_ground_the_basket_and_their_link() -> None:
    styles = [shape.style for shape in drawn(moves()[2])["zones"]]
    assert styles == [
        "zone-bounce-ground",
        "zone-bounce-basket",
        "zone-link",
        "zone-low-gap-ground",
        "zone-low-gap-basket",
        "zone-link",
        "zone-slope-ground",
        "zone-slope-basket",
        "zone-link",
    ]


def test_a_refused_route_is_shown_as_refused_only() -> None:
    layers = drawn(moves()[3])
    assert "way" not in layers and "band" not in layers
    assert [shape.style for shape in layers["refused"]] == ["refused", "objection", "objection"]


def test_no_route_shows_what_blocks_and_where_it_was_to_go() -> None:
    layers = drawn(moves()[4])
    assert [shape.style for shape in layers["trouble"]] == ["miss", "miss"]
    assert layers["trouble"][1].label == "excavation edge"
    assert [shape.label for shape in layers["stops"]] == ["Start", "Finish"]


def test_the_deciding_check_is_marked_where_it_bites() -> None:
    mark = drawn(moves()[2])["trouble"][-1]
    assert (mark.style, mark.label) == ("governing", "Not proven: head gap: 34 mm to spare")
    assert dict(mark.details)["Margin"] == (
        "34 mm to spare above the operator's head, not to be relied on: class figure track_m = 0.70"
    )


def boom(move: Move) -> Configuration:
    return PLAN.machines[move.machine].configurations[move.configuration]


def test_a_tight_place_is_numbered_with_the_stops_and_says_what_is_near_and_how_many_millimetres() -> None:
    way = drive((60, 40), (130, 40))
    low = Check("head gap", "pass", 0.12, 0.0, 0.1205, "m", 0.004, 3.1, 30.0, at(90, 40), "docs/method.md 7")
    roomy = dataclasses.replace(low, kind="overhead clearance", margin=1.4, chainage_m=31.0)
    capped = dataclasses.replace(low, kind="side clearance", margin=0.5, chainage_m=50.0)
    made = dataclasses.replace(
        moves()[0], poses=way, checks=(low, roomy, capped), holds=(Hold(5.0, at(65, 40), "Wait."),)
    )
    stops = stops_of(made, tight_places(made, boom(made), SITE))
    assert [(stop.number, stop.words, stop.along) for stop in stops] == [
        (1, "Stop", "at 5.0 m"),
        (2, "Watch", "at 30.0 m"),
    ]
    assert stops[1].lines == ("rack low bay: 120 mm to spare above the operator's head",)
    marks = drawn(made)
    assert [(shape.style, shape.mark) for shape in marks["trouble"]] == [("governing", "2")]
    assert "watch" not in {shape.style for shape in marks["stops"]}


def test_an_open_check_is_never_told_as_if_it_passed() -> None:
    made = moves()[2]
    told = [entry.text for entry in tight_places(made, boom(made), SITE)]
    assert any(text.startswith("Not proven: 34 mm to spare above") for text in told)
    assert any("B1 until 63.0 m" in text for text in told)


def test_tight_places_close_together_are_one_and_never_swallow_a_stop() -> None:
    way = tuple(Pose(1.0 * n, 0.0, 90.0, 1, "ridden", "front", "stowed", 0.5, 1.0 * n) for n in range(28))
    made = dataclasses.replace(moves()[0], poses=way, holds=(Hold(12.5, (12.5, 0.0), "Wait."),), controls=())
    watched = [Entry(at_m, (at_m, 0.0), f"w{at_m}", False) for at_m in (3.0, 6.0, 10.0, 12.0)]
    stops = stops_of(made, watched)
    assert [(stop.words, stop.along) for stop in stops] == [
        ("Watch", "from 3.0 to 6.0 m"),
        ("Watch", "from 10.0 to 12.0 m"),
        ("Stop", "at 12.5 m"),
    ]


def test_a_level_soffit_shows_its_lowest_clear_height_only_where_all_levels_below_are_known() -> None:
    rack = next(shape for shape in layer("soffits").shapes if shape.title == "Soffit rack low bay")
    assert rack.label == "rack low bay clear 3.44\u00a0m"
    blind = dataclasses.replace(SITE.soffits[0], geometry=box(*at(225, 190), *at(235, 195)))
    shapes = {item.id: item.shapes for item in draw_site(dataclasses.replace(SITE, soffits=(blind,)))}
    assert shapes["soffits"][0].label == "rack low bay, underside at level 12.15\u00a0m"


def test_areas_are_closed_by_the_day_and_by_the_conditions_of_the_plan() -> None:
    def ids(move: Move, conditions: Conditions) -> list[str]:
        changed = dataclasses.replace(PLAN, conditions=conditions)
        return [item.id for item in closed_areas(move, plan=changed, site=SITE)]

    first, later = moves()[0], moves()[2]
    assert ids(first, Conditions()) == ["north-bay"]
    assert ids(later, Conditions()) == []
    assert ids(first, Conditions(opened=("north-bay",))) == []
    assert ids(later, Conditions(closed=("yard-b",))) == ["yard-b"]
    assert ids(dataclasses.replace(later, on=None), Conditions()) == ["north-bay"]
