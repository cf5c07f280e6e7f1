"""The frame of every report: one file, for phone, screen and paper, legible in grey."""

from collections.abc import Iterable
from datetime import datetime

from ventwright.drawing.shapes import FAINT, INK, PAPER, SOFT, STEPS, Picture
from ventwright.drawing.svg import svg
from ventwright.reporting.markup import Html, element, paragraph, text

NO_ALARM = (
    "Ventwright is no certified alarm and no medical device. Certified smoke and CO alarms stay "
    "where they are."
)

UNSEEN = "Ultrafine particles, which printers emit most of, are not seen by these parts."

_STYLE = f"""
:root {{ color-scheme: light; }}
* {{ box-sizing: border-box; }}
html {{ background: {STEPS[1]}; }}
body {{ margin: 0 auto; max-width: 46rem; padding: 0 1.1rem 2rem; background: {PAPER};
  color: {INK}; font: 1rem/1.5 ui-sans-serif, system-ui, sans-serif; }}
header {{ margin: 0 -1.1rem; padding: 1.4rem 1.1rem 1.2rem; border-left: .7rem solid {INK};
  border-bottom: 1px solid {FAINT}; }}
header p {{ margin: 0; color: {SOFT}; }}
h1 {{ margin: .1rem 0 .6rem; font-size: 1.15rem; }}
header .verdict {{ color: {INK}; font-size: 1.45rem; line-height: 1.3; font-weight: 700;
  max-width: 34rem; }}
dl {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(13rem, 1fr)); gap: 0 1.6rem;
  margin: .6rem 0 0; }}
dl div {{ padding: .55rem 0; border-bottom: 1px solid {FAINT}; }}
dt {{ color: {SOFT}; }}
dd {{ margin: 0; font-size: 1.15rem; font-weight: 700; }}
dd small {{ display: block; font-size: .88rem; font-weight: 400; color: {SOFT}; }}
section {{ margin-top: 1.8rem; }}
h2 {{ margin: 0 0 .5rem; font-size: 1.1rem; border-bottom: 2px solid {INK};
  padding-bottom: .15rem; }}
p, ul {{ margin: .4rem 0; }}
ul {{ padding-left: 1.2rem; }}
figure {{ margin: .6rem 0 1rem; }}
figure svg {{ display: block; width: 100%; max-width: 35rem; height: auto; }}
figcaption {{ color: {SOFT}; font-size: .9rem; }}
table {{ border-collapse: collapse; width: 100%; margin: .5rem 0; }}
caption {{ text-align: left; color: {SOFT}; font-size: .9rem; }}
th, td {{ text-align: left; vertical-align: top; padding: .3rem .8rem .3rem 0;
  border-bottom: 1px solid {FAINT}; }}
thead th {{ color: {SOFT}; font-weight: 400; font-size: .9rem; }}
tbody th {{ font-weight: 700; }}
.do {{ border: 2px solid {INK}; padding: .3rem .9rem .5rem; }}
footer {{ margin-top: 2rem; padding-top: .6rem; border-top: 1px solid {FAINT}; color: {SOFT};
  font-size: .88rem; }}
@media (max-width: 36rem) {{
  header .verdict {{ font-size: 1.25rem; }}
  dl {{ grid-template-columns: 1fr 1fr; gap: 0 1rem; }}
  thead {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
  table, caption, tbody, tr, th, td {{ display: block; }}
  td:empty {{ display: none; }}
  tr {{ border-bottom: 1px solid {FAINT}; padding: .35rem 0; }}
  th, td {{ border: 0; padding: .05rem 0; }}
  td::before {{ content: attr(data-head) ": "; color: {SOFT}; }}
}}
@media print {{
  html, body {{ background: none; }}
  body {{ max-width: none; padding: 0; font-size: 10.5pt; }}
  figure, tr, .do {{ break-inside: avoid; }}
  h2 {{ break-after: avoid; }}
  svg {{ print-color-adjust: exact; }}
  figure svg {{ max-width: 10cm; }}
}}
"""


def page(
    *,
    room: str,
    title: str,
    verdict: str,
    unseen: bool,
    inside: Iterable[Html],
    notes: Iterable[str],
    made: int,
) -> Html:
    """Write a whole page; `made` is Unix ms, `unseen`: ultrafine particles are not seen."""
    head = element(
        "head",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        element("title", text(f"{room}: {title}")),
        element("style", _STYLE),
    )
    top = element(
        "header",
        paragraph(room),
        element("h1", text(title)),
        paragraph(verdict, class_="verdict"),
        paragraph(UNSEEN) if unseen else "",
    )
    moment = datetime.fromtimestamp(made / 1000)
    foot = element(
        "footer",
        *(paragraph(note) for note in notes),
        paragraph(NO_ALARM),
        paragraph(f"Made by Ventwright on {moment.day} {moment:%B %Y at %H:%M}."),
    )
    body = element("body", top, element("main", *inside), foot)
    return f"<!doctype html>\n{element('html', head, body, lang='en')}\n"


def figure(picture: Picture) -> Html:
    """Write a picture with its title beneath."""
    return element("figure", svg(picture), element("figcaption", text(picture.title)))


def answers(told: Iterable[tuple[str, str, str]]) -> Html:
    """Write short answers: question, answer, and what belongs beside it."""
    return element(
        "dl",
        *(
            element(
                "div",
                element("dt", text(question)),
                element("dd", text(answer), element("small", text(beside))),
            )
            for question, answer, beside in told
        ),
    )
