"""Benchmarks: what signfleet reaches, beside a named peer or an aim."""
