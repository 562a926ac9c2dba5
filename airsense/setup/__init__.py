"""What the user declares, as frozen models validated once at the edge."""
