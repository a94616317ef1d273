"""The parts of the council's report that tell what stands, where, and what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.programme.years import MODERATE_CHANCE, SEVERE_CHANCE
from inventory.interchange.council_document import (
    CLASS_WORDS,
    Column,
    Row,
    Section,
    Table,
    counted,
    day_words,
)

if TYPE_CHECKING:
    from inventory.services.programme.report import CouncilReport
    from inventory.services.programme.report_lines import RoadLine

UNKNOWN_WORDS = {
    "not_read": "No reading that can be used: whether they are below is not known",
    "undecided": "Readings that leave open whether they are below",
    "no_level": "No published level to keep, or left out of the levels by a clause",
    "sheeting": "Sheeting (the reflective film of the face) not known",
    "day": "Day they were put up not known",
    "size": "Size not known; a square of 30 in is assumed for the cost",
    "beyond": "Forecast beyond the ages that were read so far",
}
LEFT_OUT = "Not in the programme: "
COMPLIANCE = (
    "The national rules ask for a method designed to keep signs at or above the levels, and "
    "for its use; one sign below its level on a given day does not break them (MUTCD 11th "
    "edition, section 2A.22, read in a state manual that adopts it)."
)


def stock_section(report: CouncilReport) -> Section:
    """Return how the signs stand on the day, by class and by sheeting."""
    standing = Table(
        "standing",
        f"How signs stand on {day_words(report.day)}, by class",
        "Class",
        (
            Column("signs", "Signs", "count"),
            Column("meets", "Keep their level", "count"),
            Column("below", "Below, or sheeting not allowed", "count"),
            Column("undecided", "Left open by readings", "count"),
            Column("not_read", "No usable reading", "count"),
            Column("no_level", "No level, or left out", "count"),
        ),
        tuple(
            Row(
                key,
                label,
                (
                    each.signs,
                    each.meets,
                    each.below,
                    each.undecided,
                    each.not_read,
                    each.no_level,
                ),
                is_total=key == "all",
            )
            for key, label, each in (
                *(
                    (f"class_{number}", CLASS_WORDS[number], found)
                    for number, found in report.by_class.items()
                ),
                ("all", "All", report.now),
            )
        ),
    )
    sheeting = Table(
        "sheeting",
        "Signs by sheeting and class",
        "Sheeting",
        (
            *(Column(f"class_{number}", f"Class {number}", "count") for number in CLASS_WORDS),
            Column("signs", "All", "count"),
            Column("below", "Below", "count"),
        ),
        (
            *(
                Row(
                    each.sheeting or "not_known",
                    _sheeting(each.sheeting),
                    (*each.by_class, each.signs, each.below),
                )
                for each in report.sheetings
            ),
            Row(
                "all",
                "All",
                (
                    *(found.signs for found in report.by_class.values()),
                    report.now.signs,
                    report.now.below,
                ),
                is_total=True,
            ),
        ),
    )
    sentences = [
        "Sheeting is the reflective film of a face, by the types of ASTM D4956 as far as they "
        "are on record."
    ]
    if report.of_others:
        sentences.append(
            f"{counted(report.of_others, 'sign')} that others answer for "
            f"{'is' if report.of_others == 1 else 'are'} not counted."
        )
    severe, moderate = report.damaged["severe"], report.damaged["moderate"]
    if severe or moderate:
        sentences.append(
            f"{severe:,} are on record as severely damaged and {moderate:,} as moderately."
        )
    return Section(
        "stock",
        f"The signs there are, on {day_words(report.day)}",
        tuple(sentences),
        (standing, sheeting),
    )


def mark_words(report: CouncilReport) -> dict[str, str]:
    """Return what each mark of the map means."""
    first = report.years[0].year
    words = {
        "first_year": f"replaced in {first}",
        "later": f"replaced in {report.years[1].year} or later"
        if len(report.years) > 1
        else "replaced later",
        "below": "below its level and not replaced",
        "stays": "not replaced",
    }
    return {key: words[key] for key in words if report.map.counts.get(key)}


def where_section(report: CouncilReport) -> Section:
    """Return the map, what its marks mean, and the roads where most is replaced."""
    first = report.years[0].year
    kinds = mark_words(report)
    marks = Table(
        "map",
        "What the map shows",
        "Mark",
        (Column("signs", "Signs", "count"),),
        (
            *(
                Row(key, words.capitalize(), (report.map.counts[key],))
                for key, words in kinds.items()
            ),
            Row("all", "All", (sum(report.map.counts.values()),), is_total=True),
        ),
        is_told_by_map=True,
    )
    roads = Table(
        "roads",
        "The roads where most is replaced",
        "Road",
        (
            Column("signs", "Signs", "count"),
            Column("below", "Below now", "count"),
            Column("first_year", f"Replaced in {first}", "count"),
            Column("replaced", "In all years", "count"),
        ),
        (
            *(
                Row(
                    f"{each.key}: {each.name}",
                    _road(each),
                    (each.signs, each.below, each.first_year, each.replaced),
                )
                for each in report.roads
            ),
            Row(
                "all",
                "All",
                tuple(
                    sum(getattr(each, name) for each in report.roads)
                    for name in ("signs", "below", "first_year", "replaced")
                ),
                is_total=True,
            ),
        ),
    )
    sentences = [
        "Drawn to scale from the positions on record, north up; signs close together share a "
        "mark."
    ]
    if report.map.outside:
        sentences.append(
            f"{counted(report.map.outside, 'sign')} far from all others "
            f"{'lies' if report.map.outside == 1 else 'lie'} outside of it; look whether the "
            "position is right."
        )
    return Section(
        "where",
        "Where",
        tuple(sentences),
        (marks, roads),
        map=report.map,
        map_words=tuple(kinds.items()),
    )


def _road(road: RoadLine) -> str:
    if road.key == "others":
        count = int(road.name)
        return f"{count:,} other road{'' if count == 1 else 's'}"
    return road.name or "Road not known"


def methods_section(report: CouncilReport) -> Section:
    """Return the methods of record, and whether each is applied."""
    if not report.methods:
        return Section(
            "methods",
            "How signs are kept above their levels",
            (COMPLIANCE, "The agency has no method on record for its signs."),
        )
    table = Table(
        "methods",
        f"Methods on {day_words(report.day)}, and whether each is applied",
        "Group of signs",
        (
            Column("signs", "Signs", "count"),
            Column("in_time", "Done in time", "count"),
            Column("overdue", "Overdue", "count"),
            Column("age_not_known", "Age not known", "count"),
        ),
        (
            *(
                Row(
                    each.name,
                    f"{each.name} ({each.method})",
                    (each.signs, None, None, None)
                    if each.is_left_out
                    else (each.signs, each.in_time, each.overdue, each.age_not_known),
                )
                for each in report.methods
            ),
            Row("none", "Under no method", (report.under_none, None, None, None)),
        ),
    )
    return Section("methods", "How signs are kept above their levels", (COMPLIANCE,), (table,))


def damage_section(report: CouncilReport) -> Section:
    """Return what became of damage that became known in the year before."""
    heading = "Damage put right"
    since = f"From {day_words(report.damage_since)} to {day_words(report.day)}"
    if not report.damage:
        return Section("damage", heading, (f"{since} no damage became known.",))
    every = report.damage[-1]
    table = Table(
        "damage",
        f"Damage that became known {since[0].lower()}{since[1:]}, by class",
        "Class",
        (
            Column("told", "Became known", "count"),
            Column("in_time", "Put right in time", "count"),
            Column("late", "Put right late", "count"),
            Column("untimed", "Put right, time not known", "count"),
            Column("nothing_to_do", "Nothing to do", "count"),
            Column("still_open", "Still open", "count"),
            Column("late_open", "Of these overdue", "count"),
            Column("median_d", "Days taken, middle", "figure"),
        ),
        tuple(
            Row(
                "all" if each.safety_class is None else f"class_{each.safety_class}",
                "All" if each.safety_class is None else CLASS_WORDS[each.safety_class],
                (
                    each.told,
                    each.in_time,
                    each.late,
                    each.untimed,
                    each.nothing_to_do,
                    each.still_open,
                    each.late_open,
                    each.median_d,
                ),
                is_total=each.safety_class is None,
            )
            for each in report.damage
        ),
    )
    sentence = (
        f"{since} damage of {counted(every.told, 'sign')} became known. "
        f"{every.in_time:,} {'was' if every.in_time == 1 else 'were'} put right within the "
        f"agency's own time and {every.late:,} later; {every.still_open:,} "
        f"{'is' if every.still_open == 1 else 'are'} still open, {every.late_open:,} of them "
        "past their time."
    )
    return Section("damage", heading, (sentence,), (table,))


def unknown_section(report: CouncilReport) -> Section:
    """Return of how many signs something is not known."""
    if not report.unknowns:
        return Section(
            "unknown", "What is not known", ("Nothing these figures rest on is missing.",)
        )
    table = Table(
        "unknown",
        "Signs of which something is not known",
        "What",
        (Column("signs", "Signs", "count"),),
        tuple(
            Row(
                f"{each.key}: {each.words}" if each.words else each.key,
                UNKNOWN_WORDS.get(each.key) or f"{LEFT_OUT}{each.words}",
                (each.count,),
            )
            for each in report.unknowns
        ),
    )
    return Section(
        "unknown",
        "What is not known",
        ("A sign may be counted in more than one line.",),
        (table,),
    )


def assumed_section(report: CouncilReport) -> Section:
    """Return what the figures rest on: sentences, prices, times and weights."""
    basis, unit = report.basis, report.basis.currency
    rows = [
        Row("face_price", "A face, whatever its size", (basis.face_price,), unit=unit),
        Row("face_price_per_ft2", "For each ft² of it", (basis.face_price_per_ft2,), unit=unit),
        Row("crew_price_per_h", "An hour of a crew", (basis.crew_price_per_h,), unit=unit),
        Row("face_hours", "To change one face", (basis.face_hours,), unit="h"),
        Row("face_hours_per_ft2", "For each ft² of it", (basis.face_hours_per_ft2,), unit="h"),
        Row("support_hours", "To set up at a support", (basis.support_hours,), unit="h"),
        Row("stretch_hours", "To drive to a stretch", (basis.stretch_hours,), unit="h"),
        Row("stretch_mi", "A stretch of road", (basis.stretch_mi,), unit="mi"),
        Row("lead_days", "From order to post", (basis.lead_days,), unit="days"),
        *(
            Row(f"weight_{number}", f"Weight of a dark sign of class {number}", (weight,))
            for number, weight in enumerate(basis.class_weights, start=1)
        ),
        Row("moderate", "Chance that moderate damage fails a sign", (MODERATE_CHANCE,),
            kind="share"),
        Row("severe", "Chance that severe damage does", (SEVERE_CHANCE,), kind="share"),
    ]  # fmt: skip
    table = Table(
        "basis",
        "The figures it goes by",
        "What",
        (Column("value", "Figure", "figure"),),
        tuple(rows),
    )
    return Section(
        "assumed",
        "What is assumed",
        (f"Costs and times: {basis.basis}",),
        (table,),
        points=tuple(
            each for each in report.assumptions if not each.startswith("Costs and times:")
        ),
    )


def other_figures(report: CouncilReport) -> Table:
    """Return the figures of sentences that stand in no other table, for the CSV."""
    short, least = report.shortfall or {}, report.least_budget or {}
    rows = [
        Row("severe", "Severely damaged signs", (report.damaged["severe"],), kind="count"),
        Row(
            "moderate", "Moderately damaged signs", (report.damaged["moderate"],), kind="count"
        ),
        Row("of_others", "Signs that others answer for", (report.of_others,), kind="count"),
        Row("forecast", "Signs with a forecast", (report.forecast_count,), kind="count"),
        Row(
            "below_today",
            "Of these expected below today",
            (report.expected_below,),
            kind="expected",
        ),
        Row("years", "Years", (len(report.years),), kind="count"),
        Row(
            "missed",
            "Must be replaced and are not in time",
            (short.get("count", 0),),
            kind="count",
        ),
        Row("outside", "Signs off the map", (report.map.outside,), kind="count"),
    ]
    if least.get("share") is not None:
        label = "Least money for class 1, of what there is"
        rows.append(Row("least", label, (least["share"],), kind="share_least"))
    unit = report.basis.currency
    rows += [
        Row(
            f"least_{year.year}",
            f"Least money for class 1 in {year.year}",
            (money,),
            kind="money_least",
            unit=unit,
        )
        for year, money in zip(report.years, least.get("yearly") or (), strict=False)
    ]
    rows += [
        Row(
            f"money_{year.year}",
            f"Money missing in {year.year}",
            (missing,),
            kind="money",
            unit=unit,
        )
        for year, missing in zip(report.years, short.get("extra_money") or (), strict=False)
    ]
    rows += [
        Row(
            f"hours_{year.year}",
            f"Crew time missing in {year.year}",
            (missing,),
            kind="hours",
            unit="h",
        )
        for year, missing in zip(report.years, short.get("extra_hours") or (), strict=False)
    ]
    return Table(
        "others", "Other figures", "What", (Column("value", "Figure", "count"),), tuple(rows)
    )


def _sheeting(words: str) -> str:
    """Return a sheeting as it is on record: 'III beaded' is Type III, beaded."""
    if not words:
        return "Not known"
    first, _blank, rest = words.partition(" ")
    if first.isupper():
        return f"Type {first}, {rest}" if rest else f"Type {first}"
    return words.capitalize()
