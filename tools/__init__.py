"""Programs of the Makefile: the environment, the front-end build, the lock files."""
