"""A small invented fleet, read over the years, for the tests of forecasting."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from inventory.services.assessment import assess_signs
from tests.factories import NOW, make_instrument, make_sign, make_visit

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign

TODAY = date(2026, 6, 1)


def read_fleet(agency: Organisation, number: int = 12, *, seed: int = 0) -> list[Sign]:
    """
    Return stop signs of 4 to 12 years, read twice, white falling 6 % and red 8 % a year.

    Invented: white 60 and red 25 cd/lx/m² when new, signs 10 % and readings 4 % apart.
    """
    draw = np.random.default_rng(seed)
    instrument = make_instrument(agency)
    signs = []
    for k in range(number):
        up = TODAY - timedelta(days=int(365.25 * (4 + 8 * k / number)))
        sign = make_sign(agency, installed_on=up)
        own = draw.normal(0.0, 0.1)
        for on in (date(2023, 5, 10), date(2026, 5, 20)):
            age = max((on - up).days / 365.25, 0.0)
            values = {
                color: [round(float(new * np.exp(own - fall * age + draw.normal(0, 0.04))), 1)]
                for color, new, fall in (("white", 60.0, 0.06), ("red", 25.0, 0.08))
            }
            make_visit(sign, max(on, up), values=values, instrument=instrument)
        signs.append(sign)
    assess_signs(organisation=agency, now=NOW)
    return signs
