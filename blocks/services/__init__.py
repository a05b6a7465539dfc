"""What changes farm groups, farms, people and blocks."""
