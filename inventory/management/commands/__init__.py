"""One thin command per step: parse, call a service, print."""
