"""An object with large arrays in one file, which are mapped when it is read: what nobody asks for takes no memory.

Arrays that are mostly zeros are kept without those. What is read belongs to whoever reads it: writing to its arrays
leaves the file as it is. Each byte of the file is under a checksum (CRC-32, ISO 3309), and nothing is unpickled before
it holds.
"""

from __future__ import annotations

import io
import mmap
import pickle
import struct
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]

#: Buffers smaller than this stay with the object, bytes.
SMALL = 1 << 16
#: Arrays begin at multiples of this, and zeros are left out by blocks of it, bytes.
PAGE = 4096
#: Where the index begins, how long it is, and its checksum; at the end of the file.
_END = struct.Struct("<QQII")


class Part(NamedTuple):
    """Where the bytes of an array are in a file; ``used`` has the numbers of its blocks if only those are there."""

    size: int
    begins: int
    length: int
    checksum: int
    used: NDArray[np.int64] | None


class Damaged(Exception):
    """A file is not as it was written."""


class _Pickler(pickle.Pickler):
    """Objects in ``given`` are named instead of written, and large buffers are put aside."""

    def __init__(self, file: BinaryIO, given: Mapping[str, object], buffers: list[pickle.PickleBuffer]) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL, buffer_callback=lambda one: _stays(one, buffers))
        self.names = {id(value): name for name, value in given.items()}

    def persistent_id(self, obj: object) -> str | None:
        return self.names.get(id(obj))


def _stays(buffer: pickle.PickleBuffer, buffers: list[pickle.PickleBuffer]) -> bool:
    """Whether a buffer is small enough to stay with the object; others are put aside."""
    if buffer.raw().nbytes < SMALL:
        return True
    buffers.append(buffer)
    return False


class _Unpickler(pickle.Unpickler):
    def __init__(self, data: bytes, given: Mapping[str, object], buffers: Iterator[memoryview]) -> None:
        super().__init__(io.BytesIO(data), buffers=buffers)
        self.given = given

    def persistent_load(self, pid: Any) -> object:
        return self.given[pid]


def write_mapped(path: Path, value: object, given: Mapping[str, object]) -> None:
    """Write an object to a new file.

    Parameters
    ----------
    given
        Objects that whoever reads it has anyway, by names.
    """
    data, buffers = io.BytesIO(), list[pickle.PickleBuffer]()
    _Pickler(data, given, buffers).dump(value)
    with path.open("wb") as file:
        parts = [_written(file, np.frombuffer(buffer.raw(), np.uint8)) for buffer in buffers]
        index = pickle.dumps((data.getvalue(), parts), pickle.HIGHEST_PROTOCOL)
        begins = file.tell()
        file.write(index)
        end = struct.pack("<QQI", begins, len(index), zlib.crc32(index))
        file.write(end + struct.pack("<I", zlib.crc32(end)))


def _written(file: BinaryIO, array: Bytes) -> Part:
    """Write an array to the end of a file, up to the next page."""
    blocks = array[: len(array) // PAGE * PAGE].reshape(-1, PAGE)
    used = np.flatnonzero(blocks.view(np.uint64).any(axis=1))
    sparse = 2 * len(used) < len(blocks)
    bodies = [blocks[used].ravel() if sparse else blocks.ravel(), array[blocks.size :]]
    begins, checksum, length = file.tell(), 0, 0
    for body in (*bodies, np.zeros(-sum(map(len, bodies)) % PAGE, np.uint8)):
        file.write(body.data)
        checksum, length = zlib.crc32(body, checksum), length + len(body)
    return Part(len(array), begins, length, checksum, used if sparse else None)


def read_mapped(path: Path, given: Mapping[str, object]) -> Any:
    """Read an object; ``given`` as when it was written.

    Raises
    ------
    OSError
        There is no such file, or it cannot be read.
    Damaged
        It is not as it was written.
    """
    if path.stat().st_size < _END.size:
        raise Damaged("the file is cut short")
    with path.open("rb", buffering=0) as file:
        whole = np.frombuffer(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_COPY), np.uint8)
        data, parts = _index(whole)
        for part in parts:
            if _checksum(file, part) != part.checksum:
                raise Damaged("an array is damaged")
    return _Unpickler(data, given, (_laid_out(whole, part).data for part in parts)).load()


def _checksum(file: io.FileIO, part: Part) -> int:
    """Of the bytes of an array, which are not mapped for it: that takes longer than to read them."""
    file.seek(part.begins)
    checksum, left, room = 0, part.length, memoryview(bytearray(1 << 20))
    while left > 0 and (count := file.readinto(room[: min(left, len(room))])):
        checksum, left = zlib.crc32(room[:count], checksum), left - count
    return checksum


def _index(whole: Bytes) -> tuple[bytes, list[Part]]:
    """The object without its large arrays, and where those are."""
    end = whole[-_END.size :].tobytes()
    begins, length, checksum, of_end = _END.unpack(end)
    index = whole[begins : begins + length].tobytes()
    if zlib.crc32(end[:-4]) != of_end or zlib.crc32(index) != checksum:
        raise Damaged("the index is damaged")
    data, parts = pickle.loads(index)
    return data, parts


def _laid_out(whole: Bytes, part: Part) -> Bytes:
    """The bytes of an array, its zeros where they were."""
    kept = whole[part.begins : part.begins + part.length]
    if part.used is None:
        return kept[: part.size]
    array, full = np.zeros(part.size, np.uint8), len(part.used) * PAGE
    array[: part.size // PAGE * PAGE].reshape(-1, PAGE)[part.used] = kept[:full].reshape(-1, PAGE)
    rest = part.size % PAGE
    array[part.size - rest :] = kept[full : full + rest]
    return array
