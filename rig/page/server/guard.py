"""Who may ask for what: host, origin, token and size are checked here, before any handler sees a request."""

import hmac
from collections.abc import Callable, Mapping

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_HEADER = "x-bench-token"
SAFE = ("GET", "HEAD")
STRICT = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": STRICT,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class TooLargeError(HTTPException):
    """A body went past its limit."""

    def __init__(self) -> None:
        super().__init__(status_code=413, detail="This is larger than allowed. Send less.")


class Guard:
    """ASGI middleware in front of everything.

    hosts: answers True for a Host header that is this server.  token: needed for every change, None on a server
    that has a rule of its own.  limits: path -> bytes of body allowed; all others get `limit`.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        hosts: Callable[[str], bool],
        token: str | None,
        limits: Mapping[str, int],
        limit: int = 64_000,
    ) -> None:
        self._app, self._hosts, self._token = app, hosts, token
        self._limits, self._limit = limits, limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check, then hand on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no web sockets here
        started = False

        async def with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await refused(scope, receive, with_headers)
            return
        limit, seen = self._limits.get(scope["path"], self._limit), 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > limit:
                    raise TooLargeError
            return message

        try:
            await self._app(scope, counted, with_headers)
        except TooLargeError:
            if not started:
                await no(413, "this is larger than allowed", "Send less")(scope, receive, with_headers)

    def _refusal(self, scope: Scope) -> JSONResponse | None:
        headers, method = Headers(scope=scope), scope["method"]
        if not self._hosts(headers.get("host", "")):
            return no(403, "this server does not go by that name", "Open the address that pivotbench printed")
        origin = headers.get("origin")
        if origin is not None and not (origin.startswith("http://") and self._hosts(origin[7:])):
            return no(403, "another web page asked", "Use the bench page itself")
        site, mode = headers.get("sec-fetch-site", "none"), headers.get("sec-fetch-mode", "")
        if site not in ("none", "same-origin") and not (mode == "navigate" and method == "GET"):
            return no(403, "another web page asked", "Use the bench page itself")
        if method not in (*SAFE, "POST"):
            refusal = no(405, f"{method[:16]} is not used here", "Use GET or POST")
            refusal.headers["allow"] = "GET, HEAD, POST"
            return refusal
        if method == "POST":
            if self._token is not None and not hmac.compare_digest(
                headers.get(TOKEN_HEADER, "").encode(), self._token.encode()
            ):
                return no(403, "the token is missing or old", "Reload the page")
            length = headers.get("content-length", "0")
            if not length.isascii() or not length.isdigit():
                return no(400, "the length is no number", "Send a proper request")
            if int(length[:20]) > self._limits.get(scope["path"], self._limit):
                return no(413, "this is larger than allowed", "Send less")
        return None


def no(status: int, what: str, remedy: str) -> JSONResponse:
    """A refusal in the one shape that the page shows."""
    return JSONResponse({"error": f"{what[:1].upper()}{what[1:]}. {remedy}."}, status_code=status)


def loopback_hosts(port: int) -> Callable[[str], bool]:
    """Names under which the bench page may be asked for."""
    names = {f"{name}:{port}" for name in ("127.0.0.1", "localhost", "[::1]")}
    return lambda host: host.lower() in names
