"""Hypothesis strategies shared by the tests of methods."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import strategies as st

from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE, DecisionRule
from inventory.engineering.assessment.face import (
    Colouring,
    Face,
    FaceArea,
    OwnLevel,
    Part,
    ReadingSet,
    Rules,
)
from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.catalogue import sign_types
from inventory.engineering.standards.local import local_sign_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    ExclusionKey,
    MountClass,
    Optics,
    Series,
    Shape,
    SheetingType,
    SymbolClass,
)

# R_A as an instrument shows it: 0 to 400 in steps of 0.001, near the levels more often.
ra_values = st.one_of(
    st.integers(0, 400_000),
    st.sampled_from([7_000, 15_000, 35_000, 50_000, 75_000, 120_000, 250_000]).flatmap(
        lambda level: st.integers(level - 5, level + 5)
    ),
).map(lambda thousandths: Decimal(thousandths) / 1000)

sizes_in = st.one_of(st.none(), st.sampled_from([Decimal(n) for n in (18, 30, 36, 48, 60)]))

own_sign_types = st.builds(
    local_sign_type,
    code=st.just("LW-1"),
    name=st.just("Of the agency's own"),
    series=st.sampled_from(Series),
    shape=st.one_of(st.none(), st.sampled_from(Shape)),
    background=st.one_of(st.none(), st.sampled_from(Color)),
    legend=st.one_of(st.none(), st.sampled_from(Color)),
    symbol_class=st.one_of(st.none(), st.sampled_from(SymbolClass)),
)

areas = st.builds(
    FaceArea,
    part=st.sampled_from(Part),
    color=st.one_of(st.none(), st.sampled_from(Color)),
    sheeting_type=st.one_of(
        st.just(""), st.sampled_from([each.value for each in SheetingType])
    ),
    optics=st.sampled_from(Optics),
    colouring=st.sampled_from(Colouring),
)


@st.composite
def areas_in_table_colors(draw: st.DrawFn) -> tuple[FaceArea, ...]:
    """Two areas whose colours the level tables have a row for."""
    background, legend = draw(
        st.sampled_from(
            [
                (Color.RED, Color.WHITE),
                (Color.WHITE, Color.BLACK),
                (Color.YELLOW, Color.BLACK),
                (Color.ORANGE, Color.BLACK),
                (Color.GREEN, Color.WHITE),
                (Color.BLUE, Color.WHITE),
                (Color.BROWN, Color.WHITE),
            ]
        )
    )
    known = st.sampled_from(["", "I", "II", "III", "IX"])
    return (
        FaceArea(Part.BACKGROUND, background, draw(known), draw(st.sampled_from(Optics))),
        FaceArea(Part.LEGEND, legend, draw(known), draw(st.sampled_from(Optics))),
    )


faces = st.builds(
    Face,
    sign_type=st.one_of(st.none(), st.sampled_from(sign_types()), own_sign_types),
    areas=st.one_of(
        st.just(()), areas_in_table_colors(), st.lists(areas, max_size=3).map(tuple)
    ),
    mount=st.one_of(st.none(), st.sampled_from(MountClass)),
    width_in=sizes_in,
    height_in=sizes_in,
)

own_levels = st.builds(
    OwnLevel,
    background=st.sampled_from(Color),
    legend=st.sampled_from(Color),
    color=st.sampled_from(Color),
    minimum_ra_cd_lx_m2=st.integers(1, 400_000).map(
        lambda thousandths: Decimal(thousandths) / 1000
    ),
    basis=st.just("an invented trial"),
    approved_by=st.just("an invented engineer"),
    approved_on=st.just(date(2025, 3, 1)),
    effective_on=st.just(date(2025, 4, 1)),
)


@st.composite
def instrument_uncertainties(draw: st.DrawFn) -> InstrumentUncertainty:
    """What an agency may state of its instruments."""
    repeatability = draw(st.floats(0, 0.1))
    return InstrumentUncertainty(
        repeatability_rel=repeatability,
        common_rel=draw(st.floats(0.01, 0.2)),
        single_scatter_rel=draw(st.floats(max(repeatability, 0.01), 0.3)),
        basis="invented for a test",
        single_scatter_dof=draw(st.sampled_from([1.0, 8.0, float("inf")])),
    )


simple_rules = st.builds(
    Rules,
    edition=st.sampled_from([Edition.MUTCD_2009, Edition.MUTCD_11]),
    uses_recommended_levels=st.booleans(),
    excluded_groups=st.frozensets(st.sampled_from(ExclusionKey)),
    decision_rule=st.just(SIMPLE_ACCEPTANCE),
    uncertainty=instrument_uncertainties(),
    fluorescent_yellow_basis=st.sampled_from(["", "an invented choice"]),
    fluorescent_orange_basis=st.sampled_from(["", "an invented choice"]),
    own_levels=st.lists(own_levels, max_size=3).map(tuple),
)
rules = st.builds(
    replace,
    simple_rules,
    decision_rule=st.sampled_from(
        [SIMPLE_ACCEPTANCE, DecisionRule(0.51), DecisionRule(0.9), DecisionRule(0.99)]
    ),
)

moments = st.integers(0, 4000).map(
    lambda days: datetime(2015, 1, 1, tzinfo=UTC) + timedelta(days)
)

reading_sets = st.builds(
    ReadingSet,
    color=st.sampled_from(Color),
    values=st.lists(ra_values, min_size=1, max_size=5).map(tuple),
    taken_at=moments,
    visit=st.integers(1, 5),
    how=st.sampled_from(How),
    surface_state=st.sampled_from(SurfaceState),
    observation_angle_deg=st.sampled_from([Decimal("0.2"), Decimal("0.20"), Decimal("0.5")]),
    entrance_angle_deg=st.sampled_from([Decimal("-4.0"), Decimal("30")]),
    doubt=st.sampled_from(["", "an invented doubt"]),
    instrument=st.sampled_from([None, 1, 2]),
)


@st.composite
def faces_with_readings(draw: st.DrawFn) -> tuple[Face, list[ReadingSet]]:
    """A face and usable readings of its own colours, some of them missing."""
    face = draw(faces)
    colors = {area.color for area in face.areas if area.color is not None}
    if face.sign_type is not None:
        own = (face.sign_type.background, face.sign_type.legend, *face.sign_type.secondary)
        colors |= {color for color in own if color is not None}
    colors |= {Color.WHITE, Color.RED}
    chosen = draw(st.lists(st.sampled_from(sorted(colors)), unique=True))
    day = datetime(2026, 5, 1, tzinfo=UTC)
    return face, [
        ReadingSet(
            color,
            tuple(draw(st.lists(ra_values, min_size=1, max_size=5))),
            day,
            1,
            instrument=draw(st.sampled_from([None, 1])),
        )
        for color in chosen
    ]
