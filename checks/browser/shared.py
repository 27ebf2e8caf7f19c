"""A record that several people share, in a real browser with script: a signature with its passphrase, and readings that waited
for the network under the name of who took them. Called by bench.py on an empty record."""

from playwright.sync_api import expect

TABLET = {"width": 820, "height": 1180}
PASSPHRASE = "a long passphrase"


def command(page, bench, on, kind, payload):
    answer = page.request.post(f"{bench.url}/api/v1/commands", data={"on": on, "kind": kind, "payload": payload})
    assert answer.ok, answer.text()


def determination(page, bench, name):
    """One that waits for the final reading of its second run."""
    on = f"determination/{name}"
    command(page, bench, on, "determination-opened", {
        "title": f"Base, {name}", "burette": "apparatus/B-1", "balance": "apparatus/W-1", "conditions": {"temperature": "21 degC"},
        "plan": {"of": "standardization", "sought": "solution/T-0201", "place": "burette", "known": {"lot": "lot/S-0201"}}})
    for run, last in [(1, "24.57 mL"), (2, None)]:
        command(page, bench, on, "run-started", {"run": run, "run_kind": "replicate"})
        for reading, value in [("mass", "0.5004 g"), ("initial", "0.05 mL"), ("final", last)]:
            if value:
                command(page, bench, on, "reading-taken", {"run": run, "reading": reading, "value": value})
    return f"{bench.url}/determinations/{name}"


def shelf(page, bench):
    command(page, bench, "solution/T-0201", "solution-prepared", {"substance": "sodium hydroxide", "nominal": "0.1 mol/L"})
    command(page, bench, "lot/S-0201", "lot-received", {"serves_as": "standard", "substance": "potassium hydrogen phthalate",
            "certificate": {"number": "K-1", "purity": {"value": "99.97 %", "U": "0.03 %", "k": 2}}})
    command(page, bench, "apparatus/B-1", "apparatus-registered", {"piece": {"glass": "burette 50 mL A"}})
    command(page, bench, "apparatus/W-1", "apparatus-registered", {"piece": {"balance": "four-place balance"}})


def share(page, bench):
    for person, roles in [("sorrel", ["analyst", "keeper"]), ("fennel", ["reviewer"])]:
        command(page, bench, f"person/{person}", "person-added", {"name": person.capitalize(), "roles": roles})
        page.goto(f"{bench.url}/people")
        form = page.locator("form[action='/people/secret']")
        form.locator("select[name=person]").select_option(person)
        form.get_by_label("the new one").fill(PASSPHRASE)
        with page.expect_navigation():
            form.get_by_role("button", name="Set it").click()
    page.get_by_role("button", name="Share it now").click()
    page.wait_for_url("**/sign-in")


def sign_in(page, bench, person, then):
    page.context.clear_cookies()
    page.goto(f"{bench.url}/sign-in")
    page.get_by_label("short name").fill(person)
    page.get_by_label("passphrase or code").fill(PASSPHRASE)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign in").click()
    page.goto(then)


def together(browser, bench, pictures):
    page = bench.page(browser, TABLET)
    page.goto(bench.url)
    shelf(page, bench)
    url = determination(page, bench, "D-0001")
    share(page, bench)
    sign_in(page, bench, "sorrel", url)
    page.context.set_offline(True)
    page.locator("input.reading").fill("24.61")
    page.get_by_role("button", name="Take the reading").click()
    expect(page.locator("#saved")).to_contain_text("1 waiting for the network")
    # Somebody else signs in on this tablet before it is sent: it must not go out under another name.
    page.route("**/api/v1/commands", lambda route: route.abort())
    page.context.set_offline(False)
    sign_in(page, bench, "fennel", url)
    page.unroute("**/api/v1/commands")
    page.reload()
    expect(page.locator("#saved")).to_have_text("What sorrel did waits in this browser until sorrel signs in.")
    page.screenshot(path=pictures / "15-waits-for-sorrel.png")
    bench.check("a reading that waited is not sent under another name", "24.61" not in page.locator(".runs").text_content())
    sign_in(page, bench, "sorrel", url)
    expect(page.locator(".runs")).to_contain_text("24.61")
    history = page.request.get(f"{bench.url}/api/v1/things/determination/D-0001/history").json()
    taken = [event for event in history if event["payload"].get("value") == "24.61 mL"]
    bench.check("it is sent once, by who took it", [event["who"] for event in taken] == ["sorrel"])

    page.get_by_role("button", name="Close: the result stands").click()
    expect(page.get_by_role("button", name="Nothing is left to be mended")).to_be_visible()
    sign_in(page, bench, "fennel", url)
    for secret in ["not the passphrase", PASSPHRASE]:
        page.get_by_label("your passphrase once more").first.fill(secret)
        with page.expect_navigation():
            page.get_by_role("button", name="Nothing is left to be mended").click()
        if secret != PASSPHRASE:
            bench.check("a wrong passphrase does not sign", "That was not done" in page.content())
            page.goto(url)
    # The page after the first signature, before the second is given.
    expect(page.locator("#bench")).to_contain_text("reviewed by")
    page.get_by_label("your passphrase once more").fill(PASSPHRASE)
    with page.expect_navigation():
        page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.locator("#bench")).to_contain_text("approved by")
    bench.check("a second person signs with the passphrase", "Fennel" in page.locator("#bench").text_content())
    kept = page.evaluate("JSON.stringify(localStorage)")
    bench.check("no passphrase is kept in the browser", PASSPHRASE not in kept)
