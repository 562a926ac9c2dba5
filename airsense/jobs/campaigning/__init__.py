"""The parts of the job that compares several intakes and tunes."""
