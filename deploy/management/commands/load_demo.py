"""Load the invented farm group, its people's passwords and this week's sheet."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from blocks.errors import SiteError
from deploy.demo.handing_out import hand_out
from deploy.demo.loading import demo_today, fresh_sheet_day, load
from deploy.demo.replaying import DemoLoadError


class Command(BaseCommand):
    """Load the demo; running it again keeps everything that is there."""

    help = (
        "Load an invented farm group with two seasons of invented counts. Logins are"
        " written to demo-logins.json in the state folder, and this week's count sheet"
        " to fresh-sheet.csv. Running it again keeps what is there."
    )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Do it whole or not at all."""
        today = demo_today()
        try:
            loaded = load(today=today)
        except SiteError as error:
            raise CommandError(error.sentence) from error
        except DemoLoadError as error:
            raise CommandError(str(error)) from error
        hand_out(settings.STATE_DIR, today=fresh_sheet_day(loaded.group, today=today))
        said = "Loaded" if loaded.is_new else "Already there, and kept:"
        self.stdout.write(
            f"{said} the invented {loaded.group.name} at /g/{loaded.group.slug}/."
        )
