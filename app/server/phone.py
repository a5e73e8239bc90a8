"""The phone link: the app on one address of the home network, behind one-time links shown as QR codes."""

from __future__ import annotations

import io
import ipaddress
import socket
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from app.server.gate import QUERY, Links
from colormatch.errors import BadInput

if TYPE_CHECKING:
    import segno

#: Networks where the phone link may open: home networks (RFC 1918, and RFC 3927 without a router), and this machine
#: alone, for a trial. Not 0.0.0.0, which is every network of the machine.
_HOME = tuple(
    map(ipaddress.IPv4Network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8"))
)
#: Explanation of the phone link and how to close it, for the terminal and the page.
WORDS = (
    "The app now listens on your home network. It answers only browsers that opened one of its one-time links.",
    "Anyone who is connected can see and change the whole library. Other users of the network could read the traffic, "
    "because home networks have no certificates, so use it only on your own network.",
    "To close it, stop the program with Ctrl+C; nothing stays open, and the links stop working.",
)
#: The same if the app requires links on this machine alone.
WORDS_HERE = (
    "The app answers only browsers on this computer that opened one of its one-time links, so other users of the "
    "computer have no access.",
    "Anyone who is connected can see and change the whole library.",
    "To close it, stop the program with Ctrl+C; the links stop working.",
)


@dataclass(frozen=True)
class Door:
    """The app behind one-time links, as reached from the home network or only from this machine."""

    #: Host and port.
    host: str
    links: Links = field(default_factory=Links)
    #: Whether it is open to the home network.
    at_home: bool = True

    def address(self, token: str, **query: str) -> str:
        """Address of the app's start page for the browser admitted by a token."""
        return f"http://{self.host}/?{urlencode(query | {QUERY: token})}"


#: Set while the app requires links.
door: Door | None = None


def home_address(wanted: str = "") -> str:
    """This machine's address on its home network.

    Raises
    ------
    BadInput
        There is none, or it is public, or not this machine's.
    """
    found = wanted or _routed_address()
    try:
        at_home = any(ipaddress.IPv4Address(found) in network for network in _HOME)
    except ValueError:
        at_home = False
    if not at_home:
        raise BadInput(
            f"Opening the phone link on {found or 'this machine'} failed: that is not an address of a home network.",
            "Join your home network, or give this machine's address there: --phone 192.168.0.12.",
        )
    return found


def _routed_address() -> str:
    # A connected UDP socket sends nothing; it only makes the system choose the route to a private address.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 9))
        except OSError:
            return ""
        return str(probe.getsockname()[0])


def qr_svg(address: str) -> str:
    """A QR code (ISO/IEC 18004) as an SVG."""
    out = io.BytesIO()
    _code(address).save(out, kind="svg", scale=6, dark="#000", light="#fff")
    return out.getvalue().decode()


def qr_text(address: str) -> str:
    """A QR code of half-block letters for a terminal."""
    out = io.StringIO()
    _code(address).terminal(out, compact=True)
    return out.getvalue()


def _code(address: str) -> segno.QRCode:
    import segno

    return segno.make_qr(address, error="m")
