"""Find a site's pages as people do, by following its links, and open each kind of page once or twice."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator
from urllib.parse import urldefrag, urlsplit

from django.urls import Resolver404, URLPattern, URLResolver, get_resolver, resolve

from tests.browser.visitor import Visitor

#: Not pages: answers for programs, files, lines of a page.
NO_PAGES = {"alive", "ready", "echo", "totals_csv", "weigh_net"}


def page_names() -> set[str]:
    """The names of all addresses outside the API."""

    def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
        for each in patterns:
            if isinstance(each, URLResolver):
                if not str(each.pattern).startswith("api/"):
                    yield from names(each.url_patterns)
            elif each.name:
                yield each.name

    return set(names(get_resolver().url_patterns))


def name_of(path: str) -> str:
    """The name of the page at a path, "" when there is none."""
    try:
        return resolve(urlsplit(path).path).url_name or ""
    except Resolver404:
        return ""


def links(visitor: Visitor) -> list[str]:
    """Paths within the site that this page leads to, in order."""
    found = visitor.page.locator("a[href]").evaluate_all("links => links.map(a => a.href)")
    paths = [
        urldefrag(url)[0].removeprefix(visitor.site) for url in found if url.startswith(visitor.site + "/")
    ]
    return list(dict.fromkeys(paths))


def walk(visitor: Visitor, start: str = "/", *, twice: frozenset[str] = frozenset()) -> Iterator[str]:
    """Open the pages one can click to from ``start``, one of each name (with and without a query apart).

    Of the names in ``twice`` two are opened. Yields the name of the page that is open now.
    """
    seen: Counter[tuple[str, bool]] = Counter()
    known, waiting = {start}, deque([start])
    while waiting:
        path = waiting.popleft()
        kind = (name_of(path), "?" in path)
        if not kind[0] or kind[0] in NO_PAGES or seen[kind] > (kind[0] in twice):
            continue
        seen[kind] += 1
        visitor.go(path)
        fresh = [link for link in links(visitor) if link not in known]
        known.update(fresh)
        waiting.extend(fresh)
        yield kind[0]
