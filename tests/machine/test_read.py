"""The machine classes and the builder: what is read, what overrides what, and every fault at the door."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.errors import BadInput
from routeplan.machine.model import Machine
from routeplan.machine.read import applicable_figures, build_machine, read_classes, read_figure_kinds
from routeplan.machine.shape import turn_radius_at_origin_m

WHERE = "site.toml [machines.X]"
CLASSES = sorted(read_classes())
SET_UP = ("tilt_side_deg", "tilt_long_deg")
#: A limit for any direction, the sensor's tolerance and the tail's circle are a plate's to say.
PLATE, TAIL = ("tilt_any_deg", "tilt_sensor_tolerance_deg"), ("tail_swing_radius_m",)
#: What holds a machine, and what a wheel carries, comes from these: no page of a class tells them.
UNTOLD = (
    "brakes_front", "brakes_rear", "drives_front", "drives_rear", "brake_mps2",
    "rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m",
)  # fmt: skip
#: How a machine travels with its platform raised is its own sheet's to say.
HIGH = (
    "elevated_height_max_m", "elevated_speed_mps", "elevated_step_m", "elevated_clearance_m",
    "elevated_bounce_period_s", "elevated_bounce_damping_pct",
)  # fmt: skip
#: Figures that apply to a class and that the trade gives no range for, in printed order.
MISSING = {
    **dict.fromkeys(CLASSES, (*UNTOLD, *PLATE)),
    **dict.fromkeys((name for name in CLASSES if "scissor" in name or "mast" in name), (*UNTOLD, *PLATE, *HIGH)),
    "push-around-mast-4m": ("creep_speed_mps", *UNTOLD, *PLATE, *HIGH),
    "rough-terrain-scissor-18m": ("height_folded_m", *UNTOLD, *PLATE, *HIGH),
    "electric-articulating-boom-15m": (*UNTOLD, *PLATE, *TAIL),
    **dict.fromkeys(
        ("articulating-boom-16m", "rough-terrain-boom-20m", "telescopic-boom-26m"),
        ("turn_radius_outside_coordinated_m", *UNTOLD, *PLATE, *TAIL),
    ),
    **dict.fromkeys(
        ("telescopic-boom-40m", "telescopic-boom-40m-axles-out"),
        ("turn_radius_outside_coordinated_m", "crab_angle_deg", *UNTOLD, *PLATE, *TAIL),
    ),
    **dict.fromkeys(
        ("tracked-spider-20m", "tracked-spider-20m-tracks-out"), ("creep_speed_mps", "brake_mps2", *SET_UP, *PLATE)
    ),
    "trailer-boom-17m": ("creep_speed_mps", *UNTOLD, "wheel_load_max_kn", *SET_UP, *PLATE),
    "vehicle-boom-20m": (
        "gradeability_basket_uphill_pct", "gradeability_basket_downhill_pct", "side_slope_pct", "creep_speed_mps",
        "travel_speed_mps", *UNTOLD, "wheel_load_max_kn", *SET_UP, *PLATE,
    ),
}  # fmt: skip
SLEWING = {class_id for class_id in CLASSES if "scissor" not in class_id and "push-around" not in class_id}


def built(class_id: str, **spec: Any) -> Machine:
    return build_machine("X", {"class": class_id, **spec}, where=WHERE)


def faults(spec: Mapping[str, Any]) -> dict[str, str]:
    """Code and text of every fault that a specification raises."""
    with pytest.raises(BadInput) as caught:
        build_machine("X", spec, where=WHERE)
    assert all(fault.where.startswith(WHERE) and fault.mend for fault in caught.value.faults)
    return {fault.code: str(fault) for fault in caught.value.faults}


@pytest.mark.parametrize("class_id", CLASSES)
def test_a_class_gives_every_figure_with_an_honest_tag(class_id: str) -> None:
    one = read_classes()[class_id]
    assert [*one.figures, *MISSING.get(class_id, ())] == sorted(
        applicable_figures(one), key=lambda name: name in MISSING.get(class_id, ())
    )
    for figure in one.figures.values():
        assert figure.tag in {"class", "memory"}
        assert ("memory" in figure.source) == (figure.tag == "memory"), figure
        kind = read_figure_kinds()[figure.name]
        assert kind.unit or figure.name == "pivots"
        assert kind.least <= figure.value <= kind.most


@pytest.mark.parametrize("class_id", CLASSES)
def test_a_value_lies_in_the_range_that_its_source_names(class_id: str) -> None:
    checked = 0
    for figure in read_classes()[class_id].figures.values():
        match = re.search(r"range ([\d.]+)-([\d.]+)(?: (km/h))?", figure.source)
        if match:
            factor = 1 / 3.6 if match[3] else 1.0
            assert float(match[1]) * factor - 0.005 <= figure.value <= float(match[2]) * factor + 0.005, figure
            checked += 1
    assert checked >= 4


@pytest.mark.parametrize("class_id", CLASSES)
def test_a_class_alone_makes_no_trusted_figure(class_id: str) -> None:
    machine = built(class_id)
    assert not any(figure.trusted for figure in machine.figures.values())
    assert machine.missing == MISSING.get(class_id, ())


@pytest.mark.parametrize("class_id", CLASSES)
def test_what_slews_says_so_and_only_booms_have_a_circle(class_id: str) -> None:
    machine = built(class_id)
    assert machine.slews == read_classes()[class_id].slews == (class_id in SLEWING)
    assert ("tail_swing_radius_m" in machine.missing) == (read_classes()[class_id].kind == "boom")


def test_a_tail_sweeps_no_smaller_a_circle_than_it_reaches() -> None:
    """Axis 1.0 m ahead of the rear axle, tail 0.60 + 0.15 m behind it: 1.75 m, and sheets round by 0.02 m."""
    own = {"turntable_xi_m": 1.0, "rear_overhang_m": 0.60, "tail_overhang_m": 0.15}
    figures = built("electric-articulating-boom-15m").figures
    own["length_m"] = 0.75 + figures["wheelbase_m"].value + figures["basket_overhang_m"].value
    machine = built("electric-articulating-boom-15m", measured=own | {"tail_swing_radius_m": 1.74})
    assert machine.value("tail_swing_radius_m") == 1.74
    short = {"class": "electric-articulating-boom-15m", "measured": own | {"tail_swing_radius_m": 1.70}}
    assert "its circle only 1.700 m" in faults(short)["figures-clash"]


def test_sheet_and_tape_override_the_class() -> None:
    machine = built(
        "slab-scissor-8m",
        sheet_source="plate of the machine",
        sheet={"mass_kg": 2310},
        measured={"platform_floor_m": 1.07},
    )
    mass, floor = machine.figures["mass_kg"], machine.figures["platform_floor_m"]
    assert (mass.value, mass.tag, mass.source) == (2310.0, "sheet", "plate of the machine")
    assert (floor.value, floor.tag) == (1.07, "measured")
    assert machine.configurations["stowed"].mass_kg == 2310.0
    assert machine.configurations["stowed"].basket.floor_height_m == 1.07
    assert machine.figures["height_m"].tag == "memory"


def test_all_faults_are_told_at_once() -> None:
    found = faults(
        {
            "class": "slab-scissor-8m",
            "colour": "yellow",
            "sheet": {"mas_kg": 2000, "width_m": 30, "length_m": "2.4", "height_m": math.nan, "track_m": True},
            "measured": {"width_m": 0.8},
        }
    )
    assert set(found) == {
        "unknown-key", "unknown-figure", "absurd-figure", "not-a-number", "source-missing", "given-twice",
    }  # fmt: skip
    assert "did you mean mass_kg" in found["unknown-figure"]


@pytest.mark.parametrize("value", [-1, 0, math.inf, -math.inf, 10**400, 1e-300])
def test_absurd_masses_are_refused(value: float) -> None:
    assert set(faults({"class": "slab-scissor-8m", "measured": {"mass_kg": value}})) == {"absurd-figure"}


@pytest.mark.parametrize("class_id", [None, "boom", 7, ["slab-scissor-8m"], "slab-scissor-9m"])
def test_an_unknown_class_is_refused_and_the_near_one_named(class_id: object) -> None:
    found = faults({"class": class_id})
    assert set(found) == {"unknown-class"}
    assert "slab-scissor-8m" in found["unknown-class"]


@pytest.mark.parametrize("spec", [{"sheet": 3, "sheet_source": "s"}, {"measured": [1]}, {"sheet_source": 4}])
def test_wrong_types_are_refused(spec: dict[str, Any]) -> None:
    assert set(faults({"class": "slab-scissor-8m", **spec})) == {"wrong-type"}


@pytest.mark.parametrize(
    ("class_id", "sheet", "text"),
    [
        ("slab-scissor-8m", {"wheelbase_m": 2.5}, "no shorter than the machine"),
        ("slab-scissor-8m", {"track_m": 0.75}, "tyres reach 0.860 m"),
        ("slab-scissor-8m", {"length_m": 2.60}, "length_m is 2.600 m"),
        ("slab-scissor-8m", {"turn_radius_outside_m": 2.10}, "smaller than the front corner can describe"),
        ("slab-scissor-8m", {"turn_radius_outside_m": 2.15}, "smaller than the front corner can describe (2.17 m)"),
        ("slab-scissor-8m", {"turn_radius_inside_m": 1.8}, "less than the machine's width"),
        ("slab-scissor-8m", {"platform_floor_m": 2.5}, "does not lie below"),
        ("slab-scissor-8m", {"step_limit_m": 0.2}, "higher than its own hub"),
        ("slab-scissor-8m", {"rear_overhang_m": 0.1}, "tyre would stand out"),
        ("slab-scissor-8m", {"pivots": 0.5}, "on the spot"),
        ("telescopic-boom-26m", {"basket_width_m": 2.6}, "basket is wider"),
        ("telescopic-boom-26m", {"basket_overhang_m": 1.5}, "over the chassis"),
        ("telescopic-boom-26m", {"chassis_top_m": 3.0}, "does not lie below"),
        ("telescopic-boom-26m", {"boom_top_m": 3.2}, "does not lie below"),
        ("telescopic-boom-26m", {"platform_floor_m": 0.12}, "in the ground"),
        ("telescopic-boom-26m", {"platform_floor_m": 2.0}, "rails stand above"),
        ("telescopic-boom-26m", {"platform_floor_m": 2.9}, "below its basket"),
        ("telescopic-boom-26m", {"turntable_xi_m": 2.91}, "between the axles"),
        ("articulating-boom-16m", {"turntable_xi_m": 2.1}, "turned round, the basket would lie over the chassis"),
        ("slab-scissor-8m", {"height_folded_m": 2.4}, "2.4 m does not lie below 2.4 m (height_folded_m"),
        ("slab-scissor-8m", {"height_folded_m": 1.1}, "1.1 m does not lie below 1.1 m (platform_floor_m"),
        ("mast-boom-8m", {"platform_floor_m": 2.0}, "does not lie below"),
        ("mast-boom-8m", {"platform_floor_m": 0.15}, "platform's underside"),
        ("mast-boom-8m", {"basket_width_m": 1.1}, "basket is wider"),
        ("mast-boom-8m", {"front_overhang_m": 0.6}, "is 3.000 m, length_m is 2.900 m"),
        ("mast-boom-8m", {"chassis_top_m": 2.1}, "does not lie below"),
        ("tracked-spider-20m", {"track_contact_m": 1.3}, "length_m is 5.400 m"),
        ("tracked-spider-20m", {"turn_radius_outside_m": 2.7}, "(2.73 m)"),
        ("slab-scissor-8m", {"brakes_front": 0, "brakes_rear": 0}, "neither axle is braked: nothing would stop it"),
        ("slab-scissor-8m", {"drives_rear": 0.5}, "an axle is braked or driven (1) or it is not (0)"),
        ("trailer-boom-17m", {"ground_clearance_m": 0.9, "height_m": 0.8}, "does not lie below"),
    ],
)
def test_figures_that_clash_are_refused(class_id: str, sheet: dict[str, float], text: str) -> None:
    found = faults({"class": class_id, "sheet_source": "s", "sheet": sheet})
    assert set(found) == {"figures-clash"}
    with pytest.raises(BadInput) as caught:
        build_machine("X", {"class": class_id, "sheet_source": "s", "sheet": sheet}, where=WHERE)
    assert any(text in str(fault) for fault in caught.value.faults)


def test_a_figure_of_another_kind_of_machine_is_unknown() -> None:
    assert set(faults({"class": "slab-scissor-8m", "measured": {"tail_overhang_m": 1.0}})) == {"unknown-figure"}
    assert set(faults({"class": "slab-scissor-8m", "measured": {"oscillation_stop_deg": 5.0}})) == {"unknown-figure"}
    assert set(faults({"class": "trailer-boom-17m", "measured": {"turn_radius_outside_m": 9.0}})) == {"unknown-figure"}
    assert set(faults({"class": "tracked-spider-20m", "measured": {"wheelbase_m": 1.5}})) == {"unknown-figure"}


@given(
    st.dictionaries(st.sampled_from(list(read_figure_kinds())), st.floats() | st.integers() | st.text(max_size=3)),
    st.sampled_from(CLASSES),
)
def test_any_figures_either_build_or_are_named_faults(figures: dict[str, Any], class_id: str) -> None:
    try:
        machine = built(class_id, measured=figures)
    except BadInput as error:
        assert error.faults
    else:
        assert all(machine.value(name) == float(value) for name, value in figures.items())
        if "turn_radius_outside_m" in machine.figures:
            radius_m = turn_radius_at_origin_m(
                outside_m=machine.value("turn_radius_outside_m"),
                wheelbase_m=machine.wheels[0].xi_m,
                front_overhang_m=machine.value("front_overhang_m"),
                width_m=machine.value("width_m"),
            )
            assert radius_m >= 0
