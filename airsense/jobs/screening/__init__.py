"""The parts of the job that looks through a folder."""
