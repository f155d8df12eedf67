"""One question and its answer over HTTP: the session, the retries, and what counts as an answer."""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Generator, Mapping
from http import HTTPStatus
from types import MappingProxyType
from typing import Any
from urllib.parse import urljoin, urlsplit

import requests
from urllib3.exceptions import ReadTimeoutError

from accord_client.address import Bearer
from accord_client.documents import Editable
from accord_client.exceptions import AccordError, BadAnswer, ConnectionFailed, ProblemError, TimedOut, problem_error
from accord_client.retry import STATUSES, Retry, retry_after_s
from accord_client.version import VERSION

JSON = "application/json"
NDJSON = "application/x-ndjson"
PROBLEM = "application/problem+json"
_REDIRECTS = (301, 302, 303, 307, 308)
_MOST_REDIRECTS = 3
# Lines wait for their turn behind others', which have some seconds each.
_TURN_SILENCE_S = 60.0
_NONE: Mapping[str, str] = MappingProxyType({})
_LINES: Mapping[str, str] = MappingProxyType({"Content-Type": NDJSON, "Accept": f"{NDJSON}, {PROBLEM}"})


class Session:
    """A session that asks with a token and time limits."""

    def __init__(self, auth: Bearer, timeout: tuple[float, float], retry: Retry) -> None:
        self._timeout = timeout
        self._retry = retry
        self._session = requests.Session()
        self._session.auth = auth
        self._session.headers.update({"User-Agent": f"platen-accord-client/{VERSION}", "Accept": f"{JSON}, {PROBLEM}"})

    def close(self) -> None:
        self._session.close()

    def ask(
        self,
        method: str,
        url: str,
        body: bytes | None = None,
        *,
        headers: Mapping[str, str] = _NONE,
        also_answers: tuple[int, ...] = (),
        silence_s: float | None = None,
    ) -> dict[str, Any]:
        """The JSON object that answers. ``also_answers`` are statuses beside 200 whose document is the answer;
        ``silence_s`` is how long the service may stay silent here, the session's own limit when left out.

        Raises ConnectionFailed, TimedOut, ProblemError or BadAnswer.
        """
        return _document(self._answered(method, url, body, headers, also_answers, silence_s))

    def editable(
        self, method: str, url: str, body: bytes | None = None, *, headers: Mapping[str, str] = _NONE
    ) -> Editable:
        """The JSON object that answers, with its ETag. Raises as ``ask`` does."""
        response = self._answered(method, url, body, headers, ())
        return Editable(_document(response), response.headers.get("ETag", ""))

    def raw(self, url: str, etag: str) -> tuple[bytes, str] | None:
        """The bytes of a JSON document and its ETag; None where the one of ``etag`` still holds.

        Raises as ``ask`` does.
        """
        headers = {"If-None-Match": etag} if etag else _NONE
        response = self._answered("GET", url, None, headers, (), unchanged=bool(etag))
        if response.status_code == HTTPStatus.NOT_MODIFIED:
            return None
        _document(response)
        return response.content, response.headers.get("ETag", "")

    def lines(self, url: str, body: bytes) -> Generator[dict[str, Any], None, None]:
        """The JSON objects, one a line, that answer lines; fetched as they are taken. Closed, it gives the connection
        back.

        Raises as ``ask`` does, ConnectionFailed also where it breaks off in between.
        """
        response = self._answered("POST", url, body, _LINES, (), _TURN_SILENCE_S, streamed=True)
        with response:
            if _media(response) != NDJSON:
                raise BadAnswer(f"{url} answered with {_media(response) or 'no media type'}, not {NDJSON}")
            try:
                for line in response.iter_lines():
                    document = _object_in(line)
                    if document is None:
                        raise BadAnswer(f"{url} answered with a line that is not a JSON object")
                    yield document
            except requests.exceptions.RequestException as error:
                raise _failed(url, error, (self._timeout[0], _TURN_SILENCE_S)) from error

    def _answered(
        self,
        method: str,
        url: str,
        body: bytes | None,
        headers: Mapping[str, str],
        also_answers: tuple[int, ...],
        silence_s: float | None = None,
        *,
        streamed: bool = False,
        unchanged: bool = False,
    ) -> requests.Response:
        timeout = (self._timeout[0], self._timeout[1] if silence_s is None else silence_s)
        tries = 0
        while True:
            tries += 1
            try:
                response = self._followed(method, url, body, headers, timeout, streamed)
            except ConnectionFailed:
                if not self._retry.wait(tries):
                    raise
                continue
            if "Deprecation" in response.headers:  # RFC 9745; a newer client knows what to ask instead
                day = response.headers.get("Sunset", "no day is set yet")
                _warn(f"{method} {url} will go: {day}")
            if response.status_code == 200 or (response.status_code in also_answers and _media(response) == JSON):
                return response
            if unchanged and response.status_code == HTTPStatus.NOT_MODIFIED:
                return response
            wait_s = retry_after_s(response.headers.get("Retry-After"))
            # A write that is still under way after its connection was lost: 409, but to be asked for again.
            passing = response.status_code in STATUSES or (response.status_code == 409 and wait_s is not None)
            if not passing or not self._retry.wait(tries, wait_s):
                raise _refusal(response, wait_s, to_an_order=method == "POST")

    def _followed(
        self,
        method: str,
        url: str,
        body: bytes | None,
        headers: Mapping[str, str],
        timeout: tuple[float, float],
        streamed: bool,
    ) -> requests.Response:
        """Reads may be sent on, but only within the service: the token goes to no other place."""
        response = self._send(method, url, body, headers, timeout)
        for _ in range(_MOST_REDIRECTS):
            if response.status_code not in _REDIRECTS:
                return response
            onward = urljoin(url, response.headers.get("Location", ""))
            if method != "GET" or _origin(onward) != _origin(url):
                raise BadAnswer(f"{url} is not the service's address: it points on to {onward:.200}")
            url = onward
            response = self._send(method, url, body, headers, timeout)
        raise BadAnswer(f"{url} points on without end")

    def _send(
        self,
        method: str,
        url: str,
        body: bytes | None,
        headers: Mapping[str, str],
        timeout: tuple[float, float],
        streamed: bool = False,
    ) -> requests.Response:
        sent = {**({"Content-Type": JSON} if body is not None else {}), **headers}
        try:
            return self._session.request(
                method, url, data=body, headers=sent, timeout=timeout, allow_redirects=False, stream=streamed
            )
        except requests.exceptions.RequestException as error:
            raise _failed(url, error, timeout) from error


