"""Is a page fit for everybody? Asked of axe, a tool that knows the rules of WCAG; it runs in the page itself."""

from typing import Any

import pytest

SERIOUS = ("serious", "critical")


def nothing_serious(page: Any, rules: tuple[str, ...] = ()) -> None:
    """See that axe finds nothing serious or critical on a page.

    Arguments:
        page: of Playwright.
        rules: only these; none for all that axe knows, the newest of WCAG 2.2 AA and its own advice among them.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    options: dict[str, Any] = {"resultTypes": ["violations"]}
    if rules:
        options["runOnly"] = {"type": "rule", "values": list(rules)}
    else:
        options["rules"] = {"target-size": {"enabled": True}}
    found = axe.Axe().run(page, options=options).response["violations"]
    told = [
        f"{page.url}: {one['impact']} {one['id']}: {one['help']}: {[node['html'][:160] for node in one['nodes'][:3]]}"
        for one in found
        if one["impact"] in SERIOUS
    ]
    assert told == []
