"""The catalogue of checks: for each its formula, what it rests on, its limit, its source and the tests that prove it.

``docs/checks.md`` is made from this module.
"""

from __future__ import annotations

from dataclasses import dataclass

from routeplan.hazards import arrays

_RATINGS = ("gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct")
_WHEELS = ("wheelbase_m", "track_m", "wheel_radius_m", "wheel_width_m")
_CONTACTS = ("wheelbase_m", "track_m", "wheel_width_m")
_PLAN = ("length_m", "width_m")
_WEIGHT = (
    "mass_kg", "rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m", "wheel_load_max_kn",
)  # fmt: skip
_HELD = ("brakes_front", "brakes_rear", "drives_front", "drives_rear", "brake_mps2")
_TURN = ("turn_radius_outside_m", "wheelbase_m", "front_overhang_m", "width_m", "pivots")
METHOD = "docs/method.md"
_SHEET = "the machine's sheet"
_GAPS = "EN ISO 13854 / EN 349; site"

#: The checks of standing at a workface to work (section 13).
TILT, TAIL = "set-up tilt", "tail swing"
#: The check of travel with the platform raised (section 15).
ZONE = "elevated zone"

#: How a margin becomes a verdict; the last two are for checks that cannot fail.
PROVEN = "pass if margin >= k sigma, fail if margin < -k sigma, else not proven"
CONTROLLED = "pass if margin >= 0, else pass with controls"
SLOWED = f"{PROVEN}; not proven, whatever the margin, where a speed or the bounce is not the machine's own"
NEVER_FAILS = "pass if margin >= 0, else not proven"


@dataclass(frozen=True)
class CheckKind:
    """One line of the catalogue.

    Parameters
    ----------
    index
        Place in the kernels' margins, -1 for a check made outside them.
    unit
        Of margin, value and limit.
    formula
        The margin: what there is against what is wanted, the worst over the tube and both planes.
    limit
        Where what is wanted comes from: a figure of the machine or a threshold of the site.
    figures, layers
        Machine figures and layers of the site that a pass rests on.
    tests
        Tests against a published number or a closed form, as pytest names them.
    surveyed
        Whether its sigma comes from the survey of the levels.

    Raises
    ------
    ValueError
        Without a test: what nobody has held against a closed form or an outside number is no check.
    """

    kind: str
    index: int
    unit: str
    formula: str
    limit: str
    figures: tuple[str, ...]
    layers: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    surveyed: bool = False
    source: str = f"{METHOD} 7"
    rule: str = PROVEN

    def __post_init__(self) -> None:
        if not self.tests:
            raise ValueError(f"{self.kind}: no check without a test against a closed form or an outside number")


