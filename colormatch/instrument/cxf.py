"""CxF3 (ISO 17972-1): samples of an XML file, read with Python's own parser.

Document types, and with them all entities, are refused: CxF3 has none, and they are how XML files attack a reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.parsers import expat

from colormatch.errors import ExchangeError
from colormatch.instrument.raw_sample import RawSample, bad_file

_NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
#: Elements of a sample, and their components.
_TRIPLES = {"ColorCIELab": ("L", "A", "B"), "ColorCIEXYZ": ("X", "Y", "Z")}
#: Deepest nesting accepted. Our choice; CxF3 needs about ten levels.
_DEEPEST = 50


def read(content: bytes, file: str) -> list[RawSample]:
    """Samples that hold a reflectance spectrum, Lab or XYZ; the first of each kind where there are several.

    Raises
    ------
    ExchangeError
        The file is invalid; with line and reason.
    """
    reader = _Reader(file)
    try:
        reader.parser.Parse(content, True)
    except expat.ExpatError as error:
        reason = f"it is not valid XML ({expat.errors.messages[error.code]})"
        raise bad_file(file, error.lineno, reason) from None
    except ExchangeError:
        raise
    except (LookupError, ValueError):  # as Python's own codecs refuse what the file says it is written in
        raise bad_file(file, 1, "its text encoding is not supported; save it as UTF-8") from None
    if not reader.is_cxf:
        raise bad_file(file, 1, "it is XML but not CxF3")
    return reader.samples()


class _Reader:
    """Collects elements as they arrive, with their line numbers."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._path: list[str] = []
        self._text: list[str] = []
        self._attributes: list[Mapping[str, str]] = []
        self._objects: list[_Object] = []
        #: Color specifications by id.
        self._specifications: dict[str, dict[str, str]] = {}
        self._specification: dict[str, str] = {}
        self.is_cxf = False
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.StartDoctypeDeclHandler = self._refuse
        self.parser.EntityDeclHandler = self._refuse
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text.append

    def _refuse(self, *_: object) -> None:
        raise self._bad("it declares a document type, which CxF3 doesn't allow")

    def _bad(self, reason: str) -> ExchangeError:
        return bad_file(self._file, self.parser.CurrentLineNumber, reason)

    def _start(self, qualified: str, attributes: dict[str, str]) -> None:
        namespace, _, name = qualified.rpartition(" ")
        if not self._path:
            self.is_cxf = name == "CxF" and namespace == _NAMESPACE
        if len(self._path) >= _DEEPEST:
            raise self._bad("its elements are nested too deep")
        self._path.append(name)
        self._attributes.append(attributes)
        self._text.clear()
        if name == "Object":
            self._objects.append(_Object(attributes, self.parser.CurrentLineNumber))
        elif name == "ColorSpecification":
            self._specification = self._specifications.setdefault(attributes.get("Id", ""), {})
        elif name == "WavelengthRange":
            self._specification |= attributes

    def _end(self, _: str) -> None:
        name, attributes = self._path.pop(), self._attributes.pop()
        text = "".join(self._text).strip()
        self._text.clear()
        parent = self._path[-1] if self._path else ""
        if name in ("Illuminant", "Observer") and parent == "TristimulusSpec":
            self._specification[name] = text
        elif name == "ReflectanceSpectrum" and parent == "ColorValues" and self._objects:
            values = tuple(self._number(name, word) for word in text.split())
            self._objects[-1].spectra.append((self.parser.CurrentLineNumber, attributes, values))
        elif parent in _TRIPLES and name in _TRIPLES[parent] and self._objects:
            self._objects[-1].parts.setdefault(parent, {}).setdefault(name, self._number(name, text))
        elif name in _TRIPLES and self._objects:
            self._objects[-1].specification.setdefault(name, attributes.get("ColorSpecification", ""))

    def _number(self, name: str, word: str) -> float:
        try:
            return float(word)
        except ValueError:
            raise self._bad(f"{name} contains {word[:30]!r}, which is not a number") from None

    # Specifications follow the objects that refer to them, so samples are assembled at the end.

    def samples(self) -> list[RawSample]:
        found = []
        for number, one in enumerate(self._objects, 1):
            lab, xyz = self._triple(one, "ColorCIELab"), self._triple(one, "ColorCIEXYZ")
            spectrum = self._spectrum(one)
            if spectrum or lab or xyz:
                used = one.specification.get("ColorCIELab" if lab else "ColorCIEXYZ", "")
                name = one.attributes.get("Name") or one.attributes.get("Id") or f"sample {number}"
                found.append(RawSample(name, one.line, spectrum, xyz, lab, self._white(used)))
        return found

    def _triple(self, one: _Object, kind: str) -> tuple[float, float, float] | None:
        parts = one.parts.get(kind)
        if parts is None:
            return None
        missing = [part for part in _TRIPLES[kind] if part not in parts]
        if missing:
            raise bad_file(self._file, one.line, f"a {kind} lacks {missing[0]}")
        first, second, third = (parts[part] for part in _TRIPLES[kind])
        return first, second, third

    def _spectrum(self, one: _Object) -> dict[float, float]:
        if not one.spectra:
            return {}
        line, attributes, values = one.spectra[0]
        stated = self._specifications.get(attributes.get("ColorSpecification", ""), {}) | dict(attributes)
        try:
            start, step = float(stated["StartWL"]), float(stated.get("Increment", ""))
        except KeyError:
            raise bad_file(self._file, line, "a spectrum doesn't state its first wavelength") from None
        except ValueError:
            raise bad_file(self._file, line, "a spectrum doesn't state the step between its wavelengths") from None
        if not (0 < start < 2000 and 0 < step < 1000):
            raise bad_file(self._file, line, "a spectrum has impossible wavelengths")
        return {start + step * place: value for place, value in enumerate(values)}

    def _white(self, specification: str) -> str:
        stated = self._specifications.get(specification, {})
        if stated.get("Observer", "2_Degree") != "2_Degree":
            return f"the observer {stated['Observer'][:20]}"
        return stated.get("Illuminant", "")[:20]


class _Object:
    """One object of the file, while it is read."""

    def __init__(self, attributes: Mapping[str, str], line: int) -> None:
        self.attributes, self.line = attributes, line
        self.spectra: list[tuple[int, Mapping[str, str], tuple[float, ...]]] = []
        self.parts: dict[str, dict[str, float]] = {}
        self.specification: dict[str, str] = {}
