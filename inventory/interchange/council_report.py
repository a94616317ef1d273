"""The report for a council in words: from the figures to sentences, tables and plots."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.interchange.council_document import (
    CLASS_WORDS,
    KEPT,
    Column,
    CouncilDocument,
    PlotLine,
    PlotOfYears,
    Row,
    Section,
    Table,
    amount,
    counted,
    day_words,
    listed,
    money_words,
    shown,
)
from inventory.interchange.council_stock import (
    assumed_section,
    damage_section,
    methods_section,
    other_figures,
    stock_section,
    unknown_section,
    where_section,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from inventory.services.programme.report import CouncilReport
    from inventory.services.programme.report_lines import WayLine

RULE_WORDS = {"worst_first": "Worst first", "oldest_first": "Oldest first"}
WAY_WORDS = {
    "nothing": "Replacing nothing",
    "programme": "This programme",
    "more": f"This programme with 10{KEPT}% more",
    **RULE_WORDS,
}
EXPECTED = (
    "An expected number adds up the chance of every sign to be below at the end of the year, "
    "as readings of signs like it tell. The true number will be somewhat higher or lower. "
    "Damaged signs count by the chance that the damage fails them; damage still to come is "
    "not counted. Class 1 are Stop, Yield, Do Not Enter and Wrong Way signs."
)
RISK = (
    "Risk is the chance of each sign to be below at a year end, times the weight of its class, "
    "added up over all signs and years: a dark Stop sign weighs more than a dark guide sign."
)


def council_document(report: CouncilReport) -> CouncilDocument:
    """Return the report as it is read."""
    first, last = report.years[0].year, report.years[-1].year
    span = f"{first}" if first == last else f"{first} to {last}"
    return CouncilDocument(
        title=f"Sign replacement, {span}: {report.programme.name}",
        agency=report.organisation.name,
        is_invented=report.organisation.is_invented,
        day=report.day,
        days_told=(
            f"Signs as they are on record on {day_words(report.day)}; the programme as its "
            f"years were chosen on {day_words(report.solved_on)}."
        ),
        notices=tuple(_notices(report)),
        sections=tuple(_sections(report)),
        others=other_figures(report),
    )


def _sections(report: CouncilReport) -> Iterator[Section]:
    yield _short(report)
    yield _below(report)
    yield _cost(report)
    yield _ways(report)
    yield stock_section(report)
    yield where_section(report)
    yield methods_section(report)
    yield damage_section(report)
    yield unknown_section(report)
    yield assumed_section(report)


def _notices(report: CouncilReport) -> Iterator[str]:
    programme = report.programme
    if programme.state == programme.State.DRAFT:
        yield "This programme is a draft; it is not the one the agency works by."
    elif programme.state == programme.State.ENDED:
        yield "This programme is ended: another one has taken its place."
    if report.is_stale:
        yield (
            "Years were locked or changed since the years of this programme were chosen, so "
            "its figures are not those of its plan. Choose the years anew before you report."
        )
    if report.not_reckoned:
        yield (
            "Choosing the years was stopped before all was reckoned; left out: "
            f"{listed(report.not_reckoned)}."
        )


def _short(report: CouncilReport) -> Section:
    now, last = report.now, report.years[-1]
    sentences = [
        f"{report.organisation.name} answers for {counted(now.signs, 'sign')}. "
        f"{now.below:,} of them {'is' if now.below == 1 else 'are'} known to be below the "
        "level of brightness at night that they must keep, or of a sheeting that is not "
        f"allowed. Of {now.undecided:,} the readings leave it open, and {now.not_read:,} have "
        "no reading that can be used.",
        f"If nothing is replaced, {amount(last.below_nothing)} signs are expected to be below "
        f"at the end of {last.year}. Under this programme it is {amount(last.below)}.",
        f"It replaces {counted(report.replaced, 'sign')} in "
        f"{counted(len(report.years), 'year')} for {_spent(report)}. {_class_1(report)}",
    ]
    sentences += _beside(report)
    sentences += _more(report)
    sentences += _short_of(report)
    return Section("short", "In short", tuple(sentences))


def _class_1(report: CouncilReport) -> str:
    worst = max(report.years, key=lambda each: each.class_1_below)
    if worst.class_1_below < 0.05:
        return (
            "No Stop, Yield, Do Not Enter or Wrong Way sign is expected to be below at any "
            "year end."
        )
    return (
        f"Of the Stop, Yield, Do Not Enter and Wrong Way signs, {amount(worst.class_1_below)} "
        f"are expected to be below at the end of {worst.year}, the worst year for them."
    )


def _beside(report: CouncilReport) -> Iterator[str]:
    ways = {each.key: each for each in report.ways}
    last = report.years[-1].year
    found = [
        f"{words} {shown(way.risk_share, 'share')} of the risk and "
        f"{shown(way.below_at_end, 'expected')} signs below at the end of {last}"
        for key, words in (
            ("worst_first", "taking the worst signs first would leave"),
            ("oldest_first", "taking the oldest first"),
        )
        if (way := ways.get(key)) is not None
    ]
    own = shown(ways["programme"].risk_share, "share")
    beside = f" At the same money and crew hours {listed(found)}." if found else ""
    yield (
        f"It leaves {own} of the risk, in which every year end counts and a dark Stop sign "
        f"counts more than a dark guide sign.{beside}"
    )


def _more(report: CouncilReport) -> Iterator[str]:
    ways = {each.key: each for each in report.ways}
    more = ways.get("more")
    if more is None:
        return
    below = (
        ""
        if more.below_at_end is None
        else f" and {amount(more.below_at_end)} signs below at the end of "
        f"{report.years[-1].year}"
    )
    yield (
        f"With 10{KEPT}% more money and crew hours each year it would replace "
        f"{counted(more.replaced, 'sign')} and leave {shown(more.risk_share, 'share')} of the "
        f"risk{below}."
    )


def _short_of(report: CouncilReport) -> Iterator[str]:
    short = report.shortfall
    if not short:
        return
    missing = [
        f"{money_words(report.basis, money)} in {year.year}"
        for money, year in zip(short["extra_money"] or (), report.years, strict=False)
        if money > 0
    ]
    missing += [
        f"{hours:,.0f} crew hours in {year.year}"
        for hours, year in zip(short["extra_hours"] or (), report.years, strict=False)
        if hours > 0
    ]
    words = f" What is missing, at the least: {listed(missing)}." if missing else ""
    yield (
        f"The money and crew hours do not suffice for what must be done: "
        f"{counted(short['count'], 'sign')} that must be replaced "
        f"{'is' if short['count'] == 1 else 'are'} not, or not in time.{words}"
    )


def _below(report: CouncilReport) -> Section:
    rules = [key for key in RULE_WORDS if key in report.years[0].below_by_rule]
    years = report.years
    table = Table(
        "below",
        "Signs expected below their level at each year end",
        "End of",
        (
            Column("nothing", "Replacing nothing", "expected"),
            Column("programme", "This programme", "expected"),
            Column("class_1", "Of these class 1", "expected"),
            *(Column(key, RULE_WORDS[key], "expected") for key in rules),
        ),
        tuple(
            Row(
                str(each.year),
                str(each.year),
                (
                    each.below_nothing,
                    each.below,
                    each.class_1_below,
                    *(each.below_by_rule[key] for key in rules),
                ),
            )
            for each in years
        ),
        summary=(
            f"At the end of {years[-1].year}: {amount(years[-1].below)} signs below under this "
            f"programme, {amount(years[-1].below_nothing)} if nothing is replaced."
        ),
    )
    roles: tuple[str, ...] = ("second", "third")
    plot = PlotOfYears(
        "below",
        "Signs expected below their level",
        "signs",
        tuple(each.year for each in years),
        (
            PlotLine(
                "replacing nothing",
                tuple(each.below_nothing for each in years),
                "other",
                is_dashed=True,
            ),
            *(
                PlotLine(
                    RULE_WORDS[key].lower(),
                    tuple(each.below_by_rule[key] for each in years),
                    role,  # type: ignore[arg-type]  # two of the roles
                )
                for key, role in zip(rules, roles, strict=False)
            ),
            PlotLine("this programme", tuple(each.below for each in years), "own"),
        ),
    )
    sentences = [EXPECTED]
    if report.expected_below is not None and report.forecast_on is not None:
        sentences.append(
            f"Today, by the same reckoning, {amount(report.expected_below)} of the "
            f"{counted(report.forecast_count, 'sign')} with a forecast are expected below, "
            "those not read counted by their chance (forecast of "
            f"{day_words(report.forecast_on)})."
        )
    return Section("below", "Signs below their level, year by year", tuple(sentences),
                   (table,), plot)  # fmt: skip


def _cost(report: CouncilReport) -> Section:
    unit = report.basis.currency
    years = Table(
        "cost",
        "What each year takes",
        "Year",
        (
            Column("replaced", "Replaced", "count"),
            Column("money", "Cost", "money", unit),
            Column("budget", "Money there is", "money", unit),
            Column("crew_hours", "Crew time", "hours", "h"),
            Column("crew_hours_limit", "Time there is", "hours", "h"),
        ),
        (
            *(
                Row(
                    str(each.year),
                    str(each.year),
                    (
                        each.replaced,
                        each.money,
                        each.budget,
                        each.crew_hours,
                        each.crew_hours_limit,
                    ),
                )
                for each in report.years
            ),
            Row(
                "all",
                "All years",
                (
                    report.replaced,
                    report.money,
                    report.budget,
                    report.crew_hours,
                    report.crew_hours_limit,
                ),
                is_total=True,
            ),
        ),
        summary=(f"In all years {_spent(report)}."),
    )
    plot = PlotOfYears(
        "cost",
        "Cost of each year, and the money there is",
        unit,
        tuple(each.year for each in report.years),
        (
            PlotLine(
                "money there is",
                tuple(each.budget for each in report.years),
                "level",
                is_dashed=True,
            ),
        ),
        PlotLine("cost", tuple(each.money for each in report.years), "own"),
    )
    tables = [years]
    if report.costs:
        tables.append(_costs(report))
    sentence = (
        f"The crews need {report.crew_hours:,.0f} hours of the "
        f"{report.crew_hours_limit:,.0f} there are. What a year does not use is not carried "
        "into the next."
    )
    return Section("cost", "What it costs", (sentence,), tuple(tables), plot)


def _costs(report: CouncilReport) -> Table:
    rows = [
        Row(
            f"class_{each.safety_class}" if each.safety_class else "trips",
            f"Class {CLASS_WORDS[each.safety_class]}"
            if each.safety_class
            else "Setting up and driving, shared by what is done there",
            (each.replaced, each.money, each.share),
        )
        for each in report.costs
    ]
    total = Row(
        "all",
        "All",
        (report.replaced, round(sum(each.money for each in report.costs), 2), 1.0),
        is_total=True,
    )
    return Table(
        "cost_by_class",
        "Cost by class of sign, all years",
        "Signs",
        (
            Column("replaced", "Replaced", "count"),
            Column("money", "Cost", "money", report.basis.currency),
            Column("share", "Of all", "share"),
        ),
        (*rows, total) if report.money > 0 else tuple(rows),
    )


def _ways(report: CouncilReport) -> Section:
    last = report.years[-1].year
    table = Table(
        "ways",
        "What each way of choosing leaves",
        "Chosen by",
        (
            Column("risk_share", "Risk left", "share"),
            Column("risk", "Risk, in weighted signs", "risk"),
            Column("below", f"Below at the end of {last}", "expected"),
            Column("replaced", "Replaced", "count"),
            Column("money", "Cost", "money", report.basis.currency),
        ),
        tuple(
            Row(
                each.key,
                WAY_WORDS[each.key],
                (
                    each.risk_share,
                    each.risk_left,
                    each.below_at_end,
                    each.replaced,
                    each.money,
                ),
            )
            for each in report.ways
        ),
    )
    return Section(
        "ways",
        "Beside the two usual rules, and for more money",
        (RISK, *_against_rules(report), *_least(report)),
        (table,),
    )


def _against_rules(report: CouncilReport) -> Iterator[str]:
    ways: dict[str, WayLine] = {each.key: each for each in report.ways}
    own = ways["programme"]
    found = [
        f"{words} would leave {shown(ways[key].risk_share, 'share')}"
        for key, words in (("worst_first", "worst first"), ("oldest_first", "oldest first"))
        if key in ways
    ]
    if found:
        yield (
            f"This programme leaves {shown(own.risk_share, 'share')} of the risk there would "
            f"be if nothing were replaced; {listed(found)}."
        )


def _least(report: CouncilReport) -> Iterator[str]:
    least = report.least_budget
    if not least or not any(least.get("yearly") or ()):
        return
    unit = report.basis.currency
    yearly = [f"{unit}{KEPT}{shown(each, 'money_least')}" for each in least["yearly"]]
    money = f"{yearly[0]} a year" if len(set(yearly)) == 1 else f"{listed(yearly)}, by year"
    of_it = (
        ""
        if least.get("share") is None
        else f", {shown(least['share'], 'share_least')} of what there is"
    )
    yield (
        "The least money that still replaces every Stop, Yield, Do Not Enter and Wrong Way "
        f"sign before it is due: {money}{of_it}."
    )


def _spent(report: CouncilReport) -> str:
    spent, there_is = (
        money_words(report.basis, money) for money in (report.money, report.budget)
    )
    return f"{spent} of the {there_is} there is"
