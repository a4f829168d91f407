"""``routeplan machines``: steering, configurations, and what is not modelled, for people and as JSON."""

from __future__ import annotations

import json
from typing import Any

import pytest

from routeplan.cli.main import main
from routeplan.machine.modelled import UNDER_TRACKS
from routeplan.machine.read import build_machine, read_classes


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["machines", *words]) == 0
    return capsys.readouterr().out


def test_the_list_says_which_machines_are_never_proven(capsys: pytest.CaptureFixture[str]) -> None:
    lines = {line.split()[0]: line for line in shown(capsys).splitlines() if line}
    assert lines["tracked-spider-20m"].endswith(f"its moves are not proven: {UNDER_TRACKS}")
    assert lines["trailer-boom-17m"].endswith("its moves are not proven: steering not modelled: towed")
    assert lines["vehicle-boom-20m"].endswith("its moves are not proven: steering not modelled: road")
    assert sum("not proven" in line for line in lines.values()) == 4


@pytest.mark.parametrize("class_id", sorted(read_classes()))
def test_one_class_shows_steering_and_every_configuration(class_id: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, class_id)
    assert f"\nsteering: {', '.join(read_classes()[class_id].steering)}\n" in text
    for name in build_machine("X", {"class": class_id}, where="test").configurations:
        assert f"\nconfiguration {name}: " in text


def test_words_on_folded_rails_turned_baskets_and_steering(capsys: pytest.CaptureFixture[str]) -> None:
    text = shown(capsys, "slab-scissor-8m")
    assert "configuration stowed_rails_folded: nobody rides on the platform; rests also on height_folded_m" in text
    text = shown(capsys, "telescopic-boom-40m")
    assert (
        "configuration stowed_turned: ridden or driven from beside; basket over the front end; "
        "rests also on turntable_xi_m"
    ) in text
    assert "not modelled: coordinated steering: not driven without turn_radius_outside_coordinated_m" in text
    assert "not modelled: crab steering: not driven without crab_angle_deg" in text
    assert "\nheight_folded_m" in (text := shown(capsys, "rough-terrain-scissor-18m"))
    assert "-  m     missing  only a machine's own will do" in text
    assert "not modelled" not in shown(capsys, "mast-boom-8m")


def test_json_tells_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    classes: dict[str, Any] = json.loads(shown(capsys, "--json"))["classes"]
    assert set(classes) == set(read_classes())
    boom, spider = classes["telescopic-boom-26m"], classes["tracked-spider-20m"]
    assert boom["steering"] == ["front", "coordinated"] and boom["contact"] == "wheels"
    assert boom["configurations"] == {
        "stowed": {"ridden": True, "basket_end": "rear", "rests_on": []},
        "stowed_turned": {"ridden": True, "basket_end": "front", "rests_on": ["turntable_xi_m"]},
    }
    weight = ["rated_load_kg", "gravity_xi_m", "gravity_eta_m", "gravity_height_m"]
    held = ["brakes_front", "brakes_rear", "drives_front", "drives_rear", "brake_mps2"]
    sensor = ["tilt_any_deg", "tilt_sensor_tolerance_deg"]
    assert boom["missing"] == ["turn_radius_outside_coordinated_m", *held, *weight, *sensor, "tail_swing_radius_m"]
    assert spider["missing"] == ["creep_speed_mps", "brake_mps2", "tilt_side_deg", "tilt_long_deg", *sensor]
    assert spider["contact"] == "tracks" and spider["slews"] and not classes["slab-scissor-8m"]["slews"]
    assert spider["not_modelled"] == [f"its moves are not proven: {UNDER_TRACKS}"]
    assert classes["slab-scissor-8m"]["configurations"]["stowed_rails_folded"]["ridden"] is False
