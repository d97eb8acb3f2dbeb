"""Files written whole or not at all, and all of them or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

from scheduler.errors import OutputError


def write_whole(contents: Mapping[Path, bytes]) -> None:
    """Write each file beside its target first; when all are written, put them in their places, one move each.

    Raises
    ------
    OutputError
        If one cannot be written; what stood there before still does.
    """
    with ExitStack() as left_over:
        written = [(_write_beside(path, content, left_over), path) for path, content in contents.items()]
        for beside, path in written:
            with _faults_told(path):
                beside.replace(_place_of(path))


def _write_beside(path: Path, content: bytes, left_over: ExitStack) -> Path:
    with _faults_told(path):
        place = _place_of(path)
        handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        beside = Path(name)
        left_over.callback(beside.unlink, missing_ok=True)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.chmod(0o666 & ~_umask())
    return beside


def _place_of(path: Path) -> Path:
    """Where the file really lies: a link keeps pointing there."""
    return Path(os.path.realpath(path))


@contextmanager
def _faults_told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        msg = f"{path}: cannot be written: {fault.strerror or fault}; choose another place"
        raise OutputError(msg) from fault


def _umask() -> int:
    """Return the umask; the only way to read it is to set it."""
    umask = os.umask(0o077)
    os.umask(umask)
    return umask
