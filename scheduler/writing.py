"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from scheduler.errors import OutputError


def write_whole(path: Path, content: bytes) -> None:
    """Write beside the target first, then put it in its place in one move.

    Raises
    ------
    OutputError
        If it cannot be written; what stood there before still does.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as fault:
        raise OutputError(_why(path, fault)) from fault
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    except OSError as fault:
        raise OutputError(_why(path, fault)) from fault
    finally:
        beside.unlink(missing_ok=True)


def _umask() -> int:
    """Return the umask; the only way to read it is to set it."""
    umask = os.umask(0o077)
    os.umask(umask)
    return umask


def _why(path: Path, fault: OSError) -> str:
    return f"{path}: cannot be written: {fault.strerror or fault}; choose another place"
