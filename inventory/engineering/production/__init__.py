"""
What was on the press when, how long printing takes, and what a face is called.

====================  ==================================================================
module                answers
====================  ==================================================================
``press_log``         which roll, overlay and inks were loaded at a time or during a run
``press_time``        how long the press needs for an area
``colouring``         what makes each colour of a printed face
``labels``            the short id on a face's back, and reading one that was typed
====================  ==================================================================
"""
