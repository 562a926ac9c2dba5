"""The MAF transfer table: what it is, the fit of a new one, and its file."""
