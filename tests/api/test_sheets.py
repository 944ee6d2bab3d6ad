"""Sheets say in words what a job's reply says, the same as a page and as PDF, two pages at most."""

import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, is_dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from api import jobs
from stillpipe.api.forms import sheets
from stillpipe.api.forms.sheets import customer, fitter, layout, telling, words
from stillpipe.api.forms.sheets.content import Mark, Sheet
from stillpipe.estimates.job import timeline
from stillpipe.model.site import PlaceKind

JSON = dict[str, Any]
Make = Callable[[JSON], Sheet]
BOTH = pytest.mark.parametrize("make", [fitter.sheet, customer.sheet], ids=["fitter", "customer"])
HOSTILE = {
    "typst": '#import "x" $a^2$ \\ `r` *b* _c_ @d <e> // f /* g */ = h',
    "script": "<script>alert('1')</script>&amp;\"",
    "long": "W" * 64,
    "right-to-left": "שלום עולם مرحبا",
    "emoji": "pump 🔧 😀 漢字",
    "Greek and Cyrillic": "Λουτρά Купальня Gőzfürdő",
}


class Text(HTMLParser):
    """The words of a page, without its style and its pictures."""

    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.tags: list[str] = []
        self.inside = 0

    def handle_starttag(self, tag: str, _attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.inside += tag in ("style", "svg")

    def handle_endtag(self, tag: str) -> None:
        self.inside -= tag in ("style", "svg")

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.parts.append(data)


def plain(text: str) -> str:
    """Words with spaces of one kind, breaks of long words undone."""
    for space in (telling.TIED, telling.THIN):
        text = text.replace(space, " ")
    return " ".join(text.replace("\u200b", "").split())


def letters(text: str) -> str:
    """Words without spaces, and without hyphens, which a line may end with."""
    return re.sub(r"[\s\ufffe\x02-]", "", plain(text))


def page(sheet: Sheet) -> Text:
    found = Text()
    found.feed(layout.html(sheet).decode())
    return found


def said(sheet: Sheet) -> str:
    """What stands on a page."""
    return plain(" ".join(page(sheet).parts))


def opened(sheet: Sheet) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(layout.pdf(sheet))


def printed(sheet: Sheet) -> str:
    """What stands in the PDF."""
    with opened(sheet) as pdf:
        return plain(" ".join(p.get_textpage().get_text_bounded() for p in pdf))


def strings(node: Any) -> Iterator[str]:
    """Every text of a sheet but its pictures."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for key, value in node.items():
            if key not in ("kind", "svg", "tone", "mark", "phone"):
                yield from strings(value)
    elif isinstance(node, list | tuple):
        for value in node:
            yield from strings(value)
    elif is_dataclass(node) and not isinstance(node, type):
        yield from strings(asdict(node))


REPLIES: dict[str, Callable[[], JSON]] = {
    "example": jobs.job,
    "us": lambda: jobs.job(units="us"),
    "three points": jobs.several,
    "thirty points": lambda: jobs.several(30, clock=False),
    "refused": lambda: jobs.job(
        fluid={"type": "ethylene_glycol", "concentration": {"value": 40, "unit": "%"},
               "temperature": {"value": 18, "unit": "degC"}}
    ),
    "flowing": lambda: jobs.job(
        fluid={"temperature": {"value": 18, "unit": "degC"}, "flow": {"value": 900, "unit": "kg/h"}}
    ),
    "by measure, alone, exchanges": jobs.exchanged,
    "no dip tube": lambda: jobs.job(cylinder={"id": "co2-9.1kg", "dip_tube": False}),
}  # fmt: skip
EVERY = pytest.mark.parametrize("reply", REPLIES.values(), ids=REPLIES)


def test_every_code_of_a_job_has_words() -> None:
    source = Path(timeline.__file__).read_text()
    codes = re.findall(r'(?:_fixed|_ranged)\(\s*"([a-z-]+)"', source)
    assert {"arrive", "feed", "ready", "cooled", "help-thaw", "exchange"} <= set(codes)
    assert set(codes) <= set(words.EVENTS)
    assert set(words.STEPS) <= set(words.EVENTS)
    assert set(words.PLACES) == set(PlaceKind)
    for table in (words.VERDICTS, words.FITTER, words.CUSTOMER):
        assert set(table) == set(Mark)


@BOTH
@EVERY
def test_no_code_and_no_raw_figure_stands_on_a_sheet(make: Make, reply: Any) -> None:
    found = reply()
    made = list(strings(make(found)))
    codes = {r["code"] for r in (*found["timeline"], *found["reasons"], *found["cautions"])}
    codes = {c for c in codes if "-" in c}
    for text in made:
        assert not re.search(r"[a-z]_[a-z]|astm-|co2-|degC|degF|\d{4,}\.\d", text), text
        assert not [c for c in codes if c in text], text


@BOTH
@EVERY
def test_page_and_pdf_have_the_same_words_on_two_pages_at_most(
    make: Make, reply: Any, artefacts: Path, request: pytest.FixtureRequest
) -> None:
    made = make(reply())
    with opened(made) as pdf:
        assert 1 <= len(pdf) <= 2
        for number, side in enumerate(pdf, start=1):
            assert (round(side.get_width()), round(side.get_height())) == (595, 842), "A4"
            name = re.sub(r"\W+", "-", request.node.callspec.id)
            side.render(scale=1.5).to_pil().save(artefacts / f"{name}-{number}.png")
    on_page, on_paper = said(made), letters(printed(made))
    for text in strings(made):
        assert plain(text) in on_page
        assert letters(text) in on_paper


def test_the_fitter_is_told_what_counts() -> None:
    text = said(fitter.sheet(jobs.job()))
    for part in (
        "1/2 in copper tube, type L (ASTM B88)", "water, 20 °C", "3 bar (300 kPa)",
        "41 mm long, on bare clean pipe", "Cut no earlier than 0:38", "8 min from the first feed",
        "2 min about 5 min (2 to 8)", "2 cylinders of 9.1 kg", "CO₂ in all about 2.4 kg",
        "about 55 min after the stop (35 to 80)", "0:33 0:31 to 0:36 Frost seen",
        "0 mm point 1 (freeze point)", "700 mm valve to be changed (cut)",
        "plug to cut: point 1 – valve to be changed 700 mm 267 mm kept",
        "vent open before the first feed until both thaw", "15 000 ppm", "20.6 %",
        "OSHA: mean over 8 h 5000 ppm 2600 ppm kept", "0.93 air changes an hour",
        "If the plug lets go", "Nearest valve", "Who stands there",
        "Follow local codes, the site's permit", "First feed Frost seen Proved dry Cut",
        "Arrived, room aired", "Date and signature", "No exchange is planned.",
    ):  # fmt: skip
        assert part in text, part


def test_the_fitters_sheet_has_no_prices_and_the_customers_no_technicalities() -> None:
    reply = jobs.job()
    on_site, sold = said(fitter.sheet(reply)), said(customer.sheet(reply))
    for money in ("EUR", reply["quote"]["total"], reply["quote"]["drain_down_total"], "62.00"):
        assert money not in on_site
        assert money in sold
    for part in ("ppm", "percentile", "OSHA", "dip tube", "12 in apart"):
        assert part not in sold
    for part in (
        "This can be done as planned.", "in 2 places: point 1, point 2", "about 40 min",
        "to 2 h 40 min The ice has melted", "Of ten jobs like this, 9 are done within",
        "jacket of 1 further freeze point 0.25 h 62.00 15.50",
        f"Total {reply['quote']['total']} EUR",
        "would come to 821.00 EUR", "Open no tap and no valve", "licensed practice come first",
        "Where the water is shut off",
    ):  # fmt: skip
        assert part in sold, part


def test_a_customer_is_told_by_when_nine_jobs_of_ten_are_done_and_nothing_sooner() -> None:
    """A line that has to cool first is done much later in one case of ten than the thaw's range."""
    reply = jobs.job(
        fluid={"temperature": {"value": 65, "unit": "degC"}}, start="2031-03-04T07:30:00+01:00"
    )
    by = reply["promises"][-1]["by"]["value"]
    sold = said(customer.sheet(reply))
    (told,) = re.findall(r"by (\d\d):(\d\d) in 9 cases of ten", sold)
    since = 3600 * int(told[0]) + 60 * int(told[1]) - 7.5 * 3600
    assert 0.0 <= since - by <= 300.0
    thawed = max(e["latest"]["value"] for e in reply["timeline"] if e["code"] == "thawed")
    assert since > thawed + 300.0
    assert "at the latest" not in sold


@EVERY
def test_what_is_not_known_has_no_name_of_the_program(reply: Callable[[], JSON]) -> None:
    for sheet in (fitter.sheet(reply()), customer.sheet(reply())):
        assert not {"None", "nan", "inf", "True", "False"} & set(re.findall(r"\w+", said(sheet)))


def test_figures_are_in_the_callers_units() -> None:
    text = said(fitter.sheet(jobs.job(units="us")))
    for part in ("68 °F", "43.5 psi", "1.6 in long", "20.1 lb", "55.1 in"):
        assert part in text, part
    assert " mm" not in text
    assert "kPa" not in text


def test_a_refusal_gives_its_reasons_and_no_plan() -> None:
    reply = REPLIES["refused"]()
    on_site, sold = said(fitter.sheet(reply)), said(customer.sheet(reply))
    assert "No-go" in on_site
    assert "Do not do the job as planned." in on_site
    assert plain(words.said(reply["reasons"][0]["text"])) in on_site
    assert "Cut no earlier" not in on_site
    assert "This cannot be done as planned." in sold
    assert "What is in the line does not freeze firmly enough." in sold
    assert "What is done when" not in sold


def test_a_reason_that_has_no_plain_words_is_left_to_the_fitter() -> None:
    reply = jobs.job()
    reply |= {"verdict": "conditional", "reasons": [
        {"code": "unheard-of", "text": "Technical.", "severity": "warn"},
        {"code": "another", "text": "Technical too.", "severity": "warn"},
    ]}  # fmt: skip
    sold = said(customer.sheet(reply))
    assert sold.count(words.SETTLE) == 1
    assert "Technical" not in sold
    assert "Technical too." in said(fitter.sheet(reply))


def test_exchanges_are_told_by_the_clock() -> None:
    reply = jobs.exchanged()
    swaps = reply["cylinders"]["exchanges"]
    assert swaps
    text = said(fitter.sheet(reply))
    fed = next(e for e in reply["timeline"] if e["code"] == "feed")["at"]["value"]
    first = telling.Clock(None).at(fed + swaps[0]["at"]["value"], telling.Way.DOWN)
    assert f"Cylinder Exchange by Unfed holds 1 {first}" in text
    assert "steel pipe, 61 mm outside, 2 mm wall" in text
    assert "20 mm mineral wool" in text


def test_points_that_differ_are_told_one_by_one() -> None:
    reply = jobs.several()
    text = said(fitter.sheet(reply))
    for part in (
        "Point Pipe Where Jacket Group Manifold Feed Cut from Unfed holds",
        "boiler flow 1 1/2 in copper tube, type L (ASTM B88) cellar, 0 mm 41 mm 1 A 08:30 08:38 "
        "2 min at least",
        "riser 2 in steel pipe, schedule 40 (ASME B36.10M) 41 mm 2 B 09:30 09:42",
        "a flow of 3.4 kg/h", "A boiler flow, boiler return 2", "Along the run cellar",
        "0 mm boiler flow (freeze point) · 600 mm drain cock (vent)", "Begins 30 Nov 2026, 08:00.",
        "boiler return: Open the cylinders", "Last point ready to cut 09:42",
    ):  # fmt: skip
        assert part in text, part
    sold = said(customer.sheet(reply))
    assert "in 3 places: boiler flow, boiler return, riser" in sold
    assert "We come 30 Nov 2026, 08:00" in sold
    assert "The repair begins about 08:40" in sold, "with the first group"
    assert "10:25 The repair is done" in sold, "with the last"


def test_what_is_estimated_of_a_plug_that_lets_go_is_told() -> None:
    reply = jobs.job()
    assert "One open end then gives up to" in said(fitter.sheet(reply))
    del reply["letting_go"]
    assert "cap and coupling that fit" in said(fitter.sheet(reply))
    reply["letting_go"] = {
        "flow": {"value": 31.2, "unit": "L/min"}, "first_minute": {"value": 31.2, "unit": "L"},
        "at_hand": [{"code": "cap", "text": "Cap for the pipe."}],
    }  # fmt: skip
    text = said(fitter.sheet(reply))
    assert "gives up to 32 L/min, 32 L in the first minute. Have at hand: Cap for the pipe." in text


def test_what_to_do_stands_beside_its_reason() -> None:
    reply = jobs.job()
    reason = {"code": "any", "text": "It is 30 degC.", "severity": "warn", "action": "Cool it."}
    reply |= {"verdict": "conditional", "reasons": [reason]}
    assert "It is 30 °C. Cool it." in said(fitter.sheet(reply))


def test_a_price_says_what_is_to_be_paid_and_at_most() -> None:
    reply = jobs.job()
    reply["quote"]["lines"][0]["text"] = "Two persons on site"
    reply["quote"] |= {
        "sums": {"payable": "205.29", "lost_use": "53.40"},
        "at_90": {"sums": {"payable": "251.00"}},
    }
    sold = said(customer.sheet(reply))
    assert f"Two persons on site {reply['quote']['lines'][0]['quantity']} h" in sold
    assert "Price 205.29 EUR" in sold
    assert "To be paid: 205.29 EUR. The line's lost use is your own, 53.40 EUR." in sold
    assert "nine come to 251.00 EUR at most" in sold


def test_moments_of_many_points_are_told_by_groups() -> None:
    text = said(fitter.sheet(jobs.several(30)))
    assert "group 1: Open the cylinders" in text
    assert "point 30 2 in steel pipe" in text
    assert "point 30: " not in text


# what a picture's font lacks is drawn by whoever shows it
@pytest.mark.filterwarnings("ignore:Glyph")
@pytest.mark.parametrize("hostile", HOSTILE.values(), ids=HOSTILE)
@BOTH
def test_what_a_caller_wrote_stays_text(make: Make, hostile: str) -> None:
    reply = jobs.job()
    reply["id"] = hostile
    reply["inputs"]["places"][0]["name"]["value"] = hostile
    for rule in reply["spacing"]["rules"]:
        rule["between"] = [hostile, hostile]
    made, usual = make(reply), make(jobs.job())
    found = page(made)
    assert plain(hostile) in plain(" ".join(found.parts))
    assert sorted(found.tags) == sorted(page(usual).tags), "no element comes of it"
    assert "script" not in found.tags
    with opened(made) as pdf:
        assert len(pdf) <= 2
    text = letters(printed(made))
    if hostile not in (HOSTILE["right-to-left"], HOSTILE["emoji"]):
        assert letters(hostile) in text, "letter by letter"


def test_a_pdf_has_the_letters_of_its_languages() -> None:
    """Each is drawn from the fonts that come with the service, none as a missing sign."""
    reply = jobs.job()
    reply["id"] = HOSTILE["Greek and Cyrillic"] + " " + HOSTILE["right-to-left"]
    with opened(fitter.sheet(reply)) as pdf:
        text = pdf[0].get_textpage().get_text_bounded()
    assert set("ΛουτράКупальняőü") <= set(text)
    assert set("שלום") <= set(text)


@BOTH
def test_an_equal_sheet_is_an_equal_pdf_without_a_date(make: Make) -> None:
    first, again = layout.pdf(make(jobs.job())), layout.pdf(make(jobs.job()))
    assert first == again
    assert b"CreationDate" not in first
    assert b"ModDate" not in first


def test_a_sheet_is_written_in_data_and_templates_alone() -> None:
    folder = Path(sheets.__file__).parent
    assert {p.name for p in folder.glob("sheet.*")} == {"sheet.html", "sheet.typ"}
    assert "|safe" not in (folder / "sheet.html").read_text().replace("b.svg|safe", "")
    assert "eval" not in (folder / "sheet.typ").read_text()
