"""The parts of the job that plans a test."""
