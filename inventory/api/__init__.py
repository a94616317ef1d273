"""REST API for the phone and for other systems; one module per stage."""
