"""The way in, of the command ``sunroster`` and of ``python -m scheduler``: it can be stopped while it is still loaded."""

from __future__ import annotations

import os
import signal


def main() -> None:
    """Load the command and run it."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: os._exit(130))
    from scheduler.cli.app import main as run

    run()


if __name__ == "__main__":
    main()
