"""Start the bench app: on loopback only, without telemetry, in neutral gray.

The theme is set here rather than in a configuration file, so that it doesn't depend on the working directory.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from app.server import files, phone
from app.server.gate import Gate
from app.server.pictures import route

#: Neutral middle gray (CIELAB L* 57) around the photo, the surround required by ISO 3664, and a lighter one for pressed
#: and filled controls. Black text has contrast 5.9 : 1 on the first and 8.3 : 1 on the second.
GRAY, LIGHT_GRAY, INK = "#8a8a8a", "#a6a6a6", "#0d0d0d"
_HUES = ("red", "orange", "yellow", "blue", "green", "violet", "gray")

THEME: dict[str, Any] = {
    "theme.base": "light",
    "theme.font": "sans-serif",
    "theme.headingFont": "sans-serif",
    "theme.codeFont": "monospace",
    "theme.baseRadius": "none",
    "theme.primaryColor": "#1c1c1c",
    "theme.backgroundColor": GRAY,
    "theme.secondaryBackgroundColor": LIGHT_GRAY,
    "theme.textColor": INK,
    "theme.linkColor": INK,
    "theme.borderColor": "#4a4a4a",
    "theme.headingFontSizes": ["1.6rem", "1.25rem", "1.1rem"],
    "theme.paddingTop": "1rem",
    "theme.paddingBottom": "3rem",
    # Streamlit treats middle gray as dark and would show its notes light on light, so every color is set.
    **{f"theme.{hue}Color": "#3a3a3a" for hue in _HUES},
    **{f"theme.{hue}BackgroundColor": "#b8b8b8" for hue in _HUES},
    **{f"theme.{hue}TextColor": INK for hue in _HUES},
}
#: Largest file to choose, MB: more than a camera raw of 60 megapixels.
UPLOAD_LIMIT = 200


def settings(port: int, address: str) -> dict[str, Any]:
    """Streamlit's settings for the app."""
    return {
        "server.address": address,
        "server.port": port,
        "server.headless": True,
        "server.showEmailPrompt": False,
        "server.fileWatcherType": "none",
        "server.maxUploadSize": UPLOAD_LIMIT,
        "browser.gatherUsageStats": False,
        "logger.hideWelcomeMessage": True,  # the command prints the address
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        **THEME,
    }


#: Address of this machine only.
LOOPBACK = "127.0.0.1"
#: Script run by Streamlit.
MAIN = Path(__file__).parents[1] / "main.py"


def serve(port: int, script: Path = MAIN, door: phone.Door | None = None) -> None:
    """Serve until interrupted: only to this machine, or through ``door`` to browsers with one of its links.

    The environment variable ``COLORMATCH_LIBRARY`` gives the folder of the library.
    """
    import streamlit as st
    from starlette.middleware import Middleware

    phone.door = door
    if door and door.at_home:
        address, hosts = door.host.rpartition(":")[0], [door.host]
    else:
        address, hosts = LOOPBACK, [f"{LOOPBACK}:{port}", f"localhost:{port}"]
    gate = Middleware(Gate, hosts=hosts, links=door.links if door else None)
    st.App(str(script), routes=[route(), *files.routes()], middleware=[gate]).run(config=settings(port, address))
