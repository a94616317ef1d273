"""Commands for the people who run a site."""
