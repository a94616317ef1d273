"""Due dates from the fleet's own readings: gathered, fitted, forecast, stored."""
