"""What can go wrong with a plan, in words for the planner."""

from blocks.errors import SiteError


class PlanError(SiteError):
    """A plan that cannot be made; `field` names the question that it belongs to."""

    code = "plan"
    status = 422

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.field = field
