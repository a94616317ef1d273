"""Tests of the published tables and their look-ups."""
