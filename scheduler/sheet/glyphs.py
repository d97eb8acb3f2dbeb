"""Letters that the page's fonts can show, and what stands for the ones they cannot.

The page is set in DejaVu Sans, upright and bold, from the files that matplotlib carries: it looks the same on
every machine and a missing letter is found here, before it becomes an empty box.
"""

from __future__ import annotations

import importlib.util
import unicodedata
from collections.abc import Iterable
from functools import cache
from pathlib import Path

FAMILY = "DejaVu Sans"
FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")

#: Control, format, private, surrogate and unassigned characters, and line separators: nothing to see, and
#: some of them turn the letters around them.
_UNSEEN = frozenset({"Cc", "Cf", "Co", "Cs", "Cn", "Zl", "Zp"})


@cache
def font_folder() -> Path:
    """Return the folder of the font files, found without importing matplotlib."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        msg = "matplotlib is not installed; the page's fonts come with it"
        raise FileNotFoundError(msg)
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"


@cache
def _covered() -> frozenset[int]:
    """Code points that the upright and the bold font both have."""
    from fontTools.ttLib import TTFont

    cmaps = []
    for name in FILES:
        with TTFont(font_folder() / name, lazy=True) as font:
            cmaps.append(frozenset(font.getBestCmap()))
    return frozenset.intersection(*cmaps)


def _is_unseen(letter: str) -> bool:
    return unicodedata.category(letter) in _UNSEEN


def code_point(letter: str) -> str:
    """``[U+65E5]`` for a letter that cannot be shown."""
    return f"[U+{ord(letter):04X}]"


def visible(text: str) -> str:
    """Return the text with each unseen character (control, direction, line break) as its code point."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(code_point(letter) if _is_unseen(letter) else letter for letter in text)


def missing_letters(text: str) -> list[str]:
    """Return the letters of a text that the page cannot show, each once, in order."""
    if text.isascii() and text.isprintable():
        return []
    covered = _covered()
    return list(dict.fromkeys(letter for letter in text if ord(letter) not in covered or _is_unseen(letter)))


def printable(text: str) -> str:
    """Return the text with each letter that the page cannot show as its code point."""
    for letter in missing_letters(text):
        text = text.replace(letter, code_point(letter))
    return text


def letter_warnings(texts: Iterable[str]) -> list[str]:
    """Tell, once a text, which letters the page shows as code points."""
    warnings = []
    for text in dict.fromkeys(texts):
        missing = missing_letters(text)
        if missing:
            codes = ", ".join(code_point(letter) for letter in missing)
            warnings.append(
                f"{visible(text)}: the page has no letter for {codes} and shows the code instead; "
                "write the name with other letters"
            )
    return warnings
