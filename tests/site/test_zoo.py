"""Each folder of the zoo is refused with every fault in words, the same by each command, and nothing is written."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from routeplan.cli.main import main
from tests.site.broken import Broken
from tests.site.folders import write_folder
from tests.site.zoo import ANIMALS

#: Folders that claim to be far larger than they are.
CLAIMS = (
    "a huge file",
    "levels that claim 1,000,000 x 1,000,000 cells",
    "levels in tiles far larger than themselves",
    "a CSV that spans the earth",
    "a GeoPackage that claims more rows than it holds",
    "a Shapefile whose index claims half a milliard rows",
    "lists nested without end",
    "JSON nested without end",
)
#: What reading the claims may take beyond reading a sound folder, megabytes; the least of them claims five hundred.
MOST_MB = 100


def tree(folder: Path) -> Iterator[tuple[str, object]]:
    """Every file below a folder with its content; what is no plain file, and what is huge, by its kind and size."""
    for path in sorted(folder.rglob("*")):
        found = path.lstat()
        plain = path.is_file() and not path.is_symlink() and found.st_size < 10**8
        yield str(path), path.read_bytes() if plain else (found.st_mode, found.st_size)


def test_no_two_folders_share_a_name() -> None:
    names = [animal.name for animal in ANIMALS]
    assert len(set(names)) == len(names) >= 60


@pytest.mark.parametrize("animal", ANIMALS, ids=lambda animal: animal.name)
def test_a_broken_folder(animal: Broken, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = animal.make(tmp_path / "site")
    before = list(tree(tmp_path))
    assert main(["check", str(folder)]) == 6
    out, err = capsys.readouterr()
    assert out.strip() == animal.faults.strip()
    count = animal.faults.count("    mend: ")
    assert re.fullmatch(rf"routeplan: {count} faults?; the site cannot be planned on\.\n", err)
    assert str(tmp_path) not in out

    assert main(["plan", str(folder), "--out", str(tmp_path / "out")]) == 6
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == count + 1
    assert list(tree(tmp_path)) == before, "nothing is written, nor left beside the inputs"


def test_what_an_earlier_run_wrote_stays(tmp_path: Path) -> None:
    for number, animal in enumerate(ANIMALS[::20]):
        folder, out = animal.make(tmp_path / f"site-{number}"), tmp_path / f"out-{number}"
        out.mkdir()
        (out / "plan.json").write_text("{}")
        assert main(["plan", str(folder), "--out", str(out)]) == 6
        assert list(tree(out)) == [(str(out / "plan.json"), b"{}")]


def test_faults_as_json_say_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (animal,) = (one for one in ANIMALS if one.name == "faults in every file at once")
    assert main(["check", "--json", str(animal.make(tmp_path / "site"))]) == 6
    faults = json.loads(capsys.readouterr().out)["faults"]
    said = " ".join(animal.faults.split())
    assert len(faults) == animal.faults.count("mend: ")
    for fault in faults:
        assert set(fault) == {"code", "where", "what", "mend"}
        assert f"{fault['what']} mend: {fault['mend']} [{fault['code']}]" in said


@pytest.mark.parametrize("name", CLAIMS)
def test_what_a_folder_claims_is_not_believed(name: str, tmp_path: Path) -> None:
    (animal,) = (one for one in ANIMALS if one.name == name)
    script = (
        "import resource, sys\nfrom pathlib import Path\n"
        "from routeplan.errors import BadInput\nfrom routeplan.site.read import read_site\n"
        "read_site(Path(sys.argv[1]))\nbefore = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try:\n    read_site(Path(sys.argv[2]))\nexcept BadInput:\n"
        "    print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)"
    )
    folders = (str(write_folder(tmp_path / "sound")), str(animal.make(tmp_path / "site")))
    ran = subprocess.run([sys.executable, "-c", script, *folders], capture_output=True, text=True, check=True)
    assert int(ran.stdout) < MOST_MB


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to root")
@pytest.mark.parametrize(
    ("closed", "where", "what"),
    [
        ("levels.tif", "site.toml, levels, file", '"levels.tif" cannot be opened: Permission denied'),
        ("site.toml", "site.toml", '"site.toml" cannot be opened: Permission denied'),
        (".", "site.toml", '"site.toml" cannot be opened: Permission denied'),
    ],
)
def test_what_may_not_be_read(
    closed: str, where: str, what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = write_folder(tmp_path / "site")
    mode = (folder / closed).stat().st_mode
    (folder / closed).chmod(0)
    try:
        assert main(["check", "--json", str(folder)]) == 6
    finally:
        (folder / closed).chmod(mode)
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert (fault["where"], fault["what"]) == (where, what)
    assert fault["mend"] == "check its permissions"
