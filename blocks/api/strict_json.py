"""Read JSON as RFC 8259 means it, and no more of it than allowed."""

import json
from collections.abc import Mapping
from typing import IO, Any, ClassVar, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from blocks.errors import SiteError


class TooLargeError(SiteError):
    """A body larger than the view takes."""

    code = "too-large"
    status = 413


class StrictJSONParser(BaseParser):
    """Read a JSON body of at most `most_bytes`.

    What other readers would each take differently is refused: a name that stands twice
    in an object, NaN and infinities, text that is not UTF-8.
    """

    media_type = "application/json"
    most_bytes: ClassVar[int] = 1_000_000

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Give the body as Python values, or refuse it in words."""
        body = stream.read(self.most_bytes + 1)
        if len(body) > self.most_bytes:
            raise TooLargeError(
                f"The request has more than {self.most_bytes:,} bytes; nothing was"
                " stored. Send it in smaller parts."
            )
        return _read(body)


def _read(body: bytes) -> Any:
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ParseError(
            f"The request is not UTF-8 from byte {error.start + 1} on; nothing was"
            " stored."
        ) from error
    try:
        return json.loads(
            text, object_pairs_hook=_object, parse_constant=_refuse_constant
        )
    except json.JSONDecodeError as error:
        raise ParseError(
            f"The request is not JSON: line {error.lineno}, column {error.colno}:"
            f" {error.msg}. Nothing was stored."
        ) from error
    except RecursionError as error:
        raise ParseError(
            "The request is nested too deep; nothing was stored."
        ) from error
    except ValueError as error:  # a whole number of thousands of digits
        raise ParseError(
            "The request has a number that is too long; nothing was stored."
        ) from error


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ParseError(
                f"The request names {name[:40]!a} twice in one object; nothing was"
                " stored."
            )
        found[name] = value
    return found


def _refuse_constant(name: str) -> NoReturn:
    raise ParseError(
        f"The request has {name}, which is not a number in JSON; nothing was stored."
    )
