"""Who may talk to the pages: this machine, by its own name, writing with the page's token."""

import hmac
import json

from starlette.responses import JSONResponse, PlainTextResponse

from ..errors import StakelineError

NAMES = ("127.0.0.1", "localhost", "[::1]")
TOKEN_HEADER = "x-stakeline-token"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; worker-src 'self'; manifest-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)
WRITES = ("POST", "PUT", "PATCH", "DELETE")
LARGEST_JSON = 1 << 20  # bytes


class Guard:
    """Refuse other names of this machine, and writes without the token; add the headers.

    Another site's page that a browser has open can send requests here, and a name server can point
    a foreign name at this machine: the first lacks the token, the second comes under its own name.
    """

    def __init__(self, app, *, port, token):
        self.app = app
        self.hosts = {f"{name}:{port}" for name in NAMES}
        self.token = token

    async def __call__(self, scope, receive, send):
        """Pass a request on, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope)

        async def with_headers(message):
            if message["type"] == "http.response.start":
                own = list(message.get("headers", ()))
                names = {name.lower() for name, _ in own}
                more = [one for one in HEADERS if one[0] not in names]
                message = {**message, "headers": [*own, *more]}
            await send(message)

        await (refusal or self.app)(scope, receive, with_headers)

    def _refusal(self, scope):
        """Return the answer to a request that is not let in, None where it is."""
        headers = {
            key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]
        }
        if headers.get("host", "") not in self.hosts:
            return PlainTextResponse("this page has another name: use localhost", 421)
        if scope["method"] not in WRITES:
            return None
        origin = headers.get("origin")
        if origin is not None and origin.partition("://")[2] not in self.hosts:
            return JSONResponse({"problem": "only this page may write"}, 403)
        if not hmac.compare_digest(headers.get(TOKEN_HEADER, ""), self.token):
            return JSONResponse({"problem": "the page is of an earlier start: load it again"}, 403)
        return None


async def body_of(request, largest):
    """Return the bytes of a request; StakelineError where there are more than ``largest``."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > largest:
            raise StakelineError(f"more than {largest >> 20} MB were sent")
        parts.append(part)
    return b"".join(parts)


async def json_of(request):
    """Return the JSON object of a request; StakelineError where it is none."""
    try:
        content = json.loads(await body_of(request, LARGEST_JSON))
    except ValueError:
        content = None
    if not isinstance(content, dict):
        raise StakelineError("expected a JSON object")
    return content
