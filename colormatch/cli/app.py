"""Open the bench app in the browser. Only this machine reaches it unless you let your phone in; nothing goes out."""

from __future__ import annotations

import argparse
import errno
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from colormatch.cli.common import add_library, whole

if TYPE_CHECKING:
    from threading import Thread

    from app.server.phone import Door

#: Where the app listens by default; any free port does when it is taken.
PORT = 8610


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port", type=whole(1, 65535), default=PORT, metavar="N", help=f"port on this machine ({PORT})"
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address without opening a browser")
    parser.add_argument(
        "--phone",
        nargs="?",
        const="",
        metavar="ADDRESS",
        help="let your phone connect over the home network with a one-time link (shown as a QR code)",
    )
    parser.add_argument(
        "--ask-link",
        action="store_true",
        help="admit only browsers that open a one-time link, for a computer that several people use",
    )
    add_library(parser, makes=True)


def run(args: argparse.Namespace) -> None:
    import socket

    from colormatch.errors import BadInput
    from colormatch.library.starter import bundled
    from colormatch.library.store import LIBRARY_VARIABLE, default_folder, holds_library

    # `app` is a package beside the library in a checkout, and inside it in an installed copy.
    sys.path.insert(0, str(bundled("app").parent))
    from app.server import phone
    from app.server.start import LOOPBACK, serve

    listen = LOOPBACK if args.phone is None else phone.home_address(args.phone)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((listen, args.port))
        except OSError as error:
            if error.errno == errno.EADDRNOTAVAIL:
                raise BadInput(
                    f"{listen} is not an address of this machine.",
                    "Leave it out, or give one of this machine's addresses.",
                ) from None
            raise BadInput(
                f"Port {args.port} is already in use, perhaps by the app itself.",
                f"Open http://{listen}:{args.port}, or give another --port.",
            ) from None
    if args.library:
        os.environ[LIBRARY_VARIABLE] = str(Path(args.library).expanduser().absolute())
    if not holds_library(default_folder()):
        print(f"There is no library in {default_folder()} yet; a new one is made there.", flush=True)

    host = f"{listen}:{args.port}"
    at_home = args.phone is not None
    door = phone.Door(host, at_home=at_home) if at_home or args.ask_link else None
    token = door.links.mint() if door else ""
    address = door.address(token) if door else f"http://{host}"
    print(f"The bench app is at {address}\nStop it with Ctrl+C.", flush=True)
    if door and at_home:
        _tell_of(door)
    elif door:
        print("The link works once, for one browser, within ten minutes; the app's Link page makes more.", flush=True)
    if not args.no_browser:
        _open_when_up(listen, args.port, address, lambda: bool(door and door.links.waits(token)))
    serve(args.port, door=door)


def _tell_of(door: Door) -> None:
    from app.server import phone

    link = door.address(door.links.mint())
    print("\n" + "\n".join(phone.WORDS))
    print(f"\nOpen this link on the phone within ten minutes. It works once; the app's Phone page makes more:\n{link}")
    if sys.stdout.isatty():
        print(phone.qr_text(link), flush=True)


def _open_when_up(host: str, port: int, address: str, waits: Callable[[], bool]) -> Thread:
    """Open the browser as soon as the server answers; by a page on disk where the address is one that ``waits``."""
    import socket
    import threading
    import webbrowser

    pause = threading.Event().wait

    def wait_and_open() -> None:
        for _ in range(100):
            try:
                socket.create_connection((host, port), timeout=0.3).close()
            except OSError:
                pause(0.2)
            else:
                break
        else:
            return
        if not waits():
            webbrowser.open(address)
            return
        with _page_on_to(address) as page:
            webbrowser.open(page.as_uri())
            while waits():
                pause(0.5)

    thread = threading.Thread(target=wait_and_open, daemon=True)
    thread.start()
    return thread


@contextmanager
def _page_on_to(address: str) -> Iterator[Path]:
    """A page for this user's eyes only that leads to an address: everybody on a machine sees a program's command line.

    It lies in the home folder, since a browser in a sandbox reads nothing elsewhere.
    """
    import atexit
    import shutil
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="colormatch-", dir=Path.home()))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    page = folder / "open.html"
    page.write_text(f'<meta http-equiv="refresh" content="0; url={address}">', encoding="utf-8")
    try:
        yield page
    finally:
        shutil.rmtree(folder, ignore_errors=True)
