"""The computations: plain functions and frozen dataclasses; no Django, no clock, no file."""
