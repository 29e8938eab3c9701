"""``manage.py demo``: the invented programme, the account of its mixing day, then web and worker."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

from blends.models import MixingDay
from gardens import serving
from gardens.models import Programme
from schedules import account, demo


class Command(BaseCommand):
    help = "Play an invented programme, print the account of its mixing day, and serve it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="stop after the account")
        parser.add_argument("--start-over", action="store_true", help="forget everything and begin anew")
        parser.add_argument("--yes", action="store_true", help="do not ask before starting over")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(settings.DATA_DIR)
        with ExitStack() as held:
            try:
                serving.prepare(folder)
                held.enter_context(serving.only_one(folder))
                sock = None if options["no_serve"] else serving.bind(options["host"], options["port"])
            except serving.CannotServe as why:
                raise CommandError(str(why)) from None
            if options["start_over"]:
                self._start_over(folder, sure=options["yes"])
            call_command("migrate", verbosity=0, interactive=False)
            self._account(self._programme())
            if sock is None:
                return
            self._sign_ins(options["host"], options["port"])
            connection.close()
            children = serving.Children(settings.BASE_DIR)
            children.start(serving.web_command(sock.fileno()), keep=(sock.fileno(),))
            children.start(serving.worker_command(), log=folder / "worker.log")
            code = children.wait()
        if code:
            sys.exit(code)

    def _start_over(self, folder: Path, *, sure: bool) -> None:
        if not sure:
            answer = input("Everything that was done in this demo will be gone. Type yes to begin anew: ")
            if answer.strip().lower() != "yes":
                raise CommandError("Nothing was changed.")
        if connection.vendor != "sqlite":
            self._drop_tables()  # to empty them is refused: some are only ever added to
            return
        connection.close()
        name = str(connection.settings_dict["NAME"])
        for suffix in ("", "-wal", "-shm", "-journal"):
            Path(name + suffix).unlink(missing_ok=True)
        for queued in (folder / "queue").glob("*"):
            queued.unlink(missing_ok=True)

    def _drop_tables(self) -> None:
        ours = connection.introspection.django_table_names(only_existing=True)
        with transaction.atomic(), connection.cursor() as cursor:
            for table in [*ours, "django_migrations"]:
                cursor.execute(f"DROP TABLE IF EXISTS {connection.ops.quote_name(table)} CASCADE")

    def _programme(self) -> Programme:
        """The demo's programme: as people left it, or built now."""
        found = Programme.objects.order_by("pk").first()
        if found is not None:
            self.stdout.write(f"{found.name}, as it was left.\n\n")
            return found
        self.stdout.write("Building the demo programme (an invented town) …\n")
        built = demo.build()
        self.stdout.write(f"{built.name} is ready.\n\n")
        return built

    def _account(self, programme: Programme) -> None:
        days = MixingDay.objects.filter(programme=programme, round__isnull=False).order_by("day", "pk")
        accounts = [account.account_of(day) for day in days.select_related("programme")]
        for one in accounts:
            for line in account.lines(one):
                self.stdout.write(line)
            self.stdout.write("")
        for line in account.closing(accounts[-1]) if accounts else ["disagreement 0 mg"]:
            self.stdout.write(line)

    def _sign_ins(self, host: str, port: int) -> None:
        shown = "localhost" if host in ("0.0.0.0", "::") else host
        self.stdout.write(f"\nOpen http://{shown}:{port}/ and sign in; the password is {demo.PASSWORD}")
        for role, email, _, _ in demo.SIGN_INS:
            self.stdout.write(f"  {role:<10} {email}")
        self.stdout.write("Stop with Ctrl-C; what you do here is kept for the next start.")
        self.stdout.flush()
