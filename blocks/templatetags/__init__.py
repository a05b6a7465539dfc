"""Template tags of the shared page shell."""
