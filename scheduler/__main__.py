"""``python -m scheduler``: the same as the command ``sunroster``."""

from scheduler.cli.app import main

if __name__ == "__main__":
    main()
