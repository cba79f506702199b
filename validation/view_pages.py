"""The pages: quick, sound, and shut to strangers; on an invented campaign and a long series.

    python validation/view_pages.py [CAMPAIGN]

Exit code 1 where one falls short. Without CAMPAIGN one is invented. Needs Chromium and playwright.
"""

import http.client
import itertools
import re
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import numpy as np
from _measured import Table
from _reported import campaign
from playwright.sync_api import sync_playwright

from stakeline.campaign.folders import create
from stakeline.campaign.store import parquet_bytes, write_bytes
from stakeline.constants import NS_PER_S
from stakeline.time import from_iso
from stakeline.workflows.series import UNITS
from stakeline.workflows.view_lakes import lake_names
from stakeline.workflows.view_series import stations_with_results

ROWS = 10_000_000
BAD = "<img src=x onerror=document.title='run'>"  # a folder's name: it cannot hold a slash
START = from_iso("2031-05-01")
VIEWERS, ROUNDS = 50, 4
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
READY = "() => [...document.querySelectorAll('.chart')].every((c) => c.dataset.drawn)"
PAINT = "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
PAGES = (
    "/",
    "/plan",
    "/commission",
    "/intake",
    "/position",
    "/motion",
    "/lakes",
    "/decide",
    "/report",
)
OUTSIDE = (
    "/..%2f..%2fetc%2fpasswd",
    "/static/..%2f..%2fapp.py",
    "/static//etc/passwd",
    "/report/file/..%2f..%2fcampaign.toml",
    "/report/release/..%2f..%2fcampaign.toml?of=release",
    "/motion/..%2f..",
    "/plan/..%2f..%2fcampaign",
    "/lakes/..%2f..%2fcampaign/chart/level",
)
OWN = "own choice"
ISSUE = "own requirement"


