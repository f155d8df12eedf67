"""How the store is reached: addresses, timeouts, and the one place where a library's error becomes one of ours."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs, unquote

import redis
from redis import exceptions
from redis.backoff import NoBackoff
from redis.retry import Retry
from redis.sentinel import Sentinel, SentinelConnectionPool

from accord_service.store import names
from accord_service.store.breaker import Breaker
from accord_service.store.errors import NotReplicated, StoreAway, StoreBroken, WriteRefused

logger = logging.getLogger("accord_service.store")

TIMEOUT_S = 0.2
HEALTH_CHECK_S = 15
SCHEMES = ("redis", "rediss", "unix")
SENTINEL_SCHEME = "redis+sentinel"
SENTINEL_PORT = 26379
# As the server lists our connections: this and the id of the seal key that is written with. Older versions had no id.
CLIENT_NAME, KEYLESS = "accord", "keyless"
_REPLICAS = "replicas="
WITNESS_MS = 1000
# Answers that pass by themselves, by the store's word for each: why, for whoever knows nothing of the store. Its own
# words name commands, settings and files, and go into the log.
AWAY: Mapping[str, str] = MappingProxyType(
    {
        "LOADING": "it is still reading its data",
        "MASTERDOWN": "its primary is not there",
        "CLUSTERDOWN": "a part of it is not there",
        "TRYAGAIN": "a part of it is being moved",
        "BUSY": "something else keeps it busy",
    }
)
# The same for writes alone.
NO_WRITES: Mapping[str, str] = MappingProxyType(
    {
        "READONLY": "it is a copy of another that takes them",
        "MISCONF": "its disk is full or can't be written",
        "NOREPLICAS": "the copies that must have each write are not there",
        "OOM": "its memory is full",
    }
)


@dataclass(frozen=True, slots=True)
class SentinelAddress:
    """``redis+sentinel://[user:password@]host[:port],host[:port].../service[?db=n]``; the password is the master's."""

    hosts: tuple[tuple[str, int], ...]
    service: str
    db: int
    username: str | None
    password: str | None


def sentinel_address(url: str) -> SentinelAddress:
    """Read a Sentinel address. Raises StoreBroken saying what is wrong; the password is never repeated."""
    # By hand: the library's URL parser knows one host only, and its newer versions refuse two in brackets.
    place, _, query = url.partition("://")[2].partition("?")
    authority, _, path = place.partition("/")
    credentials, _, hosts = authority.rpartition("@")
    username, _, password = credentials.partition(":")
    service = unquote(path)
    db = parse_qs(query).get("db", ["0"])[-1]
    if not service or "/" in service:
        raise StoreBroken(f"a {SENTINEL_SCHEME} address ends with /<name of the service>")
    if not db.isascii() or not db.isdecimal():
        raise StoreBroken(f"db must be a number, not {db!r}")
    return SentinelAddress(
        tuple(_host(host) for host in hosts.split(",")),
        service,
        int(db),
        unquote(username) or None,
        unquote(password) or None,
    )


def _host(text: str) -> tuple[str, int]:
    """``host``, ``host:port``, ``[IPv6]`` or ``[IPv6]:port``."""
    if text.startswith("["):
        host, bracket, rest = text[1:].partition("]")
        fits = bool(bracket) and (not rest or rest.startswith(":"))
        port = rest.removeprefix(":")
    else:
        host, colon, port = text.partition(":")
        fits = not colon or bool(port)
    port = port or str(SENTINEL_PORT)
    if not host or not fits or not port.isascii() or not port.isdecimal() or not 0 < int(port) < 65536:
        raise StoreBroken(f"{text!r} is not a Sentinel's host:port")
    return host, int(port)


def connect(url: str, timeout_s: float = TIMEOUT_S, key_id: str = KEYLESS) -> redis.Redis:
    """A client with explicit timeouts and no retries of its own; connects at the first command.

    ``url``: ``redis://``, ``rediss://``, ``unix://`` or ``redis+sentinel://``. Raises StoreBroken for any other.
    """
    scheme = url.partition("://")[0].lower()
    options: dict[str, Any] = {
        "socket_timeout": timeout_s,
        "socket_connect_timeout": timeout_s,
        # The library's default retries turn a refused connection into five seconds of waiting.
        "retry": Retry(NoBackoff(), 0),
        "health_check_interval": HEALTH_CHECK_S,
        "decode_responses": False,
        "client_name": f"{CLIENT_NAME}-{key_id}",
        "protocol": 2,
    }
    if scheme == SENTINEL_SCHEME:
        return _through_sentinel(sentinel_address(url), timeout_s, options)
    if scheme not in SCHEMES:
        raise StoreBroken(f"the store's address must start with one of {', '.join((*SCHEMES, SENTINEL_SCHEME))}://")
    try:
        return redis.Redis.from_url(url, **options)
    except ValueError as error:
        raise StoreBroken(f"the store's address can't be read: {error}") from None


