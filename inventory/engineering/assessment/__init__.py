"""Readings against published levels: the verdict on a colour, a contrast and a sign."""
