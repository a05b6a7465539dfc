"""When blocks' densities will cross their thresholds, and how well that was told."""
