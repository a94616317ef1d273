"""Stored state and its invariants, one module per stage."""

from inventory.models.assessment import (
    Assessment,
    Disposition,
    ElementAssessment,
    Standing,
)
from inventory.models.importing import (
    ImportMissing,
    ImportRefusal,
    ImportRun,
    ImportSettlement,
    SourceFace,
    SourceRecord,
)
from inventory.models.inspection import (
    EarlierCertificate,
    FlagSettlement,
    Inspection,
    InspectionFlag,
    Instrument,
    InstrumentCheck,
    Observation,
    Photo,
    Reading,
    ReadingSet,
    RefusedEntry,
    VisualRating,
)
from inventory.models.logbook import LogbookEntry
from inventory.models.methods import MethodAssignment, MethodGroup, MethodStep
from inventory.models.ordering import (
    LayoutFace,
    OrderAmendment,
    OrderLine,
    PrintOrder,
    RollLayout,
)
from inventory.models.people import (
    AgencyLevel,
    AgencyPolicy,
    Membership,
    Organisation,
    Role,
    ShopCustomer,
    User,
)
from inventory.models.places import Position, Road, Support
from inventory.models.production import (
    OverlayRoll,
    Press,
    PressEvent,
    PrintRun,
    QualityReading,
    SheetingRoll,
)
from inventory.models.scope import Fact, Scoped, ScopedQuerySet
from inventory.models.signs import ColourArea, Panel, Sign
from inventory.models.standards import CodeAlias, LocalSignType

__all__ = [
    "AgencyLevel",
    "AgencyPolicy",
    "Assessment",
    "CodeAlias",
    "ColourArea",
    "Disposition",
    "EarlierCertificate",
    "ElementAssessment",
    "Fact",
    "FlagSettlement",
    "ImportMissing",
    "ImportRefusal",
    "ImportRun",
    "ImportSettlement",
    "Inspection",
    "InspectionFlag",
    "Instrument",
    "InstrumentCheck",
    "LayoutFace",
    "LocalSignType",
    "LogbookEntry",
    "Membership",
    "MethodAssignment",
    "MethodGroup",
    "MethodStep",
    "Observation",
    "OrderAmendment",
    "OrderLine",
    "Organisation",
    "OverlayRoll",
    "Panel",
    "Photo",
    "Position",
    "Press",
    "PressEvent",
    "PrintOrder",
    "PrintRun",
    "QualityReading",
    "Reading",
    "ReadingSet",
    "RefusedEntry",
    "Road",
    "Role",
    "RollLayout",
    "Scoped",
    "ScopedQuerySet",
    "SheetingRoll",
    "ShopCustomer",
    "Sign",
    "SourceFace",
    "SourceRecord",
    "Standing",
    "Support",
    "User",
    "VisualRating",
]
