"""
The fleet's own readings to the R_A of each sign now and later, and when it is due.

====================  ======================================================================
module                answers
====================  ======================================================================
``cohorts``           which faces are taken together, and what they are called
``observations``      which readings may be fitted together, as arrays
``shapes``            how R_A may fall with age: a line or a curve
``least_squares``     weighted least squares, checked on published data
``variances``         how much visits, signs, lots and sessions differ
``covariates``        facing and district as differences in yearly change
``sums``              the columns and responses of visits, on either scale
``grams``             the few sums per sign that a fit needs, whatever the readings' number
``cells``             the sums of lots and of all, with the covariates put in
``likelihood``        the restricted likelihood of a cohort with its gradient
``spread``            what is taken beforehand, and the variances that readings show
``sessions``          the error that visits of one instrument and day share
``session_spread``    the variances of a cohort that was read in sessions
``fit``               the fit of a cohort to its readings
``choose``            which model a cohort gets
``states``            the level and slope of each sign now, and its path
``predict``           R_A now, the chance of being below, and when a sign is due
``fleet_counts``      how many signs cross their level in each year
``told``              what is told of an R_A, by one scale or by either
``both_scales``       forecasts where readings do not tell the scale
``sign_due``          the colours of a sign put together
``lots``              which lots lose R_A fast (with lot_*, ordinary, aliases)
``life``              how long signs keep a level (with fade, hazard, control)
``measuring``         what a further reading is worth (with reading_*)
``backtest``          what earlier forecasts were worth (with rivals, scores, simulate)
``yearly_change``     how a cohort is told (with cloud, count_range)
====================  ======================================================================
"""
