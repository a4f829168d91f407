"""The house rules, kept by reading the source: arrows, kernels, names, sizes, docstrings, who reads files.

``house_faults`` works on any tree, so that the checker itself is checked on trees that break each rule.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from routeplan.plan import accepted, tiles

ROOT = Path(__file__).parents[1]

#: Which rooms a room may import from. Nothing turns back.
ARROWS = {
    "cli": {"plan", "report", "recheck", "planfile", "route", "site", "machine", "errors", "version"},
    "plan": {"search", "hazards", "kernel", "recheck", "route", "site", "machine", "errors", "version"},
    "search": {"hazards", "kernel", "route", "site", "machine", "errors"},
    "hazards": {"kernel", "route", "site", "machine", "errors"},
    "recheck": {"route", "site", "machine", "errors"},
    "report": {"route", "planfile", "site", "machine", "errors", "version"},
    "planfile": {"route", "machine", "errors"},
    "route": {"machine"},
    "site": {"machine", "errors"},
    "machine": {"errors"},
    "kernel": set[str](),
    "errors": set[str](),
    "version": set[str](),
}
#: Modules at the top whose name is not their room's.
ROOMS = {"__main__": "cli", "": "version"}
#: What the second opinion must not reach, not even through others.
RECHECK_NEVER = {"hazards", "search", "kernel"}
#: Libraries that the second opinion may use: none that shares its arithmetic with the search.
RECHECK_LIBRARIES = {"numpy", "shapely"}
FORBIDDEN_NAMES = {"utils", "util", "common", "helpers", "helper", "settings", "misc"}
#: What a module of kernels imports, besides modules of its own room that keep the same rule, and modules of kernels of
#: rooms that its own may import from.
KERNEL_IMPORTS = {"__future__", "typing", "math", "numpy", "numpy.typing", "numba", "routeplan.kernel"}
#: Who reads a user's files; then who reads what ships with the package: the sources whose hash names the cache, the
#: motion primitives, style sheets and scripts of the pages, the words of a new site folder.
READERS = {
    "site.read", "site.text", "site.csv_rows", "site.layers", "site.ground", "machine.read", "planfile.plan",
    "planfile.publish",
}  # fmt: skip
READERS_OF_THE_PACKAGE = {"kernel", "search.motions", "report.packaged", "site.new"}
#: Who reads what an earlier run left in the cache.
READERS_OF_THE_CACHE = {"plan.tiles", "plan.mapped"}
#: Distributions that are imported by another name.
IMPORTED_AS = {"XStatic-Leaflet": "xstatic", "scikit-image": "skimage"}
READING = {"open", "read_text", "read_bytes", "read_file", "read_dataframe", "read_csv", "fromfile", "loadtxt"}
MOST_LINES = 400
MOST_FUNCTION_LINES = 50


def modules(root: Path) -> dict[str, ast.Module]:
    """Every module below ``root / routeplan`` by its name without the package's, ``""`` for the package itself."""
    package = root / "routeplan"
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = path.relative_to(package).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = ast.parse(path.read_text(encoding="utf-8"), filename=str(path))
    return found


def room_of(name: str) -> str:
    """The room of a module: the first part of its name, or what ``ROOMS`` says."""
    first = name.split(".")[0]
    return ROOMS.get(first, first)


def imported(tree: ast.AST) -> Iterator[str]:
    """Every name imported anywhere in a module, functions included, with the names taken from packages."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = "." * node.level + (node.module or "")
            yield base
            yield from (f"{base}.{alias.name}" for alias in node.names)


def ours(tree: ast.Module, known: set[str]) -> set[str]:
    """Modules of this package that a module imports, by name without the package's."""
    found = set()
    for name in imported(tree):
        inner = name.removeprefix("routeplan").removeprefix(".") if name.split(".")[0] == "routeplan" else None
        if inner is not None and inner in known:
            found.add(inner)
    return found


def strangers(tree: ast.Module) -> set[str]:
    """Top names of the libraries that a module imports and that do not come with Python."""
    return {one.split(".")[0] for one in imported(tree)} - set(sys.stdlib_module_names) - {"routeplan", ""}


def reached_from(trees: dict[str, ast.Module], names: set[str]) -> set[str]:
    """Modules, and all of this package that they import, even through others."""
    reached, frontier = set(names), set(names)
    while frontier:
        frontier = {other for name in frontier for other in ours(trees[name], set(trees))} - reached
        reached |= frontier
    return reached


def _arrow_faults(trees: dict[str, ast.Module]) -> Iterator[str]:
    known = set(trees)
    for name, tree in trees.items():
        room = room_of(name)
        if room not in ARROWS:
            yield f"{name}: no room is called {room}"
            continue
        if any(one.startswith(".") for one in imported(tree)):
            yield f"{name}: relative import"
        for other in ours(tree, known):
            target = room_of(other)
            only_a_name = other == "" and not _takes_from_package(tree)
            if target != room and target not in ARROWS[room] and not only_a_name:
                yield f"{name}: may not import {other or 'routeplan'}"


