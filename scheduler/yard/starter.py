"""The commented fleet file that a new yard starts from."""

from __future__ import annotations

from importlib import resources


def starter_text() -> str:
    """Return the starter fleet file, every key with its unit, its default and the default's reason."""
    return resources.files("scheduler.yard").joinpath("starter.toml").read_text(encoding="utf-8")
