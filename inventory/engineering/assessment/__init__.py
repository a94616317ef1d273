"""
Readings and what was seen against published levels: the verdict on a face, and what is due.

====================  ====================================================================
module                answers
====================  ====================================================================
``vocabulary``        the one enumeration of verdicts, and which is worse
``face``              what a face is made of, what was read on it, the agency's rules
``columns``           which columns of the level tables a colour's sheeting may fall under
``plan``              which elements of a face are judged, and by which rows
``compare``           exact comparison of readings with a level, one or a million at once
``judge``             one element under every row that could apply
``wording``           the reason of a verdict in plain words
``assess``            the verdict on each element and on the face
``record``            an assessment's inputs as plain data, and back again
``carried``           what a phone carries to judge a face without a connection
``dispositions``      whether what was decided about a sign still stands
``method_calendar``   whether a method of record is being applied
``due``               whether a sign is due, why, since when, and in which order
====================  ====================================================================
"""
