"""What changes thresholds, alerts and messages."""
