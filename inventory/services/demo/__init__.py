"""The demo scenario: an invented county and shop, made by code and labelled as invented."""
