"""
Which sign is replaced in which year, and how that is carried out.

====================  ====================================================================
module                does
====================  ====================================================================
``work_bases``        what replacing costs an agency, and how long it takes
``making``            a programme, and the problem that its signs make
====================  ====================================================================
"""
