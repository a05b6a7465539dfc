"""Daily weather: reading files of it, checking, publishing, adding up."""
