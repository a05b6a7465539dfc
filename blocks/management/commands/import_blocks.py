"""Import block boundaries from a file, as the site's page does."""

from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from blocks.access import Member, Role, member_for, require, visible_farms
from blocks.errors import SiteError
from blocks.models import BoundaryImport, Farm, User
from blocks.services import boundaries
from blocks.tenancy import stating

CHUNK = 1 << 20


class Command(BaseCommand):
    """Read a boundary file, say what was found, and publish it if asked."""

    help = (
        "Import block boundaries from GeoJSON, a zipped Shapefile, KML or GeoPackage."
        " Without --publish it only says what was found. Exit code 1 on any error."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Name the group, the person and the file."""
        parser.add_argument("group", help="the farm group's short name")
        parser.add_argument("file", type=Path)
        parser.add_argument("--as", dest="email", required=True, metavar="E-MAIL")
        parser.add_argument("--farm", help="where shapes go that name no farm")
        parser.add_argument("--from", dest="valid_from", type=date.fromisoformat)
        parser.add_argument("--crs", help="EPSG code, if the file does not say it")
        parser.add_argument("--layer")
        parser.add_argument("--number-names", action="store_true")
        parser.add_argument("--swap", action="store_true", help="exchange the axes")
        parser.add_argument("--publish", action="store_true")
        parser.add_argument("--accept-repairs", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Import the file whole or not at all."""
        if not options["file"].is_file():
            raise CommandError(f"There is no file {options['file']}.")
        try:
            with transaction.atomic():
                member = self._member(options)
                begun = self._receive(member, options)
        except SiteError as error:
            raise CommandError(error.sentence) from error
        except Http404 as error:
            raise CommandError("That person has no part in such a group.") from error
        self._tell(begun)
        if options["publish"]:
            self._publish(member, begun, accept_repairs=options["accept_repairs"])

    def _publish(
        self, member: Member, begun: BoundaryImport, *, accept_repairs: bool
    ) -> None:
        repaired = [
            feature["facts"]["name"]
            for feature in begun.preview["features"]
            if feature["before"] is not None
        ]
        if repaired and not accept_repairs:
            raise CommandError(
                f"Outlines were repaired ({', '.join(repaired[:10])}). Look at them on"
                " the page, or publish with --accept-repairs."
            )
        try:
            with stating(member.group_id):
                blocks = boundaries.publish(begun)
        except SiteError as error:
            raise CommandError(error.sentence) from error
        self.stdout.write(f"Published {len(blocks)} blocks.")

    def _member(self, options: dict[str, Any]) -> Member:
        user = User.objects.filter(email__iexact=options["email"]).first()
        if user is None:
            raise CommandError(f"Nobody has the e-mail {options['email']}.")
        member = member_for(user, options["group"])
        require(member, {Role.COORDINATOR})
        return member

    def _receive(self, member: Member, options: dict[str, Any]) -> BoundaryImport:
        with options["file"].open("rb") as file:
            begun = boundaries.receive(
                member,
                file_name=options["file"].name,
                chunks=iter(lambda: file.read(CHUNK), b""),
                farm=self._farm(member, options["farm"]),
                valid_from=options["valid_from"]
                or timezone.localdate(timezone=member.farm_group.zone),
            )
        given = {
            "crs": options["crs"],
            "layer": options["layer"],
            "names": "number" if options["number_names"] else None,
            "swap": "yes" if options["swap"] else None,
        }
        answers = {key: value for key, value in given.items() if value}
        # An answer may bring up the next question.
        for _ in answers:
            asked = begun.preview.get("open_questions", [])
            if not answers.keys() & set(asked):
                break
            begun = boundaries.answer(begun, answers)
        return begun

    def _farm(self, member: Member, name: str | None) -> Farm | None:
        if not name:
            return None
        farm = visible_farms(member).filter(name__iexact=name).first()
        if farm is None:
            raise CommandError(f"The group has no farm named {name}.")
        return farm

    def _tell(self, begun: BoundaryImport) -> None:
        preview = begun.preview
        if begun.state == BoundaryImport.State.REFUSED:
            raise CommandError(preview["sentence"])
        for finding in preview["findings"]:
            self.stdout.write(f"{finding['level']}: {finding['sentence']}")
        for feature in preview["features"]:
            name = feature["facts"]["name"]
            hectares = feature["area_m2"] / 10_000
            self.stdout.write(f"{feature['farm_name']}, {name}: {hectares:.2f} ha")
            for finding in feature["findings"]:
                self.stdout.write(f"  {finding['level']}: {finding['sentence']}")
        for question in preview["questions"]:
            self.stdout.write(f"question {question['key']}: {question['sentence']}")
        if preview["errors"] or preview["open_questions"]:
            raise CommandError("The file cannot be published as it is.")
