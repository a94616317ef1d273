"""
Which sign is replaced in which year, and how that is carried out.

====================  ====================================================================
module                does
====================  ====================================================================
``work_bases``        what replacing costs an agency, and how long it takes
``making``            a programme, and the problem that its signs make
``solving``           solves it in a process of its own; locks years; adopts it
``results``           what it comes to: by year, beside plain rules, for another budget
``planned``           what the adopted programme says of a sign
``comparing``         what differs between two programmes
====================  ====================================================================
"""
