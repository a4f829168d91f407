"""The command line: what help costs, what faults lead to, and the machines command."""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from routeplan import __version__
from routeplan.cli import main as dispatcher
from routeplan.cli.main import COMMANDS, build_parser, main
from routeplan.errors import BadInput, ExitStatus, Fault, NotWritten
from routeplan.machine.read import read_classes

HEAVY = (
    "numpy", "shapely", "pyproj", "rasterio", "geopandas", "pandas", "folium", "branca", "numba", "pydantic",
    "networkx", "scipy", "skimage", "pyogrio",
)  # fmt: skip


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "routeplan", *arguments], capture_output=True, text=True, check=False)


def command(name: str, action: object) -> ModuleType:
    """A command module that does ``action`` when run."""

    def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
        subparsers.add_parser(name, help="a command for a test")

    def run(_: argparse.Namespace) -> object:
        if isinstance(action, BaseException):
            raise action
        return action

    module = ModuleType(name)
    module.__dict__.update(add_parser=add_parser, run=run)
    return module


def test_help_lists_every_command_and_loads_nothing_heavy() -> None:
    script = (
        "import sys\nfrom routeplan.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as leaving:\n    assert leaving.code == 0\n"
        "print('LOADED', *sorted({name.split('.')[0] for name in sys.modules}))"
    )
    shown = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    loaded = set(shown.rsplit("LOADED", 1)[1].split())
    assert "argparse" in loaded
    assert not loaded & set(HEAVY)
    for name in COMMANDS:
        assert f"    {name} " in shown


def test_help_takes_at_most_ten_times_as_long_as_nothing() -> None:
    def seconds(*arguments: str) -> float:
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], capture_output=True, check=True)
        return time.perf_counter() - start

    # In turn, so that a busy machine slows both alike.
    pairs = [(seconds("-m", "routeplan", "--help"), seconds("-c", "pass")) for _ in range(7)]
    helping, nothing = (statistics.median(times) for times in zip(*pairs, strict=True))
    assert helping <= 10 * nothing


def test_version() -> None:
    assert run("--version").stdout == f"routeplan {__version__}\n"


@pytest.mark.parametrize("arguments", [(), ("fly",), ("machines", "a", "b"), ("--colour",)])
def test_wrong_usage_is_two(arguments: tuple[str, ...]) -> None:
    done = run(*arguments)
    assert done.returncode == ExitStatus.USAGE
    assert done.stdout == "" and "usage: routeplan" in done.stderr


def test_every_fault_is_said_on_stderr(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    faults = [Fault("a-code", "here", "wrong", "mend it"), Fault("b-code", "there", "worse", "mend that")]
    monkeypatch.setattr(dispatcher, "_command", lambda name: command(name, BadInput(faults)))
    assert main(["check"]) == ExitStatus.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert all(str(fault) in shown.err for fault in faults) and "2 faults" in shown.err


@pytest.mark.parametrize("status", list(ExitStatus))
def test_a_command_s_status_is_the_program_s(monkeypatch: pytest.MonkeyPatch, status: ExitStatus) -> None:
    monkeypatch.setattr(dispatcher, "_command", lambda name: command(name, status))
    assert main(["plan"]) == status


def test_not_written_is_seven(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(dispatcher, "_command", lambda name: command(name, NotWritten("disk full")))
    assert main(["plan"]) == ExitStatus.NOT_WRITTEN
    assert capsys.readouterr().err == "routeplan: disk full\n"


def test_a_crash_is_not_dressed_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dispatcher, "_command", lambda name: command(name, ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        main(["plan"])


def test_a_reader_who_leaves_is_not_a_crash() -> None:
    program = subprocess.Popen(
        [sys.executable, "-m", "routeplan", "machines", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert program.stdout is not None
    program.stdout.close()
    _, said = program.communicate()
    assert program.returncode == ExitStatus.NOT_WRITTEN
    assert said == b""


def test_machines_lists_the_classes(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machines"]) == ExitStatus.OK
    shown = capsys.readouterr().out
    assert all(class_id in shown for class_id in read_classes())
    assert "never make a pass" in shown


@pytest.mark.parametrize("class_id", sorted(read_classes()))
def test_machines_shows_each_figure_with_unit_tag_and_source(
    class_id: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["machines", class_id]) == ExitStatus.OK
    shown = capsys.readouterr().out
    lines = {line.split()[0]: line for line in shown.splitlines() if line}
    for figure in read_classes()[class_id].figures.values():
        line = lines[figure.name]
        assert f" {figure.value:g} " in line and f" {figure.tag} " in line and line.endswith(figure.source)
    assert lines["mass_kg"].split()[2] == "kg" and lines["side_slope_pct"].split()[2] == "%"
    assert "never make a pass" in shown


def test_machines_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machines", "telescopic-boom-26m", "--json"]) == ExitStatus.OK
    document = json.loads(capsys.readouterr().out)
    (one,) = document["classes"].values()
    assert one["figures"]["mass_kg"] == {
        "value": 17500.0, "tag": "memory", "source": "generic class range 15500-17500, value from memory",
    }  # fmt: skip
    assert "never make a pass" in document["caution"]


def test_machines_names_the_near_class(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["machines", "slab-scissor-8"]) == ExitStatus.BAD_INPUT
    assert "did you mean slab-scissor-8m?" in capsys.readouterr().err


def test_every_command_and_option_is_documented() -> None:
    text = (Path(__file__).parents[1] / "docs" / "commands.md").read_text(encoding="utf-8")
    (subparsers,) = (
        action for action in build_parser()._actions if isinstance(action, argparse._SubParsersAction)
    )
    assert subparsers.choices
    for name, parser in subparsers.choices.items():
        section = text.split(f"## `routeplan {name} ", 1)[1].split("\n## ", 1)[0]
        options = [action.option_strings[-1] for action in parser._actions if action.option_strings]
        assert all(option in section for option in options if option != "--help"), name


def test_the_documented_statuses_are_the_program_s() -> None:
    text = (Path(__file__).parents[1] / "docs" / "commands.md").read_text(encoding="utf-8")
    documented = {int(row.split("|")[1]) for row in text.splitlines() if row.startswith("| ") and row[2].isdigit()}
    assert documented == {*map(int, ExitStatus), 1}
