"""Set up a farm group with its first coordinator."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from blocks.errors import SiteError
from blocks.models import FarmGroup, Membership, User
from blocks.services.groups import add_farm, add_member, create_farm_group
from monitoring.services.laboratory import set_up_laboratory


class Command(BaseCommand):
    """Make a farm group, its laboratory, its farms and its first coordinator."""

    help = (
        "Set up a farm group. The coordinator sets a password through “Forgotten"
        " password” on the sign-in page."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Name the group and the coordinator."""
        parser.add_argument("slug", help="short name in addresses, e.g. hillside")
        parser.add_argument("name", help="the group's name, e.g. “Hillside Farms”")
        parser.add_argument("--time-zone", default="UTC")
        parser.add_argument("--coordinator", required=True, metavar="E-MAIL")
        parser.add_argument("--coordinator-name", required=True)
        parser.add_argument(
            "--farm", action="append", default=[], help="may be given several times"
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Do it whole or not at all."""
        try:
            with transaction.atomic():
                group = self._make(options)
        except ValidationError as error:
            raise CommandError("; ".join(error.messages)) from error
        except SiteError as error:
            raise CommandError(error.sentence) from error
        self.stdout.write(f"Farm group {group.name} is at /g/{group.slug}/.")

    def _make(self, options: dict[str, Any]) -> FarmGroup:
        group = create_farm_group(
            name=options["name"],
            slug=options["slug"],
            time_zone=options["time_zone"],
        )
        set_up_laboratory(group)
        for name in options["farm"]:
            add_farm(group, name=name)
        address = options["coordinator"].strip().lower()
        user = User.objects.filter(email__iexact=address).first()
        if user is None:
            user = User.objects.create_user(
                email=address, name=options["coordinator_name"]
            )
        add_member(group, user=user, role=Membership.Role.COORDINATOR)
        return group
