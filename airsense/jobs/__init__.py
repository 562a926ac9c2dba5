"""One user's job a file, from inputs to a frozen result."""
