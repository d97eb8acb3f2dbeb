"""Sunroster: which battery machines to plug in, when and where, at a yard that lives on its own sun."""

__version__ = "0.1.0"
