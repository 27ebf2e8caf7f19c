"""The bench as a person meets it, in a real browser: from an empty record to a certificate, with the network cut in the
middle of a run, a reload, a second tablet, the keyboard alone, a phone, and the rules of accessibility.

    python checks/browser/bench.py PROGRAM [FOLDER]

PROGRAM is a built halfdrop; pictures of each step are left in FOLDER (target/browser). Exit status 1 if anything differs.
"""

import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import reading as at_the_field
import samples
import shared
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Error, expect, sync_playwright

# Another name of this machine: a page from there is no secure context, as on a tablet that was let in.
ELSEWHERE = "bench.test"
FLAGS = [f"--host-resolver-rules=MAP {ELSEWHERE} 127.0.0.1", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--use-fake-ui-for-media-stream",
         "--use-fake-device-for-media-stream"]
TABLET = {"width": 1180, "height": 820}
UPRIGHT = {"width": 820, "height": 1180}
PHONE = {"width": 390, "height": 844}
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
# Mass in g, initial and final reading in mL of each run; the third is set aside, the first is corrected.
RUNS = [("0.5007", "0,03", "24.65"), ("0.5002", "0.10", "24.60"), ("0.5010", "0.02", "23.61"), ("0.5004", "0.05", "24.57")]


class Bench:
    """A program serving a record of its own, and the faults that were seen."""

    def __init__(self, program, folder, *arguments):
        self.process = subprocess.Popen([program, "serve", "--no-browser", "--who", "sorrel", *arguments],
                                        stdout=subprocess.PIPE, text=True, cwd=folder)
        said = self.process.stdout.readline()
        self.url = re.search(r"http://[^/ ]+", said).group(0)
        self.faults = []

    def close(self):
        self.process.terminate()
        self.process.wait(10)

    def page(self, browser, size, **more):
        context = browser.new_context(viewport=size, has_touch=True, **more)
        page = context.new_page()
        page.on("pageerror", lambda error: self.faults.append(f"script: {error}"))
        page.set_default_timeout(10_000)
        return page

    def check(self, what, true):
        print(("ok      " if true else "FAILED  ") + what)
        if not true:
            self.faults.append(what)


def take_in(page, bench):
    page.goto(f"{bench.url}/shelf")
    for summary, fields in [
        ("A solution made here", {"short name, as on the label": "T-0201", "substance": "sodium hydroxide",
                                  "made for": "0.1 mol/L", "hazard line, from the safety data sheet": "corrosive"}),
        ("A lot: a standard, a reagent, a bought solution", {"short name, as on the label": "S-0201", "substance": "potassium hydrogen phthalate",
                                 "certificate number": "K-1", "purity": "99.97 %",
                                 "its expanded uncertainty (k = 2)": "0.03 %"}),
        ("A piece of glass", {"short name, as on the label": "B-1",
                              "piece, as the catalogue calls it": "burette 50 mL A"}),
        ("A balance", {"short name, as on the label": "W-1",
                       "balance, as the catalogue calls it": "four-place balance"}),
    ]:
        details = page.locator("details", has=page.locator("summary", has_text=re.compile(f"^{summary}$")))
        details.locator("summary").click()
        for label, text in fields.items():
            details.get_by_label(label, exact=True).fill(text)
        with page.expect_navigation():
            details.get_by_role("button", name="Take in").click()


def reading(page, text):
    """Types a reading and takes it; waits until the page asks for the next thing."""
    asked = page.locator("#asked").text_content()
    field = page.locator("input.reading")
    field.fill(text)
    page.get_by_role("button", name="Take the reading").click()
    expect(page.locator("#bench")).not_to_contain_text(asked)


def attach(page, path):
    """Attaches a photograph to the reading that stands first, the last one taken."""
    page.get_by_text("Attach a photograph").click()
    form = page.locator("form.photo")
    form.locator("input[type=file]").set_input_files(path)
    form.get_by_role("button", name="Keep it").click()


def on_a_slow_network(page, bench, initial, last):
    """Both readings are typed and taken before the first is answered."""
    page.evaluate("""const quick = window.fetch;
        window.fetch = async (...asked) => { await new Promise((then) => setTimeout(then, 500)); return quick(...asked); };""")
    for text in [initial, last]:
        page.locator("input.reading").fill(text)
        page.get_by_role("button", name="Take the reading").click()
    bench.check("what is taken while the network is slow waits in sight",
                "2 waiting for the network" in page.locator("#saved").text_content())
    expect(page.get_by_role("button", name="Begin a run", exact=True)).to_be_visible()
    page.reload()


