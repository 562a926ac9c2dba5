"""Results to text, JSON, page and figures. Computes nothing: what is shown is in the result."""
