"""Simulated shops with known truth: what the wear model answers against what then happened (METHODS 1.6)."""
