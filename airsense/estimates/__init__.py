"""Routes to air mass flow that do not use the mass-air-flow sensor, one a file."""
