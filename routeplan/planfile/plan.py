"""Plans on disk: ``plan.json`` in and out; a reader refuses one whose set of files is not whole."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from routeplan.errors import BadInput, Fault, NotWritten
from routeplan.planfile.codec import from_document, to_document
from routeplan.planfile.publish import put_right
from routeplan.route.model import Plan
from routeplan.route.rounding import as_written

PLAN_NAME = "plan.json"


def sha256_of(path: Path) -> str:
    """Return the sha256 of a file's bytes in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


_compact = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def _flat(value: Any) -> bool:
    """Whether a list reads well on one line: scalars, or short lists of scalars (a ring)."""
    return not any(isinstance(item, (dict, list)) for item in value)


def json_text(value: Any, indent: str = "") -> str:
    """Return JSON text with one key, or one row of numbers, a line."""
    inner = indent + " "
    if isinstance(value, dict) and value:
        lines = (f"{inner}{_compact(key)}: {json_text(item, inner)}" for key, item in value.items())
        return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
    if isinstance(value, list) and not _flat(value):
        return "[\n" + ",\n".join(inner + json_text(item, inner) for item in value) + f"\n{indent}]"
    return _compact(value)


def write_plan(plan: Plan, folder: Path, *, outputs: Mapping[str, Path], not_written: Mapping[str, str]) -> Path:
    """Write ``plan.json`` into a folder: made beside, then renamed.

    Parameters
    ----------
    plan
        The plan; written as ``rounding.as_written`` rounds it.
    folder
        An existing folder.
    outputs
        Relative posix path of every other file of the set, and where its bytes are now; their sha256 is listed.
    not_written
        Relative posix path of every file that the set lacks, and why.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    NotWritten
        The file system refuses.
    """
    document = to_document(as_written(plan))
    target = folder / PLAN_NAME
    beside = target.with_suffix(".json.part")
    try:
        document["outputs"] = [{"path": name, "sha256": sha256_of(outputs[name])} for name in sorted(outputs)]
        document["not_written"] = [{"path": name, "reason": not_written[name]} for name in sorted(not_written)]
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(json_text(document) + "\n")
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise NotWritten(f"{target} could not be written: {error}") from error
    return target


def load(path: Path) -> Any:
    """Return the JSON values of a file.

    Raises
    ------
    BadInput
        The file cannot be read, or is not JSON as RFC 8259 has it.
    """

    def refuse(constant: str) -> None:
        raise ValueError(f"{constant} is not JSON")

    try:
        return json.loads(path.read_bytes().decode("utf-8"), parse_constant=refuse)
    except OSError as error:
        mend = "give the path of a plan.json"
        raise BadInput([Fault("plan-unreadable", str(path), error.strerror or str(error), mend)]) from error
    except (ValueError, RecursionError) as error:
        raise BadInput([Fault("plan-not-json", str(path), str(error), "write the plan again")]) from error


def _inside(name: str) -> bool:
    """Whether a listed path stays in the plan's own folder."""
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts and "\\" not in name and name not in ("", ".")


def _output_fault(entry: Any, folder: Path, *, source: str) -> Fault | None:
    """Return what is wrong with one listed output, ``None`` when its bytes are those the plan was written with."""
    mend = "keep the files of one plan together, as they were written"
    name, expected = (entry.get("path"), entry.get("sha256")) if isinstance(entry, dict) else (None, None)
    if not (isinstance(name, str) and isinstance(expected, str) and _inside(name)):
        return Fault("plan-schema", f"{source}, outputs", f"{entry!r} is not a path in this folder and a sha256", mend)
    try:
        found = sha256_of(folder / name)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return Fault("plan-set-broken", source, f"{name}, which belongs to this plan, cannot be read ({reason})", mend)
    if found == expected:
        return None
    return Fault("plan-set-broken", source, f"{name} is not the file that belongs to this plan (sha256 differs)", mend)


def read_plan(path: Path) -> Plan:
    """Read a plan and make sure that the files beside it are the ones it was written with.

    What a run that was killed while it published left half done beside it is undone first.

    Raises
    ------
    BadInput
        Not readable, not JSON, another format, a value missing or wrong, or a set whose bytes do not match: all faults.
    """
    try:
        return _whole(path)
    except BadInput:
        if not put_right(path.parent):
            raise
        return _whole(path)


def listed_in(path: Path) -> tuple[str, ...]:
    """Names of the files that belong to a plan that is there; none where none is, or it cannot be read."""
    try:
        listed = load(path)["outputs"]
        return tuple(name for name in (entry["path"] for entry in listed) if _inside(name))
    except (BadInput, LookupError, TypeError):
        return ()


def _whole(path: Path) -> Plan:
    """Read a plan and the sha256 of its set."""
    document = load(path)
    plan = from_document(document, source=str(path))
    listed = document.get("outputs")
    if not isinstance(listed, list):
        raise BadInput([Fault("plan-schema", str(path), "outputs is not a list", "write the plan again")])
    faults = [fault for entry in listed if (fault := _output_fault(entry, path.parent, source=str(path))) is not None]
    names = {entry["path"] for entry in listed if isinstance(entry, dict) and isinstance(entry.get("path"), str)}
    faults += [
        Fault("plan-set-broken", str(path), f"{name}, which it was made for, is not of its set", "write the plan again")
        for name in plan.conditions.files if name not in names
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)
    return plan
