"""The printed sheet as a file: a picture, in which no name is more than ink.

Source of the names: annotations and their actions, ISO 32000-1, 12.5.6.5 (links) and 12.6.4.7 (URI actions).
"""

import re
import zlib

import pytest

from colormatch.sheet.layout import Plan
from colormatch.sheet.pdf import sheet_pdf


@pytest.mark.parametrize(
    "name", ["http://foreign.example/a", "www.foreign.example", ") /URI (http://foreign.example) ("]
)
def test_a_link_in_a_name_is_only_ink(name):
    page = sheet_pdf(Plan("a4", (name, "Ochre"), ("1:3", "full")))
    streams = re.findall(rb"stream\r?\n(.*?)endstream", page, re.DOTALL)
    unpacked = page
    for stream in streams:
        try:
            unpacked += zlib.decompress(stream)
        except zlib.error:
            continue
    for sign in (b"/Annot", b"/URI", b"/Link", b"/A ", b"/OpenAction", b"/JavaScript", b"/Font", b"foreign"):
        assert sign not in unpacked
    assert b"/Image" in page
