"""From estimates to what they prove: budget, scatter, reconciliation, causes, verdict."""
