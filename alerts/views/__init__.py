"""The pages of thresholds, alerts and messages."""
