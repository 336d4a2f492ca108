"""How a tablet comes to trust the farm's own certificate: inside the program, and at the plain port before.

The plain page is drawn by the process that starts the program, without a request: it knows no login, no farm.
"""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from nursery.actions.plain_door import ROOT_PATH, TRUST_PATH, fingerprint
from nursery.actions.serving import http_address, lan_address
from nursery.labels.qr import QUIET_MODULES, symbol

PUBLIC_ROOT = "https/root.crt"


@require_safe
@never_cache
def trust(request: HttpRequest) -> HttpResponse:
    """The steps with the address for the tablet, or why there is nothing to do."""
    return render(request, "trust/trust.html", _own_certificate(request) or {"is_proxied": settings.HTTPS})


def door_page(*, address: str, plain: str, fingerprint: str) -> str:
    """Return the page at the plain port: ``address`` is that of the program over HTTPS."""
    return render_to_string("trust/door.html", {"address": address, **_context(plain, fingerprint)})


def _own_certificate(request: HttpRequest) -> dict[str, object] | None:
    """Return what the page says of the farm's own certificate; None where the program has none."""
    if settings.PLAIN_PORT is None:
        return None
    root = (settings.DATA_DIR / PUBLIC_ROOT).read_bytes()
    plain = http_address(_host(request), settings.PLAIN_PORT)
    return {"is_own": True, **_context(plain, fingerprint(root))}


def _context(plain: str, fingerprint: str) -> dict[str, object]:
    return {
        "plain": plain,
        "plain_page": plain + TRUST_PATH,
        "root_file": plain + ROOT_PATH,
        "qr": qr_drawing(plain + TRUST_PATH),
        "fingerprint": fingerprint,
    }


def _host(request: HttpRequest) -> str:
    """Return the host that a tablet can be sent to: the one asked for, unless only this machine knows it."""
    host = split_domain_port(request.get_host())[0].strip("[]")
    return (lan_address("0.0.0.0") or host) if _is_loopback(host) else host


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")


def qr_drawing(address: str) -> dict[str, object]:
    """Return the side of a QR symbol in modules, quiet zone included, and its dark modules as an SVG path."""
    drawn = symbol(address, "M")
    path = "".join(
        f"M{x + QUIET_MODULES} {y + QUIET_MODULES}h{length}v1h-{length}z" for x, y, length in drawn.runs()
    )
    return {"side": drawn.full_side, "path": path}
