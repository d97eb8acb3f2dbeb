"""R6: which outlets are one place."""

from __future__ import annotations

from scheduler.charging.places import group_outlets
from scheduler.yard.models import Machine, Outlet


def machine(charger_w: float, supply: str = "ac") -> Machine:
    return Machine(
        name=f"{charger_w} {supply}", battery_wh=500.0, charger_w=charger_w, charge_pct=10.0, supply=supply
    )


def outlet(name: str, **extra: object) -> Outlet:
    return Outlet.model_validate({"name": name, "kind": "ac", **extra})


def test_outlets_alike_are_one_place_with_as_many_sockets() -> None:
    places = group_outlets([outlet("a"), outlet("b"), outlet("c", timer=True)], [machine(300.0)])
    assert [place.outlets for place in places] == [("a", "b"), ("c",)]
    assert [place.sockets for place in places] == [2, 1]


def test_outlets_stay_apart_where_a_charger_passes_80_percent_of_the_breaker() -> None:
    pair = [outlet("a", breaker_a=10.0), outlet("b", breaker_a=10.0)]
    assert len(group_outlets(pair, [machine(960.0)])) == 1
    assert len(group_outlets(pair, [machine(961.0)])) == 2
    assert len(group_outlets(pair, [machine(1300.0)])) == 1  # it never goes in there at all


def test_a_place_takes_what_fits_its_kind_and_limit() -> None:
    (place,) = group_outlets([outlet("a", max_w=500.0)], [machine(300.0)])
    assert place.takes(machine(500.0))
    assert not place.takes(machine(501.0))
    assert not place.takes(machine(100.0, "dc"))
