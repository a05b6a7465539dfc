"""Over https a browser gives what camera, position and offline pages need."""

import os
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest
from playwright.sync_api import Browser, Error, Page

from tests.browser.conftest import FLAGS
from tests.deploy.secured import NAME, Secured, secured_site

pytestmark = pytest.mark.browser
POWERS = """() => [
  window.isSecureContext, "serviceWorker" in navigator, "mediaDevices" in navigator
]"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    with secured_site(tmp_path_factory.mktemp("state")) as found:
        yield found


@pytest.fixture
def far(browser: Browser) -> Iterator[Browser]:
    """A browser that comes by a name: what is on its own machine it would trust."""
    opened = browser.browser_type.launch(
        executable_path=_program(),
        args=[*FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"],
    )
    yield opened
    opened.close()


def _program() -> str:
    return os.environ.get("WASHBOARD_CHROMIUM", "/usr/bin/chromium")


def test_a_browser_that_does_not_trust_the_site_warns(
    far: Browser, site: Secured
) -> None:
    page = far.new_page()
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(f"https://{NAME}:{site.port}/healthz")


def test_over_https_the_page_is_a_secure_context(far: Browser, site: Secured) -> None:
    page: Page = far.new_context(ignore_https_errors=True).new_page()
    page.goto(f"https://{NAME}:{site.port}/healthz")
    assert page.evaluate(POWERS) == [True, True, True]


@pytest.fixture
def plain_port() -> Iterator[int]:
    with ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler) as server:
        thread = Thread(target=server.serve_forever)
        thread.start()
        yield server.server_port
        server.shutdown()
        thread.join()


def test_over_plain_http_from_afar_it_is_not(far: Browser, plain_port: int) -> None:
    """So the test above tells of TLS, and not of a browser that allows everything."""
    page = far.new_page()
    page.goto(f"http://{NAME}:{plain_port}/")
    assert page.evaluate(POWERS) == [False, False, False]
