"""What to look at first for each cause, in the order of what is quick and safe to check, with its cautions.

Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.logbook.causes import Cause

DC_CAUTION = (
    "Panels in the light make dangerous direct current that cannot be switched off at the panel: connectors, fuses "
    "and DC wiring are for people qualified to work on them."
)
BANK_CAUTION = (
    "A bank cannot be switched off: a tool or a bare end across its cables, fuse or shunt burns and melts. Open no "
    "cover there and loosen nothing: that is for people qualified to work on it."
)
ROOF_CAUTION = "Nobody goes on the roof for this: look from the ground; work up there is for people qualified to do it."
AC_CAUTION = "Reset a tripped breaker once, with everything unplugged; if it trips again leave it to an electrician."
BATTERY_CAUTION = (
    "A swollen, hot, wet or smelling battery is not touched and not charged: get away from it and get help."
)


@dataclass(frozen=True)
class Advice:
    """What to do about a cause.

    Attributes
    ----------
    told : str
        The cause in words, with ``{about}`` for how much or which.
    cautions : tuple of str
        They come first.
    look_at : tuple of str
        In this order.
    settled_by : str
        What tells it from what looks alike.
    """

    told: str
    cautions: tuple[str, ...] = ()
    look_at: tuple[str, ...] = ()
    settled_by: str = ""


#: A dull sky looks like an array that is weak: what the hand sees of the sky parts them.
NOTE_THE_SKY = 'note the sky at the next visit, such as --sky fair or --sky "am: fair, pm: overcast"'
#: Where nothing is known to be the matter, and what was shown can still not be.
UNEXPLAINED = "explained by nothing that is known here"
READ_AGAIN = (
    "read the bank again at once, and note what each machine shows that was or should have been plugged in, such as "
    '--machine "cart=40"'
)
NOON_READING = "read the bank before it is full: in the morning or at noon, with little charging"
NIGHT_READING = "read the bank late in the evening and early in the morning, on a night with nothing charging"


ADVICE: dict[Cause, Advice] = {
    Cause.NONE: Advice("as expected"),
    Cause.EXTRA_LOAD: Advice(
        "a use that the plan does not know, about {about}",
        (AC_CAUTION, BANK_CAUTION),
        (
            "walk through the yard: lamps, heaters, chargers of tools, a fridge whose door stands open",
            "unplug one thing after the other and watch the bank's display of watts, or a plug-in meter",
            "the inverter's own idle watts: its display or a clamp meter round its cable, against idle_w in the file",
        ),
        settled_by=NIGHT_READING,
    ),
    Cause.ARRAY_OFF: Advice(
        "no solar at all{about} although the sun was up",
        (DC_CAUTION, ROOF_CAUTION),
        (
            "the charge controller's display: does it show panel volts and watts, or a fault",
            "the PV disconnect and its breaker: is it on",
            "was anything changed lately: are the panels on the right input",
            "from the ground: snow, a cover, damage",
            "have someone qualified measure the open-circuit voltage at the disconnect",
        ),
        settled_by=NOON_READING,
    ),
    Cause.STRING_OFF: Advice(
        "the array delivers about what it would with one string out ({about})",
        (DC_CAUTION, ROOF_CAUTION),
        (
            "the charge controller's watts on a clear noon, against the array's rated watts",
            "string breakers or switches at the combiner: is one off",
            "from the ground: shade, dirt or snow on part of the panels",
            "have someone qualified look at the string fuses and connectors, and measure each string",
        ),
        settled_by=NOON_READING,
    ),
    Cause.WEAK_ARRAY: Advice(
        "the array gives about {about} of what it should",
        (DC_CAUTION, ROOF_CAUTION),
        (
            "from the ground: dirt, pollen, leaves, snow, new shade from a tree",
            "the charge controller's watts on a clear noon, and whether it shows itself to be hot or limiting",
            "the array's figures in the fleet file: watts, tilt, azimuth, losses_pct",
            "have someone qualified measure the array",
        ),
        settled_by=NOON_READING,
    ),
    Cause.CLIPPED: Advice(
        "the array is clipped at about {about}",
        (DC_CAUTION,),
        (
            "the charge controller's settings: a limit on its current",
            "its rating against the array: input_limit_w in the fleet file",
            "is it hot: is its air blocked",
        ),
        settled_by=NOON_READING,
    ),
    Cause.CHARGER_OFF: Advice(
        "{about} did not charge",
        (AC_CAUTION, BATTERY_CAUTION),
        (
            "is it plugged in at both ends, and is the charger's lamp on",
            "does the outlet work: try a lamp in it; is its timer set right",
            "is the battery outside its temperature window",
            "try another charger that is made for the same battery",
        ),
        settled_by="note what the machine itself shows at the next two visits, such as --machine \"cart=40\"",
    ),
    Cause.INVERTER_OFF: Advice(
        "the inverter is off, or nothing on AC draws anything",
        (AC_CAUTION, BANK_CAUTION),
        (
            "its display: is it on, does it show a fault, has it shut down on low voltage",
            "what was running when it stopped: together too much, or a motor that starts",
            "its switch and its AC breaker",
            "DC fuse and cables to the bank: for someone qualified",
        ),
    ),
    Cause.METER_STUCK: Advice(
        "the display is stuck at {about}",
        (BANK_CAUTION,),
        (
            "leave it and come back after a minute: does it change when a load is switched on",
            "read the bank's volts as well, and note both",
            "its cable and its supply; set it to full when the bank is certainly full",
        ),
        settled_by="read the bank again after an hour in which something draws",
    ),
    Cause.SMALL_BANK: Advice(
        "the bank holds about {about} of what the file says",
        (BATTERY_CAUTION, BANK_CAUTION),
        (
            "do all modules show the same charge, and is each switched on",
            "is it cold: a cold battery holds less",
            "set the display to full when the bank is certainly full, and watch the next days",
            "modules_wh in the fleet file; see compare --learn after a fortnight",
        ),
        settled_by=NIGHT_READING,
    ),
}
