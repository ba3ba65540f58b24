"""Who may talk to the page's program: the browser that was opened for it, from the page itself.

Any page that a browser has open can send requests to this machine, and so can any program on it.
Each request must name the address that is listened on (or else another name could be led here: DNS
rebinding), come from the page itself (Origin, RFC 6454; Sec-Fetch-Site, W3C Fetch Metadata Request
Headers), and carry a cookie that only the first address gave, once.
"""

import hmac
import secrets
from urllib.parse import parse_qs

from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

FOREIGN = "This address answers only to the page that was opened with it. Start it anew."
READS = ("GET",)
OWN = (None, "same-origin", "none")  # a page of ours, or an address that somebody typed
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "frame-ancestors 'none'",  # the rest stands in each page
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}


class Guard:
    """Lets through what comes from the page, and refuses all else with one sentence.

    Attributes
    ----------
    first
        The address to open; it works once.
    """

    def __init__(self, app: ASGIApp, port: int):
        self.app = app
        self.host = f"127.0.0.1:{port}"
        self.origin = f"http://{self.host}"
        self._token: str | None = secrets.token_urlsafe(32)
        self.first = f"{self.origin}/?token={self._token}"
        # cookies are shared by all ports of a machine
        self._cookie = (f"desk_{port}", secrets.token_urlsafe(32))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":  # the start and the end of the program
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
                message = {**message, "headers": [*message.get("headers", ()), *own]}
            await send(message)

        answer = self.answer(scope)
        await (answer or self.app)(scope, receive, send_with_headers)

    def answer(self, scope: Scope) -> Response | None:
        """What is answered in place of the page; None if the request may pass."""
        headers: dict[str, str | None] = {}
        for name, value in scope["headers"]:
            name = name.decode("latin-1").lower()
            # what comes twice may be read otherwise elsewhere
            headers[name] = None if name in headers else value.decode("latin-1")
        if not self.is_own(scope["method"], headers):
            return PlainTextResponse(FOREIGN, 403)
        name, secret = self._cookie
        query = parse_qs(scope["query_string"].decode("latin-1"))
        if scope["path"] == "/" and "token" in query:
            if not self._token or not is_same(query["token"][0], self._token):
                return PlainTextResponse(FOREIGN, 403)
            self._token = None
            given = RedirectResponse("/", 303)
            given.set_cookie(name, secret, httponly=True, samesite="strict")
            return given
        pairs = [pair.strip().partition("=") for pair in (headers.get("cookie") or "").split(";")]
        if any(key == name and is_same(value, secret) for key, _, value in pairs):
            return None
        return PlainTextResponse(FOREIGN, 403)

    def is_own(self, method: str, headers: dict[str, str | None]) -> bool:
        """Whether a request names this address and comes from a page of ours."""
        origin = headers.get("origin")
        return (
            headers.get("host") == self.host
            and (origin == self.origin or (method in READS and "origin" not in headers))
            and headers.get("sec-fetch-site") in OWN
        )


def is_same(given: str, secret: str) -> bool:
    """Whether a text is the secret, in a time that tells nothing."""
    return hmac.compare_digest(given.encode(), secret.encode())