def _failed(url: str, error: requests.exceptions.RequestException, timeout: tuple[float, float]) -> AccordError:
    """This client's own exception for what a request ended with."""
    if isinstance(error, requests.exceptions.ConnectTimeout):
        return ConnectionFailed(f"no connection to {_origin(url)} within {timeout[0]:g} s")
    if isinstance(error, requests.exceptions.Timeout):
        return _timed_out(url, timeout[1])
    if isinstance(error, (requests.exceptions.ConnectionError, requests.exceptions.ChunkedEncodingError)):
        # A body that stops coming is a silence too, though requests files it under lost connections.
        if error.args and isinstance(error.args[0], ReadTimeoutError):
            return _timed_out(url, timeout[1])
        return ConnectionFailed(f"no connection to {_origin(url)}, or it broke: {_cause(error)}")
    return BadAnswer(f"{_origin(url)} did not answer as a web server does: {_cause(error)}")


def _warn(what: str) -> None:
    """Warn at the line that called this client: of other people's code Python tells nobody by default."""
    level, frame = 2, sys._getframe(1)
    while frame.f_back is not None and frame.f_globals.get("__package__") == __package__:
        level, frame = level + 1, frame.f_back
    warnings.warn(what, DeprecationWarning, stacklevel=level)


def _timed_out(url: str, silence_s: float) -> TimedOut:
    return TimedOut(f"no answer from {_origin(url)} within {silence_s:g} s")


def _document(response: requests.Response) -> dict[str, Any]:
    if _media(response) != JSON:
        raise BadAnswer(f"{response.url} answered with {_media(response) or 'no media type'}, not {JSON}")
    document = _parsed(response)
    if document is None:
        raise BadAnswer(f"{response.url} answered with something that is not a JSON object")
    return document


def _refusal(response: requests.Response, wait_s: float | None, *, to_an_order: bool) -> ProblemError:
    problem = _parsed(response) if _media(response) == PROBLEM else None
    if problem is None:  # from a gateway before the service, say; the status is all there is to go by
        problem = {"type": "about:blank", "title": _phrase(response.status_code), "status": response.status_code}
    return problem_error(response.status_code, problem, to_an_order=to_an_order, retry_after_s=wait_s)


def _parsed(response: requests.Response) -> dict[str, Any] | None:
    return _object_in(response.content)


def _object_in(content: bytes) -> dict[str, Any] | None:
    try:
        document = json.loads(content, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def _refuse(word: str) -> Any:
    raise ValueError(f"{word} is not a JSON value")


def _media(response: requests.Response) -> str:
    return str(response.headers.get("Content-Type", "")).partition(";")[0].strip().lower()


def _phrase(status: int) -> str:
    return HTTPStatus(status).phrase if status in set(HTTPStatus) else "Error"


def _origin(url: str) -> str:
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}"


def _cause(error: BaseException) -> str:
    """The innermost reason: the outer ones repeat it with addresses of objects in memory."""
    inner: BaseException | None = error
    last = error
    while inner is not None:
        last, inner = inner, inner.__cause__ or inner.__context__
    return str(last) or type(last).__name__
