"""Pages for the engineer, the shop and the crew; one module per stage."""
