"""Warranty: what is promised of faces, which fall short of it, and claims made for them."""
