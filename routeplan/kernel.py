"""The one way a function becomes machine code, and where the compiled code is kept between runs.

numba keeps a stale cache when a kernel that another module calls has changed, so the folder's name carries a hash of
every source file that may hold a kernel. Where no cache can be written a temporary folder serves, with a line on
stderr.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

_F = TypeVar("_F", bound=Callable[..., Any])
_ROOT = Path(__file__).parent


def sources_hash(root: Path = _ROOT, rooms: Sequence[str] = ("hazards", "search")) -> str:
    """Hash of every source file in some packages; in those that hold kernels if none are named."""
    digest = hashlib.sha256()
    for folder in rooms:
        for source in sorted((root / folder).glob("*.py")):
            digest.update(source.name.encode() + b"\0" + source.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def cache_home() -> Path:
    """Where whoever runs this keeps what can be made again (XDG Base Directory Specification 0.8)."""
    base = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    return Path(base) / "routeplan"


def cache_folder() -> Path:
    """A folder for compiled kernels that can be written, made if need be."""
    folder = cache_home() / f"kernels-{sources_hash()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        fallback = Path(tempfile.gettempdir()) / f"routeplan-kernels-{os.getuid()}-{sources_hash()}"
        fallback.mkdir(parents=True, exist_ok=True)
        print(
            f"routeplan: no cache can be written in {folder.parent}; compiled code is kept in a temporary folder",
            file=sys.stderr,
        )
        return fallback


def _prepare() -> Callable[..., Any]:
    if "numba" not in sys.modules:
        os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder()))
        os.environ.setdefault("NUMBA_OPT", "1")  # a tenth less to compile, and no slower to run
    import numba

    # Without reference counts: kernels make no arrays, and counting those in the tuples they pass on took half their
    # time.
    lean = {"_nrt": False, "no_cfunc_wrapper": True}
    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy", **lean}
    decorator: Callable[..., Any] = numba.njit(**options)
    return decorator


_njit = _prepare()


def never_compiled() -> bool:
    """Whether the kernels as they are now have yet to be compiled on this machine, which takes about half a minute."""
    folder = os.environ.get("NUMBA_CACHE_DIR")
    return folder is None or not any(Path(folder).rglob("*.nbi"))


def kernel(function: _F) -> _F:
    """Compile a function that makes no arrays at its first call; ``function.py_func`` is the plain Python."""
    compiled: _F = _njit(function)
    return compiled