def _through_sentinel(address: SentinelAddress, timeout_s: float, options: dict[str, Any]) -> redis.Redis:
    # Asking the sentinels comes on top of asking the master, so all of them together get half of its time.
    each_s = timeout_s / 2 / len(address.hosts)
    asking = {"socket_timeout": each_s, "socket_connect_timeout": each_s, "retry": Retry(NoBackoff(), 0)}
    sentinel = Sentinel(list(address.hosts), sentinel_kwargs=asking)  # type: ignore[no-untyped-call]
    options |= {"db": address.db, "username": address.username, "password": address.password}
    master: redis.Redis = sentinel.master_for(address.service, **options)  # type: ignore[no-untyped-call]
    return master


def replicas_asked_for(url: str) -> tuple[str, int]:
    """The address without its option ``replicas``, and what that says: how many must have a write. Raises StoreBroken.

    The option is ours: the library would refuse it.
    """
    place, _, query = url.partition("?")
    options = [option for option in query.split("&") if option]
    counts = [option.removeprefix(_REPLICAS) for option in options if option.startswith(_REPLICAS)]
    others = "&".join(option for option in options if not option.startswith(_REPLICAS))
    if len(counts) > 1 or any(not count.isascii() or not count.isdecimal() for count in counts):
        raise StoreBroken(f"{_REPLICAS} of the store's address must be one whole number, not {' and '.join(counts)!r}")
    return f"{place}?{others}" if others else place, int(counts[0]) if counts else 0


class Connection:
    """Commands to the store. Every failure is a StoreAway (at once, while the breaker is open) or a StoreBroken.

    ``replicas``: how many must have a write before it counts, within ``replication_s``.
    """

    def __init__(
        self,
        client: redis.Redis,
        breaker: Breaker | None = None,
        replicas: int = 0,
        replication_s: float = TIMEOUT_S / 2,
    ) -> None:
        self._client = client
        self._execute: Callable[..., Any] = client.execute_command
        self._breaker = breaker or Breaker()
        self._replicas = replicas
        self._wait = ("WAIT", replicas, max(1, round(replication_s * 1000)))

    @classmethod
    def to(cls, url: str, timeout_s: float = TIMEOUT_S, key_id: str = KEYLESS) -> Connection:
        """To the store at ``url``, from the first command on. ``timeout_s``: for connecting, and for each answer.

        An answer that waits for replicas may take half as long again: servers look but ten times a second who waited.
        """
        url, replicas = replicas_asked_for(url)
        client = connect(url, timeout_s * 1.5 if replicas else timeout_s, key_id)
        return cls(client, None, replicas, timeout_s / 2)

    def clients(self) -> list[tuple[str, str]]:
        """The seal key's id (see ``CLIENT_NAME``) and the address of each of the program's connections to the store."""
        lines = bytes(self.ask("CLIENT", "LIST")).decode("utf-8", "replace").splitlines()
        fields = [dict(word.partition("=")[::2] for word in line.split(" ")) for line in lines]
        named = [(one.get("name", "").partition("-"), one.get("addr", "")) for one in fields]
        return [(key_id, address) for (name, _, key_id), address in named if name == CLIENT_NAME]

    @property
    def wants_replicas(self) -> bool:
        """Whether a write counts only once replicas have it."""
        return self._replicas > 0

    def ask(self, *command: Any) -> Any:
        """One command's answer."""
        return self._guarded(lambda: self._execute(*command))

    def ask_all(self, commands: Sequence[Sequence[Any]]) -> list[Any]:
        """The answers to several commands sent together; they are not one transaction."""
        return self._guarded(lambda: self._send(commands)) if commands else []

    def ask_primary(self, commands: Sequence[Sequence[Any]]) -> list[Any]:
        """``ask_all`` of the store that the Sentinels, where there are any, call the primary at this moment.

        One that was frozen or cut off while the other was promoted goes on answering for seconds afterwards, and an
        idle connection to it would be believed.
        """
        answers: list[Any] = self._guarded(lambda: self._send_to_primary(commands))
        return answers

    def _send_to_primary(self, commands: Sequence[Sequence[Any]]) -> list[Any]:
        self._let_go_of_others()
        return self._send(commands)

    def _let_go_of_others(self) -> None:
        pool = self._client.connection_pool
        if isinstance(pool, SentinelConnectionPool):
            # Where no Sentinel answers, nobody was promoted as far as can be known.
            with suppress(exceptions.RedisError, OSError):
                pool.get_master_address()  # type: ignore[no-untyped-call]  # lets go of connections to any other

    def _send(self, commands: Sequence[Sequence[Any]]) -> list[Any]:
        pipeline = self._client.pipeline(transaction=False)
        execute: Callable[..., Any] = pipeline.execute_command
        for command in commands:
            execute(*command)
        return list(pipeline.execute())

    def run(self, script: str, sha1: str, keys: Sequence[str], arguments: Sequence[str | bytes]) -> Any:
        """The answer of a script, sent whole only if the server does not have it yet."""
        return self._guarded(lambda: self._run(self._execute, script, sha1, keys, arguments))

    def run_at_primary(self, script: str, sha1: str, keys: Sequence[str], arguments: Sequence[str | bytes]) -> Any:
        """The same at the store that is the primary at this moment; see ``ask_primary``."""

        def run() -> Any:
            self._let_go_of_others()
            return self._run(self._execute, script, sha1, keys, arguments)

        return self._guarded(run)

    def commit(self, script: str, sha1: str, keys: Sequence[str], arguments: Sequence[str | bytes]) -> Any:
        """The same for a script whose writes must not be lost. Raises NotReplicated if too few replicas have them."""
        execute = self._replicated if self._replicas else self._execute
        return self._guarded(lambda: self._run(execute, script, sha1, keys, arguments))

    def confirm(self) -> None:
        """Return once as many replicas as are asked for have all that the store holds now. Raises NotReplicated.

        For whoever acknowledges a write that somebody else did: that one may still wait for the replicas.
        """
        if self._replicas:
            # The replicas get all writes in one order, and only one of this connection's own can be waited for.
            self._guarded(lambda: self._replicated("SET", names.WITNESS, "", "PX", WITNESS_MS))

    @staticmethod
    def _run(
        execute: Callable[..., Any], script: str, sha1: str, keys: Sequence[str], arguments: Sequence[str | bytes]
    ) -> Any:
        rest = (len(keys), *keys, *arguments)
        try:
            return execute("EVALSHA", sha1, *rest)
        except exceptions.NoScriptError:
            return execute("EVAL", script, *rest)

    def _replicated(self, *command: Any) -> Any:
        """A command's answer, once the replicas have what it wrote: WAIT is about what came over its connection."""
        pipeline = self._client.pipeline(transaction=False)
        send: Callable[..., Any] = pipeline.execute_command
        send(*command)
        send(*self._wait)
        answer, replicas = pipeline.execute(raise_on_error=False)
        for failure in (answer, replicas):
            if isinstance(failure, Exception):
                raise failure
        if replicas < self._replicas:
            raise NotReplicated(
                f"the write has reached {replicas} of the {self._replicas} replicas that must have it; ask again"
            )
        return answer

    def close(self) -> None:
        """Let go of every socket."""
        self._client.close()

    def _guarded(self, ask: Callable[[], Any]) -> Any:
        return self._breaker.call(lambda: translated(ask))


