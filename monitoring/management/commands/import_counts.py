"""Import a count sheet from a file, as the site's page does."""

from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.http import Http404

from blocks.access import COUNTERS, Member, member_for, require
from blocks.errors import SiteError
from blocks.models import User
from blocks.tenancy import stating
from monitoring.models import Sheet
from monitoring.sheets import services
from monitoring.sheets.queries import findings_of
from monitoring.sheets.work import work_on

CHUNK = 1 << 20


class Command(BaseCommand):
    """Read and check a sheet, say what was found, and publish it if asked."""

    help = (
        "Import a count sheet (CSV or XLSX). Without --publish it is read and checked"
        " only, and waits on the site. Exit code 1 on any error or open question."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Name the group, the person and the file."""
        parser.add_argument("group", help="the farm group's short name")
        parser.add_argument("file", type=Path)
        parser.add_argument("--as", dest="email", required=True, metavar="E-MAIL")
        parser.add_argument("--publish", action="store_true")
        parser.add_argument(
            "--answer",
            action="append",
            default=[],
            metavar="KEY=VALUE",
            help="an answer to one of the sheet's questions; may be given again",
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Go the way of an uploaded sheet."""
        if not options["file"].is_file():
            raise CommandError(f"There is no file {options['file']}.")
        for pair in options["answer"]:
            if "=" not in pair:
                raise CommandError(f"“{pair}” is no answer: write --answer KEY=VALUE.")
        try:
            sheet = self._go(options)
        except SiteError as error:
            raise CommandError(error.sentence) from error
        except PermissionDenied as error:
            raise CommandError(str(error)) from error
        except Http404 as error:
            raise CommandError("That person has no part in such a group.") from error
        self._tell(sheet, published=options["publish"])

    def _member(self, options: dict[str, Any]) -> Member:
        user = User.objects.filter(email__iexact=options["email"]).first()
        if user is None:
            raise CommandError(f"Nobody has the e-mail {options['email']}.")
        member = member_for(user, options["group"])
        require(member, COUNTERS)
        return member

    def _go(self, options: dict[str, Any]) -> Sheet:
        with transaction.atomic(), options["file"].open("rb") as file:
            member = self._member(options)
            sheet, fresh = services.receive(
                member,
                file_name=options["file"].name,
                chunks=iter(lambda: file.read(CHUNK), b""),
            )
        if not fresh:
            self.stdout.write("This very file was published before; nothing changed.")
            return sheet
        sheet = self._work(sheet)
        answers = dict(pair.split("=", 1) for pair in options["answer"])
        if answers and sheet.state == Sheet.State.CHECKED:
            with transaction.atomic():
                services.answer(self._member(options), sheet, answers=answers)
            sheet = self._work(sheet)
        if options["publish"] and sheet.state == Sheet.State.CHECKED:
            with transaction.atomic():
                services.publish(self._member(options), sheet)
            sheet = self._work(sheet)
        return sheet

    def _work(self, sheet: Sheet) -> Sheet:
        work_on(sheet.farm_group_id, sheet.pk)
        with stating(sheet.farm_group_id):
            sheet.refresh_from_db()
        return sheet

    def _tell(self, sheet: Sheet, *, published: bool) -> None:
        with stating(sheet.farm_group_id):
            findings = list(findings_of(sheet))
        for found in findings:
            row = f"row {found.row_number}, " if found.row_number else ""
            column = f"{found.column}: " if found.column else ""
            self.stdout.write(f"{found.level}: {row}{column}{found.sentence}")
        for question in sheet.summary.get("questions", []):
            choices = ", ".join(value for value, _ in question["choices"])
            self.stdout.write(
                f"question {question['key']}: {question['sentence']} ({choices})"
            )
        self.stdout.write(f"{sheet.file_name} is {sheet.get_state_display()}.")
        if sheet.state == Sheet.State.REFUSED or (
            published and sheet.state != Sheet.State.PUBLISHED
        ):
            raise CommandError("The sheet was not published.")
        if sheet.summary.get("errors") or sheet.summary.get("open_questions"):
            raise CommandError("The sheet has errors or open questions.")
