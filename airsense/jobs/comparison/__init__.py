"""Is the gain real, and is it the intake's? One pair of configurations after another."""
