"""
Published tables and their typed look-ups.

No figure from a standard is typed into code: it sits in ``tables/``, one file per published
table, with its source and how far it was checked beside each row. Every look-up returns rows
that carry both (:class:`~inventory.engineering.standards.tables.PublishedRow`), or raises
:class:`~inventory.errors.NoPublishedValueError` with the reason.

======================  ====================================================================
module                  answers
======================  ====================================================================
``vocabulary``          the words: colours, shapes, sheeting classes, editions, ``Checked``
``tables``              reading the files; what tables there are
``sheeting``            which columns of the level tables a sheeting may fall under
``placement``           which row of the level tables a pair of colours falls under
``levels``              minimum maintained levels
``special_cases``       element minimums of single codes; which dimension the 48-inch test uses
``bold_symbols``        bold, fine or text: the symbol class an edition gives a sign
``catalogue``           sign types by code, their colours and standard sizes
``local``               an agency's own sign types and aliases in front of the catalogue
``exclusions``          signs an agency may leave out of its method
``safety``              the order in which signs are looked after
``new_sheeting``        minimums of new sheeting by type, colour and geometry
``supports``            support types and their mount class
``color_boxes``         chromaticity limits and luminance factors
``method_rules``        figures the methods of record are held against
``night_procedures``    what looking by night needs, and how often observers were right
``studies``             published service lives and deterioration studies
======================  ====================================================================
"""