def _takes_from_package(tree: ast.Module) -> bool:
    """Whether a module takes something that the package itself defines."""
    return "routeplan.__version__" in set(imported(tree))


def _recheck_faults(trees: dict[str, ast.Module]) -> Iterator[str]:
    reached = reached_from(trees, {name for name in trees if room_of(name) == "recheck"})
    yield from (f"recheck reaches {name}" for name in reached if room_of(name) in RECHECK_NEVER)
    for name in sorted(trees):
        if room_of(name) == "recheck":
            yield from (f"{name}: recheck may not import {one}" for one in strangers(trees[name]) - RECHECK_LIBRARIES)


def _decorated_as_kernel(node: ast.AST) -> bool:
    if not isinstance(node, ast.FunctionDef):
        return False
    names = (one.func if isinstance(one, ast.Call) else one for one in node.decorator_list)
    return any(isinstance(name, ast.Name) and name.id == "kernel" for name in names)


def _kernel_faults(trees: dict[str, ast.Module]) -> Iterator[str]:
    waiting = [name for name, tree in trees.items() if any(map(_decorated_as_kernel, ast.walk(tree)))]
    kernels = set(waiting)
    seen = set(waiting)
    while waiting:
        name = waiting.pop()
        bases = {one for node in ast.walk(trees[name]) for one in _import_bases(node, trees)}
        for one in sorted(bases - KERNEL_IMPORTS):
            inner = one.removeprefix("routeplan.")
            near = inner in trees and room_of(inner) == room_of(name)
            if not near and not (inner in kernels and room_of(inner) in ARROWS[room_of(name)]):
                yield f"{name}: a module of kernels imports {one}"
            elif inner not in seen:
                seen.add(inner)
                waiting.append(inner)


