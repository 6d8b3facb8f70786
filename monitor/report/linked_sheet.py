"""Contexts of the two pages that only a link leads to: that of a link which opens nothing, and the door of a pack."""

from collections.abc import Mapping
from typing import Any

from monitor.report.context import Book, WallView
from monitor.report.language import Language, language
from monitor.report.places import spoken

Context = Mapping[str, Any]


def nothing(company: Mapping[str, str], code: str, others: Mapping[str, str]) -> Context:
    """Nothing about any wall: whom to ask, and the box that holds for every wall."""
    words = language(code)
    name = company.get("name") or words["said"]["office"]
    text = words.say("link", "ask", company=name, contact=company.get("contact") or "–")
    return {**_both(words, others), "title": words["link"]["none"], "texts": [text], "take": None, "stay_out": True}


def pack_door(book: Book, view: WallView, code: str, others: Mapping[str, str], address: str) -> Context:
    """What the archive holds, and where it is."""
    words = language(code)
    caution = words["caution"]
    texts = [
        words.say("link", "holds", day=words.day_text(book.assessment.judged_on)),
        f"{caution['before']} {caution['strong']} {caution['after']}",
        caution["local_rules"],
    ]
    title = words.say("link", "pack", wall=spoken(view, words))
    return {**_both(words, others), "title": title, "texts": texts, "take": address, "stay_out": False}


def _both(words: Language, others: Mapping[str, str]) -> Context:
    named = [(code, place, language(code)["language"]["name"]) for code, place in others.items()]
    return {"words": words, "lang": words.code, "nav": False, "others": named}
