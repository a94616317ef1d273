"""
How the faces of one base sheeting lie on the roll, so that the least length of it is used.

===================  ======================================================================
module               answers
===================  ======================================================================
``strip``            the problem in whole thousandths of an inch, and a layout of it
``kernels``          one packing of an order of boxes: free, or by cuts from edge to edge
``climbing``         better orders, by swapping and asking for less length each time
``patterns``         layers of columns for few sizes, chosen by a whole-number programme
``bounds``           the length that no layout of boxes can go under
``boxes``            the shortest layout of boxes found in the time given
``contours``         true outlines nested, by a library in a process of its own
``clearance``        whether faces keep the gap between them and stay on the roll
``roll``             what roll, press, sheeting and cutter allow; why a face does not fit
``splices``          a face wider than the roll in two parts, or why it would need more
``pins``             faces fixed at a place, and others in the room they leave
``loading``          what lies on one roll: fixed, between them, and group behind group
``assigning``        which faces go on which roll
``rolls``            the plan: which roll, in order of urgency or mixed, what is not laid
``plans``            what such a plan says: loads, what lies where, what is left
``drawing_figures``  length, waste, bound and the cuts in order, for a drawing
===================  ======================================================================
"""
