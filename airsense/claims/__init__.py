"""Checks that only printed figures need: arithmetic, rounding, corrections, units."""
