"""What a site that serves over TLS tells its people, and what it watches."""

import argparse
import os
import socket
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

from deploy.steps.certificates import RENEW_BEFORE
from deploy.steps.network import network_addresses, parse_name
from deploy.steps.ports import is_everywhere
from deploy.steps.say import StepError, say
from deploy.steps.tls import HERE, Tls, keep_tls, names_to_serve, utc_now

# What fails today is not tried, nor told of, twice a minute.
AGAIN_AFTER = timedelta(hours=12)


class Serving:
    """The names under which one start serves, and the certificate for them."""

    def __init__(
        self,
        state: Path,
        listening: socket.socket,
        given: Iterable[str],
        environ: Mapping[str, str] = os.environ,
        *,
        now: Callable[[], datetime] = utc_now,
    ) -> None:
        """Make or renew the certificate for what the socket listens on."""
        self._state = state
        self._now = now
        self._allowed = environ.get("WASHBOARD_ALLOWED_HOSTS", "")
        self._host, self._port = listening.getsockname()[:2]
        named = [*given, *_host_of(environ.get("WASHBOARD_SITE_URL", ""))]
        self.tls: Tls = keep_tls(state, names_to_serve(self._host, named), now=now)
        self._addresses = self._present_addresses()
        self._renewed_at: datetime | None = None

    @property
    def url(self) -> str:
        """The address that mails, labels and calendars name."""
        return self.tls.urls(self._port)[0]

    def settings(self) -> dict[str, str]:
        """Give the site's settings that follow from it."""
        allowed = [*filter(None, self._allowed.split(",")), self.tls.hosts()]
        return {
            "WASHBOARD_ALLOWED_HOSTS": ",".join(allowed),
            "WASHBOARD_AUTHORITY_FILE": str(self.tls.authority_file),
        }

    def words(self) -> list[str]:
        """Say what to open on a phone, what to trust, and what to beware of."""
        urls = self.tls.urls(self._port)
        return [
            "\nOn phones and other machines of this network, open one of",
            *(f"  {url}" for url in urls),
            "Names work where the network knows them; addresses always.",
            "\nEach device has to trust this site's own certificate first. How, and the"
            " file:",
            f"  {urls[0]}/certificate/",
            "The browser warns until that is done. Compare the SHA-256 fingerprint:",
            f"  {self.tls.fingerprint[:48]}",
            f"  {self.tls.fingerprint[48:]}",
            "Caution: a device that trusts it believes whatever this machine signs. Do"
            " it only on\ndevices of your own, only if the fingerprint is the same, and"
            " keep the state folder closed.\nEverybody on this network can reach the"
            " sign-in page.",
        ]

    def look(self) -> None:
        """Renew a certificate that runs out, and say when the addresses changed."""
        if self._runs_out() and self._is_time():
            self._renew()
        present = self._present_addresses()
        if present and present != self._addresses:
            say(
                "This machine's addresses changed; they are now"
                f" {', '.join(sorted(present))}. Stop and start again to serve them."
            )
            self._addresses = present

    def _runs_out(self) -> bool:
        return self._now() > self.tls.valid_until - RENEW_BEFORE

    def _is_time(self) -> bool:
        # A clock that was set back has no say in when it is tried again.
        tried = self._renewed_at
        return tried is None or abs(self._now() - tried) >= AGAIN_AFTER

    def _renew(self) -> None:
        self._renewed_at = self._now()
        try:
            self.tls = keep_tls(self._state, self.tls.names, now=self._now)
        except StepError as error:
            say(f"The certificate could not be renewed. {error}")
            return
        if self._runs_out():
            # The server's lasts no longer than the one it is signed by.
            say(
                "The certificate that phones trust ends on"
                f" {self.tls.valid_until:%-d %b %Y}, and this site's with it. Before"
                f" that day stop it, delete the folder {self.tls.authority_file.parent}"
                " and start again; each device then has to trust the new one."
            )

    def _present_addresses(self) -> set[str]:
        return set(network_addresses()) if is_everywhere(self._host) else set()


def _host_of(site_url: str) -> list[str]:
    try:
        host = urlsplit(site_url).hostname
        return [parse_name(host)] if host and host not in HERE else []
    except (ValueError, argparse.ArgumentTypeError) as error:
        raise StepError(
            f"WASHBOARD_SITE_URL is {site_url}, which is no address for a browser."
            " Write it like https://washboard.example.org:8000."
        ) from error
