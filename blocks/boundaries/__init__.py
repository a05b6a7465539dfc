"""Block boundaries: from a file to published blocks."""
