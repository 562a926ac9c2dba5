"""Files to `Log`: SI arrays, each channel on its own time base, with provenance and findings."""