def long_campaign(root):
    """Make a campaign of two stations: ten million seconds with gaps, and a name that is markup."""
    create(root)
    rng = np.random.default_rng(4)
    for name, rows in (("HV90", ROWS), (BAD, 1000)):
        seconds = np.arange(rows, dtype=np.int64)
        seconds += 86_400 * (seconds // 2_000_000)  # a day is missing now and then
        walk = 1e-4 * rng.standard_normal(rows).cumsum()
        nothing = np.zeros(rows)
        columns = dict.fromkeys(UNITS, nothing) | {
            "time_gps": (START + seconds * NS_PER_S).astype("datetime64[ns]"),
            "station": np.full(rows, name, object),
            "x_m": 1.10e6 + 1e-5 * seconds + walk, "y_m": -4.7e5 + walk, "z_m": 6.24e6 + walk,
            "latitude_deg": nothing + 79.2, "longitude_deg": nothing - 22.9, "height_m": 900 + walk,
            "sigma_east_m": nothing + 0.01, "sigma_north_m": nothing + 0.01,
            "sigma_up_m": nothing + 0.02, "satellites": np.full(rows, 9, np.int16),
            "state": np.full(rows, "imported", object),
        }  # fmt: skip
        data = parquet_bytes(columns, UNITS, {})
        write_bytes(Path(root) / "4-position" / name / f"{name}_imported.parquet", data)
    return Path(root)


@contextmanager
def served(root):
    """Serve a campaign as a person would; give (port, process id)."""
    command = [sys.executable, "-m", "stakeline", "view", str(root), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            port = int(re.search(r":(\d+)/", process.stdout.readline())[1])
            while True:
                try:
                    ask(port, "/static/look.css")
                    break
                except ConnectionRefusedError:
                    time.sleep(0.05)
            yield port, process.pid
        finally:
            process.terminate()


def ask(port, place, method="GET", body=None, **headers):
    """Return (status, bytes, seconds) of one request."""
    begin = time.perf_counter()
    line = http.client.HTTPConnection("localhost", port, timeout=60)
    line.putrequest(method, place, skip_host="host" in headers)
    for name, value in headers.items():
        line.putheader(name.replace("_", "-"), value)
    if body is not None:
        line.putheader("content-length", str(len(body)))
    line.endheaders(body)
    answer = line.getresponse()
    data = answer.read()
    line.close()
    return answer.status, data, time.perf_counter() - begin


def peak(process):
    """Return the largest memory a process has held. [MB]"""
    text = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    return int(re.search(r"VmHWM:\s+(\d+)", text)[1]) / 1024.0


def forget_peak(process):
    """Let the largest memory of a process count from now on (Linux)."""
    Path(f"/proc/{process}/clear_refs").write_text("5", encoding="ascii")


class Watched:
    """A browser's page that counts what must not happen."""

    def __init__(self, browser, address, **more):
        self.context = browser.new_context(**more)
        self.page, self.address, self.bad, self.away = self.context.new_page(), address, [], []
        self.page.on("pageerror", lambda problem: self.bad.append(str(problem)))
        self.page.on("console", lambda m: self.bad.append(m.text) if m.type == "error" else None)
        self.context.on("request", lambda request: self.away.append(request.url))

    def outside(self):
        """Return the addresses asked for that are not this machine's."""
        return [u for u in self.away if not u.startswith((self.address, "data:", "blob:"))]

    def open(self, place):
        """Open a page, wait for its charts, return its first paint. [s]"""
        self.page.goto(self.address + place)
        self.page.wait_for_function(READY, timeout=60_000)
        return self.page.wait_for_function(PAINT, timeout=10_000).json_value() / 1000.0


def pages(table, root, port, browser):
    """Print first paint, complaints, requests outside, width and keyboard path of every page."""
    one = Watched(browser, f"http://localhost:{port}", viewport={"width": 820, "height": 1180})
    places = [*PAGES, "/journal"] + [f"/lakes/{quote(name)}" for name, _ in lake_names(root)[:2]]
    station = stations_with_results(root)[0]
    places += [f"/motion/{station}", f"/position/{station}"]
    paint = {place: one.open(place) for place in places}
    slowest = max(paint, key=paint.get)
    table.line(
        f"first paint, slowest of {len(places)} pages ({slowest})", paint[slowest], 1.0, "s", ISSUE
    )
    wide = 0
    for place in places:
        one.open(place)
        wide += one.page.evaluate("document.documentElement.scrollWidth > innerWidth")
    table.line("pages wider than a tablet", wide, 0, "", ISSUE)
    one.open("/")
    reached = []
    for _ in range(10):
        one.page.keyboard.press("Tab")
        reached.append(one.page.evaluate("document.activeElement.textContent.trim()"))
    verbs = [place.strip("/") for place in PAGES[1:]]
    table.line(
        "verbs that the Tab key does not reach in order",
        8 - sum(map(str.__eq__, reached[2:], verbs)),
        0,
        "",
        ISSUE,
    )
    table.line("complaints of the browser", len(one.bad), 0, "", ISSUE)
    table.line("requests that leave the machine", len(one.outside()), 0, "", ISSUE)
    for text in (*one.bad, *one.outside())[:5]:
        table.say(text)
    one.context.close()


def zooms(table, port, browser):
    """Print how soon ten million points answer at any scale, by the server and on the screen."""
    *_, first = ask(port, "/motion/HV90")
    table.line("page of ten million points, before anything is read", first, 1.0, "s", ISSUE)
    *_, loaded = ask(port, "/motion/HV90/series/height")
    table.line("series read and coarse levels made, once", loaded, 10.0, "s", OWN)
    rng, worst = np.random.default_rng(7), 0.0
    begin, end = START // 10**6, START // 10**6 + 1000 * ROWS
    views = [(begin, end)]
    for power in np.linspace(0.0, 6.0, 60):
        wide = (end - begin) / 10.0**power
        low = rng.uniform(begin, end - wide)
        views.append((int(low), int(low + wide)))
    for (low, high), spans in itertools.product(views, (1000, 4000)):
        *_, seconds = ask(port, f"/motion/HV90/series/height?from={low}&to={high}&spans={spans}")
        worst = max(worst, seconds)
    table.line(
        f"{2 * len(views)} views from all to seconds, slowest answer",
        1000.0 * worst,
        100.0,
        "ms",
        ISSUE,
    )
    one = Watched(browser, f"http://localhost:{port}", viewport={"width": 1280, "height": 900})
    paint = one.open("/motion/HV90")
    table.line("first paint of ten million points", paint, 1.0, "s", ISSUE)
    taken = []
    for step in ("closer", "closer", "later", "closer", "closer", "wider", "all", "closer"):
        taken.append(one.page.evaluate(
            """async (step) => {
                const place = document.querySelector("[data-series]"), was = place.dataset.view;
                const begin = performance.now();
                document.querySelector(`[data-step=${step}]`).click();
                while (place.dataset.view === was) { await new Promise(requestAnimationFrame); }
                return performance.now() - begin;
            }""", step))  # fmt: skip
        one.page.wait_for_timeout(300)
    table.line(
        "from the key to the first chart drawn, median of 8 zooms",
        float(np.median(taken)),
        100.0,
        "ms",
        ISSUE,
    )
    table.line("complaints of the browser", len(one.bad), 0, "", ISSUE)
    seen = "document.querySelector('[data-series]').layout.xaxis.range.join()"
    shown, view = one.page.evaluate("location.search"), one.page.evaluate(seen)
    one.open("/motion")
    one.open(f"/motion/HV90{shown}")
    again = one.page.evaluate(seen)
    table.line("views whose address does not show them again",
               int(again != view or "from=" not in shown), 0, "", ISSUE)  # fmt: skip
    taken_in = 0
    for place in (f"/motion/{quote(BAD)}", f"/position/{quote(BAD)}", "/", "/motion", "/journal"):
        one.open(place)
        taken_in += one.page.title() == "run" or one.page.locator("img[src=x]").count() > 0
    table.line("pages that take a station's name for markup", taken_in, 0, "", ISSUE)
    one.context.close()


def crowd(table, port, process):
    """Print errors and memory of fifty viewers at once."""
    places = ["/", "/motion/HV90", "/position/HV90", "/intake", "/position", "/report", "/decide"]
    places += ["/map.csv", "/days.csv", "/position/chart/level"]
    places += [f"/motion/HV90/series/{key}" for key in ("east", "north", "height", "satellites")]

    def look(number):
        own = np.random.default_rng(number).permutation(len(places))
        answers = [ask(port, places[k]) for _ in range(ROUNDS) for k in own]
        return [(status, seconds) for status, _, seconds in answers]

    begin = time.perf_counter()
    with ThreadPoolExecutor(VIEWERS) as viewers:
        answers = list(itertools.chain.from_iterable(viewers.map(look, range(VIEWERS))))
    seconds = time.perf_counter() - begin
    table.line(
        f"{VIEWERS} viewers, {len(answers)} requests: errors",
        sum(s != 200 for s, _ in answers),
        0,
        "",
        ISSUE,
    )
    table.line("their median answer", float(np.median([t for _, t in answers])), 5.0, "s", OWN)
    table.say(f"all of it in {seconds:.0f} s, on as many cores as there are")
    table.line("memory of the server at its largest", peak(process), 4000.0, "MB", OWN)


def strangers(table, port, process):
    """Print what gets in that should not."""
    hosts = (
        "example.org",
        f"example.org:{port}",
        "localhost",
        "localhost.example.org",
        f"localhost:{port}.example.org",
        "",
    )
    let = sum(ask(port, "/", host=host)[0] != 421 for host in hosts)
    table.line("names of other machines that are answered", let, 0, "", "own rule")
    found = [place for place in OUTSIDE if ask(port, place)[0] == 200]
    table.line(f"of {len(OUTSIDE)} ways out of the campaign, open", len(found), 0, "", ISSUE)
    written = [ask(port, "/commission/HV90/entries", "POST", b"{}", **more)[0] for more in (
        {}, {"x_stakeline_token": "guess"}, {"origin": "http://example.org"})]  # fmt: skip
    table.line("writes without the page's token", sum(s != 403 for s in written), 0, "", ISSUE)
    token = re.search(rb'stakeline-token" content="([^"]+)"', ask(port, "/")[1])[1].decode()
    forget_peak(process)
    before, big = peak(process), b" " * (64 << 20)
    try:
        status = ask(port, "/commission/HV90/entries", "POST", big, x_stakeline_token=token)[0]
    except (BrokenPipeError, ConnectionResetError):
        status = 400  # the server has hung up before all was sent
    table.line("64 MB taken as an entry", int(status == 200), 0, "", ISSUE)
    table.line("memory that 64 MB cost", peak(process) - before, 32.0, "MB", OWN)


def main():
    chromium = shutil.which("chromium")
    if chromium is None:
        print("not installed: chromium")
        sys.exit(1)
    table = Table("The pages")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        root = campaign(folder)
        with served(root) as (port, _):
            pages(table, root, port, browser)
        with served(long_campaign(Path(folder) / "long")) as (port, process):
            strangers(table, port, process)  # first: afterwards memory has been larger already
            zooms(table, port, browser)
            crowd(table, port, process)
        browser.close()
    table.end()


if __name__ == "__main__":
    main()
