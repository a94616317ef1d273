"""
Which sign is replaced in which year, and how that is carried out.

====================  ====================================================================
module                does
====================  ====================================================================
``work_bases``        what replacing costs an agency, and how long it takes
``making``            a programme, and the problem that its signs make
``gathering``         its signs, row by row: what stands, what it costs, in which years
``new_faces``         how the faces fall that would be put up
``rules``             signs that wait, and rounds of blanket replacement
``placing``           what has to be done, first; what is missing where it does not fit
``solving``           solves it in a process of its own, stopped at any time
``deciding``          years are locked; one programme is adopted
``reasons``           why a sign has its year, in words
``results``           what it comes to: by year, beside plain rules, for another budget
``planned``           what the adopted programme says of a sign
``comparing``         what differs between two programmes
====================  ====================================================================
"""
