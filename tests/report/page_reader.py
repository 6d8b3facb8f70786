"""A page read back: its visible words, its tags, its tables, as a reader's program would find them."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "link", "hr", "img", "input"}


@dataclass
class Table:
    """caption, header cells with a scope, and body rows of cell texts."""

    caption: str = ""
    headers: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class Page(HTMLParser):
    """tags: (name, attributes) in order; text: words a reader sees, spaces folded."""

    def __init__(self, data: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.source = data.decode()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[Table] = []
        self._open: list[str] = []
        self._words: list[str] = []
        self.unclosed: list[str] = []
        self.feed(self.source)
        self.close()
        self.unclosed += self._open

    @property
    def text(self) -> str:
        return " ".join("".join(self._words).split())

    def named(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.tags if tag == name]

    def table(self, beginning: str) -> Table:
        return next(table for table in self.tables if table.caption.startswith(beginning))

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag in VOID:
            self._words.append(" ")
            return
        self._open.append(tag)
        if tag == "table":
            self.tables.append(Table())
        elif tag == "tr" and "tbody" in self._open:
            self.tables[-1].rows.append([])
        elif tag == "th" and "thead" in self._open:
            assert dict(attrs).get("scope") == "col"
            self.tables[-1].headers.append("")
        elif tag in ("td", "th") and "tbody" in self._open:
            assert tag == "td" or dict(attrs).get("scope") == "row"
            self.tables[-1].rows[-1].append("")

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self._open or self._open[-1] != tag:
            self.unclosed.append(tag)
            return
        self._open.pop()
        self._words.append(" ")

    def handle_data(self, data):
        if {"style", "script"} & set(self._open):
            return
        self._words.append(data)
        if "caption" in self._open:
            self.tables[-1].caption += data
        elif "thead" in self._open and "th" in self._open:
            self.tables[-1].headers[-1] += data
        elif "tbody" in self._open and ({"td", "th"} & set(self._open)):
            self.tables[-1].rows[-1][-1] += data
