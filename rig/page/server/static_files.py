"""The page's own files: read once at the start and sent from memory, so that no path from outside is ever opened."""

import gzip
import hashlib
from dataclasses import dataclass
from importlib import resources

from starlette.requests import Request
from starlette.responses import Response

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asset:
    """One file: plain and compressed."""

    kind: str
    plain: bytes
    packed: bytes
    tag: str


Assets = dict[str, Asset]


def load_assets() -> Assets:
    """All files that may be sent, by name. Names are unique across folders."""
    found: Assets = {}
    folders = [resources.files("rig.page") / "static"]
    while folders:
        for entry in folders.pop().iterdir():
            if entry.is_dir():
                folders.append(entry)
            elif (kind := TYPES.get("." + entry.name.rsplit(".", 1)[-1])) is not None:
                plain = entry.read_bytes()
                tag = f'"{hashlib.sha256(plain).hexdigest()[:20]}"'
                found[entry.name] = Asset(kind=kind, plain=plain, packed=gzip.compress(plain, 9), tag=tag)
    return found


def send_asset(assets: Assets, name: str, request: Request) -> Response:
    """One file, or 404; compressed when the browser takes it, not at all when it has it."""
    asset = assets.get(name)
    if asset is None:
        return Response("There is nothing here.", status_code=404, media_type="text/plain")
    headers = {"etag": asset.tag, "cache-control": "no-cache", "vary": "accept-encoding"}
    if request.headers.get("if-none-match") == asset.tag:
        return Response(status_code=304, headers=headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(asset.packed, headers=headers | {"content-encoding": "gzip"}, media_type=asset.kind)
    return Response(asset.plain, headers=headers, media_type=asset.kind)
