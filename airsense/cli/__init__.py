"""The command line: one command a file; parses, calls one job, prints."""
