"""The figures and words that a fleet file may hold, as types with limits, and the base of its tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag

from scheduler.errors import is_plain

Kind = Literal["ac", "dc"]
Mounting = Literal["open_rack", "close_roof", "insulated_back"]
Chemistry = Literal["lithium", "lead_acid"]
#: What the building is to the electrical code: it sets the highest direct voltage allowed.
Building = Literal["dwelling", "other_building", "off_building"]
#: What stands around and brakes the wind: B trees and houses, C open country, D open water.
Exposure = Literal["B", "C", "D"]
Priority = Literal["must", "should", "could"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

PRIORITIES: tuple[Priority, ...] = ("must", "should", "could")

#: No figure of a yard is larger; one that is would only overflow further on.
MOST = 1e9

#: Nor is any that is more than 0 smaller; one that is would overflow what is divided by it.
LEAST = 1e-6

#: Nobody has a longer name, and no page has room for one.
MOST_LETTERS = 200


def _plain_text(value: str) -> str:
    """Text without blanks around it; what is printed on one line of the page must be one line."""
    if not value.strip() or not all(map(is_plain, value)):
        msg = "wanted one line of text"
        raise ValueError(msg)
    if len(value) > MOST_LETTERS:
        msg = f"wanted at most {MOST_LETTERS} letters"
        raise ValueError(msg)
    return value.strip()


def _text_of_number(value: Any) -> Any:
    """Cable sizes are written 10 as well as "4/0"."""
    return str(value) if type(value) is int else value


def _not_next_to_nothing(value: float) -> float:
    if value < LEAST:
        msg = f"wanted at least {LEAST:g}"
        raise ValueError(msg)
    return value


def refuse(problems: Iterable[str]) -> None:
    """Raise all of a table's problems at once, one a line, each beginning with the key it is about."""
    told = "\n".join(problems)
    if told:
        raise ValueError(told)


def _losses_tag(value: Any) -> str:
    return "(named)" if isinstance(value, dict) else "(number)"


Number = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-MOST, le=MOST)]
Positive = Annotated[
    float, Field(strict=True, allow_inf_nan=False, gt=0, le=MOST), AfterValidator(_not_next_to_nothing)
]
NotNegative = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=MOST)]
Pct = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=100)]
PctBelow100 = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, lt=100)]
PositivePct = Annotated[
    float, Field(strict=True, allow_inf_nan=False, gt=0, le=100), AfterValidator(_not_next_to_nothing)
]
#: A direction, clockwise from north, and how high something stands in it [deg].
Bearing = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, lt=360)]
Elevation = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, lt=90)]
Switch = Annotated[bool, Field(strict=True)]
Whole = Annotated[int, Field(strict=True, ge=1, le=10_000)]
Text = Annotated[str, Field(strict=True), AfterValidator(_plain_text)]
#: American wire gauge: 14, 4, 0 and the sizes above, 1/0 to 4/0 or 00 to 0000.
WireGauge = Annotated[
    str, BeforeValidator(_text_of_number), Field(strict=True, pattern=r"^(\d|[1-3]\d|40|0{2,4}|[1-4]/0)$")
]
#: Losses as one figure, or a figure for each named loss.
Losses = Annotated[
    Annotated[PctBelow100, Tag("(number)")] | Annotated[dict[Text, PctBelow100], Tag("(named)")],
    Discriminator(_losses_tag),
]


class Record(BaseModel):
    """A frozen table of the fleet file; unknown keys are mistakes."""

    model_config = ConfigDict(frozen=True, extra="forbid")
