"""An agency of 32 signs with a solved programme, for the tests of its report."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from inventory.engineering.places import cell_of
from inventory.models import (
    DamageReport,
    DamageStanding,
    PlannedReplacement,
    Position,
    Road,
    Sign,
    SignForecast,
    Standing,
    Support,
)
from inventory.services.methods import assign, create_group
from tests.factories import NOW, make_agency, position_of
from tests.web.forecast_records import make_fit
from tests.web.programme_records import make_basis, make_programme_row, make_result, year_of

if TYPE_CHECKING:
    from inventory.models import Organisation, Programme

# class, sheeting, verdict, how many, planned in which year (0: in none of the programme's)
STOCK: tuple[tuple[int, str, str, int, int], ...] = (
    (1, "XI prismatic", "meets", 7, 0),
    (1, "III beaded", "below", 2, 2027),
    (2, "XI prismatic", "meets", 5, 0),
    (2, "III beaded", "below", 1, 0),
    (2, "III beaded", "undecided", 3, 2028),
    (3, "III beaded", "sheeting not allowed", 1, 2028),
    (3, "", "no usable reading", 6, 0),
    (4, "IV prismatic", "meets", 4, 2028),
    (4, "IV prismatic", "no level", 2, 0),
    (4, "IV prismatic", "excluded", 1, 0),
)
COST_OF_CLASS = {1: 121.5, 2: 133.25, 3: 150.0, 4: 163.4}


def make_world(**result: Any) -> Programme:
    """Return a solved programme of 2027 and 2028; two more signs stand that are of others."""
    agency = make_agency("Alder County")
    make_basis(agency, stretch_mi=2.5, face_hours_per_ft2=0.02)
    roads = [
        Road.objects.create(
            organisation=agency, name=name, line=[[-89.5, 43.0 + step], [-89.3, 43.0 + step]]
        )
        for name, step in (("North Road", 0.1), ("Mill Lane", 0.02))
    ]
    planned_cost = sum(
        COST_OF_CLASS[number] * count for number, _s, _v, count, year in STOCK if year
    )
    programme = make_programme_row(
        agency,
        budget=[700.0, 1600.0],
        crew_hours=[41.0, 47.0],
        result=make_result(**_result(planned_cost) | result),
    )
    wanted = [each for each in STOCK for _ in range(each[3])]
    signs = _put_up(agency, [(*roads, None)[place % 3] for place in range(len(wanted))])
    fit, rows, told, planned = make_fit(agency), [], [], []
    for place, (sign, (number, sheeting, verdict, _count, year)) in enumerate(
        zip(signs, wanted, strict=True)
    ):
        severe = Standing.Condition.SEVERE if place == 3 else Standing.Condition.SOUND
        rows.append(
            _standing(
                sign, safety_class=number, sheeting=sheeting, verdict=verdict, condition=severe
            )
        )
        planned.append(
            PlannedReplacement(
                programme=programme, position=sign.position, sign=sign, year=year or None,
                reason="worth it", cost=COST_OF_CLASS[number], crew_hours=0.7,
                safety_class=number, risk_left=0.0,
            )
        )  # fmt: skip
        if number < 4:
            told.append(
                SignForecast(
                    organisation=agency, sign=sign, made_at=NOW, as_of_on=NOW.date(),
                    method_version="forecast-2", fingerprint="f" * 64, basis="cohort", fit=fit,
                    probability_below=0.25, safety_class=number, sentence="",
                )
            )  # fmt: skip
    others = _put_up(agency, [None, None], responsible=Sign.Responsible.STATE)
    Standing.objects.bulk_create([*rows, *(_standing(sign) for sign in others)])
    PlannedReplacement.objects.bulk_create(planned)
    SignForecast.objects.bulk_create(told)
    _damage(agency, signs)
    group = create_group(
        organisation=agency, name="Stop signs", method="visual_night",
        started_on=date(2020, 1, 1), basis="board of 2019", interval_months=24, now=NOW,
    )  # fmt: skip
    places = [
        position_of(sign)
        for sign, row in zip(signs, rows, strict=True)
        if row.safety_class == 1
    ]
    assign(group=group, positions=places, from_on=date(2020, 1, 1), now=NOW)
    return programme


# class, days until it was put right (none: open still), days of the agency's time (none: none)
DAMAGE: tuple[tuple[int, int | None, int | None], ...] = (
    (1, 1, 3), (1, 2, 3), (1, 9, 3), (2, 5, 7), (2, 6, None), (3, None, 7), (4, None, 90),
)  # fmt: skip


def _damage(agency: Organisation, signs: list[Sign]) -> None:
    """Keep damage that became known 60 days ago, and one of a year and a half ago."""
    told = NOW - timedelta(days=60)
    rows: list[DamageStanding] = []
    for (number, took, allowed), sign in zip((*DAMAGE, (1, 1, 3)), signs, strict=False):
        if len(rows) == len(DAMAGE):
            told = NOW - timedelta(days=550)
        day = told.date()
        report = DamageReport.objects.create(
            organisation=agency, position=position_of(sign), sign=sign, channel="call",
            kind="knocked_down", severity=3, told_by="a caller", notified_at=told,
            notified_precision="minute", entered_at=told,
        )  # fmt: skip
        due_on = None if allowed is None else day + timedelta(days=allowed)
        rows.append(
            DamageStanding(
                report=report, organisation=agency, position=report.position, sign=sign,
                kind="knocked_down", severity=3, safety_class=number, is_open=took is None,
                way="" if took is None else "repaired", notified_on=day, counted_from_on=day,
                due_on=due_on, sort_on=due_on or day, rebuilt_at=NOW,
                done_on=None if took is None else day + timedelta(days=took),
            )
        )  # fmt: skip
    DamageStanding.objects.bulk_create(rows)


def _result(planned_cost: float) -> dict[str, Any]:
    """Return what the programme came to: trips that are shared cost 377.5 more."""
    first = year_of(
        2027, 14.27, replaced=2, money=613.5, crew_hours=36.2, below_nothing=19.9,
        class_1_below=0.31,
    )  # fmt: skip
    second = year_of(
        2028, 8.44, replaced=8, money=round(planned_cost + 377.5 - 613.5, 2), crew_hours=44.4,
        below_nothing=23.1, class_1_below=0.02,
    )  # fmt: skip
    years = [first, second]
    return {
        "by_year": years,
        "risk_left": 260.4,
        "risk_nothing": 601.0,
        "rivals": {
            "worst_first": {
                "risk_left": 411.2,
                "by_year": [
                    year_of(2027, 15.5, money=688.0), year_of(2028, 16.6, money=1522.0),
                ],
            },
            "oldest_first": {
                "risk_left": 500.9,
                "by_year": [
                    year_of(2027, 17.7, money=690.0, replaced=3),
                    year_of(2028, 18.8, money=1590.0),
                ],
            },
        },
        "ten_percent_more": {
            "risk_left": 231.7,
            "replaced": 11,
            "by_year": [
                year_of(2027, 13.1, money=760.0, replaced=4),
                year_of(2028, 6.28, money=1755.0, replaced=7),
            ],
        },
        "least_budget_class_1": {"share": 0.412, "yearly": [288.4, 659.2]},
        "shortfall": {
            "extra_money": [85.6, 0.0], "extra_hours": [0.0, 12.4], "missed": [], "count": 13,
        },
        "assumptions": ["A face replaced in a year is up by the end of it."],
    }  # fmt: skip


def _put_up(agency: Organisation, roads: list[Road | None], **fields: Any) -> list[Sign]:
    """Put a sign up at each of so many places in a row, some of them without a size."""
    supports, positions, signs = [], [], []
    for place, road in enumerate(roads):
        latitude, longitude = 43.0 + 0.004 * place, -89.5 + 0.006 * place
        support = Support(
            organisation=agency, road=road, latitude_deg=latitude, longitude_deg=longitude,
            cell=cell_of(latitude, longitude),
        )  # fmt: skip
        size = (None, None) if place < 3 else (30.0, 30.0)
        position = Position(
            organisation=agency, support=support, sign_code="R1-1", width_in=size[0],
            height_in=size[1], mount="post",
        )  # fmt: skip
        sign = Sign(
            owner=agency, state=Sign.State.INSTALLED, position=position, sign_code="R1-1",
            width_in=size[0], height_in=size[1], installed_on=date(2015, 5, 1), **fields,
        )  # fmt: skip
        supports.append(support)
        positions.append(position)
        signs.append(sign)
    Support.objects.bulk_create(supports)
    Position.objects.bulk_create(positions)
    Sign.objects.bulk_create(signs)
    return signs


def _standing(sign: Sign, **fields: Any) -> Standing:
    support = position_of(sign).support
    values: dict[str, Any] = {"verdict": "meets", "safety_class": 1}
    return Standing(
        organisation=sign.owner, sign=sign, responsible=sign.responsible, sign_code="R1-1",
        road=support.road, latitude_deg=support.latitude_deg,
        longitude_deg=support.longitude_deg, cell=support.cell, rebuilt_at=NOW,
        **values | fields,
    )  # fmt: skip
