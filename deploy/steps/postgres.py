"""Make and describe the private PostgreSQL cluster: on a socket only, ours alone."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

from deploy.steps.commands import run
from deploy.steps.packages import POSTGRES_HOME, has_postgis, postgres_majors
from deploy.steps.say import StepError, say
from deploy.steps.sockets import POSTGRES_PORT

DATABASE = "washboard"
OWNER = "washboard_owner"
SITE = "washboard_site"
SUPERUSER = "postgres"

# Only the account that runs the cluster is its superuser; the roles give passwords.
ACCESS = f"""\
local all {SUPERUSER} peer map=washboard
local all all scram-sha-256
"""


@dataclass(frozen=True, kw_only=True)
class Cluster:
    """A PostgreSQL of our own."""

    folder: Path
    sockets: Path
    programs: Path
    # A cluster for tests is thrown away, so it need not survive a power cut.
    lasting: bool = True

    def command(self) -> list[str | Path]:
        """Give the command that serves it in the foreground."""
        settings = {
            "listen_addresses": "",
            "unix_socket_directories": str(self.sockets),
            "unix_socket_permissions": "0700",
            "port": POSTGRES_PORT,
            "max_connections": "100",
            "shared_buffers": "256MB",
            "password_encryption": "scram-sha-256",
            "timezone": "UTC",
            "log_timezone": "UTC",
            "log_line_prefix": "%m [%p] %d ",
        }
        if not self.lasting:
            settings |= dict.fromkeys(
                ("fsync", "synchronous_commit", "full_page_writes"), "off"
            )
        options = [part for pair in settings.items() for part in ("-c", "=".join(pair))]
        return [self.programs / "postgres", "-D", self.folder, *options]

    def url(self, role: str, password: str, database: str = DATABASE) -> str:
        """Give the libpq URI for a role."""
        return (
            f"postgresql://{role}:{quote(password, safe='')}@/{database}"
            f"?host={quote(str(self.sockets), safe='')}&port={POSTGRES_PORT}"
        )

    def as_superuser(self, database: str = SUPERUSER) -> psycopg.Connection:
        """Connect as the superuser, which only the cluster's account may."""
        return psycopg.connect(
            host=str(self.sockets),
            port=POSTGRES_PORT,
            user=SUPERUSER,
            dbname=database,
            autocommit=True,
            connect_timeout=5,
        )


def make_cluster(
    folder: Path, *, sockets: Path, account_name: str, lasting: bool = True
) -> Cluster:
    """Give the cluster in the folder, made now if it is not there."""
    if (folder / "PG_VERSION").exists():
        return Cluster(
            folder=folder,
            sockets=sockets,
            programs=_programs_for(folder),
            lasting=lasting,
        )
    if folder.exists() and any(folder.iterdir()):
        raise StepError(
            f"{folder} holds files but no PostgreSQL cluster. Move it away and start"
            " again."
        )
    programs = POSTGRES_HOME / str(postgres_majors()[0]) / "bin"
    say(f"Making its cluster in {folder}.")
    # Made under another name: an interrupted initdb is never taken for a cluster.
    unfinished = folder.with_name(f"{folder.name}.unfinished")
    if unfinished.exists():
        shutil.rmtree(unfinished)
    run(
        [
            *(programs / "initdb", "--pgdata", unfinished, "--username", SUPERUSER),
            # C.UTF-8 is on every machine; other locales may not be.
            *("--encoding", "UTF8", "--locale", "C.UTF-8", "--auth", "peer"),
            *(() if lasting else ("--no-sync",)),
        ],
        failing="PostgreSQL's initdb failed; its words are above.",
    )
    (unfinished / "pg_hba.conf").write_text(ACCESS)
    (unfinished / "pg_ident.conf").write_text(
        f'washboard "{account_name}" {SUPERUSER}\n'
    )
    if folder.exists():
        folder.rmdir()
    unfinished.rename(folder)
    return Cluster(folder=folder, sockets=sockets, programs=programs, lasting=lasting)


def _programs_for(folder: Path) -> Path:
    """Give the programs of the version that the cluster was made with."""
    major = int((folder / "PG_VERSION").read_text().strip())
    programs = POSTGRES_HOME / str(major) / "bin"
    if (programs / "postgres").exists() and has_postgis(major):
        return programs
    raise StepError(
        f"The cluster in {folder} was made by PostgreSQL {major}, which (with PostGIS)"
        f" is no longer installed here. Install postgresql-{major}-postgis-3 again, or"
        " move the data to the newer version: deploy/runbook.md, 'Upgrade'."
    )


def provision(cluster: Cluster, passwords: dict[str, str]) -> None:
    """Make roles, PostGIS in the template, and the database, where missing."""
    # PostGIS is no trusted extension: with it in the template, a role that may only
    # create databases gets it in each of them, the tests' own included.
    with cluster.as_superuser("template1") as template:
        _install_postgis(template)
    with cluster.as_superuser() as link:
        _provide_role(link, OWNER, passwords["owner_password"], creates=True)
        _provide_role(link, SITE, passwords["site_password"], creates=False)
        there = link.execute(
            "SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]
        ).fetchone()
        if not there:
            link.execute(
                sql.SQL("CREATE DATABASE {} OWNER {}").format(
                    sql.Identifier(DATABASE), sql.Identifier(OWNER)
                )
            )
    with cluster.as_superuser(DATABASE) as database:
        _install_postgis(database)


def _install_postgis(link: psycopg.Connection) -> None:
    row = link.execute(
        "SELECT installed_version, default_version FROM pg_available_extensions"
        " WHERE name = 'postgis'"
    ).fetchone()
    if row is None:
        raise StepError("PostGIS is not installed for this PostgreSQL.")
    installed, newest = row
    if installed is None:
        link.execute("CREATE EXTENSION postgis")
    elif installed != newest:
        link.execute("ALTER EXTENSION postgis UPDATE")


def _provide_role(
    link: psycopg.Connection, name: str, password: str, *, creates: bool
) -> None:
    role = sql.Identifier(name)
    if not link.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [name]).fetchone():
        link.execute(sql.SQL("CREATE ROLE {}").format(role))
    # Hashed here, so that no log ever holds the password.
    hashed = link.pgconn.encrypt_password(
        password.encode(), name.encode(), b"scram-sha-256"
    )
    link.execute(
        sql.SQL(
            "ALTER ROLE {} LOGIN NOSUPERUSER NOCREATEROLE NOREPLICATION NOBYPASSRLS"
            " {} PASSWORD {}"
        ).format(
            role,
            sql.SQL("CREATEDB" if creates else "NOCREATEDB"),
            sql.Literal(hashed.decode()),
        )
    )
