"""One verb per function, one transaction each; the only place that writes."""
