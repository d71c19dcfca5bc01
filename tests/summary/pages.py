"""What a page of the summary holds, taken apart by a parser."""

import itertools
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link", "hr", "input"}
OUTSIDE = ("http:", "https:", "//", "data:", "javascript:")


@dataclass
class Page(HTMLParser):
    """
    An HTML text, its elements and what is wrong with it.

    Attributes:
        elements: Every (name, attributes), in order.
        words: The text that people see, heading by heading.
        wrong: Broken nesting, in words.
    """

    text: str
    elements: list = field(default_factory=list)
    words: list = field(default_factory=list)
    wrong: list = field(default_factory=list)

    def __post_init__(self):
        super().__init__()
        self._open = []
        self.feed(self.text)
        self.close()
        self.wrong += [f"<{name}> is never closed" for name in self._open]

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        if not self._open or self._open[-1] != tag:
            self.wrong.append(f"</{tag}> closes {self._open[-1:]}")
        else:
            self._open.pop()

    def handle_data(self, data):
        if self._open and self._open[-1] not in {"style", "title"} and data.strip():
            self.words.append(" ".join(data.split()))

    def all(self, name):
        """Attributes of every element of a name."""
        return [attributes for tag, attributes in self.elements if tag == name]

    @property
    def said(self):
        """All its words."""
        return " ".join(self.words)

    def remote(self):
        """What would be loaded from elsewhere."""
        asked = [
            value
            for _, attributes in self.elements
            for key, value in attributes.items()
            if key in {"src", "href", "background", "action", "srcset"}
        ]
        loud = [v for v in asked if v.lower().startswith(OUTSIDE)]
        return loud + (["url("] if "url(" in self.text else [])


def is_sound(text):
    """One heading at the top, closed elements, words for every picture and column."""
    page = Page(text)
    assert page.wrong == []
    assert len(page.all("h1")) == 1
    assert page.remote() == []
    assert page.all("script") == []
    assert page.all("html") == [{"lang": "en"}]
    levels = [int(tag[1]) for tag, _ in page.elements if tag in {"h1", "h2", "h3"}]
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    for picture in page.all("img"):
        assert len(picture["alt"]) > 20
        assert int(picture["width"]) > 0
        assert int(picture["height"]) > 0
    tables = text.split("<table>")[1:]
    assert len(tables) == len(page.all("table"))
    for table in tables:
        head, *rows = table.split("</table>")[0].split("<tr>")[1:]
        assert head.count('<th scope="col">') >= 2
        assert all(row.startswith('<th scope="row">') for row in rows)
    return page
