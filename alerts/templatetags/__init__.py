"""Template tags of this app: thresholds in words."""
