"""The pictures of the README: a new user's way from an empty record to a printed certificate, three runs that count, one
reading corrected, one run set aside. They are renewed by

    python checks/browser/steps.py PROGRAM [FOLDER]

PROGRAM is a built halfdrop, FOLDER is docs/steps if left out.
"""

import io
import pathlib
import subprocess
import sys
import tempfile

from bench import FLAGS, RUNS, TABLET, Bench, reading, shutil, take_in
from PIL import Image
from playwright.sync_api import expect, sync_playwright

# Most bytes of a picture in the repository.
MOST = 80_000


class Album:
    """Pictures in their order, with few colours, so that they stay small."""

    def __init__(self, folder):
        self.folder = folder
        self.folder.mkdir(parents=True, exist_ok=True)
        self.taken = 0

    def keep(self, name, png):
        self.taken += 1
        picture = Image.open(io.BytesIO(png)).convert("RGB")
        picture.thumbnail((1000, 1400), Image.Resampling.LANCZOS)
        path = self.folder / f"{self.taken:02}-{name}.png"
        for colours in [256, 128, 64, 32]:
            picture.quantize(colours, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(path, optimize=True)
            if path.stat().st_size <= MOST:
                return
        raise SystemExit(f"{path} has {path.stat().st_size} bytes; at most {MOST} are kept")

    def take(self, page, name, whole=False):
        # No cursor that blinks, no focus ring of a click just done.
        page.mouse.move(0, 0)
        self.keep(name, page.screenshot(full_page=whole))


def way(page, bench, album):
    page.goto(bench.url)
    album.take(page, "first-visit")
    take_in(page, bench)
    page.goto(f"{bench.url}/shelf")
    album.take(page, "shelf")
    page.goto(f"{bench.url}/new")
    form = page.locator("form", has=page.locator("select[name=sought]"))
    form.get_by_label("what it is called").fill("Base 0.1 by phthalate")
    form.locator("select[name=known]").select_option("lot/S-0201")
    form.locator("select[name=burette]").select_option("apparatus/B-1")
    form.locator("select[name=balance]").select_option("apparatus/W-1")
    form.get_by_label("indicator").fill("phenolphthalein")
    form.get_by_label("temperature of the solutions").fill("21.5 degC")
    album.take(page, "begin", whole=True)
    form.get_by_role("button", name="Open it on the bench").click()
    page.wait_for_url("**/determinations/*")
    for step in ["burette rinsed with titrant", "tip free of air", "funnel taken out"]:
        page.get_by_role("button", name=step).click()
        expect(page.locator(".ticks")).to_contain_text(f"✓ {step}")
    for number, (mass, initial, last) in enumerate(RUNS, start=1):
        page.get_by_role("button", name="Begin a run", exact=True).click()
        expect(page.locator("#asked")).to_contain_text("mass")
        if number == 1:
            page.locator("input.reading").fill(mass)
            album.take(page, "mass")
        reading(page, mass)
        reading(page, initial)
        page.locator("input.reading").fill(last)
        if number == 2:
            album.take(page, "reading")
        page.locator("input.reading").press("Enter")
        expect(page.get_by_role("button", name="Begin a run", exact=True)).to_be_visible()
    page.get_by_text("Correct a reading").click()
    row = page.locator("form.command", has=page.get_by_label("run 1, final"))
    row.get_by_label("run 1, final").fill("24.55 mL")
    row.get_by_label("reason").fill("read again against the card")
    row.scroll_into_view_if_needed()
    album.take(page, "correct")
    row.get_by_role("button", name="Put right").click()
    expect(page.locator(".runs del")).to_have_text("24.65")
    page.get_by_text("Set a run aside").click()
    row = page.locator("form.command", has=page.get_by_label("run 3: reason"))
    row.get_by_label("run 3: reason").fill("spilled")
    row.get_by_role("button", name="Set aside").click()
    expect(page.locator("#bench")).to_contain_text("is set aside: spilled")
    page.evaluate("scrollTo(0, 0)")
    album.take(page, "set-aside")
    page.get_by_role("button", name="Close: the result stands").click()
    expect(page.get_by_role("button", name="Nothing is left to be mended")).to_be_visible()
    page.reload()
    album.take(page, "result")
    button = page.get_by_role("button", name="Nothing is left to be mended")
    button.scroll_into_view_if_needed()
    page.mouse.wheel(0, 300)
    page.wait_for_timeout(300)
    album.take(page, "review")
    button.click()
    sign = page.get_by_role("button", name="Sign")
    sign.scroll_into_view_if_needed()
    album.take(page, "sign")
    sign.click()
    page.get_by_role("button", name="Issue the certificate").click()
    page.wait_for_url("**/certificates/*")
    album.take(page, "certificate")
    with tempfile.TemporaryDirectory() as folder:
        pdf = pathlib.Path(folder) / "certificate.pdf"
        pdf.write_bytes(page.request.get(f"{page.url}/pdf").body())
        subprocess.run(["pdftoppm", "-r", "90", "-png", "-f", "1", "-l", "1", "-singlefile", pdf, pdf.with_suffix("")], check=True)
        album.keep("printed", pdf.with_suffix(".png").read_bytes())


def main():
    program = str(pathlib.Path(sys.argv[1]).resolve())
    album = Album(pathlib.Path(sys.argv[2] if len(sys.argv) > 2 else "docs/steps"))
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        bench = Bench(program, folder, "--record", "bench.record")
        try:
            way(bench.page(browser, TABLET), bench, album)
        finally:
            bench.close()
            browser.close()
    for fault in bench.faults:
        print(f"FAILED  {fault}")
    return 1 if bench.faults else 0


if __name__ == "__main__":
    sys.exit(main())
