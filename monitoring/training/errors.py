"""What can go wrong with a reference dish."""


class TrainingError(ValueError):
    """A dish that cannot be drawn as asked; its sentence is for the person."""
