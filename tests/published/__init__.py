"""Values that others printed."""