CATALOGUE: tuple[CheckKind, ...] = (
    CheckKind(
        "gradeability", arrays.GRADE, "deg",
        "atan(rating) - abs(pitch); rating by orientation: basket end uphill if the basket's end is the higher one "
        "(a platform over the whole chassis counts as front)",
        "gradeability_basket_uphill_pct, gradeability_basket_downhill_pct", (*_RATINGS, *_WHEELS), surveyed=True,
        source=_SHEET,
        tests=(
            "tests/outside/test_slopes.py::test_ratings_in_degrees",
            "tests/outside/test_slopes.py::test_published_raster_under_a_machine",
            "tests/recheck/test_limits.py::test_the_rating_goes_by_the_end_of_the_basket",
        ),
    ),
    CheckKind(
        "side slope", arrays.SIDE_SLOPE, "deg", "atan(side_slope_pct/100) - abs(roll)", "side_slope_pct",
        ("side_slope_pct", *_WHEELS), surveyed=True, source=_SHEET,
        tests=(
            "tests/outside/test_slopes.py::test_along_and_across",
            "tests/recheck/test_formulas.py::test_twenty_millimetres_of_twist_on_a_narrow_track",
            "tests/recheck/test_limits.py::test_a_crossfall_and_a_grade_at_their_ratings",
        ),
    ),
    CheckKind(
        "combined slope", arrays.COMBINED, "1",
        "1 - sqrt((pitch/limit)^2 + (roll/limit)^2), both of the same plane, against the two ratings above", "1",
        (*_RATINGS, "side_slope_pct", *_WHEELS), surveyed=True,
        tests=("tests/recheck/test_limits.py::test_grade_and_crossfall_together",),
    ),
    CheckKind(
        "ground strike", arrays.STRIKE, "m",
        "underside of any box - ground below it - ground_clearance_m", "ground_clearance_m (site)",
        ("ground_clearance_m", "length_m", *_WHEELS), surveyed=True,
        tests=(
            "tests/recheck/test_limits.py::test_a_ridge_between_the_wheels_and_the_underside",
            "tests/recheck/test_limits.py::test_ground_strike_leaves_k_sigma_of_body_and_ground",
        ),
    ),
    CheckKind(
        "side clearance", arrays.CLEARANCE, "m",
        "horizontal distance of the leaned boxes to obstacles and to the outside of the boundary - required. A box "
        "passes over an obstacle whose top level is at least ground_clearance_m below its underside; a tyre's contact "
        "line never stands on an obstacle, however low",
        "structure_clearance_m; body_gap_m for an occupied box when ridden, against obstacles (not the boundary) that "
        "reach above the box's underside", _PLAN, ("obstacles",), source=_GAPS,
        tests=(
            "tests/outside/test_turning.py::test_swept_width",
            "tests/recheck/test_just_beyond.py::test_an_obstacle_added_beside_the_drive",
            "tests/recheck/test_just_beyond.py::test_a_body_that_leans_over_a_wall",
        ),
    ),
    CheckKind(
        "head gap", arrays.HEAD, "m",
        "ridden only: soffit - (rigid level of the operator's head + e) - required; the head is anywhere on the basket "
        "floor, head_height_m above it along zeta; a soffit counts within head_gap_m of the head in plan", "head_gap_m",
        ("platform_floor_m", "length_m", *_WHEELS), ("soffits",), surveyed=True, source=_GAPS,
        tests=(
            "tests/outside/test_wheels_and_levers.py::test_headroom_over_a_platform",
            "tests/recheck/test_just_beyond.py::test_a_basket_raised_under_a_soffit",
        ),
    ),
    CheckKind(
        "overhead clearance", arrays.OVERHEAD, "m",
        "soffit - (rigid level of a box top + e) - required; a soffit counts within structure_clearance_m of the box "
        "in plan", "body_gap_m for an occupied box when ridden, else structure_clearance_m",
        ("height_m", *_PLAN, *_WHEELS), ("soffits",), surveyed=True, source=_GAPS,
        tests=(
            "tests/outside/test_wheels_and_levers.py::test_gaps_that_keep_people_from_being_crushed",
            "tests/recheck/test_just_beyond.py::test_a_top_under_a_canopy_keeps_its_clearance_to_the_millimetre",
        ),
    ),
    CheckKind(
        "bounce rise", arrays.BOUNCE, "m",
        "bounce_limit_m - rise of the worst corner of the basket floor (section 6)", "bounce_limit_m",
        (*_WHEELS, "platform_floor_m", "length_m"), ("defects",), surveyed=True, source=f"{METHOD} 6; site limit",
        tests=(
            "tests/outside/test_wheels_and_levers.py::test_far_axle",
            "tests/outside/test_wheels_and_levers.py::test_rigid_levers",
            "tests/recheck/test_just_beyond.py::test_a_hole_deepened_beside_the_wheels",
        ),
    ),
    CheckKind(
        "basket swing", -1, "m",
        "what bounce rise, head gap, overhead clearance and line clearance leave a point for its excess over the "
        "rigid height (section 6) - the most it may swing at any speeds up to the rows' v_max_mps, held steady but for "
        "one stop",
        "the gaps of those checks, without the allowance e", (
            "bounce_period_s", "bounce_damping_pct", "travel_speed_mps", "creep_speed_mps", *_WHEELS,
            "platform_floor_m", "height_m", *_PLAN,
        ), ("defects", "soffits", "overhead_lines"), surveyed=True, source=f"{METHOD} 6; the machine rocked",
        rule=SLOWED,
        tests=(
            "tests/hazards/test_rebound.py::test_the_bound_of_a_single_step_is_the_step",
            "tests/hazards/test_rebound.py::test_a_start_on_a_slope_swings_by_speed_times_slope_over_frequency",
            "tests/recheck/test_swing.py::test_a_kerb_met_at_speed",
            "tests/recheck/test_swing.py::test_a_start_on_a_slope",
            "tests/recheck/test_swing.py::test_a_millimetre_more_than_the_swing_and_k_sigma_and_a_millimetre_less",
        ),
    ),
    CheckKind(
        "step", arrays.STEP, "m",
        "step_limit_m - height of a raised feature met by a wheel (contact line within R)", "step_limit_m",
        ("step_limit_m", *_WHEELS), ("defects",), source=_SHEET,
        tests=("tests/recheck/test_limits.py::test_a_kerb_under_the_wheels_and_the_step_limit",),
    ),
    CheckKind(
        "kerb angle", arrays.KERB_ANGLE, "deg",
        "kerb_angle_deg - the larger of the angles that the chassis arrow, and the way that the wheel's hub goes, make "
        "with the normal of an edge of a raised feature that the wheel meets: every edge of its outline that comes "
        "under the tyre as seen from above, its two radii long and its width wide", "kerb_angle_deg (site)",
        _WHEELS, ("defects",), source="the site's angle",
        tests=(
            "tests/recheck/test_kerbs.py::test_a_kerb_met_a_hundredth_of_a_degree_inside_and_beyond_the_angle",
            "tests/hazards/test_kerbs.py::test_a_kerb_met_a_hundredth_of_a_degree_inside_and_beyond_the_angle",
        ),
    ),
    CheckKind(
        "kerb side slope", arrays.KERB_SIDE, "deg",
        "kerb_side_slope_deg - abs(roll) of the mean plane of clean ground, where a wheel meets such an edge",
        "kerb_side_slope_deg (site)", _WHEELS, ("defects",), surveyed=True, source="the site's limit",
        tests=(
            "tests/recheck/test_kerbs.py::test_a_kerb_on_a_crossfall_just_inside_and_just_beyond",
            "tests/hazards/test_kerbs.py::test_a_kerb_on_a_crossfall_just_inside_and_just_beyond",
        ),
    ),
    CheckKind(
        "surface acceptance", arrays.ACCEPTANCE, "m",
        "distance from a tyre's contact line to ground without a valid acceptance for the machine's mass on the day; "
        "where surfaces overlap, one without a valid acceptance overrules", "0",
        ("mass_kg", *_CONTACTS), ("surfaces",), source="the site's acceptance",
        tests=("tests/recheck/test_just_beyond.py::test_what_tyres_keep_off",),
    ),
    CheckKind(
        "ground load", -1, "kN",
        "most that the ground lets a wheel carry - what the wheel carries (section 11), on every surface that a tyre's "
        "contact line meets and that claims anything of wheels, and on every cover or plate that is driven over; on "
        "clay and platforms it rests on contact_area_m2 too. Where nothing on the way claims anything the acceptance "
        "decides, and this passes",
        "wheel_limit_kn; of clay and of platforms section 11 (site)", (*_WEIGHT, *_WHEELS), ("surfaces",),
        surveyed=True, source="the engineer's or maker's word",
        tests=(
            "tests/outside/test_bearing.py::test_a_published_sheet_of_drained_ground",
            "tests/outside/test_bearing.py::test_a_load_spread_on_to_what_lies_below",
            "tests/recheck/test_ground_load.py::test_a_wheel_at_what_the_ground_lets_it_carry",
            "tests/recheck/test_plates.py::test_a_plate_at_twice_what_a_wheel_carries",
        ),
    ),
    CheckKind(
        "grip", -1, "1",
        "least of friction * share of the weight on braked wheels, of what the brakes give, and of friction * share on "
        "driven wheels, less tan(steepest slope) and, but for the driven wheels, the slowing down that stops it in "
        "time from v_max_mps (section 12): on every surface that a tyre's contact line meets; where one axle only is "
        "braked or driven it rests on where the weight acts too",
        "tan(slope) + a / (g cos(slope)), a = v^2 / 2 (stopping_distance_m - v reaction_s) (site)",
        (*_HELD, "travel_speed_mps", *_WHEELS), ("surfaces",), surveyed=True,
        source="the word of who measured the friction",
        tests=(
            "tests/outside/test_stopping.py::test_stopping_distances",
            "tests/recheck/test_grip.py::test_a_slope_at_friction_times_the_braked_share",
            "tests/recheck/test_grip.py::test_the_fastest_row_that_stops_in_time",
        ),
    ),
    CheckKind(
        "covers, plates and trenches", arrays.COVERS, "m",
        "distance from a tyre's contact line to the feature; none is kept from a cover or plate proven to carry the "
        "machine's wheels, nor from the part of a trench under one (section 7)", "0",
        _CONTACTS, ("defects",),
        tests=(
            "tests/recheck/test_just_beyond.py::test_what_tyres_keep_off",
            "tests/recheck/test_plates.py::test_only_what_is_proven_by_the_day_is_driven_over",
        ),
    ),
    CheckKind(
        "excavation edge", arrays.EXCAVATION, "m",
        "distance from a tyre's contact line to the excavation - required", "set_back_m", _CONTACTS, ("excavations",),
        source="the site's set-back", tests=("tests/recheck/test_just_beyond.py::test_what_tyres_keep_off",),
    ),
    CheckKind(
        "overhead lines", arrays.LINES, "m",
        "distance from the body in plan to the corridor, grown by its safety distance, of a line that has no measured "
        "height or no safety distance", "0", _PLAN,
        ("overhead_lines",), tests=("tests/recheck/test_just_beyond.py::test_what_the_body_keeps_out_of",),
    ),
    CheckKind(
        "line clearance", arrays.UNDER_LINE, "m",
        "lowest level of a line - sag_m - (rigid level of a box top, or of the operator's head when ridden, + e) - "
        "required; a line counts over its corridor grown by its safety distance",
        "the safety distance for its voltage, by the table that the site names",
        ("height_m", "platform_floor_m", *_PLAN, *_WHEELS), ("overhead_lines",), surveyed=True,
        source="the table that the site names",
        tests=(
            "tests/outside/test_safety_distances.py::test_published_rows",
            "tests/outside/test_safety_distances.py::test_how_high_a_machine_passes_under_the_lowest_line_over_a_road",
            "tests/recheck/test_lines.py::test_a_millimetre_under_a_line_and_a_millimetre_too_high",
        ),
    ),
    CheckKind(
        "closed areas", arrays.CLOSED, "m", "distance from the body in plan to an area closed on the day", "0", _PLAN,
        tests=("tests/recheck/test_just_beyond.py::test_what_the_body_keeps_out_of",),
    ),
    CheckKind(
        "walkways", arrays.WALKWAY, "m",
        "distance from the body in plan to a walkway, which takes a hold point and a marshal", "0", _PLAN,
        ("walkways",), rule=CONTROLLED,
        tests=("tests/recheck/test_just_beyond.py::test_each_crossing_of_a_walkway_needs_its_own_hold_point",),
    ),
    CheckKind(
        "turning", -1, "m",
        "smallest radius at the origin on the route - turn radius of the origin in that steering (pivots only where "
        "the machine can)",
        "sqrt(R_out^2 - (L + f)^2) - W/2: turn_radius_outside_m, front overhang f, width W; in coordinated and crab "
        "steer section 1, on turn_radius_outside_coordinated_m and crab_angle_deg", _TURN, source=_SHEET,
        tests=(
            "tests/outside/test_turning.py::test_worked_example_of_a_steered_axle",
            "tests/outside/test_turning.py::test_design_vehicles",
            "tests/recheck/test_limits.py::test_a_turn_at_the_turn_radius",
        ),
    ),
    CheckKind(
        "levels known", arrays.LEVELS, "1", "share of wheel and body positions with a known level - 1", "1", (),
        tests=("tests/recheck/test_limits.py::test_an_unknown_level_under_a_wheel_or_the_body",),
    ),
    CheckKind(
        "survey resolution", -1, "m",
        "bounce_limit_m - tip_participation * 2 * max lever * drop of the smallest hole the survey would show; not "
        "proven when nobody said how small", "bounce_limit_m", ("wheel_radius_m", "wheelbase_m"),
        source=f"{METHOD} 7; smallest hole the survey shows", rule=NEVER_FAILS,
        tests=(
            "tests/outside/test_wheels_and_levers.py::test_wheel_over_a_slot",
            "tests/recheck/test_verdicts.py::test_a_survey_that_would_not_show_the_hole_is_no_pass",
        ),
    ),
    CheckKind(
        TILT, -1, "deg",
        "tilt cut-out - tilt_sensor_tolerance_deg - lean of the chassis where it comes to stand at a workface: "
        "abs(roll) against tilt_side_deg and abs(pitch) against tilt_long_deg; where tilt_any_deg is given, "
        "atan(hypot(tan pitch, tan roll)) against that, and of the two axes only against what is the machine's own. "
        "Passes where it comes to stand at no workface; not made of a machine that works on outriggers",
        "tilt_side_deg and tilt_long_deg, or tilt_any_deg",
        ("tilt_side_deg", "tilt_long_deg", "tilt_any_deg", "tilt_sensor_tolerance_deg", *_WHEELS), surveyed=True,
        source=_SHEET,
        tests=(
            "tests/plan/test_set_up.py::test_a_plane_just_inside_and_just_beyond_each_limit",
            "tests/outside/test_slopes.py::test_tilt_cut_outs_on_a_road_crossfall",
            "tests/recheck/test_set_up.py::test_a_plane_just_inside_and_just_beyond_each_limit",
        ),
    ),
    CheckKind(
        TAIL, -1, "m",
        "distance in plan from the circle of tail_swing_radius_m about the turntable's axis, where it comes to stand "
        "at a workface, to walkways, to the outside of the boundary and to obstacles - tail_gap_m. It passes over an "
        "obstacle whose top level is at least ground_clearance_m below the lowest that its underside, chassis_top_m, "
        "gets. Passes where nothing slews, and where it comes to stand at no workface", "tail_gap_m (site)",
        ("tail_swing_radius_m", "turntable_xi_m", "chassis_top_m", "height_m", *_WHEELS), ("obstacles", "walkways"),
        source=_GAPS,
        tests=(
            "tests/plan/test_set_up.py::test_a_wall_a_millimetre_inside_and_outside_the_gap_of_the_tail",
            "tests/recheck/test_set_up.py::test_a_wall_a_millimetre_inside_and_outside_the_gap_of_the_tail",
        ),
    ),
    CheckKind(
        ZONE, -1, "m",
        "travelling with the platform raised: distance from the body and the wheels in plan to ground that is not its "
        "elevated zone, is closed on the day, or is rougher than the zone is accepted for. Passes where it travels "
        "lowered; raised outside a zone nothing is driven (section 15)", "0", (), source=f"{METHOD} 15",
        tests=(
            "tests/plan/test_elevated.py::test_the_edge_of_the_zone",
            "tests/recheck/test_elevated.py::test_the_edge_of_the_zone",
        ),
    ),
)  # fmt: skip


def by_kind(kind: str) -> CheckKind:
    """The catalogue's line of a kind; ``KeyError`` when there is none."""
    return {line.kind: line for line in CATALOGUE}[kind]