def photographs(page, other, bench, pictures):
    """A second photograph, from another tablet, waits through a reload without network; both are in the record once, in
    their order."""
    other.context.set_offline(True)
    attach(other, pictures / "1-first-visit.png")
    expect(other.locator("#pictures-waiting img")).to_have_count(1)
    url = other.url
    try:
        other.reload()
    except Error:
        pass
    bench.check("without network there is no page", other.locator("#bench").count() == 0)
    other.context.set_offline(False)
    other.goto(url)
    expect(other.locator("figure a img")).to_have_count(2)
    expect(page.locator("figure a img")).to_have_count(2)
    expect(other.locator("#pictures-waiting figure")).to_have_count(0)
    bench.check("no photograph waits any more", True)
    name = page.url.rsplit("/", 1)[1]
    events = page.request.get(f"{bench.url}/api/v1/things/determination/{name}/history").json()
    told = [f"{event['payload'].get('run')} {event['payload'].get('reading')} {event['kind']}" for event in events]
    bench.check("each photograph is in the record once, after its reading",
                sum(line.endswith("file-attached") for line in told) == 2
                and told.index("3 final reading-taken") < told.index("3 final file-attached")
                and told.count("3 final file-attached") == 1 and told.count("4 final file-attached") == 1)


def standardize(browser, bench, pictures):
    page = bench.page(browser, TABLET)
    page.goto(bench.url)
    page.screenshot(path=pictures / "1-first-visit.png")
    take_in(page, bench)
    page.goto(f"{bench.url}/new")
    form = page.locator("form", has=page.locator("select[name=sought]"))
    form.get_by_label("what it is called").fill("Base 0.1 by phthalate")
    form.get_by_label("indicator").fill("phenolphthalein")
    form.get_by_label("temperature of the solutions").fill("21,5 degC")
    form.locator("select[name=known]").select_option("lot/S-0201")
    form.locator("select[name=burette]").select_option("apparatus/B-1")
    form.locator("select[name=balance]").select_option("apparatus/W-1")
    page.screenshot(path=pictures / "2-begin.png", full_page=True)
    form.get_by_role("button", name="Open it on the bench").click()
    page.wait_for_url("**/determinations/*")
    page.get_by_role("button", name="burette rinsed with titrant").click()
    expect(page.locator(".ticks")).to_contain_text("✓ burette rinsed with titrant")

    other = bench.page(browser, TABLET)
    other.goto(page.url.replace("127.0.0.1", ELSEWHERE))
    bench.check("the other tablet has no secure context", not other.evaluate("isSecureContext"))
    for number, (mass, initial, last) in enumerate(RUNS, start=1):
        page.get_by_role("button", name="Begin a run", exact=True).click()
        expect(page.locator("#asked")).to_contain_text("mass")
        if number == 4:
            page.get_by_text("Write a remark").click()
            page.get_by_label("What was seen").fill("flask was wet")
            reading(other, mass)
            expect(page.locator("#asked")).to_contain_text("initial reading")
            bench.check("news of another tablet keeps what is being written",
                        page.get_by_label("What was seen").input_value() == "flask was wet")
            on_a_slow_network(page, bench, initial, last)
            continue
        reading(page, mass)
        if number == 2:
            page.reload()
            bench.check("a reload in the middle of a run asks for the same reading",
                        "initial reading" in page.locator("#asked").text_content())
        if number == 3:
            page.context.set_offline(True)
            page.locator("input.reading").fill(initial)
            page.get_by_role("button", name="Take the reading").click()
            # The page goes on at once: the next reading is typed while the last one is still on its way.
            page.locator("input.reading").fill(last)
            expect(page.locator("#saved")).to_contain_text("1 waiting for the network")
            page.get_by_role("button", name="Take the reading").click()
            expect(page.locator("#saved")).to_contain_text("2 waiting for the network")
            attach(page, pictures / "3-reading.png")
            expect(page.locator("#saved")).to_contain_text("3 waiting for the network")
            expect(page.locator("#pictures-waiting figure")).to_contain_text("Photograph of Run 3: final reading")
            page.screenshot(path=pictures / "4-no-network.png")
            page.context.set_offline(False)
            expect(page.locator("#saved")).to_contain_text("taken and on disk", timeout=15_000)
            continue
        reading(page, initial)
        page.locator("input.reading").fill(last)
        page.screenshot(path=pictures / "3-reading.png")
        # By the keyboard alone.
        page.locator("input.reading").press("Enter")
        expect(page.get_by_role("button", name="Begin a run", exact=True)).to_be_visible()
    bench.check("the other tablet shows the readings without a reload", "24.57" in other.locator(".runs").text_content())
    shown = page.locator(".runs").text_content()
    bench.check("readings taken without network are there once", shown.count("23.61") == 1)

    photographs(page, other, bench, pictures)
    page.get_by_text("Correct a reading").click()
    row = page.locator("form.command", has=page.get_by_label("run 1, final"))
    row.get_by_label("run 1, final").fill("24.55 mL")
    row.get_by_label("reason").fill("read again against the card")
    row.get_by_role("button", name="Put right").click()
    expect(page.locator(".runs del")).to_have_text("24.65")
    page.get_by_text("Set a run aside").click()
    row = page.locator("form.command", has=page.get_by_label("run 3: reason"))
    row.get_by_label("run 3: reason").fill("spilled")
    row.get_by_role("button", name="Set aside").click()
    expect(page.locator("#bench")).to_contain_text("is set aside: spilled")
    page.screenshot(path=pictures / "5-corrected-and-set-aside.png", full_page=True)

    page.get_by_role("button", name="Close: the result stands").click()
    page.get_by_role("button", name="Nothing is left to be mended").click()
    page.get_by_role("button", name="Sign").click()
    page.screenshot(path=pictures / "6-result.png", full_page=True)
    page.get_by_role("button", name="Issue the certificate").click()
    page.wait_for_url("**/certificates/*")
    page.screenshot(path=pictures / "7-certificate.png", full_page=True)
    # By hand: see crates/server/tests/bench.rs, the same figures.
    bench.check("the certificate states 0.1000 mol/L and holds",
                "This certificate holds." in page.content() and "0.1000" in page.content())


