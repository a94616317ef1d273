"""
Lists that another system keeps, taken in and kept up with.

===============  =================================================================
module           does
===============  =================================================================
``rows``         what a list gives: its rows in our words
``resolving``    codes and colours by the agency's own code book
``supports``     which support a sign stands on, by key or by distance
``ours``         what our records say, in the fields of a list
``planning``     what each row is to do: created, updated, unchanged or refused
``faces``        making and changing positions, faces and colours
``writing``      writing a batch that was planned
``running``      a whole import, dry first, and again from where it was stopped
``settling``     what waits for a person
``reports``      what an import did, or would do
``wording``      a field's value in words, with its unit
===============  =================================================================
"""

from inventory.services.importing.reports import ImportReport
from inventory.services.importing.running import import_signs
from inventory.services.importing.settling import settle

__all__ = ["ImportReport", "import_signs", "settle"]
