"""Bring the database to the code's state, as its owner."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connections

from deploy.provisioning import prepare


class Command(BaseCommand):
    """Give the site's role its rights, migrate, and look at the walls."""

    help = (
        "Migrate the database as its owner (WASHBOARD_OWNER_DATABASE_URL), give the"
        " site's role its rights, and check that farm groups are walled off."
    )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Do it all; safe to run again."""
        if "owner" not in connections.settings:
            raise CommandError(
                "WASHBOARD_OWNER_DATABASE_URL is not set: migrations run as the owner"
                " of the tables, not as the site's role."
            )
        faults = prepare("owner", verbosity=options["verbosity"])
        if faults:
            raise CommandError("\n".join(faults))
        self.stdout.write("The database is ready.")
