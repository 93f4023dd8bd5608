"""What the tests of the report share."""

import re
from html.parser import HTMLParser

import pytest


class _Checker(HTMLParser):
    """Collects what a page refers to, its headings and whether its tags close."""

    EMPTY = frozenset({"meta", "img", "br", "link", "hr", "input"})

    def __init__(self, closed):
        super().__init__()
        self.closed = closed
        self.open, self.ids, self.links, self.requests, self.levels, self.alts = [], [], [], [], [], []

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        if tag not in self.EMPTY:
            self.open.append(tag)
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if tag == "a" and "href" in found else []
        self.requests += [v for k, v in found.items() if k in ("src", "srcset", "poster", "data") and v]
        self.requests += [found["href"]] if tag == "link" else []
        self.alts += [found.get("alt")] if tag == "img" else []
        if re.fullmatch(r"h[1-6]", tag):
            self.levels.append(int(tag[1]))

    def handle_endtag(self, tag):
        assert not self.closed or (self.open and self.open.pop() == tag), f"</{tag}> closes nothing"


def _check_page(text, *, closed=True):
    checker = _Checker(closed)
    checker.feed(text)
    assert not (closed and checker.open)
    assert all(r.startswith("data:") for r in checker.requests)
    assert not re.search(r"@import|url\((?!data:)", text)
    assert "<script" not in text
    assert len(checker.ids) == len(set(checker.ids))
    inner = [link[1:] for link in checker.links if link.startswith("#")]
    assert set(inner) <= set(checker.ids)
    assert not [link for link in checker.links if link.startswith("http:")]
    assert all(alt and alt.strip() for alt in checker.alts)
    assert checker.levels.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(checker.levels, checker.levels[1:], strict=False) if b > a)
    return checker


@pytest.fixture(scope="session")
def check_page():
    """Assert what every page of the kit keeps: one file, closed tags, unique ids, links that lead somewhere."""
    return _check_page
