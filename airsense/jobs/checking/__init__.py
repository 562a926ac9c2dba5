"""The parts of the job that judges one configuration."""
