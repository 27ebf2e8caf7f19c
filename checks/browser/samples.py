"""Samples by a method at the bench, in a real browser: titrations, a refill, things chosen by their labels, a photograph of a
reading, a plan that opens its determination, another language. Called by bench.py on the demo record."""

import base64
import pathlib
import re
import shutil
import subprocess
import tempfile

from playwright.sync_api import expect

TABLET = {"width": 1180, "height": 820}


def command(page, bench, on, kind, payload):
    answer = page.request.post(f"{bench.url}/api/v1/commands", data={"on": on, "kind": kind, "payload": payload})
    assert answer.ok, answer.text()


def reading(page, text, button="Take the reading"):
    asked = page.locator("#asked").text_content()
    page.locator("input.reading").fill(text)
    page.get_by_role("button", name=button).click()
    expect(page.locator("#bench")).not_to_contain_text(asked)


def photographed(browser, pdf, folder):
    """A label of ours, printed and photographed: turned, a little out of focus, unevenly lit, as JPEG."""
    (folder / "label.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "220", "-png", "-singlefile", folder / "label.pdf", folder / "label"], check=True)
    picture = base64.b64encode((folder / "label.png").read_bytes()).decode()
    page = browser.new_context(viewport={"width": 1400, "height": 1000}).new_page()
    page.set_content(f"""<body style="margin:0;background:linear-gradient(100deg,#999,#555)">
        <img src="data:image/png;base64,{picture}" style="position:absolute;left:300px;top:260px;width:760px;
        transform:rotate(-14deg) skewX(4deg);filter:blur(1.6px) brightness(.8)">""")
    photo = folder / "photo.jpg"
    page.screenshot(path=photo, type="jpeg", quality=60)
    page.context.close()
    return photo


def by_label(browser, bench, pictures):
    page = bench.page(browser, TABLET)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        pdf = page.request.get(f"{bench.url}/labels/T-0117/pdf").body()
        photo = photographed(browser, pdf, folder)
        shutil.copy(photo, pictures / "9-photographed-label.jpg")
        page.goto(f"{bench.url}/new")
        form = page.locator("form", has=page.locator("select[name=sought]"))
        form.get_by_label("what it is called").fill("Base, chosen by its label")
        # A chosen picture is read at once.
        form.locator("input[type=file]").set_input_files(photo)
        expect(page.locator("#found").first).to_contain_text("✓ solution T-0117", timeout=20_000)
        kept = page.locator("input[name=title]").first.input_value()
        bench.check("a photographed label chooses its bottle and keeps the form",
                    kept == "Base, chosen by its label" and page.locator("select[name=sought]").input_value() == "solution/T-0117")
        page.locator(".find input[name=id]").first.fill("b-3")
        page.locator(".find input[name=id]").first.press("Enter")
        expect(page.locator("#found").first).to_contain_text("✓ apparatus B-3")
        bench.check("a typed id chooses the burette", page.locator("select[name=burette]").first.input_value() == "apparatus/B-3")
        page.screenshot(path=pictures / "10-by-label.png")
        # Without script the same by a form.
        plain = bench.page(browser, TABLET, java_script_enabled=False)
        plain.goto(f"{bench.url}/new")
        plain.locator("input[type=file]").first.set_input_files(photo)
        plain.get_by_role("button", name="Read the code").first.click()
        bench.check("the same without script", "✓ solution T-0117" in plain.content())


def live_view(browser, bench):
    """The camera's picture comes from the browser's own test device, and what it reads is given here: this program's part is to
    ask for the camera, to be let have it by its own policies, to show it and to stop."""
    page = bench.page(browser, TABLET, permissions=["camera"])
    page.add_init_script("""window.BarcodeDetector = class {
        static async getSupportedFormats() { return ["qr_code"]; }
        async detect(video) { return video.videoWidth ? [{ rawValue: "apparatus/B-3" }] : []; } };""")
    page.goto(f"{bench.url}/new")
    page.get_by_role("button", name="Look with the camera").first.click()
    expect(page.locator("#found").first).to_contain_text("✓ apparatus B-3", timeout=20_000)
    bench.check("the live view chooses what it sees", page.locator("select[name=burette]").first.input_value() == "apparatus/B-3")


def hardness(page, bench, pictures):
    """Total and calcium hardness: two titrations of one sample, the first with a refill."""
    concentration = {"number": "E-1/a", "concentration": {"value": "0.01002 mol/L", "U": "0.00002 mol/L", "k": 2}}
    command(page, bench, "lot/E-1", "lot-received",
            {"substance": "disodium EDTA dihydrate", "serves_as": "reagent", "certificate": concentration})
    command(page, bench, "apparatus/P-50-1", "apparatus-registered", {"piece": {"glass": "pipette 50 mL A"}})
    command(page, bench, "sample/V-301", "sample-received", {"what": "process water, well 2"})
    page.goto(f"{bench.url}/new")
    page.locator("select[name=method]").select_option("calcium-magnesium")
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("V-301").check()
    for name, value in [("titrant", "lot/E-1"), ("burette", "apparatus/B-3"), ("piece.sample", "apparatus/P-50-1")]:
        page.locator(f"select[name='{name}']").select_option(value)
    page.get_by_label("temperature of the solutions").fill("21 degC")
    page.screenshot(path=pictures / "11-method.png", full_page=True)
    page.get_by_role("button", name="Open it on the bench").click()
    page.wait_for_url("**/determinations/*")
    page.get_by_role("button", name="Begin a run", exact=True).first.click()
    expect(page.locator("#bench")).to_contain_text("ammonia buffer pH 10")
    reading(page, "30.10")
    reading(page, "49.80", "Take it, then refill the burette")
    # The network goes away right after the refill.
    page.context.set_offline(True)
    page.locator("input.reading").fill("0.06")
    page.get_by_role("button", name="Take the reading").click()
    expect(page.locator("#asked")).to_contain_text("final reading of fill 2")
    page.locator("input.reading").fill("2.38")
    page.get_by_role("button", name="Take the reading").click()
    expect(page.locator("#saved")).to_contain_text("2 waiting for the network")
    page.context.set_offline(False)
    expect(page.locator("#saved")).to_contain_text("taken and on disk", timeout=15_000)
    # 49.80 - 30.10 + 2.38 - 0.06
    expect(page.get_by_role("button", name="Begin a run", exact=True).first).to_be_visible()
    bench.check("the titre runs over both fills", "22.02" in page.locator(".runs").text_content())
    page.locator(".row.kind", has_text="calcium").get_by_role("button", name="Begin a run", exact=True).last.click()
    expect(page.locator("#bench")).to_contain_text("pH 12 to 13")
    reading(page, "2.40")
    reading(page, "18.15")
    expect(page.locator(".side")).to_contain_text("magnesium")
    page.screenshot(path=pictures / "12-two-titrations.png")
    photograph(page, bench, pictures)
    page.get_by_role("button", name="Close: the result stands").click()
    expect(page.get_by_role("button", name="Nothing is left to be mended")).to_be_visible()
    expect(page.locator("#bench")).to_contain_text("total hardness")
    bench.check("the photograph is on the page of the result", page.locator(".photos img").count() == 1)


def photograph(page, bench, pictures):
    shown = pictures / "12-two-titrations.png"
    page.get_by_text("Attach a photograph").click()
    form = page.locator("form.photo")
    form.locator("input[type=file]").set_input_files(shown)
    page.context.set_offline(True)
    form.get_by_role("button", name="Keep it").click()
    expect(page.locator("#pictures-waiting")).to_contain_text("waits for the network")
    page.context.set_offline(False)
    picture = page.locator(".photos a img")
    expect(picture).to_have_attribute("alt", re.compile("Photograph of Run 1"))
    picture.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('.photos img').naturalWidth > 0")
    page.screenshot(path=pictures / "13-photograph.png")


def plan(page, bench):
    page.goto(f"{bench.url}/plan?titrant=sodium+hydroxide&strength=0.1+mol/L&standard=potassium+hydrogen+phthalate"
              "&burette=burette+50+mL+A&balance=four-place+balance")
    page.get_by_label("burette at hand").fill("burette 25 mL A graduated 0.05")
    page.get_by_label("burette at hand").press("Tab")
    expect(page.locator("#was")).to_contain_text("before: 0.20 %", timeout=20_000)
    bench.check("a plan follows its choices", page.locator("[data-is=u]").text_content() != "0.20 %")
    page.get_by_label("burette at hand").fill("burette 50 mL A")
    page.get_by_label("burette at hand").press("Tab")
    expect(page.locator("[data-is=u]")).to_have_text("0.20 %", timeout=20_000)
    page.get_by_role("link", name="Open the determination").click()
    form = page.locator("form", has=page.locator("select[name=sought]"))
    bench.check("a plan opens its determination filled in",
                form.locator("select[name=known]").input_value() == "lot/S-0041"
                and form.locator("select[name=burette]").input_value() == "apparatus/B-3"
                and form.locator("input[name=title]").input_value() != "")


def language(page, bench, pictures):
    page.goto(f"{bench.url}/determinations/D-0005")
    with page.expect_navigation():
        page.get_by_role("link", name="Deutsch").click()
    bench.check("the bench speaks German", page.locator("html").get_attribute("lang") == "de"
                and "Lauf beginnen" in page.content())
    page.screenshot(path=pictures / "14-german.png")
    with page.expect_navigation():
        page.get_by_role("link", name="English").click()


def walk(browser, bench, pictures):
    by_label(browser, bench, pictures)
    live_view(browser, bench)
    page = bench.page(browser, TABLET)
    hardness(page, bench, pictures)
    plan(page, bench)
    language(page, bench, pictures)
