"""Reads a page as a browser would: what it would fetch, and whether all that opens is closed."""

from html.parser import HTMLParser


class Seen(HTMLParser):
    """Gathers what a browser would fetch, and what stands open."""

    _EMPTY = frozenset({"meta", "rect", "polyline", "polygon", "circle", "path", "br"})

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in {"script", "link", "img", "iframe", "object", "embed", "base", "image", "use"}:
            self.fetched.append(tag)
        self.fetched += [
            f"{tag} {name}"
            for name, value in attrs
            if name in {"src", "href", "xlink:href", "srcset", "data", "style", "background"}
            or (name.startswith("on") or ("url(" in (value or "") and "url(#" not in value))
        ]
        if tag not in self._EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self._EMPTY:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in self._EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def seen(html: str) -> Seen:
    parser = Seen()
    parser.feed(html)
    parser.close()
    return parser


def alone(html: str) -> str:
    """Hold a page to needing nothing from elsewhere; gives its words."""
    page = seen(html)
    assert page.fetched == []
    assert page.open == []
    assert "@import" not in html
    assert "url(" not in html.replace("url(#", "")
    assert html.count("http") == html.count('xmlns="http://www.w3.org/2000/svg"')
    assert "<svg" in html
    assert 'lang="en"' in html
    words = "".join(page.words)
    assert "no certified alarm and no medical device" in words
    return words