def translated(ask: Callable[[], Any]) -> Any:
    """``ask()``, with the library's errors turned into ours."""
    try:
        return ask()
    except (exceptions.AuthenticationError, exceptions.AuthorizationError) as error:
        raise StoreBroken(f"the store refuses us: {error}") from error
    except exceptions.ReadOnlyError as error:
        raise _no_writes("READONLY", error) from error
    except (exceptions.ConnectionError, exceptions.TimeoutError, OSError) as error:
        # The library's own words name addresses and paths, which no caller needs to know.
        logger.debug("the store does not answer: %s", error)
        late = isinstance(error, exceptions.TimeoutError | TimeoutError)
        raise StoreAway(f"the store does not answer ({'no answer in time' if late else 'no connection'})") from error
    except exceptions.OutOfMemoryError as error:
        raise _no_writes("OOM", error) from error
    except exceptions.ClusterDownError as error:  # MASTERDOWN too
        raise _away("CLUSTERDOWN", error) from error
    except exceptions.TryAgainError as error:
        raise _away("TRYAGAIN", error) from error
    except exceptions.RedisError as error:
        code = str(error).partition(" ")[0]
        if code in NO_WRITES:
            raise _no_writes(code, error) from error
        if code in AWAY:
            raise _away(code, error) from error
        raise StoreBroken(f"the store refuses a command: {error}") from error


def _no_writes(code: str, error: Exception) -> WriteRefused:
    logger.warning("the store takes no writes: %s", error)
    return WriteRefused(f"the store takes no writes now: {NO_WRITES[code]}")


def _away(code: str, error: Exception) -> StoreAway:
    logger.warning("the store can't answer: %s", error)
    return StoreAway(f"the store can't answer now: {AWAY[code]}")
