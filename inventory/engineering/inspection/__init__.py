"""
What was read and seen at the roadside, checked and reduced to one value per colour.

====================  ==================================================================
module                answers
====================  ==================================================================
``vocabulary``        how an inspection was made and the state of the face
``readings``          is a typed value a reading, and what is the mean of several
``usability``         may a set of readings be judged, and if not, why not
``condition``         what the newest observations say of the state of a face
``visual``            is the evidence of a rating by night all there
``instruments``       do checks and certificates put readings in doubt
====================  ==================================================================
"""
