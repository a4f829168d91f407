"""Which files may be read: inside the site folder, plain, not empty, not too large; told before a byte is read."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path, PurePosixPath

from routeplan.site.faults import Unreadable

#: Largest files that are read, bytes: text is held in memory whole, as a tree many times its size.
MOST_BYTES = {".toml": 1_000_000, ".geojson": 100_000_000, ".json": 100_000_000, ".csv": 100_000_000}

#: Largest other file, bytes: 400 million levels in double precision, and room for a header.
MOST_OTHER_BYTES = 4_000_000_000


def check_folder(folder: Path, *, site_file: str) -> None:
    """Refuse what is not a site folder.

    Raises
    ------
    Unreadable
        It is not there, is a file, or may not be opened.
    """
    try:
        mode = folder.stat().st_mode
    except (OSError, ValueError) as error:
        what = f"the folder cannot be opened: {_reason(error)}"
        if isinstance(error, FileNotFoundError | NotADirectoryError):
            what = "there is no such folder"
        raise Unreadable("folder-missing", what, "check the path") from error
    if not stat.S_ISDIR(mode):
        raise Unreadable("folder-missing", "this is a file, not a site folder", f"give the folder with {site_file}")


def find_file(folder: Path, name: str) -> Path:
    """Return the file behind a name.

    Parameters
    ----------
    folder
        The site folder.
    name
        A path inside it, with slashes of either kind.

    Raises
    ------
    Unreadable
        The name leads out of the folder, or to nothing, a folder, an empty or a huge file.
    """
    plain = PurePosixPath(name.replace("\\", "/"))
    path = folder / plain
    outside = plain.is_absolute() or ".." in plain.parts or ":" in name
    if outside or not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder)):
        raise Unreadable("path-outside", f'"{name}" leads out of the site folder', "copy the file into the folder")
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise Unreadable("file-missing", f'there is no file "{name}"', "check the spelling, or add the file") from error
    except OSError as error:
        raise cannot_open(name, error) from error
    if stat.S_ISDIR(found.st_mode):
        raise Unreadable("not-a-file", f'"{name}" is a folder, not a file', "name the file in it")
    if not stat.S_ISREG(found.st_mode):
        raise Unreadable("not-a-file", f'"{name}" is a device or a pipe, not a file', "copy its content into a file")
    if not found.st_size:
        raise Unreadable("file-empty", f'the file "{name}" is empty', "write it, or export it again")
    most = MOST_BYTES.get(path.suffix.lower(), MOST_OTHER_BYTES)
    if found.st_size > most:
        what = f'"{name}" holds {found.st_size:,} bytes, at most {most:,} are read'
        raise Unreadable("file-too-large", what, "cut it to the site; larger data fit into a GeoPackage or a GeoTIFF")
    return path


def cannot_open(name: str, error: OSError) -> Unreadable:
    """Return the fault of a file that the system does not open."""
    if error.errno == errno.ELOOP:
        return Unreadable("link-loop", f'the link "{name}" leads round in a circle', "replace the link by the file")
    mend = "check its permissions" if isinstance(error, PermissionError) else "check its name and the disk"
    return Unreadable("file-unreadable", f'"{name}" cannot be opened: {_reason(error)}', mend)


def _reason(error: OSError | ValueError) -> str:
    """Return what the system says, without the path."""
    return (error.strerror or "no reason given") if isinstance(error, OSError) else str(error)
