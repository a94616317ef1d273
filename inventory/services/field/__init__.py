"""What a phone takes along: the lists, the signs of an area, and the faces in stock."""
