"""``sunroster sun --fetch`` with a service on loopback: the forecast, or in words the next best."""

from __future__ import annotations

import datetime as dt
from functools import partial
from pathlib import Path

import pytest

from scheduler.commands.sun import SunRequest, look_out
from scheduler.errors import UsageError
from scheduler.sun import fetch
from scheduler.sun.httpcall import Limits
from scheduler.sun.outlook import Outlook
from tests.cli_yard import FLEET, ROOT, run
from tests.sun.weather_service import FIRST, Reply, Service, serving

NOW = FIRST + dt.timedelta(minutes=2)
ASK = fetch.fetch_forecast


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    fleet = FLEET.replace(
        "[[arrays]]", f'typical_year = "{ROOT}/forecasts/greensboro-tmy3.csv"\n[[arrays]]', 1
    )
    (tmp_path / "yard.toml").write_text(fleet, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_PROXY", "*")
    monkeypatch.delenv("SUNROSTER_CONTACT", raising=False)
    return tmp_path


def use(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    limits = Limits(connect_s=2.0, silence_s=0.5, pause_s=0.01, tries=2)
    monkeypatch.setattr(fetch, "fetch_forecast", partial(ASK, base_url=service.url, limits=limits))


def look(now: dt.datetime = NOW, sky: str | None = None) -> Outlook:
    request = SunRequest(
        Path("yard.toml"), now, sky=sky, fetch=True, contact="keeper@store.example", start=None, days=2
    )
    return look_out(request)


def test_the_days_stand_on_what_was_fetched_and_it_is_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving() as service:
        use(service, monkeypatch)
        outlook = look()
    (saved,) = (folder / "forecasts").iterdir()
    assert outlook.suns.source == f"forecast file {saved.name} (MET Norway, Locationforecast 2.0)"
    assert outlook.notes[0].startswith("fetched from MET Norway")
    # The same days from the kept file, without a network.
    again = look_out(SunRequest(Path("yard.toml"), NOW, saved, days=2))
    assert again.days == outlook.days


@pytest.mark.parametrize(
    ("sky", "source"), [(None, "typical year 723170 (TMY3)"), ("today: overcast", "today: overcast")]
)
def test_without_an_answer_the_next_best_source_is_taken_and_named(
    sky: str | None, source: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(Reply(403, b"")) as service:
        use(service, monkeypatch)
        outlook = look(sky=sky)
    assert source in outlook.suns.source
    assert outlook.notes[0].startswith(f"used in place of a fetched forecast: {outlook.suns.source}. ")
    assert "The weather service (127.0.0.1) gives no forecast: it does not accept" in outlook.notes[0]
    assert "HTTP 403" in outlook.notes[0]
    assert not (folder / "forecasts").exists()


def test_a_forecast_fetched_earlier_comes_before_the_typical_year(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(Reply(), Reply(500, b"")) as service:
        use(service, monkeypatch)
        first = look()
        second = look(NOW + dt.timedelta(hours=5))
        late = look(NOW + dt.timedelta(hours=40))
    assert second.suns.source == first.suns.source
    assert second.notes[0].startswith(f"used in place of a fetched forecast: {first.suns.source}. ")
    assert late.suns.source.startswith("typical year")


def test_fetching_goes_without_another_forecast() -> None:
    with pytest.raises(UsageError, match=r"--fetch besides --weather f\.csv"):
        look_out(SunRequest(Path("yard.toml"), NOW, Path("f.csv"), fetch=True, contact="store.example"))


def test_the_command_wants_a_contact_and_takes_it_from_the_surroundings(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ("sun", "yard.toml", "--fetch", "--folder", "kept", "--from", "2027-06-08 06:00", "--days", "1")
    with serving() as service:
        use(service, monkeypatch)
        refused = run(*words)
        assert refused.exit_code == 2
        assert "--contact you@your.domain" in refused.stderr
        assert not service.asked
        monkeypatch.setenv("SUNROSTER_CONTACT", "keeper@store.example")
        taken = run(*words)
        assert taken.exit_code == 0, taken.stderr
        assert service.asked[0][1]["User-Agent"].endswith(" keeper@store.example")
    assert "Note: Fetched from MET Norway" in " ".join(taken.stdout.split())
    assert len(list((folder / "kept").iterdir())) == 1


def test_the_outlook_tells_of_a_shed_too_hot_and_of_the_dehumidifier(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dryer = '[[house_loads]]\nname = "dryer"\nwatts = 250\nwanted_rh_pct = 55\nroom_m3 = 40\n'
    fleet = (folder / "yard.toml").read_text().replace("[[arrays]]", "shed_sun_c = 60\n[[arrays]]", 1)
    (folder / "yard.toml").write_text(fleet + dryer)
    with serving() as service:
        use(service, monkeypatch)
        told = " ".join(look().notes)
    assert "the shed is above 45 C" in told
    assert "dryer, Tue 08 Jun: " in told
