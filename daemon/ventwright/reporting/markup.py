"""Writes HTML: elements with escaped text, and nothing that a page would fetch from elsewhere."""

import re
from collections.abc import Iterable, Sequence
from html import escape

Html = str
"""Text that is markup already; everything else goes through `text`."""


_KEPT = re.compile(r"(?<=\d) (?=\d|%|[µm]|g\b|h\b|pp[mb]|1/|°)")
"""Spaces after a digit at which no line may end: within a number, before a unit."""


def text(words: str) -> Html:
    """Escape words; numbers stay in one piece with their units."""
    return escape(_KEPT.sub("\N{NO-BREAK SPACE}", words))


def element(name: str, *inside: Html, **attributes: str) -> Html:
    """Write an element; `class_` stands for class."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
    )
    return f"<{name}{given}>{''.join(inside)}</{name}>"


def paragraph(words: str, **attributes: str) -> Html:
    """Write words as a paragraph."""
    return element("p", text(words), **attributes)


def bullets(items: Iterable[str], **attributes: str) -> Html:
    """Write sentences as a list."""
    return element("ul", *(element("li", text(item)) for item in items), **attributes)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], caption: str = "") -> Html:
    """Write a table; the first column names the row, and on a phone each cell names its column."""
    top = element("tr", *(element("th", text(head), scope="col") for head in heads))
    body = [
        element(
            "tr",
            element("th", text(row[0]), scope="row"),
            *(
                element("td", text(cell), data_head=head)
                for head, cell in zip(heads[1:], row[1:], strict=True)
            ),
        )
        for row in rows
    ]
    told = element("caption", text(caption)) if caption else ""
    return element("table", told, element("thead", top), element("tbody", *body))


def section(question: str, *inside: Html) -> Html:
    """Write a section that answers a question; nothing where it has nothing to say."""
    kept = [one for one in inside if one]
    return element("section", element("h2", text(question)), *kept) if kept else ""