def walk(browser, bench, pictures):
    """Every page: no rule of accessibility broken, nothing cut off on a phone, readable without script and at 200 %."""
    paths = ["/", "/determinations", "/determinations/D-0005", "/determinations/D-0001", "/new", "/shelf", "/record",
             "/new?method=calcium-magnesium", "/codes/apparatus/B-3",
             "/people", "/plan?titrant=sodium+hydroxide&strength=0.1+mol/L&standard=potassium+hydrogen+phthalate",
             "/things/solution/T-0123", "/things/solution/T-0098", "/things/sample/Q-0001?rules=chosen&rule=six-steady",
             "/things/apparatus/B-3", "/certificates/C-0001", "/certificates/C-0002", "/labels/T-0117", "/sign-in",
             "/determinations/D-0004", "/determinations/D-0001/what-if", "/determinations/D-0001/working",
             "/determinations/D-0001/where/step:c", "/determinations/D-0001/where/reading:4:final",
             "/determinations/D-0001/where/input:S-0041%2Fpurity"]
    for size, name in [(TABLET, "tablet"), (PHONE, "phone"), ({"width": 590, "height": 410}, "tablet at 200 %")]:
        page = bench.page(browser, size)
        wide = []
        for path in paths:
            page.goto(bench.url + path)
            if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                wide.append(path)
        bench.check(f"nothing is cut off: {name} {wide or ''}", not wide)
    for scheme in ["light", "dark", "dark room"]:
        page = bench.page(browser, TABLET, color_scheme="dark" if scheme == "dark" else "light")
        if scheme == "dark room":
            darken(page, bench)
        broken = []
        for path in paths:
            page.goto(bench.url + path)
            found = Axe().run(page, options=RULES).response["violations"]
            broken += [f"{path}: {v['id']} ({v['nodes'][0]['html'][:90]})" for v in found]
        bench.check(f"accessible, {scheme}: {len(broken)} rules broken", not broken)
        for line in broken:
            print("        " + line)
        page.goto(bench.url + "/determinations/D-0001")
        page.screenshot(path=pictures / f"8-result-{scheme.replace(' ', '-')}.png")
    page = bench.page(browser, TABLET, java_script_enabled=False)
    page.goto(bench.url + "/determinations/D-0001")
    bench.check("the result can be read without script", "mol/L" in page.content())
    page.goto(bench.url + "/determinations/D-0001/what-if")
    page.locator("input[name='v.B-3/calibration/20 to 30 mL']").fill("0.05")
    page.get_by_role("button", name="Show it").click()
    bench.check("what if can be asked without script", "0.09964" not in page.locator("[data-is=value]").text_content())


def darken(page, bench):
    """The button for a dark room: it comes back to the page it stands on, and every page is dark from then on."""
    page.goto(bench.url + "/shelf")
    with page.expect_navigation():
        page.get_by_role("button", name="dark", exact=True).click()
    bench.check("the dark room comes back to its page", page.url.endswith("/shelf"))
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    bench.check("the dark room is dark", sum(map(int, re.findall(r"\d+", paper))) < 150)
    page.emulate_media(media="print")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    bench.check("a dark room prints on white paper", paper == "rgb(255, 255, 255)")
    bench.check("the switch is not printed", not page.locator("form.room").is_visible())
    page.emulate_media(media="screen")


