"""The parts of the job that makes a new transfer table."""
