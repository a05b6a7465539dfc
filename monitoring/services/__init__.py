"""What changes rounds, tallies and the laboratory's settings."""
