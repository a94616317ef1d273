"""
The fleet's own readings to the R_A of each sign now and later, and when it is due.

====================  ====================================================================
module                answers
====================  ====================================================================
``cohorts``           which faces are taken together, and what they are called
``observations``      which readings may be fitted together, as arrays
``shapes``            how R_A may fall with age: a line or a curve
``least_squares``     weighted least squares, checked on published data
``grams``             the few sums per sign that a fit needs, whatever the readings' number
``likelihood``        the restricted likelihood of a cohort with its gradient
``fit``               the fit of a cohort to its readings
``predict``           R_A now, the chance of being below the level, and when a sign is due
====================  ====================================================================
"""
