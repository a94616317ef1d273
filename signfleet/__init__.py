"""The deployment of signfleet: settings, environment, addresses, database backend."""
