"""Open the bench app in the browser. It is served on this machine only, and sends nothing anywhere."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from colormatch.cli.common import add_library

#: Where the app listens by default; any free port does when it is taken.
PORT = 8610


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", type=int, default=PORT, metavar="N", help=f"port on this machine ({PORT})")
    parser.add_argument("--no-browser", action="store_true", help="print the address, open no browser")
    add_library(parser)


def run(args: argparse.Namespace) -> None:
    import socket

    from colormatch.errors import BadInput
    from colormatch.library.starter import bundled

    if not 0 < args.port < 65536:
        raise BadInput(f"{args.port} is no port.", "Give a number from 1 to 65535.")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", args.port))
        except OSError:
            raise BadInput(
                f"Something else listens on port {args.port} already, perhaps the app itself.",
                f"Open http://127.0.0.1:{args.port}, or give another --port.",
            ) from None
    if args.library:
        os.environ["COLORMATCH_LIBRARY"] = str(Path(args.library).absolute())
    # `app` is a package beside the library in a checkout, and inside it in an installed copy.
    sys.path.insert(0, str(bundled("app").parent))
    from app.server import serve

    address = f"http://127.0.0.1:{args.port}"
    print(f"The bench app is at {address}\nStop it with Ctrl+C.", flush=True)
    if not args.no_browser:
        _open_when_up(args.port, address)
    serve(args.port)


def _open_when_up(port: int, address: str) -> None:
    """Open the browser as soon as the server answers."""
    import socket
    import threading
    import webbrowser

    def wait_and_open() -> None:
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", port), timeout=0.3).close()
            except OSError:
                threading.Event().wait(0.2)
            else:
                webbrowser.open(address)
                return

    threading.Thread(target=wait_and_open, daemon=True).start()
