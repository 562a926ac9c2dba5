"""Checks of airsense."""
