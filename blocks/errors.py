"""What can go wrong with farms, people and blocks, in words for the person."""


class SiteError(Exception):
    """An error whose sentence is meant for the person at the page.

    `status` is the HTTP status of an answer that carries it.
    """

    code = "site-error"
    status = 400

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class ConflictError(SiteError):
    """Somebody else changed the same thing first."""

    code = "conflict"
    status = 409
