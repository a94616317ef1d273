"""
From what a position asks for to faces a shop can print, and what they take.

====================  ==================================================================
module                answers
====================  ==================================================================
``specification``     the size and the colours of the face a position asks for
``sheeting``          the base sheeting of a face, and whether the sheeting is allowed
``outlines``          the rectangle a face is cut from, and the area of its shape
``groups``            faces that share a sheeting: area and press time
``stock``             which faces in stock are the ones that are wanted
``standard_checks``   whether code and size are still the standard ones for the road
====================  ==================================================================
"""
