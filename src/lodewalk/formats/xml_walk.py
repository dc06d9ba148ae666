"""One pass over an XML file of others: what every reader of XML has to refuse, in one place.

The file comes from outside, so nothing in it is trusted: a document type, and with it every
entity, is refused, and tags and nesting have limits.
"""

from pathlib import Path
from typing import NoReturn
from xml.parsers import expat

from lodewalk.errors import InputError

CHUNK_BYTES = 65_536
MAX_TAG_BYTES = 1 << 20
MAX_DEPTH = 64


class XmlWalk:
    """Base of the handlers of the XML parser; a format adds its own `start`, `characters`, `end`.

    Parameters
    ----------
    file : str
        Named in an error.
    what : str
        What the format is called in print.
    again : str
        What to do where the file is damaged, as the end of a sentence.
    namespaces : bool
        Whether names come as namespace, blank and local name.
    """

    def __init__(self, file: str, *, what: str, again: str, namespaces: bool = False) -> None:
        self.file, self.what, self.again = file, what, again
        self.path: tuple[str, ...] = ()
        self.fed = 0
        self.parser = expat.ParserCreate(namespace_separator=" " if namespaces else None)
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.characters
        self.parser.StartDoctypeDeclHandler = self.refuse_doctype

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Enter an element."""
        raise NotImplementedError

    def characters(self, data: str) -> None:
        """Take a piece of text."""
        raise NotImplementedError

    def end(self, name: str) -> None:
        """Leave an element."""
        raise NotImplementedError

    def walk(self, path: Path) -> None:
        """Go through the whole file.

        Raises
        ------
        InputError
            For XML that isn't well-formed or exceeds a limit, with the line.
        """
        with path.open("rb") as stream:
            while chunk := stream.read(CHUNK_BYTES):
                self.feed(chunk)
        self.feed(b"", final=True)

    def feed(self, chunk: bytes, *, final: bool = False) -> None:
        """Parse one more piece of the file."""
        self.fed += len(chunk)
        try:
            self.parser.Parse(chunk, final)
        except expat.ExpatError as error:
            reason = expat.ErrorString(error.code)
            raise InputError(
                f"The file must be well-formed XML ({reason}).",
                file=self.file,
                line=error.lineno,
                remedy=f"It may be cut short or damaged; {self.again}.",
            ) from None
        except (LookupError, ValueError) as error:
            if isinstance(error, InputError):
                raise
            self.refuse("The text encoding of the file is unknown.")
        if self.fed - max(self.parser.CurrentByteIndex, 0) > MAX_TAG_BYTES + CHUNK_BYTES:
            self.refuse("A single tag is longer than a mebibyte.")

    def enter(self, name: str) -> None:
        """Add an element to the path of those that are open."""
        self.path += (name,)
        if len(self.path) > MAX_DEPTH:
            self.refuse(f"Elements may not be nested deeper than {MAX_DEPTH}.")

    def refuse(
        self, rule: str, *, line: int | None = None, value: object = None, remedy: str = ""
    ) -> NoReturn:
        """Raise with a line, by itself the one that the parser has come to."""
        line = line or self.parser.CurrentLineNumber
        raise InputError(rule, file=self.file, line=line, value=value, remedy=remedy)

    def refuse_doctype(self, *_: object) -> None:
        """Refuse a document type, which these formats never have and which could be a trap."""
        self.refuse(f"A {self.what} file may not declare a document type or entities.")
