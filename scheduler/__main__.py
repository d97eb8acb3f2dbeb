"""The way in, for ``sunroster`` and ``python -m scheduler``: it can be stopped while it is still loaded."""

from __future__ import annotations

import os

from scheduler.cli.stopping import when_stopped


def main() -> None:
    """Load the command and run it."""
    when_stopped(lambda *_: os._exit(130))
    from scheduler.cli.app import main as run

    run()


if __name__ == "__main__":
    main()
