"""Who may ask, and what a browser may do with the answer.

The pages are for one person on this machine. Another site open in the same browser must not be able to read or change
them: requests carry the address they were made for (Host) and the page they came from (Origin), and every form a token
that only our own pages know. What the answer may load is said in its headers (Content Security Policy Level 3).
"""

from __future__ import annotations

import secrets
from typing import Any

from itsdangerous import Signer
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE, TOKEN = "brinemark_visitor", "token"
SAFE = frozenset(("GET", "HEAD"))
MOST_BYTES = 600 * 2**20
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=(), serial=()",
}


class Guard:
    """Turns away what was not asked by our own pages of this very address, and sets the headers of every answer."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str]) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = _refusal(scope["method"], Headers(scope=scope), self.hosts)
        if refused is not None:
            status, text = refused
            answer = PlainTextResponse(f"{text}\n", status, headers={**HEADERS, "Connection": "close"})
            await answer(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self.app(scope, receive, guarded)


def _refusal(method: str, headers: Headers, hosts: frozenset[str]) -> tuple[int, str] | None:
    """Status and one line for a request that is turned away, else None."""
    if headers.get("host", "").lower() not in hosts:
        return 421, "this address is not served here; open the address that the command printed"
    if method not in (*SAFE, "POST"):
        return 405, f"method {method}; only GET, HEAD and POST are served"
    if method in SAFE:
        return None
    origin = headers.get("origin")
    if origin is not None and origin.lower() not in {f"http://{host}" for host in hosts}:
        return 403, "this form was sent from another page; open the pages themselves and send it from there"
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return 403, "this form was sent from another page; open the pages themselves and send it from there"
    length = headers.get("content-length")
    if length is None:
        return 411, "a form without its length"
    if not length.isdecimal() or int(length) > MOST_BYTES:
        return 413, f"more than {MOST_BYTES // 2**20} MB at once; send fewer files at a time"
    return None


def visitor_of(request: Request) -> str:
    """The random name of a browser, from its cookie, or a new one."""
    found = request.cookies.get(COOKIE, "")
    return found if len(found) == 32 and found.isalnum() else secrets.token_hex(16)


def token_for(secret: bytes, visitor: str) -> str:
    """What a form of this browser must carry."""
    return Signer(secret, salt="form").get_signature(visitor).decode()


def is_ours(secret: bytes, request: Request, token: Any) -> bool:
    """Whether a form carries the token of the browser that sends it."""
    visitor = request.cookies.get(COOKIE, "")
    return bool(visitor) and isinstance(token, str) and Signer(secret, salt="form").verify_signature(visitor, token)
