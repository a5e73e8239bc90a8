"""The region editor alone, with what Python received written below it."""

import base64
import io
import json

import streamlit as st
from PIL import Image

from app.repair.document import plain
from app.repair.marks import Edit
from app.widgets.region_editor import region_editor
from colormatch.records import RegionKind


def picture(color: str) -> str:
    stream = io.BytesIO()
    Image.new("RGB", (400, 300), color).save(stream, "PNG")
    return "data:image/png;base64," + base64.b64encode(stream.getvalue()).decode()


photo = st.radio("Photo", ["one", "two", "large"], key="photo")
held = st.session_state.setdefault("held", {})
edit = held.get(photo, Edit(photo, 0, ()))
#: 48 megapixels, as phones make them.
size = (8064, 6048) if photo == "large" else (4000, 3000)
region_editor(
    picture({"one": "#a57a4c", "two": "#6b4a2d", "large": "#8f6a48"}[photo]),
    size,
    edit,
    lambda e: held.update({e.photo: e}),
    more=(RegionKind.WHITE, RegionKind.CHIP),
)
st.html(f"<pre id='received'>{json.dumps({'photo': photo, 'regions': plain(edit.regions)})}</pre>")