def _import_bases(node: ast.AST, trees: dict[str, ast.Module]) -> Iterator[str]:
    """The modules an import statement takes from, each of our own by its full name."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        module = node.module or ""
        whole = [f"{module}.{alias.name}" for alias in node.names]
        inner = [one for one in whole if one.removeprefix("routeplan.") in trees]
        yield from inner if len(inner) == len(whole) else [module, *inner]


def _library_faults(trees: dict[str, ast.Module]) -> Iterator[str]:
    for name, tree in trees.items():
        if name != "report.page" and any(one.split(".")[0] in {"folium", "branca"} for one in imported(tree)):
            yield f"{name}: only report.page imports folium"
        if name not in READERS | READERS_OF_THE_PACKAGE | READERS_OF_THE_CACHE:
            for node in ast.walk(tree):
                if isinstance(node, ast.Call):
                    called = getattr(node.func, "attr", getattr(node.func, "id", ""))
                    if called in READING:
                        yield f"{name}: line {node.lineno} calls {called}, only {', '.join(sorted(READERS))} read files"


def _form_faults(root: Path, trees: dict[str, ast.Module]) -> Iterator[str]:
    for name, tree in trees.items():
        if FORBIDDEN_NAMES & set(name.split(".")):
            yield f"{name}: a module is named after its noun"
        if not ast.get_docstring(tree):
            yield f"{name}: no module docstring"
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                length = (node.end_lineno or node.lineno) - node.lineno + 1
                if length > MOST_FUNCTION_LINES:
                    yield f"{name}: {node.name} has {length} lines"
    for path in sorted((root / "routeplan").rglob("*.py")):
        length = len(path.read_text(encoding="utf-8").splitlines())
        if length > MOST_LINES:
            yield f"{path.relative_to(root)}: {length} lines"


def house_faults(root: Path) -> list[str]:
    """Everything below ``root / routeplan`` that breaks a rule of the house."""
    trees = modules(root)
    return [
        *_arrow_faults(trees),
        *_recheck_faults(trees),
        *_kernel_faults(trees),
        *_library_faults(trees),
        *_form_faults(root, trees),
    ]


def test_the_house_keeps_its_rules() -> None:
    assert house_faults(ROOT) == []


@pytest.mark.parametrize(
    ("begins", "rooms"), [("recheck.opinion", accepted._DECIDING), ("plan.lattices", tiles._MAKERS)]
)
def test_what_is_kept_between_runs_is_named_by_all_code_that_decides_it(begins: str, rooms: tuple[str, ...]) -> None:
    trees = modules(ROOT)
    reached = {room_of(name) for name in reached_from(trees, {begins})}
    assert {"." if room in {"kernel", "errors", "version"} else room for room in reached} <= set(rooms)


def test_the_checker_sees_the_whole_house() -> None:
    rooms = {room_of(name) for name in modules(ROOT)}
    assert rooms == set(ARROWS)


def test_every_library_used_is_declared_and_every_one_declared_is_used() -> None:
    trees = modules(ROOT)
    used = {one for tree in trees.values() for one in strangers(tree)}
    # The page's assets come out of a package by its name in a string.
    texts = {node.value for node in ast.walk(trees["report.page"]) if isinstance(node, ast.Constant)}
    used |= {"xstatic"} if "xstatic.pkg.leaflet" in texts else set()
    with (ROOT / "pyproject.toml").open("rb") as file:
        lines = tomllib.load(file)["project"]["dependencies"]
    names = {re.split(r"[<>=]", line)[0] for line in lines}
    declared = {IMPORTED_AS.get(name, name) for name in names}
    assert used == declared


# The checker on trees that break one rule each.


KERNEL = '''"""H."""
import numpy as np
from routeplan.hazards.plain import x
from routeplan.kernel import kernel

@kernel
def f():
    pass
'''


def tree_of(root: Path, **files: str) -> Path:
    """A small house that keeps every rule, and files put over it (``__`` for the slash)."""
    good = {
        "__init__": '"""P."""\n__version__ = "0"\n',
        "errors": '"""E."""\n',
        "kernel": '"""K."""\nimport numba\n',
        "route": '"""R."""\nfrom routeplan.machine import model\n',
        "machine/__init__": '"""M."""\n',
        "machine/model": '"""M."""\n',
        "site/__init__": '"""S."""\n',
        "site/model": '"""S."""\nfrom routeplan.machine.model import x\n',
        "hazards/__init__": '"""H."""\n',
        "hazards/slope": KERNEL,
        "hazards/plain": '"""H."""\nimport math\n',
        "recheck/__init__": '"""R."""\n',
        "recheck/opinion": '"""R."""\nfrom routeplan.route import Move\nfrom routeplan.site.model import Site\n',
        "report/__init__": '"""R."""\n',
        "report/page": '"""R."""\nimport folium\n',
    }
    for name, text in (good | {key.replace("__", "/"): text for key, text in files.items()}).items():
        path = root / "routeplan" / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return root


def test_a_good_tree_has_no_faults(tmp_path: Path) -> None:
    assert house_faults(tree_of(tmp_path)) == []


@pytest.mark.parametrize(
    ("file", "text", "fault"),
    [
        ("site__read", '"""S."""\nfrom routeplan.hazards.slope import f\n', "site.read: may not import hazards.slope"),
        ("errors", '"""E."""\nimport routeplan.route\n', "errors: may not import route"),
        ("machine__x", '"""M."""\ndef f():\n    from routeplan.site import model\n', "machine.x: may not import site"),
        ("site__read", '"""S."""\nfrom ..hazards import slope\n', "site.read: relative import"),
        ("hazards__x", '"""H."""\nfrom routeplan import __version__\n', "hazards.x: may not import routeplan"),
        ("garage", '"""G."""\n', "garage: no room is called garage"),
        ("site__model", '"""S."""\nfrom routeplan.kernel import kernel\n', "recheck reaches kernel"),
        ("route", '"""R."""\ndef f():\n    import routeplan.hazards.slope\n', "recheck reaches hazards.slope"),
        ("recheck__x", '"""R."""\ndef f():\n    from scipy import ndimage\n', "recheck may not import scipy"),
        ("hazards__slope", KERNEL.replace("numpy", "shapely"), "a module of kernels imports shapely"),
        ("hazards__slope", KERNEL.replace("hazards.plain", "site.model"), "of kernels imports routeplan.site.model"),
        ("hazards__slope", KERNEL.replace("@kernel", "@kernel(x=1)").replace("numpy", "scipy"), "imports scipy"),
        ("search__x", KERNEL.replace("routeplan.hazards.plain", "routeplan.hazards"), "imports routeplan.hazards"),
        ("hazards__plain", '"""H."""\nimport shapely\n', "hazards.plain: a module of kernels imports shapely"),
        ("report__sheet", '"""R."""\ndef f():\n    import folium\n', "report.sheet: only report.page imports folium"),
        ("site__utils", '"""S."""\n', "site.utils: a module is named after its noun"),
        ("site__read", "x = 1\n", "site.read: no module docstring"),
        ("site__read", '"""S."""\n' + "x = 1\n" * 400, "routeplan/site/read.py: 401 lines"),
        ("site__read", '"""S."""\ndef f():\n' + "    x = 1\n" * 50, "site.read: f has 51 lines"),
    ],
)  # fmt: skip
def test_a_broken_rule_is_seen(tmp_path: Path, file: str, text: str, fault: str) -> None:
    assert any(fault in found for found in house_faults(tree_of(tmp_path, **{file: text})))


@pytest.mark.parametrize("call", ["open(p)", "p.read_text()", "rasterio.open(p)", "gpd.read_file(p)", "np.fromfile(p)"])
def test_a_stranger_who_reads_files_is_seen(tmp_path: Path, call: str) -> None:
    text = f'"""H."""\ndef f(p):\n    return {call}\n'
    faults = house_faults(tree_of(tmp_path, hazards__x=text))
    assert any(fault.startswith("hazards.x: line 3 calls") for fault in faults)
    assert house_faults(tree_of(tmp_path / "other", site__read=text.replace("H.", "S."))) == []
