"""
The shop: what it has, what was on its presses, what it printed.

====================  ==================================================================
module                holds
====================  ==================================================================
``stock``             rolls and presses
``inks``              ink channels and containers, shelf lives
``stock_left``        what is left of rolls and containers, until when they keep
``press_log``         what happened at a press, and what was loaded at a time
``maintenance``       tasks of a press and when they are due, checks, runs in doubt
``runs``              print runs and the faces that come of them
``records``           what is known of how a face was made; readings of new faces
====================  ==================================================================
"""

from inventory.services.production.press_log import (
    LoadedState,
    loaded_at,
    record_press_event,
)
from inventory.services.production.records import (
    InkUsed,
    ProductionRecord,
    production_record,
    record_quality_reading,
)
from inventory.services.production.runs import record_print_run
from inventory.services.production.stock import add_press, receive_overlay, receive_roll

__all__ = [
    "InkUsed",
    "LoadedState",
    "ProductionRecord",
    "add_press",
    "loaded_at",
    "production_record",
    "receive_overlay",
    "receive_roll",
    "record_press_event",
    "record_print_run",
    "record_quality_reading",
]
