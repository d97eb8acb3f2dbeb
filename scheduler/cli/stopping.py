"""What stops the program: Ctrl-C, the system, a closed terminal; loads nothing, so that it can come first."""

from __future__ import annotations

import signal
from collections.abc import Callable

#: Windows has no word for a terminal that is closed.
STOPS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


def when_stopped(do: Callable[[int, object], object] | signal.Handlers) -> None:
    """Set what is done when the program is told to stop; what whoever started it has it ignore stays ignored."""
    for number in STOPS:
        if signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, do)
