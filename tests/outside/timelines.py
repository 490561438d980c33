"""Published timelines and clock changes, as check values for the definitions written here.

Each row names the source of its minutes; the times follow from them by arithmetic.
"""

from datetime import date

from days import Row, minutes_of
from definitions import rinse_by, stages_as_text, stages_of


def published_timelines():
    """Timelines with cooling on at 09:00, by arithmetic from published minutes: no flush, no gap.

    Pre-cooling 30 min (Rugo et al., JAMA 2017;317:606-614), 45 for thick hair (The Clatterbridge Cancer
    Centre, patient page). Columns: source, hair, infusions as (minutes, hair loss), clock, post-cooling, cooling off.
    """
    hair, cytotoxic = "last hair-loss drug", "last cytotoxic drug"
    weekly = "weekly paclitaxel over 60 min (The Clatterbridge Cancer Centre)"
    docetaxel = "docetaxel over 60 min (van den Hurk et al., Support Care Cancer 2012;20:3255)"
    both = "docetaxel 60, cyclophosphamide 30 min (NCCN order template BRS62)"
    irish = "doxorubicin 15, cyclophosphamide 30 min (Irish HSE NCCP regimen AC 60/600)"
    zealand = "doxorubicin 15, cyclophosphamide 60 min (New Zealand regimen library, 57841000210102)"
    carboplatin = "paclitaxel 180, carboplatin 60 min (New Zealand regimen library, HL7NZ/cca examples)"
    return [
        (weekly + "; trial NCT03266185, Support Care Cancer 2022;30:6641-8", "fine", [(60, True)], hair, 20, "10:50"),
        (weekly, "fine", [(60, True)], hair, 60, "11:30"),
        (weekly + "; 90 min: the Dutch scalp-cooling knowledge centre", "fine", [(60, True)], hair, 90, "12:00"),
        (docetaxel + "; 20 min: Komen et al., Support Care Cancer 2016;24:2735-41", "fine", [(60, True)], hair, 20, "10:50"),
        (docetaxel, "fine", [(60, True)], hair, 90, "12:00"),
        (both, "fine", [(60, True), (30, True)], hair, 20, "11:20"),
        (both, "fine", [(60, True), (30, True)], hair, 90, "12:30"),
        (irish, "fine", [(15, True), (30, True)], hair, 90, "11:45"),
        (zealand, "fine", [(15, True), (60, True)], hair, 90, "12:15"),
        (carboplatin, "fine", [(180, True), (60, False)], hair, 90, "14:00"),
        (carboplatin, "fine", [(180, True), (60, False)], cytotoxic, 90, "15:00"),
        (carboplatin, "thick", [(180, True), (60, False)], hair, 90, "14:15"),
        (carboplatin, "thick", [(180, True), (60, False)], cytotoxic, 90, "15:15"),
    ]


def timeline_differences():
    """Where the definitions as written here miss a published timeline."""
    found = []
    for source, hair, infusions, counted, post_cooling, expected in published_timelines():
        steps = [{"drug": "x", "minutes": minutes, "hair_loss": loss, "cytotoxic": True} for minutes, loss in infusions]
        regimen = {"code": "X", "premed_lead": 0, "post_cooling": post_cooling, "steps": steps}
        minutes = {"settle": 0, "prepare_first": 20, "prepare_return": 20}
        unit = {"minutes": minutes, "rules": {"post_cooling_from": counted}, "time_zone": "Europe/London"}
        today = date(2031, 3, 14)
        row = Row(today, 8 * 60 + 40, "A", "A1", "1", "F", "G", today, "X", 2, True, hair=hair)
        stages = stages_as_text(stages_of(unit, regimen, row, today)[0])
        if (stages["cooling_on"], stages["cooling_off"]) != ("09:00", expected):
            found.append(f"{source}: expected {expected}, found {stages['cooling_off']}")
    return found


# British and American clock changes of 2026 (tz database; the British rule also at nidirect.gov.uk).
CLOCK_CHANGES = (
    ("Europe/London", date(2026, 3, 28), "15:00", "2026-03-29T16:00"),
    ("Europe/London", date(2026, 3, 29), "15:00", "2026-03-30T15:00"),
    ("Europe/London", date(2026, 3, 28), "25:30", "2026-03-30T02:30"),
    ("Europe/London", date(2026, 10, 24), "15:00", "2026-10-25T14:00"),
    ("Europe/London", date(2026, 10, 24), "25:30", "2026-10-26T00:30"),
    ("America/New_York", date(2026, 3, 7), "15:00", "2026-03-08T16:00"),
    ("America/New_York", date(2026, 10, 31), "15:00", "2026-11-01T14:00"),
    ("Europe/London", date(2026, 6, 1), "15:00", "2026-06-02T15:00"),
)


def clock_change_differences():
    """Where `rinse_by` as computed here misses 24 elapsed hours by hand."""
    found = []
    for zone, day, off, expected in CLOCK_CHANGES:
        told = rinse_by(day, minutes_of(off), zone, 24)
        if told != expected:
            found.append(f"{zone} {day} {off}: expected {expected}, found {told}")
    return found
