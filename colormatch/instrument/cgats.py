"""CGATS.17 / ISO 28178 text: keywords, a row of field names, rows of values; one or more tables in a file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from colormatch.instrument.raw_sample import RawSample, bad_file

_TOKEN = re.compile(r'"([^"]*)"|(#.*)|([^\s"]+)')
#: Spectral field names used by instruments: SPECTRAL_NM400, NM_400, SPEC_400, R_400, NM400.
_SPECTRAL = re.compile(r"(?:SPECTRAL_NM_?|SPECTRAL_|SPEC_|NM_?|R_)(\d{3})(?:\.0+)?")
_NAMES = ("SAMPLE_NAME", "SAMPLE_LOC", "SAMPLE_ID", "SAMPLEID", "PATCH_NAME")
#: Without SPECTRAL_NORM, a value above this means that spectra are in percent. Our choice: above any reflectance,
#: below the percentages of any set that includes a light sample.
_FRACTION_AT_MOST = 1.5


def read(content: bytes, file: str) -> list[RawSample]:
    """Samples of all tables with colors.

    Raises
    ------
    ExchangeError
        The file is invalid; with line and reason.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")  # the standard is ASCII; only names may exceed it
    if "\0" in text:
        raise bad_file(file, text[: text.index("\0")].count("\n") + 1, "it contains a NUL byte, so it isn't text")
    samples: list[RawSample] = []
    table = _Table(file)
    state, number = "head", 0
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        tokens = [m[1] if m[1] is not None else m[3] for m in _TOKEN.finditer(line) if not m[2]]
        if not tokens:
            continue
        word = tokens[0].upper()
        if state == "head" and word == "BEGIN_DATA_FORMAT":
            table.fields.clear()
            state = "fields"
        elif state == "head" and word == "BEGIN_DATA":
            table.begin(number)
            state = "rows"
        elif state == "head":
            table.keywords[word] = " ".join(tokens[1:])
        elif state == "fields" and word == "END_DATA_FORMAT":
            state = "head"
        elif state == "fields":
            table.fields += [token.upper() for token in tokens]
        elif word == "END_DATA":
            samples += table.samples(number)
            state = "head"
        else:
            table.rows.append((number, tokens))
    if state != "head":
        raise bad_file(file, number, "it ends in the middle of a table")
    if not table.fields:
        raise bad_file(file, 1, "it is not CGATS text: BEGIN_DATA_FORMAT is missing")
    return samples


class _Table:
    """The table being read; keywords and fields carry over to a next table that has none."""

    def __init__(self, file: str) -> None:
        self._file = file
        self.keywords: dict[str, str] = {}
        self.fields: list[str] = []
        self.rows: list[tuple[int, list[str]]] = []

    def begin(self, line: int) -> None:
        if not self.fields:
            raise bad_file(self._file, line, "the values come before the field names")
        self.rows.clear()

    def samples(self, line: int) -> list[RawSample]:
        stated = self.keywords.get("NUMBER_OF_SETS", "").split()
        if stated and stated[0] != str(len(self.rows)):
            raise bad_file(self._file, line, f"it states {stated[0]} samples but contains {len(self.rows)}")
        bands = {field: float(found[1]) for field in self.fields if (found := _SPECTRAL.fullmatch(field))}
        triples = [fields for fields in (_XYZ, _LAB) if set(fields) <= set(self.fields)]
        if not bands and not triples:
            return []
        parsed = [(number, self._cells(number, tokens)) for number, tokens in self.rows]
        scale = self._scale(bands, parsed)
        white = _white(self.keywords)
        samples = []
        for number, cells in parsed:
            name = next((cells[field] for field in _NAMES if cells.get(field)), f"sample {number}")
            spectrum = {nm: self._number(number, field, cells) / scale for field, nm in bands.items()}
            values = {
                fields: (
                    self._number(number, fields[0], cells),
                    self._number(number, fields[1], cells),
                    self._number(number, fields[2], cells),
                )
                for fields in triples
            }
            samples.append(RawSample(name, number, spectrum, values.get(_XYZ), values.get(_LAB), white))
        return samples

    def _cells(self, line: int, tokens: Sequence[str]) -> dict[str, str]:
        if len(tokens) != len(self.fields):
            raise bad_file(self._file, line, f"the row has {len(tokens)} values for {len(self.fields)} fields")
        return dict(zip(self.fields, tokens, strict=True))

    def _scale(self, bands: Mapping[str, float], parsed: Sequence[tuple[int, Mapping[str, str]]]) -> float:
        if not bands:
            return 1.0
        if "SPECTRAL_NORM" in self.keywords:
            return self._number(1, "SPECTRAL_NORM", self.keywords) or 1.0
        most = max((self._number(line, field, cells) for line, cells in parsed for field in bands), default=0.0)
        return 100.0 if most > _FRACTION_AT_MOST else 1.0

    def _number(self, line: int, field: str, cells: Mapping[str, str]) -> float:
        try:
            return float(cells[field])
        except ValueError:
            raise bad_file(self._file, line, f"{field} is {cells[field][:30]!r}, which is not a number") from None


_XYZ = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_LAB = ("LAB_L", "LAB_A", "LAB_B")


def _white(keywords: Mapping[str, str]) -> str:
    """Light of the XYZ or Lab values according to the keywords, with the observer unless it is 2°."""
    said = " ".join(value for key, value in keywords.items() if key not in ("CREATED", "ORIGINATOR")).upper()
    if re.search(r"\b10 ?(DEG|°)|\b10_DEG|OBSERVER\W+10\b|1964", said) or keywords.get("OBSERVER", "").startswith("10"):
        return "the 10° observer"
    named = keywords.get("ILLUMINANT", "").strip().upper() or "".join(re.findall(r"ILLUMINANT\W+(\w+)", said)[:1])
    if named:
        return named
    lights = set(re.findall(r"\bD(?:50|65)\b", said))
    return lights.pop() if len(lights) == 1 else ""