def follow(browser, bench, pictures):
    """From the result by the keyboard down to the corrected reading; the sliders answer at once, and nothing is recorded."""
    page = bench.page(browser, TABLET)
    page.goto(bench.url + "/determinations/D-0001")
    page.locator(".big a.whence").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/where/step%3Ac")
    for symbol in ["c mean", "c 3", "V 3", "V obs,3", "V end,3"]:
        link = page.locator("table.linked a").filter(has_text=re.compile("^" + symbol.replace(" ", "") + "$")).first
        link.focus()
        with page.expect_navigation():
            page.keyboard.press("Enter")
    page.get_by_role("link", name="The reading").click()
    page.wait_for_url("**/where/reading%3A4%3Afinal")
    bench.check("from the result down to the corrected reading by the keyboard",
                "digits swapped" in page.content() and page.locator("del").count() == 1)
    page.screenshot(path=pictures / "9-reading.png", full_page=True)

    page.goto(bench.url + "/determinations/D-0001/what-if")
    before = page.locator("[data-is=uncertainty]").text_content()
    slider = page.locator("input[name='su.T-0117/repeatability']")
    slider.focus()
    page.keyboard.press("End")
    expect(page.locator("[data-is=uncertainty]")).not_to_have_text(before)
    bench.check("a slider moves its field", page.locator("input[name='u.T-0117/repeatability']").input_value() != "")
    page.screenshot(path=pictures / "9-what-if.png", full_page=True)
    page.get_by_role("link", name="Back to what is recorded").click()
    expect(page.locator("[data-is=uncertainty]")).to_have_text(before)
    page.goto(bench.url + "/things/solution/T-0098")
    page.screenshot(path=pictures / "9-bottle.png", full_page=True)
    page.locator(".threads a", has_text="S-0041").click()
    page.wait_for_url("**/things/lot/S-0041")
    page.locator(".threads a", has_text="T-0117").first.wait_for()
    bench.check("threads can be followed on and back", True)


def upright(browser, bench, pictures):
    """A tablet held upright shows the burette, a phone its lens; in both a reading is seen as a meniscus above the keys, and
    one far from the expected end is pointed out."""
    for size, name, drawn in [(UPRIGHT, "tablet upright", ".burette svg"), (PHONE, "phone", ".lens svg")]:
        page = bench.page(browser, size)
        page.goto(f"{bench.url}/determinations/D-0005")
        page.get_by_role("button", name="Begin a run", exact=True).click()
        expect(page.locator("#asked")).to_contain_text("initial")
        reading(page, "0.02")
        expect(page.locator(drawn)).to_be_visible()
        page.locator("input.reading").fill("31.49")
        page.evaluate("scrollTo(0, 0)")
        expect(page.locator("#said")).to_contain_text("Was it 21.49?")
        page.locator("input.reading").fill("21.49")
        expect(page.locator("#said")).to_have_text("")
        page.evaluate("scrollTo(0, 0)")
        below = page.locator("#echo svg").bounding_box()
        bench.check(f"{name}: the echo is in sight with its field and the keys",
                    below["y"] >= 0 and page.locator(".pad").bounding_box()["y"] + 150 < size["height"])
        page.screenshot(path=pictures / f"16-{name.replace(' ', '-')}.png")
        reading(page, "21.49")


def readings(browser, bench, pictures):
    at_the_field.walk(browser, bench, pictures, {"tablet": TABLET, "tablet upright": UPRIGHT, "phone": PHONE})


def main():
    program = str(pathlib.Path(sys.argv[1]).resolve())
    pictures = pathlib.Path(sys.argv[2] if len(sys.argv) > 2 else "target/browser")
    pictures.mkdir(parents=True, exist_ok=True)
    folder = tempfile.mkdtemp()
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    faults = []
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
            for arguments, works in [(["--record", "bench.record"], [standardize]), (["--record", "shared.record"], [shared.together]),
                                     (["--record", "reading.record"], [readings]),
                                     (["--demo"], [samples.walk, follow]), (["--demo"], [walk, upright])]:
                bench = Bench(program, folder, *arguments)
                try:
                    for work in works:
                        work(browser, bench, pictures)
                finally:
                    bench.close()
                faults += bench.faults
            browser.close()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    for fault in faults:
        print(f"FAILED  {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
