"""Made-up check-ups: a sound yard, one with every gravity, one with more than a page holds, one with hard names."""

from __future__ import annotations

from scheduler.checkup.findings import Checkup, Figure, Finding, Grade, Part, PartReport, put_together

DC_CAUTION = (
    "Direct current draws an arc that does not go out. "
    "Whoever opens this circuit must know how it is made dead."
)


def figure(
    part: Part = Part.INPUT, about: str = "roof", value: float = 54.178, limit: float | None = 150.0
) -> Figure:
    return Figure(part, about, "string volts on the coldest morning", value, "V", limit, "NEC 690.7(A)")


def finding(grade: Grade, part: Part = Part.INPUT, about: str = "roof", caution: str = DC_CAUTION) -> Finding:
    return Finding(
        grade=grade,
        part=part,
        about=about,
        title="three panels in a row reach 163 V on the coldest morning, the input stands 150 V",
        found=162.534,
        limit=150.0,
        unit="V",
        source="NEC 690.7(A)",
        meaning="the input breaks on the first clear morning after a cold night",
        mend="wire two in a row and two rows side by side",
        caution=caution,
    )


def put(*reports: PartReport, site: str = "bean shed", weather: str = "a made-up year") -> Checkup:
    return Checkup(site, weather, put_together(reports))


def sound() -> Checkup:
    return put(PartReport(figures=(figure(),)))


def every_grade() -> Checkup:
    """A note, a warning and a stop, given in the wrong order."""
    volts = figure(value=162.534)
    amperes = Figure(Part.CABLE, "roof", "current in the cable", 17.375, "A", None, "NEC 690.8(A)")
    load = Figure(Part.AC, "", "house and chargers", 2304.4, "W", 2304.0, "idle_w in the fleet file.")
    return put(
        PartReport(figures=(load,), findings=(finding(Grade.NOTE, Part.AC, "", caution=""),)),
        PartReport(figures=(amperes,), findings=(finding(Grade.WARNING, Part.CABLE),)),
        PartReport(
            figures=(volts,),
            findings=(finding(Grade.STOP),),
            unchecked=("whether the straps hold: tie_downs and tie_down_n",),
        ),
    )


def many() -> Checkup:
    """Twelve arrays, each with all there is."""
    names = [f"array {number}" for number in range(1, 13)]
    grades = (Grade.STOP, Grade.WARNING, Grade.NOTE)
    return put(
        *(
            PartReport(
                figures=tuple(figure(part, name) for part in (Part.INPUT, Part.CABLE)),
                findings=(finding(grades[number % 3], list(Part)[number % 6], name),),
                unchecked=(f"the cable of {name}: cable_awg or cable_mm2, and cable_m",),
            )
            for number, name in enumerate(names)
        )
    )


LONG = (
    "an array with a very long name that somebody wrote in full, with the roof and the side on which it lies"
)
HARD_NAMES = (
    'Roof #1 "the \\ old" $x^2$ *bold* _it_ <b>x</b> [red]y[/red]',
    "Dampfschifffahrtsgesellschaftskapitänsmützenbügelmaschinendachsolaranlage",
    "日本の屋根",
    '#import "x.typ": * #panic(1)',
    LONG,
)


def hard_names() -> Checkup:
    """Names that are markup elsewhere, too long for their column, or without letters in the page's font."""
    reports = (PartReport((figure(about=name),), (finding(Grade.STOP, about=name),)) for name in HARD_NAMES)
    return put(
        *reports,
        site='Store #1 "x" \\ $y$ <b>z</b> [bold]',
    )


SAMPLES = {"sound": sound, "every grade": every_grade, "many": many, "hard names": hard_names}
