"""The rules that every page is held to can fail: each is broken on purpose on a page that keeps them all."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.browser.visitor import PHONE, Visitor


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ("document.querySelector('label').remove()", "label"),
        ("document.documentElement.removeAttribute('lang')", "html-has-lang"),
        ("document.querySelector('h1').innerHTML = '<pre>' + 'W'.repeat(90) + '</pre>'", "scrolls sideways"),
        (
            "document.querySelector('.act').after(document.querySelector('.act').cloneNode(true))",
            "strong buttons",
        ),
        ("console.error('a script broke')", "a script broke"),
        ("setTimeout(() => { throw new Error('nobody caught this') })", "nobody caught this"),
        ("document.body.setAttribute('style', 'color: red')", "content policy"),
        ("fetch('/nothing-here/')", "404"),
    ],
)
def test_a_broken_rule_is_told(demo: str, somebody: Callable[..., Visitor], broken: str, told: str) -> None:
    visitor = somebody(demo, PHONE)
    visitor.go("/sign-in/").look()
    visitor.page.evaluate(f"() => {{ {broken} }}")
    visitor.page.wait_for_timeout(200)
    with pytest.raises(AssertionError, match=told):
        visitor.look()
