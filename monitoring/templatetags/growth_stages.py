"""Growth stages in words, and the field that sets one."""

from django import template
from django.template import Context

from monitoring.growth_stages import (
    SCALE_NAMES,
    SCALES,
    STAGE_OF,
    Scale,
    Stage,
    words_of,
)
from monitoring.models import Round
from monitoring.queries.growth_stages import stage_changes

register = template.Library()
register.filter("stage_words", words_of)


@register.inclusion_tag("monitoring/partials/round_stage.html", takes_context=True)
def round_stage(context: Context, one: Round) -> dict[str, object]:
    """Show the field that sets a round's stage, and who changed it; 1 query."""
    choices = [(SCALE_NAMES[scale], list(stages)) for scale, stages in SCALES.items()]
    written = one.growth_stage
    if written and written not in STAGE_OF:
        # A number of the scale for which we have no words of its own.
        scale: Scale = "EL" if one.growth_scale == "EL" else "BBCH"
        own = Stage(scale, one.growth_code, words_of(written))
        choices.insert(0, ("as counted", [own]))
    return {
        "member": context["member"],
        "csrf_token": context.get("csrf_token"),
        "round": one,
        "choices": choices,
        "changes": stage_changes(one),
    }
